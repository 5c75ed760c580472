package loop

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// invented are the outcomes of a controller that loses a share of torque, in runs by
// hand: what all controllers have in common of a seed scatters by 0.02, and what each
// has for itself by 0.002.
func invented(loses float64, scenarios, seeds int, own, common *rand.Rand) []Outcome {
	of := make([]Outcome, scenarios)
	for i := range of {
		of[i] = Outcome{Verdicts: make([]Verdict, seeds), Failures: make([]error, seeds), Seeds: make([]uint64, seeds)}
	}
	for k := range seeds {
		luck := 0.02 * common.NormFloat64()
		for i := range of {
			share := loses + luck + 0.002*own.NormFloat64()
			of[i].Verdicts[k] = byHand(80, func(_ int, s *Step) { s.Truth.Torque = s.TorqueMBT * (1 - share) }).Verdict()
		}
	}
	return of
}

var pair = []Controller{{Name: "a"}, {Name: "b"}}

// Intervals of 95 % hold the true difference in about 95 of 100 comparisons, although what
// all controllers have in common scatters by much more than the difference.
func TestCompareCovers(t *testing.T) {
	const trials, truth = 400, 0.004
	held, found := 0, 0
	for n := range uint64(trials) {
		a := invented(0.05, 3, 5, rand.New(rand.NewPCG(n, 1)), rand.New(rand.NewPCG(n, 9)))
		b := invented(0.05+truth, 3, 5, rand.New(rand.NewPCG(n, 2)), rand.New(rand.NewPCG(n, 9)))
		r := rank(pair, [][]Outcome{a, b})
		d := r.Standings[1].TorqueLost.Over
		sign := 1. // the best by chance may be the other
		if r.Best.Controller.Name == "b" {
			sign = -1
		}
		held += int(flag(d.Low <= sign*truth && sign*truth <= d.High))
		found += int(flag(sign > 0 && d.Significant()))
		assert.Equal(t, 5, d.Seeds)
	}
	// Binomial: 380 ± 4.4, so ±3 standard deviations.
	assert.InDelta(t, 380, held, 13)
	// The difference has a standard deviation of 0.002·√(2/3)/√5 = 0.00073: 0.004 is
	// 5.5 of them, where Student's t asks for 2.8.
	assert.Greater(t, found, trials*9/10)
}

func TestInterval(t *testing.T) {
	d := interval([]float64{1, 2, 3})
	// t = 4.30265 for 97.5 % and 2 degrees of freedom (any table; 5 decimals), s = 1.
	assert.InDelta(t, 2-4.30265/math.Sqrt(3), d.Low, 5e-6)
	assert.InDelta(t, 2+4.30265/math.Sqrt(3), d.High, 5e-6)
	assert.False(t, d.Significant())
	d = interval([]float64{4})
	assert.Equal(t, 4., d.Mean)
	assert.True(t, math.IsNaN(d.Low) && math.IsNaN(d.High) && !d.Significant())
	d = interval(nil)
	assert.True(t, math.IsNaN(d.Mean) && !d.Significant())
	d = interval([]float64{-1, -1.1, -0.9})
	assert.True(t, d.Significant())
}

func TestRank(t *testing.T) {
	of := func(seed uint64, loses float64) []Outcome {
		return invented(loses, 2, 4, rand.New(rand.NewPCG(seed, 1)), rand.New(rand.NewPCG(5, 9)))
	}
	lazy, wild, good, twin := of(1, 0.08), of(2, 0.01), of(3, 0.05), of(3, 0.05)
	wild[1].Verdicts[2].Runaway = true
	good[0].Verdicts[1].Settle, good[0].Verdicts[1].Unsettled = math.NaN(), 1
	all := []Controller{{Name: "lazy"}, {Name: "wild"}, {Name: "good"}, {Name: "twin"}}
	r := rank(all, [][]Outcome{lazy, wild, good, twin})
	var names []string
	for _, s := range r.Standings {
		names = append(names, s.Controller.Name)
	}
	assert.Equal(t, []string{"good", "twin", "lazy", "wild"}, names, "the least torque lost, but a runaway comes last")
	require.NotNil(t, r.Best)
	assert.Equal(t, "good", r.Best.Controller.Name)
	assert.Equal(t, []int{7, 8}, []int{r.Best.Settle.Runs, r.Best.Runs})
	assert.Equal(t, 1, r.Best.Unsettled)
	assert.Equal(t, Interval{0, 0, 0, 4}, r.Standings[1].TorqueLost.Over)
	// Of 8 pairs the mean scatters by 0.002·√(2/8) = 0.001: 4 of these.
	assert.InDelta(t, 0.03, r.Standings[2].TorqueLost.Over.Mean, 0.004)
	said := r.Statement()
	for i, want := range []string{"good loses the least", "twin loses 0.000 % more (0.000 to 0.000 % with 95 % confidence, 4 seeds): NOT significant.", "seeds): significant.", "wild ran away in 1 of 8 runs: not ranked."} {
		assert.Contains(t, said[i], want)
	}
	assert.Contains(t, strings.Join(said, "\n"), "do not show that the best is better")

	r = rank(all[1:2], [][]Outcome{wild})
	assert.Nil(t, r.Best)
	assert.Contains(t, r.Statement()[0], "None is the best")
	once := func(loses float64) []Outcome {
		return invented(loses, 1, 1, rand.New(rand.NewPCG(1, 1)), rand.New(rand.NewPCG(1, 2)))
	}
	r = rank(all[2:], [][]Outcome{once(0.05), once(0.06)})
	assert.Contains(t, r.Statement()[1], "one seed cannot tell")
	assert.Equal(t, []string{"No controller was compared."}, rank(nil, nil).Statement())
}

// The same controller under two names does alike to the last bit: random numbers are
// common.
func TestCompareTwins(t *testing.T) {
	law := Law{Name: "integral", Mode: Free}
	slow := law
	slow.Numbers = map[string]float64{"gain": 0.02}
	r, err := Compare(context.Background(), small(t), []Controller{{Name: "a", Law: law}, {Name: "b", Law: law}, {Name: "slow", Law: slow}}, []uint64{1}, 2, nil)
	require.NoError(t, err)
	of := map[string]*Standing{}
	for i := range r.Standings {
		of[r.Standings[i].Controller.Name] = &r.Standings[i]
	}
	assert.Equal(t, of["a"].TorqueLost.Mean, of["b"].TorqueLost.Mean)
	assert.NotEqual(t, of["a"].TorqueLost.Mean, of["slow"].TorqueLost.Mean)
	assert.Equal(t, 2, of["slow"].Runs)
}

package stream

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/solve"
)

// The first draws are frozen: a seed means the same cycles for ever.
func TestRandFrozen(t *testing.T) {
	r := Rand(1, 0, Burning)
	require.Equal(t, []uint64{0x1385873e759bd489, 0x8e5fe7b73d96937f}, []uint64{r.Uint64(), r.Uint64()})
	r = Rand(1, 1, Burning)
	require.Equal(t, uint64(0xd4d82cf25dc0e873), r.Uint64())
	r = Rand(1, 0, Knocking)
	require.Equal(t, uint64(0x3173a9a258f4e9e0), r.Uint64())
}

// Draws of neighbouring cycles, seeds and purposes are independent: correlations
// over 4,000 pairs stay within four deviations of 1/√4000.
func TestRandIndependent(t *testing.T) {
	const n = 4000
	var base, cycle, seed, purpose []float64
	for i := range n {
		base = append(base, Rand(5, i, Burning).NormFloat64())
		cycle = append(cycle, Rand(5, i+1, Burning).NormFloat64())
		seed = append(seed, Rand(6, i, Burning).NormFloat64())
		purpose = append(purpose, Rand(5, i, Knocking).NormFloat64())
	}
	for _, other := range [][]float64{cycle, seed, purpose} {
		require.Less(t, math.Abs(stat.Correlation(base, other, nil)), 4/math.Sqrt(n))
	}
	mean, sd := stat.MeanStdDev(base, nil)
	require.InDelta(t, 0, mean, 4/math.Sqrt(n))
	require.InDelta(t, 1, sd, 4/math.Sqrt(2*n))
}

// The log-normal factor has mean 1 and the deviation asked for.
func TestFactor(t *testing.T) {
	var v, ln []float64
	for i := range 20000 {
		f := factor(0.2, drawn(3, i, 0.4).development)
		v, ln = append(v, f), append(ln, math.Log(f))
	}
	require.InDelta(t, 1, stat.Mean(v, nil), 4*0.2/math.Sqrt(20000))
	require.InEpsilon(t, 0.2, stat.StdDev(ln, nil), 4/math.Sqrt(2*20000))
}

func TestLink(t *testing.T) {
	var a, b []float64
	for i := range 10000 {
		d := drawn(3, i, 0.4)
		a, b = append(a, d.development), append(b, d.rapid)
	}
	require.InDelta(t, 0.4, stat.Correlation(a, b, nil), 4/math.Sqrt(10000))
}

func TestClock(t *testing.T) {
	c := Clock{Speed: 200, Ripple: 0.07, RippleAt: slowest, Start: -2 * math.Pi}
	require.Zero(t, c.Time(c.Start))
	require.InEpsilon(t, 4*math.Pi/200, c.Time(2*math.Pi), 1e-14)
	for theta := -6.; theta < 6; theta += 0.37 {
		require.InDelta(t, theta, c.Angle(c.Time(theta)), 1e-12)
		const h = 1e-4
		require.InEpsilon(t, 2*h/(c.Time(theta+h)-c.Time(theta-h)), c.Rate(theta), 1e-8)
		require.GreaterOrEqual(t, c.Rate(theta), c.Rate(slowest))
	}
}

func TestStencil(t *testing.T) {
	for _, z := range []float64{-2.3, -0.0001, 0, 0.25, 1 - 1e-12, 3.9, 7} {
		for _, points := range []int{2, 4} {
			first, w, n := stencil(z, points)
			for power := range n { // exact for polynomials of as many coefficients
				sum := 0.
				for i := range n {
					sum += w[i] * math.Pow(float64(first+i), float64(power))
				}
				require.InDelta(t, math.Pow(z, float64(power)), sum, 1e-9, "%g %d %d", z, points, power)
			}
		}
	}
	_, _, n := stencil(2, 4)
	require.Equal(t, 1, n)
}

// Knock intensities of cycles that are all alike but for the end gas and the
// noise: those that knock and those that do not are log-normal with the knobs'
// deviations, and cycles do not depend on each other. The shape is that of Kassa
// et al., arXiv:1906.05773, 2019 (abstract).
func TestKnock(t *testing.T) {
	e, op := at(t, 2200, 80, 1, 22) // knock integral 0.99
	k := Knobs{EndGas: 0.06, Knock: 0.5, Background: 0.35}
	all := collect(t, make1(t, e, Steadily(op), &Settings{Seed: 11, Knobs: &k}), 0, 4000)
	var quiet, raw []float64
	knocks := 0
	for i := range all {
		c := &all[i]
		raw = append(raw, math.Log(c.KnockIntensity))
		require.Equal(t, c.Knocking, !math.IsNaN(c.KnockOnset))
		if c.Knocking {
			knocks++
			require.Greater(t, c.KnockIntegral, 1.)
			require.Greater(t, c.KnockOnset, -op.Spark)
			require.Greater(t, c.unburnedAt(c.KnockOnset), 0.015) // beyond 98 % it does not count
		} else {
			require.LessOrEqual(t, c.KnockIntegral, 1+1e-3) // onset between the last sample and the end of burning
			quiet = append(quiet, raw[i])
		}
	}
	// ln(0.99)/0.06 = -0.17 deviations from the limit: 43 % knock.
	require.InDelta(t, 0.43, float64(knocks)/4000, 0.05)
	require.InEpsilon(t, 0.35, stat.StdDev(quiet, nil), 0.06)
	require.Less(t, math.Abs(stat.Skew(quiet, nil)), 0.2) // four deviations of √(6/2300)
	require.Less(t, math.Abs(lag(raw)), 4/math.Sqrt(4000))
	var loud []float64
	far := op
	far.Spark = 30 * deg
	for _, c := range collect(t, make1(t, e, Steadily(far), &Settings{Seed: 12, Knobs: &Knobs{Knock: 0.5}}), 0, 2000) {
		require.True(t, c.Knocking)
		loud = append(loud, math.Log(c.KnockIntensity-noiseAt40*c.Peak/noiseRef))
	}
	require.InEpsilon(t, 0.5, stat.StdDev(loud, nil), 4/math.Sqrt(2*2000))
	require.Less(t, math.Abs(stat.Skew(loud, nil)), 4*math.Sqrt(6./2000))
}

// All burn laws make streams; the surface and the direct solve agree. Under the
// law flame the peak is flat and rippled by the front meeting the walls, so that little moves it.
func TestLaws(t *testing.T) {
	for law, within := range map[string]float64{model.BurnFixed: 0.03, model.BurnWiebe: 0.05, model.BurnScaled: 0.03, model.BurnFlame: 0.35} {
		e, op := at(t, 2200, 80, 1, 24)
		e.Burn.Law = law
		if law == model.BurnWiebe {
			e.Burn.First = model.Stage{Delay: 4 * deg, Span: 60 * deg, A: 6.9, M: 2}
		}
		fast := collect(t, make1(t, e, Steadily(op), &Settings{Seed: 3}), 0, 60)
		slow := collect(t, make1(t, e, Steadily(op), &Settings{Seed: 3, Exact: true}), 0, 60)
		lpp := column(fast, func(c *Cycle) float64 { return c.LPP / deg })
		require.Greater(t, stat.StdDev(lpp, nil), 1., law)
		apart, work := 0., 0.
		for i := range fast {
			apart += math.Pow((fast[i].LPP-slow[i].LPP)/deg, 2) / 60
			work += math.Pow(fast[i].IMEPGross/slow[i].IMEPGross-1, 2) / 60
		}
		t.Logf("%s: rms LPP %.3f deg, IMEP %.2g", law, math.Sqrt(apart), math.Sqrt(work))
		require.Less(t, math.Sqrt(apart), within, law)
		require.Less(t, math.Sqrt(work), 0.002, law)
	}
}

func TestReadSchedule(t *testing.T) {
	base := model.Operating{Speed: 200, MAP: 80e3, Lambda: 1, Spark: 0.4, Intake: 310, Exhaust: 106e3}
	s, err := ReadSchedule(strings.NewReader("# tip-in\ncycle, map_kpa ,speed_rpm\n0,40,1500\n200,90,1500\n201,95,1800\n"), "s.csv", base)
	require.NoError(t, err)
	require.Len(t, s, 3)
	require.Equal(t, 0.4, s[2].Operating.Spark)
	require.InEpsilon(t, 95e3, s[2].Operating.MAP, 1e-15)
	mid, steady := s.At(100)
	require.False(t, steady)
	require.InEpsilon(t, 65e3, mid.MAP, 1e-12)
	end, steady := s.At(5000)
	require.True(t, steady)
	require.Equal(t, s[2].Operating, end)
	for text, want := range map[string]string{
		"":                              "no header",
		"speed_rpm\n1500\n":             "no column cycle",
		"cycle,boost\n0,1\n":            `column "boost"`,
		"cycle,cycle\n0,1\n":            "twice",
		"cycle,map_kpa\n0,wide\n":       `line 2: map_kpa = "wide"`,
		"cycle,map_kpa\n0,NaN\n":        "want a number",
		"cycle,map_kpa\n-1,40\n":        "line 2: cycle",
		"cycle,map_kpa\n5,40\n5,41\n":   "line 3: cycle = 5, want more than 5",
		"cycle,map_kpa\n0,40,3\n":       "line 2",
		"cycle,map_kpa\n":               "no line below",
		"cycle,map_kpa\n0,40\n\"1,40\n": "s.csv",
	} {
		_, err := ReadSchedule(strings.NewReader(text), "s.csv", base)
		require.ErrorIs(t, err, ErrSchedule, text)
		require.ErrorContains(t, err, want, text)
	}
}

func FuzzReadSchedule(f *testing.F) {
	f.Add("cycle,map_kpa\n0,40\n10,90\n")
	f.Add("cycle,spark_deg_btdc,lambda\n3,1e300,0\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ReadSchedule(strings.NewReader(text), "f", model.Operating{})
		if err != nil {
			require.ErrorIs(t, err, ErrSchedule)
			return
		}
		for i := 1; i < len(s); i++ {
			require.Greater(t, s[i].Cycle, s[i-1].Cycle)
		}
	})
}

// Next depends on its arguments alone, not on what was solved before.
func TestNextForgets(t *testing.T) {
	e, op := at(t, 2000, 60, 1, 26)
	s, err := solve.New(e, nil)
	require.NoError(t, err)
	x, err := s.Settle(&op)
	require.NoError(t, err)
	var a, b, other solve.Cycle
	first, err := s.Next(&op, &x, &solve.Steady, &a)
	require.NoError(t, err)
	far := op
	far.Lambda, far.MAP = 1.3, 90e3
	_, err = s.Next(&far, &x, &solve.Variation{Development: 2, Rapid: 0.5, Burned: 0.3}, &other)
	require.NoError(t, err)
	require.NoError(t, s.Run(&far, &other))
	second, err := s.Next(&op, &x, &solve.Steady, &b)
	require.NoError(t, err)
	require.Equal(t, first, second)
	require.Equal(t, a.Pressure, b.Pressure)
}

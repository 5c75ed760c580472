package control

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/reader"
)

// A small plant: the true peak lies at 15 − 0.7·(s − 25) deg, no earlier than −1.5, and
// is read with a deviation of 2.5 deg; sparks over 50 deg read N(35, 6), a flip. An order
// fires in the next cycle, in steps of 0.1 deg, from −10 to 60. A hand adds 30 deg
// in cycles pushFrom to pushTo. Our own invention, with the slope and the end of LPP as in
// the literature, section 0.
const (
	pushFrom = 200
	pushTo   = 300
	runs     = 500
)

type plantStep struct {
	fired, order float64 // [deg]
	state        State
}

func runPlant(t *testing.T, seed uint64, cycles int, set GuardSettings, e Envelope) []plantStep {
	t.Helper()
	law, err := New("integral", map[string]float64{"gain": 0.1})
	require.NoError(t, err)
	g, err := NewGuard(set, e)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(seed, 7))
	s := &Seen{Speed: 200, MAP: 60e3, Base: 25 * deg, Target: 15 * deg, Ordered: together(25 * deg), Peak: math.NaN(), Knock: math.NaN()}
	all := make([]plantStep, cycles)
	for n := range all {
		hand := 0.
		if n >= pushFrom && n < pushTo {
			hand = 30
		}
		fired := math.Round((s.Ordered.Leading/deg+hand)*10) / 10
		fired = math.Max(-10, math.Min(60, fired))
		lpp := math.Max(-1.5, 15-0.7*(fired-25)) + 2.5*r.NormFloat64()
		if fired > 50 {
			lpp = 35 + 6*r.NormFloat64()
		}
		s.Cycle, s.Fired, s.Single = n, together(fired*deg), reader.Reading{Angle: lpp * deg, Quality: 1}
		s.Reading = s.Single
		d := g.Decide(s, law.Next(s))
		s.Ordered = d.Order
		all[n] = plantStep{fired, d.Order.Leading / deg, d.State}
	}
	return all
}

// Without a guard the push locks the loop on the false reading, at the end of what
// the actuator can do, and there it stays when the hand is gone.
func TestPushWithoutGuard(t *testing.T) {
	for seed := range uint64(20) {
		all := runPlant(t, seed, 500, GuardSettings{Off: true}, nil)
		require.Equal(t, 60., all[pushTo-1].fired)
		require.Equal(t, 60., all[499].fired)
	}
}

// With an envelope what fires is back in the range in 3 cycles and stays there, and
// when the hand is gone the loop goes on where it was. Without slope tests, which hold
// the law while they last, it is heard again in 20 cycles, up to its authority.
func TestPushWithEnvelope(t *testing.T) {
	for _, x := range []struct {
		name    string
		numbers map[string]float64
		probes  bool
		runs    int
	}{{"usual", nil, true, 100}, {"no probes", map[string]float64{"probe_after_deg": 0}, false, runs}} {
		slowest, most := 0, 0.
		states := map[State]int{}
		for seed := range uint64(x.runs) {
			all := runPlant(t, seed, 600, GuardSettings{Envelope: true, Numbers: x.numbers}, everywhere{5 * deg, 44 * deg})
			back := pushFrom
			for all[back].fired > 44.05 { // half a step
				back++
			}
			slowest = max(slowest, back-pushFrom)
			for n := back; n < len(all); n++ {
				most = math.Max(most, all[n].fired)
			}
			states[all[pushFrom+20].state]++
			if !x.probes {
				require.Contains(t, []State{Follow, Limit, Fallback}, all[pushFrom+20].state, "seed %d", seed)
				// Bounds are of what fires: the law takes the hand's 30 deg away again.
				require.InDelta(t, 25, all[pushTo-1].fired, 5*0.68)
			}
			mean := 0.
			for _, s := range all[pushTo+100:] {
				mean += s.fired / float64(len(all)-pushTo-100)
			}
			// The loop scatters by 2.5·√(K/(a·(2−K·a))) = 0.68 deg with a correlation of
			// 2/(K·a) = 29 cycles: the mean of 200 by 0.26. Five of these.
			require.InDelta(t, 25, mean, 1.3, "seed %d", seed)
		}
		t.Logf("%s: back in the range in %d cycles at most, then no earlier than %.2f deg; states after 20 cycles: %v", x.name, slowest, most, states)
		require.LessOrEqual(t, slowest, 3)
		require.LessOrEqual(t, most, 44.05)
	}
}

// With nothing but the slope test, by the clock as well, the push is found out. A test
// that a false reading passes by chance (4.5 % of pairs) is made up for by the next.
func TestPushWithSlopeTest(t *testing.T) {
	set := GuardSettings{Numbers: bare(map[string]float64{"probe_after_deg": 6, "probe_every_cycles": 60})}
	var took []int
	for seed := range uint64(runs) {
		all := runPlant(t, seed, 900, set, nil)
		n := pushFrom
		hand := 30.                                                                                // of the next cycle
		for n < len(all) && !(all[n].state == Fallback && math.Abs(all[n].order+hand-25) < 0.06) { // half a step
			if n++; n+1 >= pushTo {
				hand = 0
			}
		}
		require.Less(t, n, len(all), "seed %d escaped", seed)
		took = append(took, n-pushFrom)
		late := 0
		for _, s := range all[700:] {
			if s.fired > 50 {
				late++
			}
		}
		require.Zero(t, late, "seed %d", seed)
	}
	slowest, quick := 0, 0
	for _, n := range took {
		slowest = max(slowest, n)
		if n <= 52 {
			quick++
		}
	}
	t.Logf("back at the base map in %d cycles at most, in 52 cycles in %d of %d runs", slowest, quick, runs)
	// A pair of tests takes 50 cycles and the next begins 60 later: three pairs.
	require.LessOrEqual(t, slowest, 3*110)
}

// A reading that is true is seldom condemned: at a deviation of 2.5 deg the slope of −0.7 has
// an error of 2.5/√24/2 = 0.255 deg/deg, so that a test passes with 77 % and a
// pair with 95 %.
func TestTrueReadingPasses(t *testing.T) {
	pairs, passed := 2000, 0
	r := rand.New(rand.NewPCG(1, 8))
	for range pairs {
		for range 2 {
			var f fit
			for i := range 24 {
				x := 4*float64(i/12) - 2
				f.add(x, -0.7*x+2.5*r.NormFloat64())
			}
			if slope, se := f.slope(); slope+slopeErrors*se < 0 {
				passed++
				break
			}
		}
	}
	// Of the normal distribution; the error of each fit is itself a guess with 22 degrees of
	// freedom, worth 0.5 %, and 2000 pairs are good to 1 % (two deviations).
	require.InDelta(t, 0.946, float64(passed)/float64(pairs), 0.02)
}

package control

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/reader"
)

// advised runs cycles of an invented plant under an adviser: a peak at 15 deg at a spark
// of 28 deg, 0.75 deg later for 1 deg later, that scatters by 3.5 deg. The base map is
// 28 deg, a hand moves the distributor [deg], readings pass through spoil.
func advised(law Law, cycles int, hand func(n int) float64, spoil func(n int, r *reader.Reading)) (last Advice) {
	r := rand.New(rand.NewPCG(11, 1))
	law.Reset()
	for n := range cycles {
		fired := 28 + hand(n)
		s := Seen{Base: 28 * deg, Target: 15 * deg, Fired: together(fired * deg), Ordered: together(28 * deg)}
		s.Single = reader.Reading{Angle: (15 - 0.75*(fired-28) + 3.5*r.NormFloat64()) * deg, Quality: 0.9}
		spoil(n, &s.Single)
		s.Reading = reader.Reading{Angle: math.NaN()} // it goes by single cycles
		if law.Next(&s).Leading != s.Base {
			panic("it moved")
		}
		last = law.(Adviser).Advice()
	}
	return last
}

func still(at float64) func(int) float64 { return func(int) float64 { return at } }
func clean(int, *reader.Reading)         {}

// It tells how far off a plant is: +5 within 1 deg where it is 5 deg retarded. Of
// 100 readings the standard error is 3.5/0.75/10 = 0.47 deg, so 1 deg is twice that.
func TestAdviseOff(t *testing.T) {
	law := Advise(100)
	for _, hand := range []float64{-5, 0, 5} {
		a := advised(law, 300, still(hand), clean)
		t.Logf("fires %+.0f deg: off %+.2f deg, confidence %.2f", hand, a.Off/deg, a.Confidence)
		require.InDelta(t, -hand, a.Off/deg, 1)
		require.True(t, a.Confidence > 0.5 && a.Confidence <= 1, "confidence %g", a.Confidence)
	}
	// A hand that follows the advice is answered in the same cycle.
	a := advised(law, 301, func(n int) float64 {
		if n < 300 {
			return -5
		}
		return 0
	}, clean)
	require.InDelta(t, 0, a.Off/deg, 1)
}

// Confidence falls with the quality of readings, with those declined, with few of
// them, and between two crowds.
func TestAdviseConfidence(t *testing.T) {
	law := Advise(100)
	good := advised(law, 300, still(-5), clean).Confidence
	half := func(n int, r *reader.Reading) { r.Quality = 0.45 }
	require.InDelta(t, good/2, advised(law, 300, still(-5), half).Confidence, 1e-12, "half the quality")
	declined := advised(law, 300, still(-5), func(n int, r *reader.Reading) {
		if n%2 == 0 {
			*r = reader.Reading{Angle: math.NaN(), Why: "declined"}
		}
	})
	require.InDelta(t, 5, declined.Off/deg, 1.5)
	require.Less(t, declined.Confidence, 0.55*good)
	few := advised(law, 4, still(-5), clean).Confidence
	require.Less(t, few, 0.5*good)
	flips := advised(law, 300, still(-5), func(n int, r *reader.Reading) {
		if n%2 == 0 {
			r.Angle += 60 * deg
		}
	})
	require.Less(t, flips.Confidence, 0.2*good)

	one := advised(law, 1, still(-5), clean)
	require.Zero(t, one.Confidence)
	none := advised(law, 50, still(-5), func(_ int, r *reader.Reading) { *r = reader.Reading{Angle: math.NaN()} })
	require.True(t, math.IsNaN(none.Off))
	require.Zero(t, none.Confidence)
	wild := advised(law, 50, still(-5), func(_ int, r *reader.Reading) { r.Angle = 1e9 })
	require.True(t, math.IsNaN(wild.Off), "no angle of a cycle")
	require.Panics(t, func() { Advise(1) })
	require.Panics(t, func() { Advise(10_001) })
}

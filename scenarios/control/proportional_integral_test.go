package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The scatter of the spark is σ·√Σh², h the answer of the recursion of errors to one
// scattered reading, summed here apart from the law; 3 % for the draws.
func TestProportionalIntegralScatter(t *testing.T) {
	for _, c := range []struct{ gain, proportional float64 }{{0.1, 0}, {0.1, 0.1}, {0.1, 0.5}, {0.05, 0.3}, {0.5, 0.2}} {
		const a = 0.75
		spark, last, sum := 0., 0., 0.
		for n := range 2000 {
			e := -a * spark
			if n == 0 {
				e++
			}
			spark += c.gain*e + c.proportional*(e-last)
			last = e
			sum += spark * spark
		}
		law := usual(t, proportionalKind, map[string]float64{"gain": c.gain, "proportional": c.proportional, "rate_deg": 60})
		mean, sd := phasing(4, 3.5, 25).settled(law, 1000, 100_000)
		require.InEpsilon(t, 3.5*math.Sqrt(sum), sd, 0.03, "%+v", c)
		require.InDelta(t, 25, mean, 0.1, "%+v: about ten standard errors", c)
	}
}

// It dies out on this side of a·(K+2P) = 2, and grows on the other.
func TestProportionalIntegralStability(t *testing.T) {
	for _, c := range []struct {
		proportional float64
		dies         bool
	}{{0.92, true}, {0.95, false}} { // a·(K+2P) = 2 at P = 0.9333 for K = 0.8
		law := usual(t, proportionalKind, map[string]float64{"gain": 0.8, "proportional": c.proportional, "rate_deg": 60})
		p := phasing(1, 0, 25.01)
		far := 0.
		for range 100 {
			far = math.Max(far, math.Abs(p.step(law)/deg-25))
		}
		last := 0.
		for range 100 {
			last = math.Max(last, math.Abs(p.step(law)/deg-25))
		}
		require.Equal(t, c.dies, last < far, "P %g: %g after %g", c.proportional, last, far)
	}
}

// By hand: gain 0.1 of 4 deg, then of 2 deg with a change of −2, across a cycle that
// declined, which leaves the last error as it was; rounding.
func TestProportionalIntegralMoves(t *testing.T) {
	law := usual(t, proportionalKind, map[string]float64{"gain": 0.1, "proportional": 0.5})
	s := blind(20 * deg)
	s.Target = 15 * deg
	for _, c := range []struct{ lpp, want float64 }{{19, 20.4}, {math.NaN(), 20}, {17, 20.2 - 1}, {17, 20.2}} {
		s.Reading.Angle = c.lpp * deg
		require.InDelta(t, c.want, law.Next(s).Leading/deg, 1e-9, "LPP %g", c.lpp)
	}
}

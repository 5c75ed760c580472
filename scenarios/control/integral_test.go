package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// Linear theory with a plant of slope 0.75 and readings that scatter by 3.5 deg: time
// constants and spark scatter by gain (recomputed figures; 15 %, since the time constants
// are whole cycles). For e ∝ qⁿ the sum of e/e₀ is 1/(1−q).
func TestIntegralLinearTheory(t *testing.T) {
	constants, scatters := accuracy.Find(t, "integral-constant"), accuracy.Find(t, "integral-scatter")
	constantExact, scatterExact := accuracy.Find(t, "integral-constant-exact"), accuracy.Find(t, "integral-scatter-exact")
	for _, c := range []struct{ gain, cycles, sd float64 }{
		{0.02, 66, 0.41}, {0.05, 26, 0.65}, {0.1, 13, 0.92}, {0.2, 6, 1.33}, {0.5, 2, 2.24},
	} {
		law := usual(t, integralKind, map[string]float64{"gain": c.gain, "rate_deg": 60})
		constant := func(sigma, times float64) float64 {
			sum := 0.
			for _, e := range errorsAfterStep(law, sigma, int(times*c.cycles)) {
				sum += e / 8
			}
			return -1 / math.Log(1-1/sum)
		}
		tau := constant(3.5, 8)
		_, sd := phasing(3, 3.5, 25).settled(law, 500, 200_000)
		t.Logf("gain %g: time constant %.2f cycles, spark sd %.3f deg", c.gain, tau, sd)
		constants.Relative(t, c.cycles, tau, "gain %g", c.gain)
		scatters.Relative(t, c.sd, sd, "gain %g", c.gain)
		// And the formulas of the law's doc: without scatter right to what is cut off, e⁻²⁰;
		// the scatter within 5 %, what the draws allow.
		constantExact.Relative(t, -1/math.Log(1-0.75*c.gain), constant(0, 20), "gain %g", c.gain)
		scatterExact.Relative(t, 3.5*math.Sqrt(c.gain/(0.75*(2-0.75*c.gain))), sd, "gain %g", c.gain)
	}
}

// Errors within the deadband are left alone, and moves are bounded: by hand; rounding.
func TestIntegralBounds(t *testing.T) {
	law := usual(t, integralKind, map[string]float64{"gain": 0.5, "deadband_deg": 2, "rate_deg": 3})
	s := blind(20 * deg)
	s.Target = 15 * deg
	for _, c := range []struct{ lpp, want float64 }{{17, 20}, {13.1, 20}, {17.5, 21.25}, {11, 18}, {60, 23}, {-60, 17}, {math.NaN(), 20}, {math.Inf(1), 20}} {
		s.Reading.Angle = c.lpp * deg
		require.InDelta(t, c.want, law.Next(s).Leading/deg, 1e-9, "LPP %g", c.lpp)
	}
}

package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every third reading, by hand; cycles that declined do not count; rounding.
func TestFixedStepMoves(t *testing.T) {
	law := usual(t, fixedStepKind, map[string]float64{"cycles": 3, "step_deg": 0.5, "deadband_deg": 1})
	s := blind(20 * deg)
	s.Target = 15 * deg
	for i, c := range []struct{ lpp, want float64 }{
		{15, 20}, {17, 20}, {17, 20.5}, // mean error 1.33
		{17, 20}, {math.NaN(), 20}, {15, 20}, {15.5, 20}, // 0.83
		{0, 20}, {14, 20}, {14, 19.5}, // −5.67, by no more than a step
	} {
		s.Reading.Angle = c.lpp * deg
		require.InDelta(t, c.want, law.Next(s).Leading/deg, 1e-9, "reading %d", i)
	}
}

// Without scatter it comes to rest within the deadband: 1 deg of LPP is 1.33 deg of
// spark at a slope of 0.75.
func TestFixedStepRests(t *testing.T) {
	law := usual(t, fixedStepKind, nil)
	for _, start := range []float64{10, 40} {
		law.Reset()
		mean, sd := phasing(1, 0, start).settled(law, 40*16, 500)
		require.InDelta(t, 25, mean, 1/0.75+1e-9)
		require.Less(t, sd, 1e-9)
	}
}

package trust

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A reading a whole cycle off comes back by the period of the engine.
func TestWrappedByPeriod(t *testing.T) {
	var wrap func(a, period float64) float64
	for _, c := range causes {
		if c.angle != nil {
			wrap = c.angle
		}
	}
	for _, period := range []float64{4 * math.Pi, 6 * math.Pi} {
		for _, a := range []float64{-0.5, 0.45, 1.2} {
			for n := -2.; n <= 2; n++ {
				require.InDelta(t, a, wrap(a+n*period, period), 1e-12)
			}
		}
	}
}

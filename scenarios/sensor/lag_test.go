package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// uneven returns count steps of mean h [s] that differ by a third, as a rippling
// crank's do, more strongly.
func uneven(count int, h float64) []float64 {
	step := make([]float64, count)
	for i := range step {
		step[i] = h * (1 + math.Sin(float64(i))/3)
	}
	return step
}

// A ramp u = s·t from rest gives y = s·(t − τ + τ·exp(−t/τ)). Closed form; the
// solution is exact, so the tolerance is rounding.
func TestLagOfRamp(t *testing.T) {
	const tau, slope = 1e-3, 2e8
	step := uneven(500, 7e-5)
	step[0] = 1e-12
	x, now := make([]float64, len(step)), 0.
	for i, h := range step {
		if i > 0 {
			now += h
		}
		x[i] = slope * now
	}
	var f lag
	f.pass(x, step, tau)
	now = 0
	for i := 1; i < len(x); i++ {
		now += step[i]
		require.InDelta(t, slope*(now-tau+tau*math.Exp(-now/tau)), x[i], 1e-9*slope*tau+1e-12*slope*now)
	}
}

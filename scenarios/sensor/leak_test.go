package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A ramp u = s·t from balance gives y = s/r·(1 − exp(−r·t)), and what it then holds
// drains as exp(−r·t). Closed forms; rounding.
func TestLeakOfRampAndHold(t *testing.T) {
	const rate, slope, turn = 20., 3e7, 300
	step := uneven(900, 1e-4)
	x, now := make([]float64, len(step)), 0.
	top, at := 0., 0.
	for i, h := range step {
		now += h
		if i <= turn {
			x[i], top, at = slope*now, slope*now, now
		} else {
			x[i] = top
		}
	}
	f := leak{ready: true}
	f.pass(x, step, rate)
	now = 0
	for i, h := range step {
		now += h
		want := slope / rate * -math.Expm1(-rate*math.Min(now, at))
		if now > at {
			want *= math.Exp(-rate * (now - at))
		}
		require.InDelta(t, want, x[i], 1e-10*top)
	}
}

// The mean is lost from the first cycle on: what a first cycle of a constant plus
// a wave gives has the mean of the wave's droop alone. 1 % of the wave: it drains
// by less than that within the cycle.
func TestLeakStartsWithoutMean(t *testing.T) {
	const n, h = 1000, 1e-4
	x, step := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], step[i] = 50+10*math.Sin(2*math.Pi*float64(i)/n), h
	}
	var f leak
	f.pass(x, step, 0.1)
	mean := 0.
	for _, v := range x {
		mean += v / n
	}
	require.InDelta(t, 0, mean, 0.1)
}

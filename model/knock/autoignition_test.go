package knock

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// The formula in 25 digits, recomputed apart from this package; rounded to
// the digits below. It checks the arithmetic, not the constants.
func TestDelay(t *testing.T) {
	row := accuracy.Find(t, "knock-delay")
	for _, c := range []struct{ octane, atm, temp, ms float64 }{
		{95, 20, 750, 14.4667956938},
		{95, 40, 850, 2.45328374934},
		{95, 60, 900, 0.960569190113},
		{87, 30, 800, 3.92210678787},
	} {
		d := DouaudEyzat{c.octane}
		p := c.atm * 101325
		row.Relative(t, 1e-3*c.ms, d.Delay(p, c.temp), "%+v", c)
		require.InEpsilon(t, 1, d.Delay(p, c.temp)*d.Rate(p, c.temp), 1e-14, "%+v", c)
	}
}

// Exponents as the formula states them, to the last digits.
func TestDelayExponents(t *testing.T) {
	d := DouaudEyzat{100}
	require.InEpsilon(t, math.Pow(2, -1.7), d.Delay(40e5, 800)/d.Delay(20e5, 800), 1e-13)
	require.InEpsilon(t, math.Exp(3800./800-3800./900), d.Delay(40e5, 800)/d.Delay(40e5, 900), 1e-13)
	require.InEpsilon(t, math.Pow(0.9, 3.402), DouaudEyzat{90}.Delay(40e5, 800)/d.Delay(40e5, 800), 1e-13)
}

func TestRateAllocates(t *testing.T) {
	d := DouaudEyzat{95}
	require.Zero(t, testing.AllocsPerRun(100, func() { d.Rate(40e5, 850) }))
}

func BenchmarkRate(b *testing.B) {
	d := DouaudEyzat{95}
	b.ReportAllocs()
	for b.Loop() {
		d.Rate(40e5, 850)
	}
}

func TestCheck(t *testing.T) {
	for _, octane := range []float64{40, 95, 130} {
		require.NoError(t, DouaudEyzat{octane}.Check())
	}
	for _, octane := range []float64{0, 39.9, 130.1, -95, math.Inf(1), math.NaN()} {
		err := DouaudEyzat{octane}.Check()
		require.ErrorIs(t, err, ErrRange)
		require.ErrorContains(t, err, "want 40 to 130")
	}
}

// At constant conditions the integral is a straight line, so the onset is one
// delay after the start; at 200 rad/s and to the rounding of the curve.
func TestOnsetAfterOneDelay(t *testing.T) {
	d := DouaudEyzat{95}
	const omega = 200.
	var theta, integral []float64
	for i := range 100 {
		at := -0.5 + 0.02*float64(i)
		theta = append(theta, at)
		integral = append(integral, d.Rate(40e5, 850)*(at+0.5)/omega)
	}
	got, ok := Onset(theta, integral)
	require.True(t, ok)
	require.InDelta(t, -0.5+omega*d.Delay(40e5, 850), got, 1e-13)
}

// An integral that doubles every 4 degrees, as steep as they come, sampled
// every degree: it reaches 1 at 0.3 rad by construction, wherever the samples
// lie. Straight lines would be up to 0.022 degree early, by their remainder
// (h²/8)·f"/f'; the curve keeps to 0.0003 degree, our own measurement.
func TestOnsetOnCurve(t *testing.T) {
	const deg = math.Pi / 180
	for offset := 0.05; offset < 1; offset += 0.05 {
		var theta, integral []float64
		for i := range 61 {
			at := 0.3 + (float64(i)-50+offset)*deg
			theta = append(theta, at)
			integral = append(integral, math.Exp2((at-0.3)/(4*deg)))
		}
		got, ok := Onset(theta, integral)
		require.True(t, ok)
		require.InDelta(t, 0.3, got, 0.0003*deg, "%g", offset)
	}
}

func TestOnsetEdges(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name            string
		theta, integral []float64
		want            float64
		ok              bool
	}{
		{"empty", nil, nil, 0, false},
		{"never", []float64{0, 1, 2}, []float64{0, 0.5, 0.999}, 0, false},
		{"at a sample", []float64{0, 1, 2}, []float64{0, 1, 2}, 1, true},
		{"at the last sample", []float64{0, 1, 2}, []float64{0, 0.5, 1}, 2, true},
		{"two samples", []float64{0, 1}, []float64{0.5, 1.5}, 0.5, true},
		{"from the start", []float64{3, 4}, []float64{1.5, 2}, 3, true},
		{"one sample", []float64{3}, []float64{1}, 3, true},
		{"flat, then up", []float64{0, 1, 2}, []float64{0.9, 0.9, 1}, 2, true},
		{"NaN ahead", []float64{0, 1, 2}, []float64{0, nan, 2}, 0, false},
		{"NaN angle", []float64{0, nan, 2}, []float64{0, 0.5, 2}, 0, false},
		{"infinite", []float64{0, 1, 2}, []float64{0, 0.5, inf}, 0, false},
		{"angle twice", []float64{0, 1, 1}, []float64{0, 0.5, 2}, 0, false},
	} {
		got, ok := Onset(c.theta, c.integral)
		require.Equal(t, c.ok, ok, c.name)
		require.InDelta(t, c.want, got, 1e-15, c.name)
	}
	require.Panics(t, func() { Onset([]float64{1}, nil) })
}

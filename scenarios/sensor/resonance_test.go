package sensor

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// loudest returns the frequency [Hz] at which x, sampled at rate [Hz], is loudest,
// on the parabola through the logarithms of the greatest line and its neighbours.
// A Hann window; from leaves out what lies lower.
func loudest(x []float64, rate, from float64) float64 {
	n := len(x)
	y := make([]float64, n)
	for i := range y {
		y[i] = x[i] * (1 - math.Cos(2*math.Pi*float64(i)/float64(n)))
	}
	line := fourier.NewFFT(n).Coefficients(nil, y)
	k := 0
	for i := 1; i < len(line)-1; i++ {
		if float64(i)*rate/float64(n) >= from && (k == 0 || cmplx.Abs(line[i]) > cmplx.Abs(line[k])) {
			k = i
		}
	}
	l, m, r := math.Log(cmplx.Abs(line[k-1])), math.Log(cmplx.Abs(line[k])), math.Log(cmplx.Abs(line[k+1]))
	return (float64(k) + (l-r)/(2*(l-2*m+r))) * rate / float64(n)
}

// A step gives 1 − exp(−ζωt)·(cos ω₁t + ζω/ω₁·sin ω₁t). Closed form; input that
// jumps within 1 ps is a step to 1e-7 of it. Its loudest line is ω₁; the tolerance
// is a tenth of the distance of lines, 25 Hz.
func TestResonanceOfStep(t *testing.T) {
	const hz, zeta, rate, n = 2500., 0.05, 100e3, 4000
	x, step := make([]float64, n+1), make([]float64, n+1)
	for i := range x {
		x[i], step[i] = 1, 1/rate
	}
	step[0] = 1e-12
	f := resonance{ready: true}
	f.pass(x, step, hz, zeta)
	w := 2 * math.Pi * hz
	w1 := w * math.Sqrt(1-zeta*zeta)
	for i := range x {
		now := float64(i) / rate
		s, c := math.Sincos(w1 * now)
		require.InDelta(t, 1-math.Exp(-zeta*w*now)*(c+zeta*w/w1*s), x[i], 1e-6)
	}
	free := make([]float64, n)
	for i := range free {
		free[i] = x[i+1] - 1
	}
	require.InDelta(t, w1/(2*math.Pi), loudest(free, rate, 100), 2.5)
}

// Steps of any distance give the same where they meet.
func TestResonanceOfAnyStep(t *testing.T) {
	const hz, zeta = 1500, 0.03
	run := func(parts int) float64 {
		x, step := []float64{0}, []float64{1e-12}
		for k := 1; k <= 10; k++ { // a zigzag
			from, to := float64((k-1)%2), float64(k%2)
			for i := 1; i <= parts; i++ {
				x = append(x, from+(to-from)*float64(i)/float64(parts))
				step = append(step, 2e-4/float64(parts))
			}
		}
		var f resonance
		f.pass(x, step, hz, zeta)
		return x[len(x)-1]
	}
	require.InDelta(t, run(1), run(37), 1e-9) // exact: rounding
}

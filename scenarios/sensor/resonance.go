package sensor

import "math"

// resonance is a system of second order,
//
//	y'' + 2ζω·y' + ω²·y = ω²·u,
//
// solved exactly for input that is linear between samples, whatever their
// distance: about the ramp that it would follow for ever it swings freely. Its
// zero value starts at rest with the first sample.
type resonance struct {
	ready   bool
	u, y, v float64 // input, output, rate of the output [1/s]
}

// pass replaces the samples x, each step [s] after the one before, by the
// response with natural frequency hz [Hz], > 0, and damping zeta [-], 0 < ζ < 1.
func (f *resonance) pass(x, step []float64, hz, zeta float64) {
	if !f.ready && len(x) > 0 {
		*f = resonance{ready: true, u: x[0], y: x[0]}
	}
	w := 2 * math.Pi * hz
	wd := w * math.Sqrt(1-zeta*zeta)
	for i, u := range x {
		h := step[i]
		slope := (u - f.u) / h
		behind := 2 * zeta * slope / w
		z, v := f.y-(f.u-behind), f.v-slope
		e := math.Exp(-zeta * w * h)
		s, c := math.Sincos(wd * h)
		f.y = e*(z*c+(v+zeta*w*z)/wd*s) + u - behind
		f.v = e*(v*c-(w*w*z+zeta*w*v)/wd*s) + slope
		f.u = u
		x[i] = f.y
	}
}

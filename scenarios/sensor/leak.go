package sensor

// leak is a charge amplifier whose charge leaks away, a first-order high-pass,
//
//	dy/dt = du/dt − r·y,
//
// solved exactly for input that is linear between samples. In the long run the
// mean is lost; the first cycle starts as if that had happened.
type leak struct {
	ready bool
	u, y  float64
}

// pass replaces the samples x, each step [s] after the one before, by the
// response with leak rate [1/s], > 0.
func (f *leak) pass(x, step []float64, rate float64) {
	if !f.ready && len(x) > 0 {
		sum, span := 0., 0.
		for i := 1; i < len(x); i++ {
			sum += step[i] * (x[i] + x[i-1]) / 2
			span += step[i]
		}
		*f = leak{ready: true, u: x[0]}
		if span > 0 {
			f.y = x[0] - sum/span
		}
	}
	var d decay
	last, y := f.u, f.y
	for i, u := range x {
		z := rate * step[i]
		e := d.at(z)
		y = e*y + mean(z, e)*(u-last)
		last, x[i] = u, y
	}
	f.u, f.y = last, y
}

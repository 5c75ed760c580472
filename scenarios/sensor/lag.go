package sensor

// lag is a first-order low-pass,
//
//	τ·dy/dt = u − y,
//
// solved exactly for input that is linear between samples, whatever their
// distance. Its zero value starts in balance with the first sample.
type lag struct {
	ready bool
	u, y  float64
}

// pass replaces the samples x, each step [s] after the one before, by the
// response with time constant tau [s], > 0.
func (f *lag) pass(x, step []float64, tau float64) {
	if !f.ready && len(x) > 0 {
		*f = lag{true, x[0], x[0]}
	}
	var d decay
	rate, last, y := 1/tau, f.u, f.y
	for i, u := range x {
		z := step[i] * rate
		e := d.at(z)
		y = u + e*(y-last) - mean(z, e)*(u-last)
		last, x[i] = u, y
	}
	f.u, f.y = last, y
}

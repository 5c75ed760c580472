package sensor

import "math"

// decay computes exp(−z) for z that differ little from one to the next, as those
// of samples of a rippling crank do: about the z of the last exponential it is a
// polynomial, to 2e-14 of the value. Its zero value is ready.
type decay struct{ z, e float64 }

// decayNear is how far the polynomial reaches: the first term left out is
// (1/64)⁶/6! = 2e-14.
const decayNear = 1. / 64

// at returns exp(−z).
func (d *decay) at(z float64) float64 {
	x := d.z - z
	if d.e == 0 || !(math.Abs(x) < decayNear) {
		d.z, d.e = z, math.Exp(-z)
		return d.e
	}
	return d.e * (1 + x*(1+x*(1./2+x*(1./6+x*(1./24+x*(1./120))))))
}

// mean returns (1 − e)/z with e = exp(−z), z > 0: the mean of the decay over z.
// Below 0.01 the difference would lose digits, and a series is good to 1e-14.
func mean(z, e float64) float64 {
	if z < 0.01 {
		return 1 - z*(1./2-z*(1./6-z*(1./24-z*(1./120-z*(1./720)))))
	}
	return (1 - e) / z
}

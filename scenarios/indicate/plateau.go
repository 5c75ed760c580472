package indicate

import "math"

// plateauHalf is half the width of what the end of a burn is fitted over. Our own choice.
const plateauHalf = 12 * deg

// plateau is how much has burned where that is greatest, at the sample top of those from
// from to to: the greatest value of the parabola by least squares over 24 deg about it,
// or the last 24 deg. The greatest sample itself stands out by two or three times the
// noise, which made CA50 0.2 deg late and CA90 0.9 deg (noise of 0.05 bar, TestCoverage).
func (x *Indicator) plateau(from, top, to int) float64 {
	m := int(plateauHalf/(x.theta[1]-x.theta[0]) + 0.5)
	if m < 2 || to-from < 2*m+1 {
		return x.burned[top]
	}
	mid := max(from+m, min(top, to-1-m))
	var s0, s2, s4, y0, y1, y2 float64
	for i := mid - m; i <= mid+m; i++ {
		u, b := float64(i-mid), x.burned[i]
		s0, s2, s4 = s0+1, s2+u*u, s4+u*u*u*u
		y0, y1, y2 = y0+b, y1+u*b, y2+u*u*b
	}
	a2 := (y2*s0 - y0*s2) / (s4*s0 - s2*s2)
	a0, a1 := (y0-a2*s2)/s0, y1/s2
	at := func(u float64) float64 { return a0 + u*(a1+u*a2) }
	w := float64(m)
	most := math.Max(at(-w), at(w))
	if u := -a1 / (2 * a2); a2 < 0 && math.Abs(u) < w {
		most = at(u)
	}
	return most
}

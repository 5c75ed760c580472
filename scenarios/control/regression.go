package control

import "math"

// regression is a linear least-squares fit y = Σ bᵢ·xᵢ of up to 4 columns, from sums.
// Callers center and scale columns, so that the sums lose nothing. Its zero value with
// columns set is empty.
type regression struct {
	columns int
	n       int
	xx      [4][4]float64
	xy      [4]float64
	yy      float64
}

// add counts one point in.
func (r *regression) add(y float64, x [4]float64) {
	r.n++
	r.yy += y * y
	for i := range r.columns {
		r.xy[i] += x[i] * y
		for j := range r.columns {
			r.xx[i][j] += x[i] * x[j]
		}
	}
}

// clear forgets all points.
func (r *regression) clear() { *r = regression{columns: r.columns} }

// solve returns the coefficients, the diagonal of (XᵀX)⁻¹, and the variance of what is
// left of y: coefficient i has the standard error √(variance·inverse[i]). It is not
// ok with too few points, or columns that hang together.
func (r *regression) solve() (b, inverse [4]float64, variance float64, ok bool) {
	k := r.columns
	if r.n <= k {
		return b, inverse, 0, false
	}
	// Gauss and Jordan, in place: XᵀX is positive definite and needs no pivoting.
	a := r.xx
	for p := range k {
		d := a[p][p]
		if !(d > 1e-10*r.xx[p][p]) || math.IsInf(d, 0) {
			return b, inverse, 0, false
		}
		a[p][p] = 1
		for j := range k {
			a[p][j] /= d
		}
		for i := range k {
			if i == p {
				continue
			}
			f := a[i][p]
			a[i][p] = 0
			for j := range k {
				a[i][j] -= f * a[p][j]
			}
		}
	}
	left := r.yy
	for i := range k {
		inverse[i] = a[i][i]
		for j := range k {
			b[i] += a[i][j] * r.xy[j]
		}
		left -= b[i] * r.xy[i]
	}
	return b, inverse, math.Max(0, left) / float64(r.n-k), true
}

package indicate

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// within returns the range of samples from from to to [rad].
func within(theta []float64, from, to float64) (int, int) {
	return sort.SearchFloat64s(theta, from), min(len(theta), sort.SearchFloat64s(theta, to)+1)
}

// polynomial fits one of the degree to p over u = (theta−at)/scale by least squares, and
// returns its coefficients from that of 1 on. NaN with too few samples.
func polynomial(theta, p []float64, at, scale float64, degree int) []float64 {
	rows := make([][]float64, len(theta))
	for i, v := range theta {
		rows[i] = make([]float64, degree+1)
		u := 1.
		for k := range rows[i] {
			rows[i][k] = u
			u *= (v - at) / scale
		}
	}
	return leastSquares(rows, p)
}

// leastSquares returns the coefficients of the columns of rows that come nearest to y;
// NaN where those are not told.
func leastSquares(rows [][]float64, y []float64) []float64 {
	n := len(rows[0])
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	if len(rows) < n {
		return out
	}
	a := mat.NewDense(len(rows), n, nil)
	for i, r := range rows {
		a.SetRow(i, r)
	}
	var qr mat.QR
	qr.Factorize(a)
	var c mat.VecDense
	if err := qr.SolveVecTo(&c, false, mat.NewVecDense(len(y), y)); err != nil {
		return out
	}
	for i := range out {
		out[i] = c.AtVec(i)
	}
	return out
}

// cubic is p and its slope at an angle, given at evenly spaced angles theta, on the cubic
// through four neighbours.
func cubic(theta, p []float64, at float64) (value, slope float64) {
	h := theta[1] - theta[0]
	k := max(1, min(len(p)-3, int((at-theta[0])/h)))
	u := (at - theta[k]) / h
	a, b, c, d := p[k-1], p[k], p[k+1], p[k+2]
	c1 := c - a/3 - b/2 - d/6
	c2 := (a+c)/2 - b
	c3 := (d-a)/6 + (b-c)/2
	return b + u*(c1+u*(c2+u*c3)), (c1 + u*(2*c2+u*3*c3)) / h
}

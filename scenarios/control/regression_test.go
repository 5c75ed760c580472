package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// The same as gonum's QR factorisation on the same points, right to rounding.
func TestRegression(t *testing.T) {
	r := regression{columns: 3}
	x, y := mat.NewDense(20, 3, nil), mat.NewVecDense(20, nil)
	for i := range 20 {
		u := float64(i)/10 - 1
		row := [4]float64{1, u, u * u}
		v := 2 - 0.3*u - u*u + 0.05*math.Sin(7*float64(i))
		r.add(v, row)
		x.SetRow(i, row[:3])
		y.SetVec(i, v)
	}
	var want, left mat.VecDense
	require.NoError(t, want.SolveVec(x, y))
	left.MulVec(x, &want)
	left.SubVec(y, &left)
	var normal, inverse mat.Dense
	normal.Mul(x.T(), x)
	require.NoError(t, inverse.Inverse(&normal))
	b, diagonal, variance, ok := r.solve()
	require.True(t, ok)
	for i := range 3 {
		require.InDelta(t, want.AtVec(i), b[i], 1e-12)
		require.InDelta(t, inverse.At(i, i), diagonal[i], 1e-12)
	}
	require.InDelta(t, mat.Dot(&left, &left)/17, variance, 1e-12)
}

// Too few points, columns that hang together and what is no number give nothing.
func TestRegressionNothing(t *testing.T) {
	for name, at := range map[string]func(i int) (float64, [4]float64){
		"same": func(i int) (float64, [4]float64) { return float64(i), [4]float64{1, 2, 4} },
		"NaN":  func(i int) (float64, [4]float64) { return 1, [4]float64{1, math.NaN(), 1} },
		"huge": func(i int) (float64, [4]float64) { return 1, [4]float64{1, 1e300, float64(i)} },
	} {
		r := regression{columns: 3}
		for i := range 10 {
			r.add(at(i))
		}
		_, _, _, ok := r.solve()
		require.False(t, ok, name)
	}
	r := regression{columns: 2}
	r.add(1, [4]float64{1, 1})
	r.add(2, [4]float64{1, 2})
	_, _, _, ok := r.solve()
	require.False(t, ok)
	r.add(3, [4]float64{1, 3})
	_, _, _, ok = r.solve()
	require.True(t, ok)
	r.clear()
	require.Equal(t, regression{columns: 2}, r)
}

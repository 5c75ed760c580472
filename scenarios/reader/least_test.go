package reader

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A straight line through five points, by hand: slope 0.6, offset 2.2 (Σx 15, Σy 20,
// Σx² 55, Σxy 66), covariance (XᵀX)⁻¹ with determinant 50. A run
// ends where a step gains less than 1e-4 of the cost, hence 1e-5.
func TestLeastLine(t *testing.T) {
	y := []float64{2, 4, 5, 4, 5}
	f := least{step: [mostUnknowns]float64{1e-4, 1e-4}}
	f.run(2, len(y), 20, func(dst *residuals, p []float64) {
		for i := range y {
			dst.r[i] = p[0] + p[1]*float64(i+1) - y[i]
		}
	})
	require.InDelta(t, 2.2, f.p[0], 1e-5)
	require.InDelta(t, 0.6, f.p[1], 1e-5)
	require.InDelta(t, 2.4, f.cost, 1e-9)
	require.InDelta(t, 55./50, f.variance([]float64{1, 0}), 1e-6)
	require.InDelta(t, 5./50, f.variance([]float64{0, 1}), 1e-6)
	require.InDelta(t, 55./50+9*5./50-2*3*15./50, f.variance([]float64{1, 3}), 1e-6)
}

// Rosenbrock's valley from its usual start, with its own slopes: the least is 0 at (1, 1).
func TestLeastValley(t *testing.T) {
	var f least
	f.p[0], f.p[1] = -1.2, 1
	f.run(2, 2, 200, func(dst *residuals, p []float64) {
		dst.r[0], dst.jac[0][0], dst.jac[1][0] = 10*(p[1]-p[0]*p[0]), -20*p[0], 10
		dst.r[1], dst.jac[0][1], dst.jac[1][1] = 1-p[0], -1, 0
	})
	require.InDelta(t, 1, f.p[0], 1e-4)
	require.InDelta(t, 1, f.p[1], 1e-4)
}

// What the samples do not tell has no finite variance.
func TestLeastOpen(t *testing.T) {
	f := least{step: [mostUnknowns]float64{1e-4, 1e-4}}
	f.run(2, 3, 10, func(dst *residuals, p []float64) {
		for i := range dst.r {
			dst.r[i] = p[0] - 3
		}
	})
	require.InDelta(t, 3, f.p[0], 1e-6)
	require.Greater(t, f.variance([]float64{0, 1}), 1e20)
	require.False(t, math.IsNaN(f.variance([]float64{0, 1})))
}

// requireSlopes demands that the columns of a model at p, m residuals, are what
// central differences of 1e-6 give, to 1e-6 of the greatest in a column: rounding and
// the curvature leave less than 1e-7.
func requireSlopes(t *testing.T, m int, p []float64, model func(dst *residuals, p []float64)) {
	const step = 1e-6
	var at, low, high residuals
	for _, s := range []*residuals{&at, &low, &high} {
		s.size(m)
	}
	model(&at, p)
	for i := range p {
		q := append([]float64(nil), p...)
		q[i] = p[i] - step
		model(&low, q)
		q[i] = p[i] + step
		model(&high, q)
		most := 0.
		for _, v := range at.jac[i] {
			most = math.Max(most, math.Abs(v))
		}
		for k, v := range at.jac[i] {
			require.InDelta(t, (high.r[k]-low.r[k])/(2*step), v, 1e-6*most, "unknown %d, residual %d", i, k)
		}
	}
}

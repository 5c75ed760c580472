package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// covariance returns that of the parameters at x and, for each, how many degrees of
// freedom it was told from.
//
// Least squares turns every cycle into a move of its own, A⁻¹·JᵀW·(cycle − mean); the
// scatter of those moves from stretch to stretch of the recording is that of the result,
// whatever the cycles have in common or not: noise, ragged burning, drift (the sandwich
// of Huber 1967 and White 1982, from memory, over stretches). Degrees of freedom after
// Welch 1947 and Satterthwaite 1946 (from memory).
func (p *problem) covariance(x vector) (*mat.SymDense, []float64, error) {
	_, slopes, err := p.jacobian(x)
	if err != nil {
		return nil, nil, err
	}
	n := p.count
	unit := make([]float64, n) // parameters over their own size, for the sake of the inverse
	for i := range unit {
		unit[i] = 1 / math.Sqrt(math.Max(p.product(slopes[i], slopes[i]), 1e-300))
	}
	a := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			a.SetSym(i, j, p.product(slopes[i], slopes[j])*unit[i]*unit[j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) || chol.Cond() > 1e14 {
		return nil, nil, fmt.Errorf("fit: the recording does not tell the parameters apart")
	}
	total := mat.NewSymDense(n, nil)
	top, below := make([]float64, n), make([]float64, n)
	for s := range p.sets {
		set := &p.sets[s]
		if set.count == 0 {
			continue
		}
		part := mat.NewSymDense(n, nil)
		blocks := float64(len(set.blocks))
		for b, mean := range set.blocks {
			push, move := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
			for i := range n {
				sum := 0.
				for j, w := range set.weight {
					sum += w * (mean[j] - set.mean[j]) * slopes[i][s][j]
				}
				push.SetVec(i, sum*unit[i])
			}
			if err := chol.SolveVecTo(move, push); err != nil {
				return nil, nil, fmt.Errorf("fit: %w", err)
			}
			for i := range n {
				move.SetVec(i, move.AtVec(i)*unit[i])
			}
			part.SymRankOne(part, set.share[b]*set.share[b]*blocks/(blocks-1), move)
		}
		for i := range n {
			v := part.At(i, i)
			top[i], below[i] = top[i]+v, below[i]+v*v/(blocks-1)
		}
		total.AddSym(total, part)
	}
	freedom := make([]float64, n)
	for i := range freedom {
		freedom[i] = top[i] * top[i] / below[i]
	}
	return total, freedom, nil
}

// confident is the half width over the standard error of an interval that covers 95 %.
func confident(freedom float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Max(1, freedom)}.Quantile(0.975)
}

// profile holds a parameter at places up to three errors either way.
func (p *problem) profile(x vector, i int, e float64) (Profile, error) {
	out := Profile{Parameter: i}
	least, slope := p.buffers(), p.buffers()
	if err := p.predicted(x, least, slope); err != nil {
		return out, err
	}
	base := p.cost(least)
	for _, k := range []float64{-3, -2, -1, 0, 1, 2, 3} {
		y := x
		y[i] += k * e
		if !(y[i] > p.bounds[0][i] && y[i] < p.bounds[1][i]) {
			continue
		}
		cost := base
		if k != 0 {
			var err error
			if _, cost, err = p.minimise(y, i); err != nil {
				return out, err
			}
		}
		out.At, out.Worse = append(out.At, y[i]), append(out.Worse, cost-base)
	}
	return out, nil
}

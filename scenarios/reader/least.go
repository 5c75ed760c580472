package reader

import "math"

// mostUnknowns of a fit.
const mostUnknowns = 8

// least finds the least sum of squares of residuals by the method of Levenberg
// and Marquardt, with derivatives from differences. It keeps its buffers.
type least struct {
	p     [mostUnknowns]float64               // where it is
	step  [mostUnknowns]float64               // for the differences, in the unit of each unknown
	cost  float64                             // sum of squares there
	curve [mostUnknowns][mostUnknowns]float64 // JᵀJ there: the inverse of the covariance

	slope    [mostUnknowns]float64 // Jᵀr
	probe    [mostUnknowns]float64
	r, trial []float64
	jac      [mostUnknowns][]float64
	system   [mostUnknowns][mostUnknowns]float64
	move     [mostUnknowns]float64
}

// run walks from p, n unknowns and m residuals, at most so many steps. residuals
// stores those at p in dst.
func (f *least) run(n, m, steps int, residuals func(dst, p []float64)) {
	if cap(f.r) < m {
		f.r, f.trial = make([]float64, m), make([]float64, m)
		for i := range f.jac {
			f.jac[i] = make([]float64, m)
		}
	}
	f.r, f.trial = f.r[:m], f.trial[:m]
	residuals(f.r, f.p[:n])
	f.cost = squares(f.r)
	damp := 1e-3
	for range steps {
		f.linear(n, m, residuals)
		better := false
		for range 6 {
			if !f.solve(n, damp) {
				damp *= 10
				continue
			}
			for i := range n {
				f.probe[i] = f.p[i] + f.move[i]
			}
			residuals(f.trial, f.probe[:n])
			if c := squares(f.trial); c < f.cost {
				better = f.cost-c > 1e-4*f.cost
				f.cost, f.p = c, f.probe
				f.r, f.trial = f.trial, f.r
				damp = math.Max(damp/10, 1e-9)
				break
			}
			damp *= 10
		}
		if !better {
			break
		}
	}
}

// linear sets slope and curve at p.
func (f *least) linear(n, m int, residuals func(dst, p []float64)) {
	for i := range n {
		j := f.jac[i][:m]
		f.probe = f.p
		f.probe[i] += f.step[i]
		residuals(j, f.probe[:n])
		for k := range j {
			j[k] = (j[k] - f.r[k]) / f.step[i]
		}
	}
	for i := range n {
		f.slope[i] = dot(f.jac[i][:m], f.r)
		for j := range i + 1 {
			f.curve[i][j] = dot(f.jac[i][:m], f.jac[j][:m])
			f.curve[j][i] = f.curve[i][j]
		}
	}
}

// solve sets move to that of (JᵀJ + damp·diag)·move = −Jᵀr.
func (f *least) solve(n int, damp float64) bool {
	f.system = f.curve
	for i := range n {
		f.system[i][i] += damp*f.curve[i][i] + 1e-30
		f.move[i] = -f.slope[i]
	}
	return cholesky(&f.system, f.move[:n])
}

// variance returns that of c·p at the end of a run, 1 a residual's: cᵀ(JᵀJ)⁻¹c. +Inf
// if it is not determined.
func (f *least) variance(c []float64) float64 {
	f.system = f.curve
	copy(f.move[:], c)
	if !cholesky(&f.system, f.move[:len(c)]) {
		return math.Inf(1)
	}
	return dot(c, f.move[:len(c)])
}

// cholesky replaces x by the solution of a·y = x; a is symmetric, and is lost. It
// returns false if a is not positive definite.
func cholesky(a *[mostUnknowns][mostUnknowns]float64, x []float64) bool {
	n := len(x)
	for i := range n {
		for j := range i + 1 {
			s := a[i][j]
			for k := range j {
				s -= a[i][k] * a[j][k]
			}
			if i != j {
				a[i][j] = s / a[j][j]
				continue
			}
			if !(s > 0) {
				return false
			}
			a[i][i] = math.Sqrt(s)
		}
	}
	for i := range n {
		for k := range i {
			x[i] -= a[i][k] * x[k]
		}
		x[i] /= a[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= a[k][i] * x[k]
		}
		x[i] /= a[i][i]
	}
	return true
}

func squares(x []float64) float64 { return dot(x, x) }

func dot(x, y []float64) float64 {
	sum := 0.
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

package reader

import "math"

// mostUnknowns of a fit.
const mostUnknowns = 8

// least finds the least sum of squares of residuals by the method of Levenberg
// and Marquardt. It keeps its buffers.
type least struct {
	p     [mostUnknowns]float64               // where it is
	step  [mostUnknowns]float64               // for slopes from differences, in the unit of each unknown; 0: the model makes them
	cost  float64                             // sum of squares there
	curve [mostUnknowns][mostUnknowns]float64 // JᵀJ there: the inverse of the covariance

	slope      [mostUnknowns]float64 // Jᵀr
	probe      [mostUnknowns]float64
	now, trial residuals // at p, at probe
	system     [mostUnknowns][mostUnknowns]float64
	move       [mostUnknowns]float64
}

// residuals are those at one place, and how each answers to the unknowns.
type residuals struct {
	r   []float64
	jac [mostUnknowns][]float64 // dr/dp, a column to an unknown
}

// size makes room for m residuals.
func (s *residuals) size(m int) {
	if cap(s.r) < m {
		s.r = make([]float64, m)
		for i := range s.jac {
			s.jac[i] = make([]float64, m)
		}
	}
	s.r = s.r[:m]
	for i := range s.jac {
		s.jac[i] = s.jac[i][:m]
	}
}

// run walks from p, n unknowns and m residuals, at most so many steps. model
// stores what is at p in dst: every residual, and the columns that have no step.
func (f *least) run(n, m, steps int, model func(dst *residuals, p []float64)) {
	f.now.size(m)
	f.trial.size(m)
	model(&f.now, f.p[:n])
	f.cost = squares(f.now.r)
	damp := 1e-3
	for range steps {
		f.linear(n, model)
		better := false
		for range 6 {
			if !f.solve(n, damp) {
				damp *= 10
				continue
			}
			for i := range n {
				f.probe[i] = f.p[i] + f.move[i]
			}
			model(&f.trial, f.probe[:n])
			if c := squares(f.trial.r); c < f.cost {
				better = f.cost-c > 1e-4*f.cost
				f.cost, f.p = c, f.probe
				f.now, f.trial = f.trial, f.now
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
func (f *least) linear(n int, model func(dst *residuals, p []float64)) {
	jac := &f.now.jac
	for i := range n {
		if f.step[i] == 0 {
			continue
		}
		f.probe = f.p
		f.probe[i] += f.step[i]
		model(&f.trial, f.probe[:n])
		for k, r := range f.trial.r {
			jac[i][k] = (r - f.now.r[k]) / f.step[i]
		}
	}
	for i := range n {
		f.slope[i] = dot(jac[i], f.now.r)
		for j := range i + 1 {
			f.curve[i][j] = dot(jac[i], jac[j])
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

package solve

import "math"

// cycleState is what one cycle hands on to the next at intake closing.
type cycleState [nCarried]float64

// The components of cycleState.
const (
	carryM     = iota // mass in the chamber [kg]
	carryT            // temperature [K]
	carryB            // burned mass fraction [-]
	carryRing         // burned mass in the crevice [kg]
	carryPortM        // as onePortM and so on
	carryPortB
	carryPortH
	carryPortT
	carryExitH
	carryExitB
	carryExitT
	nCarried
)

// memory is how many earlier cycles take part in the acceleration.
const memory = 3

// accelerator finds the state that a cycle returns unchanged, by Anderson's
// method (D.G. Anderson, J. ACM 12:547, 1965): the next state is that
// combination of the last few that would have changed least, were a cycle
// linear.
type accelerator struct {
	scale  cycleState
	x, g   [memory + 1]cycleState // states before and after a cycle, latest first
	stored int
}

// next takes that a cycle turned x into g and returns what to try now.
func (a *accelerator) next(x, g *cycleState) cycleState {
	for k := memory; k > 0; k-- {
		a.x[k], a.g[k] = a.x[k-1], a.g[k-1]
	}
	a.x[0], a.g[0] = *x, *g
	a.stored = min(a.stored+1, memory+1)
	n := a.stored - 1
	// Least squares for the weights of the differences of residuals.
	var m [memory][memory + 1]float64
	residual := func(k, i int) float64 { return (a.g[k][i] - a.x[k][i]) / a.scale[i] }
	for i := range nCarried {
		for p := range n {
			dp := residual(0, i) - residual(p+1, i)
			for q := range n {
				m[p][q] += dp * (residual(0, i) - residual(q+1, i))
			}
			m[p][memory] += dp * residual(0, i)
		}
	}
	for p := range n {
		m[p][p] *= 1 + 1e-10 // keeps equal cycles from making it singular
	}
	w, ok := weights(&m, n)
	if !ok {
		a.stored = 1
		return *g
	}
	out := *g
	for i := range out {
		for p := range n {
			out[i] -= w[p] * (a.g[0][i] - a.g[p+1][i])
		}
	}
	for _, i := range []int{carryM, carryT, carryExitT} {
		if !(out[i] > 0.3*g[i] && out[i] < 3*g[i]) {
			a.stored = 1
			return *g
		}
	}
	out[carryB] = math.Max(0, math.Min(1, out[carryB]))
	out[carryExitB] = math.Max(0, math.Min(1, out[carryExitB]))
	out[carryRing] = math.Max(0, out[carryRing])
	if !(out[carryPortM] >= 0 && out[carryPortT] >= 0 && out[carryPortB] >= 0) {
		for i := carryPortM; i <= carryPortT; i++ {
			out[i] = g[i]
		}
	}
	return out
}

// weights solves the n equations of m by elimination with pivots.
func weights(m *[memory][memory + 1]float64, n int) (w [memory]float64, ok bool) {
	for k := range n {
		best := k
		for r := k + 1; r < n; r++ {
			if math.Abs(m[r][k]) > math.Abs(m[best][k]) {
				best = r
			}
		}
		m[k], m[best] = m[best], m[k]
		if !(math.Abs(m[k][k]) > 0) {
			return w, false
		}
		for r := k + 1; r < n; r++ {
			f := m[r][k] / m[k][k]
			for c := k; c <= memory; c++ {
				m[r][c] -= f * m[k][c]
			}
		}
	}
	for k := n - 1; k >= 0; k-- {
		w[k] = m[k][memory]
		for c := k + 1; c < n; c++ {
			w[k] -= m[k][c] * w[c]
		}
		w[k] /= m[k][k]
		if math.IsNaN(w[k]) || math.Abs(w[k]) > 1e3 {
			return w, false
		}
	}
	return w, true
}

// change is the greatest change of what matters between x and g, relative.
func change(x, g *cycleState) float64 {
	worst := math.Abs(g[carryM]-x[carryM]) / x[carryM]
	worst = math.Max(worst, math.Abs(g[carryT]-x[carryT])/x[carryT])
	return math.Max(worst, math.Abs(g[carryB]-x[carryB]))
}

package fit

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"
)

// places are starts, as factors on compression ratio and wall heat, and a shift. Our own
// choice.
var places = [...]struct{ ratio, wall, shift float64 }{{1, 1, 0}, {0.88, 0.5, 1.5 * deg}, {1.12, 1.8, -1.5 * deg}, {1.05, 0.7, 3 * deg}}

// place is start k.
func (p *problem) place(k int) vector {
	x := p.start
	x[Ratio] *= places[k].ratio
	x[Wall] = math.Min(x[Wall]*places[k].wall, 0.8*p.bounds[1][Wall])
	x[Shift] += places[k].shift
	return x
}

// free turns parameters into numbers without bounds, and back: v = low + (high − low) /
// (1 + e^−u).
func (p *problem) free(x vector, i int) float64 {
	s := (x[i] - p.bounds[0][i]) / (p.bounds[1][i] - p.bounds[0][i])
	s = math.Min(math.Max(s, 1e-6), 1-1e-6)
	return math.Log(s / (1 - s))
}

func (p *problem) bound(u float64, i int) (value, slope float64) {
	s := 1 / (1 + math.Exp(-u))
	width := p.bounds[1][i] - p.bounds[0][i]
	return p.bounds[0][i] + width*s, width * s * (1 - s)
}

// known keeps the last evaluation, which optimize asks for in three parts.
type known struct {
	u    []float64
	cost float64
	grad []float64
	hess *mat.SymDense
}

// minimise moves all parameters but held (-1: none) from x to where the weighted sum of
// squares is least: Newton's method of gonum with Gauss's Hessian.
func (p *problem) minimise(x vector, held int) (vector, float64, error) {
	var moving []int
	for i := range p.count {
		if i != held {
			moving = append(moving, i)
		}
	}
	full := func(u []float64) vector {
		y := x
		for k, i := range moving {
			y[i], _ = p.bound(u[k], i)
		}
		return y
	}
	var first error
	dst, slope := p.buffers(), p.buffers()
	function := func(u []float64) float64 {
		if err := p.predicted(full(u), dst, slope); err != nil {
			if first == nil {
				first = err
			}
			return math.Inf(1)
		}
		return p.cost(dst)
	}
	last := known{}
	both := func(u []float64) *known {
		if last.u != nil && slices.Equal(last.u, u) {
			return &last
		}
		n := len(u)
		last = known{slices.Clone(u), 0, make([]float64, n), mat.NewSymDense(n, nil)}
		at, slopes, err := p.jacobian(full(u))
		if err != nil {
			for k := range last.grad {
				last.grad[k] = math.NaN()
			}
			return &last
		}
		scale := make([]float64, n)
		for k, i := range moving {
			_, scale[k] = p.bound(u[k], i)
		}
		for a := range n {
			for s := range p.sets {
				for j, w := range p.sets[s].weight {
					last.grad[a] -= w * (p.sets[s].mean[j] - at[s][j]) * slopes[moving[a]][s][j] * scale[a]
				}
			}
			for b := a; b < n; b++ {
				last.hess.SetSym(a, b, p.product(slopes[moving[a]], slopes[moving[b]])*scale[a]*scale[b])
			}
		}
		return &last
	}
	u := make([]float64, len(moving))
	for k, i := range moving {
		u[k] = p.free(x, i)
	}
	result, err := optimize.Minimize(optimize.Problem{
		Func: function,
		Grad: func(grad, u []float64) { copy(grad, both(u).grad) },
		Hess: func(hess *mat.SymDense, u []float64) { hess.CopySym(both(u).hess) },
	}, u, &optimize.Settings{
		MajorIterations: 60, GradientThreshold: 1e-12,
		Converger: &optimize.FunctionConverge{Absolute: 1e-5, Iterations: 3},
	}, &optimize.Newton{})
	if result == nil || math.IsInf(result.F, 0) || math.IsNaN(result.F) {
		if first != nil {
			err = first
		}
		return x, math.Inf(1), fmt.Errorf("fit: %w", err)
	}
	// A line search that can find nothing better has arrived too.
	return full(result.X), result.F, nil
}

// cost is half the weighted sum of squares of what the recording has beyond at.
func (p *problem) cost(at [2][]float64) float64 {
	total := 0.
	for s := range p.sets {
		for j, w := range p.sets[s].weight {
			d := p.sets[s].mean[j] - at[s][j]
			total += w * d * d / 2
		}
	}
	return total
}

// product is the weighted product of two slopes.
func (p *problem) product(a, b [2][]float64) float64 {
	total := 0.
	for s := range p.sets {
		for j, w := range p.sets[s].weight {
			total += w * a[s][j] * b[s][j]
		}
	}
	return total
}

// quantile of unsorted numbers; NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return stat.Quantile(q, stat.LinInterp, v, nil)
}

package ode

import (
	"fmt"
	"math"
)

// Settings controls a Solver; nil or a zero field means the default.
type Settings struct {
	// RelTol is the local error allowed relative to the state;
	// default 1e-8, from 1e-14 to below 1.
	RelTol float64

	// AbsTol is the local error allowed in each component besides
	// RelTol times its size, in the unit of that component, > 0;
	// default RelTol × 1 unit for every component.
	AbsTol []float64

	// MaxStep is the largest |step|; default: no limit.
	MaxStep float64

	// FirstStep is the first |step| tried in every segment between breaks;
	// default: estimated from the right-hand side, one evaluation each.
	FirstStep float64

	// MaxSteps limits the steps tried, rejected ones included, in one call
	// of Integrate; default 100000.
	MaxSteps int
}

const (
	defaultRelTol   = 1e-8
	minRelTol       = 1e-14
	defaultMaxSteps = 100_000
)

// withDefaults returns a copy for n components.
func (s *Settings) withDefaults(n int) Settings {
	var t Settings
	if s != nil {
		t = *s
	}
	if t.RelTol == 0 {
		t.RelTol = defaultRelTol
	}
	if t.MaxStep == 0 {
		t.MaxStep = math.Inf(1)
	}
	if t.MaxSteps == 0 {
		t.MaxSteps = defaultMaxSteps
	}
	abs := make([]float64, n)
	if t.AbsTol != nil {
		checkLen("Settings.AbsTol", len(t.AbsTol), n)
		copy(abs, t.AbsTol)
	} else {
		for i := range abs {
			abs[i] = t.RelTol
		}
	}
	t.AbsTol = abs
	return t
}

func (s *Settings) check() error {
	if !(s.RelTol >= minRelTol && s.RelTol < 1) {
		return fmt.Errorf("ode: Settings.RelTol = %g, want from %g to below 1", s.RelTol, minRelTol)
	}
	for i, tol := range s.AbsTol {
		if !(tol > 0 && tol <= math.MaxFloat64) {
			return fmt.Errorf("ode: Settings.AbsTol[%d] = %g, want > 0 and finite", i, tol)
		}
	}
	if !(s.MaxStep > 0) {
		return fmt.Errorf("ode: Settings.MaxStep = %g, want > 0", s.MaxStep)
	}
	if !(s.FirstStep >= 0 && s.FirstStep <= math.MaxFloat64) {
		return fmt.Errorf("ode: Settings.FirstStep = %g, want >= 0 and finite", s.FirstStep)
	}
	if s.MaxSteps < 0 {
		return fmt.Errorf("ode: Settings.MaxSteps = %d, want >= 0", s.MaxSteps)
	}
	return nil
}

// Step-size control by a proportional-integral law. Sources: K. Gustafsson,
// Control theoretic techniques for stepsize selection in explicit Runge-Kutta
// methods, ACM Trans. Math. Softw. 17 (1991) 533-554; E. Hairer, G. Wanner,
// Solving Ordinary Differential Equations II, IV.2, with β = 0.04.
const (
	beta      = 0.04
	alpha     = 1./order - 0.75*beta
	safety    = 0.9
	minFactor = 0.2
	maxFactor = 10
	minError  = 1e-4 // smallest remembered error
	nanFactor = 0.1  // after a result that is not finite
)

// control remembers what the law needs from the steps before.
type control struct {
	last     float64 // error of the last accepted step
	rejected bool    // the last try was rejected
}

func (c *control) reset() { *c = control{last: minError} }

// accept returns the factor of the next step after an error norm <= 1.
func (c *control) accept(norm float64) float64 {
	f := safety * math.Pow(c.last, beta) / math.Pow(norm, alpha)
	f = min(max(f, minFactor), maxFactor)
	if c.rejected {
		f = min(f, 1)
	}
	c.last = max(norm, minError)
	c.rejected = false
	return f
}

// reject returns the factor for the repeated step after an error norm > 1.
func (c *control) reject(norm float64) float64 {
	c.rejected = true
	if !isFinite(norm) {
		return nanFactor
	}
	return max(minFactor, safety/math.Pow(norm, alpha))
}

// errorNorm returns the root mean square of the error estimate over the
// tolerance; it is not finite if the new state or the estimate is not.
func (s *Step) errorNorm(set *Settings) float64 {
	sum := 0.
	for i, tol := range set.AbsTol {
		est := 0.
		for j, ej := range e {
			if ej != 0 {
				est += ej * s.k[j][i]
			}
		}
		scale := tol + set.RelTol*max(math.Abs(s.y[i]), math.Abs(s.next[i]))
		if !isFinite(s.next[i]) || !isFinite(scale) {
			return math.NaN()
		}
		q := s.h * est / scale
		sum += q * q
	}
	return math.Sqrt(sum / float64(len(set.AbsTol)))
}

// firstStep estimates |h| for the start of a segment of length span; y and
// k[0] are given, dir is the sign of h, limit the largest |h|.
// Source: Hairer, Norsett, Wanner, II.4, "Starting step size", with x counted
// in units of span, so that the result does not depend on the unit of x.
func (s *Step) firstStep(f *field, set *Settings, x, dir, span, limit float64) float64 {
	const tiny = 1e-6 // of span
	limit = min(limit/span, 1)
	d0 := rms(s.y, nil, s.y, set)
	d1 := rms(s.k[0], nil, s.y, set) * span
	h0 := tiny
	if d0 >= 1e-5 && d1 >= 1e-5 {
		h0 = 0.01 * d0 / d1
	}
	h0 = min(h0, limit, 0.5) // within the segment, whatever the rounding
	step := dir * h0 * span
	for i, y := range s.y {
		s.arg[i] = y + step*s.k[0][i]
	}
	f.derive(s.k[1], x+step, s.arg)
	d2 := rms(s.k[1], s.k[0], s.y, set) * span / h0
	if !isFinite(d2) {
		return nanFactor * h0 * span
	}
	h1 := max(tiny, 1e-3*h0)
	if m := max(d1, d2); m > 1e-15 {
		h1 = math.Pow(0.01/m, 1./order)
	}
	return min(100*h0, h1, limit) * span
}

// rms returns the root mean square of v-w over the tolerance at y.
func rms(v, w, y []float64, set *Settings) float64 {
	sum := 0.
	for i := range v {
		q := v[i]
		if w != nil {
			q -= w[i]
		}
		q /= set.AbsTol[i] + set.RelTol*math.Abs(y[i])
		sum += q * q
	}
	return math.Sqrt(sum / float64(len(v)))
}

// minStep returns the least |h| a step may shrink to: 16 units in the last
// place of the larger of x and the end of its segment.
func minStep(x, end float64) float64 {
	const eps = 0x1p-52
	return 16 * eps * max(math.Abs(x), math.Abs(end))
}

func isFinite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

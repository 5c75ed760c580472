package ode

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Reasons why Integrate fails; the error it returns wraps one of them with the
// place and the numbers.
var (
	ErrStepTooSmall = errors.New("step too small")
	ErrTooManySteps = errors.New("too many steps")
	ErrNotFinite    = errors.New("not a finite number")
)

// System is y' = f(x, y).
type System interface {
	// Derive stores dy/dx at (x, y) in dst. It never keeps a slice or
	// writes y. It may be called at any x of the current segment, in any
	// order, with states that are later thrown away.
	Derive(dst []float64, x float64, y []float64)
}

// Func makes a function a System.
type Func func(dst []float64, x float64, y []float64)

// Derive calls f.
func (f Func) Derive(dst []float64, x float64, y []float64) { f(dst, x, y) }

// Segmenter is a System that wants to know between which breaks it is called.
type Segmenter interface {
	System

	// Segment announces that until its next call every Derive has x in the
	// closed interval between from and to, both ends included exactly.
	// There f must be smooth: at from and to it takes its limit from
	// inside. In a backward integration to < from.
	Segment(from, to float64)
}

// Run holds what belongs to one integration; nil or a zero field means none.
type Run struct {
	// Breaks are the x where f or one of its derivatives jumps, ascending.
	// A step ends at each break between x0 and x1, and f is evaluated
	// afresh behind it; the others are ignored. A break at x0 or x1 counts
	// as an end of a segment (see Solver.Integrate).
	Breaks []float64

	Events []Event

	// OnStep is called after each accepted step. An error ends the
	// integration and is returned wrapped.
	OnStep func(*Step) error

	// OnEvent is called after OnStep for each event in the step, in the
	// order of integration. An error ends the integration like one of
	// OnStep.
	OnEvent func(Hit) error
}

// Stats counts work.
type Stats struct {
	Steps       int // accepted
	Rejected    int
	Evaluations int // calls of Derive
}

// Result says where an integration ended.
type Result struct {
	Stats
	X     float64 // where the returned state belongs
	Event int     // index of the terminal event that ended it, or -1
}

// Solver owns the workspace of integrations of n components. It may be used
// again and again, but by one goroutine at a time.
type Solver struct {
	n     int
	set   Settings
	step  Step
	ctl   control
	watch watch
	field field
}

// field is the system as seen in one segment, with the count of its calls.
type field struct {
	sys          System
	from, to     float64
	atFrom, atTo float64 // x handed to Derive at from and to
	calls        int
}

func (f *field) derive(dst []float64, x float64, y []float64) {
	switch x {
	case f.from:
		x = f.atFrom
	case f.to:
		x = f.atTo
	}
	f.calls++
	f.sys.Derive(dst, x, y)
}

// New returns a solver for n components, n > 0. Settings are copied; values
// out of range are reported by Integrate.
func New(n int, set *Settings) *Solver {
	if n <= 0 {
		panic(fmt.Sprintf("ode: n = %d, want > 0", n))
	}
	s := &Solver{n: n, set: set.withDefaults(n)}
	s.step.init(n)
	s.watch.y = make([]float64, n)
	return s
}

// Integrate carries y from x0 to x1, which may lie before x0, or to a terminal
// event. On return y is the state at Result.X, also if there is an error: then
// it is the last state accepted.
//
// At a break f has two values: its limit from the segment that ends there and
// its limit from the one that begins. A Segmenter is called at exactly the
// break and told which segment it is in. Any other System is called one unit
// in the last place inside the segment instead, so that a plain x < break or
// x <= break takes the right branch.
//
// It allocates only to return an error, or if a Run has more events than any
// before.
func (s *Solver) Integrate(sys System, x0, x1 float64, y []float64, run *Run) (Result, error) {
	checkLen("y", len(y), s.n)
	res := Result{X: x0, Event: -1}
	if run == nil {
		run = &none
	}
	if err := s.check(x0, x1, y, run); err != nil {
		return res, err
	}
	if x0 == x1 {
		return res, nil
	}
	copy(s.step.y, y)
	s.field = field{sys: sys}
	err := s.watch.start(run.Events, x0, y)
	for err == nil && res.X != x1 && res.Event < 0 {
		s.enter(res.X, nextBreak(run.Breaks, res.X, x1), run.Breaks)
		err = s.segment(&res, run)
	}
	copy(y, s.step.y)
	res.Evaluations = s.field.calls
	s.field.sys = nil
	return res, err
}

// none is the Run that asks for nothing.
var none Run

func (s *Solver) check(x0, x1 float64, y []float64, run *Run) error {
	if err := s.set.check(); err != nil {
		return err
	}
	if !isFinite(x0) || !isFinite(x1) || !isFinite(x1-x0) {
		return fmt.Errorf("ode: interval from %g to %g: %w", x0, x1, ErrNotFinite)
	}
	for i, v := range y {
		if !isFinite(v) {
			return fmt.Errorf("ode: at x = %g: y[%d] = %g: %w", x0, i, v, ErrNotFinite)
		}
	}
	return checkAscending("Run.Breaks", run.Breaks)
}

// enter prepares the field for the segment from → to.
func (s *Solver) enter(from, to float64, breaks []float64) {
	f := &s.field
	f.from, f.to, f.atFrom, f.atTo = from, to, from, to
	if seg, ok := f.sys.(Segmenter); ok {
		seg.Segment(from, to)
		return
	}
	if _, ok := slices.BinarySearch(breaks, from); ok {
		f.atFrom = math.Nextafter(from, to)
	}
	if _, ok := slices.BinarySearch(breaks, to); ok {
		f.atTo = math.Nextafter(to, from)
	}
}

// segment integrates to the end of the current segment or to a terminal event.
func (s *Solver) segment(res *Result, run *Run) error {
	st, f := &s.step, &s.field
	x, end := f.from, f.to
	dir := math.Copysign(1, end-x)

	f.derive(st.k[0], x, st.y)
	for i, v := range st.k[0] {
		if !isFinite(v) {
			return fmt.Errorf("ode: at x = %g: derivative %d = %g: %w", x, i, v, ErrNotFinite)
		}
	}
	s.ctl.reset()
	h := s.set.FirstStep
	if h == 0 {
		h = st.firstStep(f, &s.set, x, dir, math.Abs(end-x), s.set.MaxStep)
	}
	h = max(h, minStep(x, end)) // > 0 from here to the call of try

	for finite := true; ; {
		h = min(h, s.set.MaxStep)
		rest := math.Abs(end - x)
		if least := minStep(x, end); h < least {
			why := ErrStepTooSmall
			if !finite {
				why = ErrNotFinite
			}
			return fmt.Errorf("ode: at x = %g: %w: |step| %g below minimum %g", x, why, h, least)
		}
		if res.Steps+res.Rejected >= s.set.MaxSteps {
			return fmt.Errorf("ode: at x = %g: %w: %d tried, next |step| %g", x, ErrTooManySteps, s.set.MaxSteps, h)
		}
		next := end
		if h < rest {
			if 2*h > rest {
				h = rest / 2 // leaves no sliver to the end
			}
			next = x + dir*h
		}
		st.try(f, x, next)
		norm := st.errorNorm(&s.set)
		finite = isFinite(norm)
		if !(norm <= 1) {
			res.Rejected++
			h = math.Abs(st.h) * s.ctl.reject(norm)
			continue
		}
		res.Steps++
		h = math.Abs(st.h) * s.ctl.accept(norm)
		if err := s.finish(res, run); err != nil {
			return err
		}
		if x = res.X; x == end || res.Event >= 0 {
			return nil
		}
	}
}

// finish reports an accepted step and moves to its end.
func (s *Solver) finish(res *Result, run *Run) error {
	st := &s.step
	event, err := s.watch.scan(run.Events, st)
	if err != nil {
		return err
	}
	if run.OnStep != nil {
		err = run.OnStep(st)
	}
	for _, hit := range s.watch.hits {
		if err != nil || run.OnEvent == nil {
			break
		}
		hit.Y = s.watch.y
		st.At(hit.X, hit.Y)
		err = run.OnEvent(hit)
	}
	if st.to != st.end {
		st.At(st.to, s.watch.y)
		copy(st.next, s.watch.y)
	}
	res.X, res.Event = st.to, event
	st.advance()
	if err != nil {
		return fmt.Errorf("ode: at x = %g: %w", res.X, err)
	}
	return nil
}

// nextBreak returns the first break beyond x on the way to end, or end.
func nextBreak(breaks []float64, x, end float64) float64 {
	if end > x {
		for _, b := range breaks {
			if b > x {
				return min(b, end)
			}
		}
		return end
	}
	for _, b := range slices.Backward(breaks) {
		if b < x {
			return max(b, end)
		}
	}
	return end
}

// checkLen panics if a slice of the caller has the wrong length.
func checkLen(name string, got, want int) {
	if got != want {
		panic(fmt.Sprintf("ode: len(%s) = %d, want %d", name, got, want))
	}
}

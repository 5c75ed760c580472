package ode

import "fmt"

// Sampler stores the state at the points of a grid as the steps pass them.
// Its method Observe is a Run.OnStep.
type Sampler struct {
	xs   []float64
	rows [][]float64

	started  bool
	backward bool
	lo, hi   int // rows[lo:hi] are filled
}

// NewSampler fills rows[i] with the state at xs[i]. The slices stay the
// caller's: xs must be ascending and must not change, every row has the length
// of the state.
func NewSampler(xs []float64, rows [][]float64) (*Sampler, error) {
	checkLen("rows", len(rows), len(xs))
	if err := checkAscending("xs", xs); err != nil {
		return nil, err
	}
	return &Sampler{xs: xs, rows: rows}, nil
}

// Observe fills the rows of the points in st. A point where two steps meet
// is filled from the first. It never fails; the error is for Run.OnStep.
func (s *Sampler) Observe(st *Step) error {
	if !s.started {
		s.start(st)
	}
	if s.backward {
		for s.lo > 0 && s.xs[s.lo-1] >= st.To() {
			s.lo--
			st.At(s.xs[s.lo], s.rows[s.lo])
		}
		return nil
	}
	for s.hi < len(s.xs) && s.xs[s.hi] <= st.To() {
		st.At(s.xs[s.hi], s.rows[s.hi])
		s.hi++
	}
	return nil
}

// start skips the points before the first step.
func (s *Sampler) start(st *Step) {
	s.started = true
	s.backward = st.To() < st.From()
	n := 0
	if s.backward {
		for n = len(s.xs); n > 0 && s.xs[n-1] > st.From(); n-- {
		}
	} else {
		for n < len(s.xs) && s.xs[n] < st.From() {
			n++
		}
	}
	s.lo, s.hi = n, n
}

// Filled returns the range [lo, hi) of the rows filled since the last Reset.
func (s *Sampler) Filled() (lo, hi int) { return s.lo, s.hi }

// Reset makes the sampler ready for another integration. Without it, the next
// integration is taken as the continuation of the last.
func (s *Sampler) Reset() { s.started, s.lo, s.hi = false, 0, 0 }

// checkAscending reports the first value that is below the one before.
func checkAscending(name string, xs []float64) error {
	for i, x := range xs {
		if !isFinite(x) {
			return fmt.Errorf("ode: %s[%d] = %g, want a finite number", name, i, x)
		}
		if i > 0 && !(x >= xs[i-1]) {
			return fmt.Errorf("ode: %s[%d] = %g, want >= %s[%d] = %g", name, i, x, name, i-1, xs[i-1])
		}
	}
	return nil
}

package ode

import (
	"fmt"
	"math"
)

// Event is a root of G along the solution. A root is seen if G has opposite
// signs at the two ends of a step; two roots of one G within one step are
// missed, so limit Settings.MaxStep if that can matter. A root exactly at the
// start of the integration is not reported, one exactly at its end is.
type Event struct {
	// G never keeps or writes y.
	G func(x float64, y []float64) float64

	// Direction, if > 0, takes only roots where G grows along the
	// integration (which may run backward in x); if < 0, only those
	// where it falls; if 0, all.
	Direction int

	// Terminal ends the integration at the root.
	Terminal bool
}

// Hit is one located root. At (X, Y), G is zero or has just changed sign, so
// an integration started there does not find the same root again.
type Hit struct {
	Event  int     // index in Run.Events
	X      float64 // where
	Rising bool    // G grows along the integration

	// Y is the state at X, valid only during the call.
	Y []float64
}

// watch finds the events of a step.
type watch struct {
	g    []float64 // value of each event at the start of the step
	hits []Hit     // of this step, in the order of integration
	y    []float64 // state handed to G and OnEvent
}

// start evaluates all events at the start of an integration.
func (w *watch) start(events []Event, x float64, y []float64) error {
	w.g, w.hits = w.g[:0], w.hits[:0]
	copy(w.y, y)
	for i := range events {
		g := events[i].G(x, w.y)
		if math.IsNaN(g) {
			return eventNaN(i, x)
		}
		w.g = append(w.g, g)
	}
	return nil
}

// scan locates the events of st in order and cuts st at the first terminal
// one, whose index it returns, or -1.
func (w *watch) scan(events []Event, st *Step) (int, error) {
	w.hits = w.hits[:0]
	for i := range events {
		ev := &events[i]
		copy(w.y, st.next)
		g0, g1 := w.g[i], ev.G(st.end, w.y)
		if math.IsNaN(g1) {
			return -1, eventNaN(i, st.end)
		}
		w.g[i] = g1
		rising := g0 < 0 && g1 >= 0 && ev.Direction >= 0
		falling := g0 > 0 && g1 <= 0 && ev.Direction <= 0
		if rising || falling {
			w.insert(Hit{Event: i, X: w.root(ev, st, g0, g1), Rising: rising}, st.h)
		}
	}
	for n, hit := range w.hits {
		if events[hit.Event].Terminal {
			w.hits = w.hits[:n+1]
			st.to = hit.X
			return hit.Event, nil
		}
	}
	return -1, nil
}

// insert keeps hits ordered along h; equal X stay in the order of events.
func (w *watch) insert(hit Hit, h float64) {
	w.hits = append(w.hits, hit)
	for i := len(w.hits) - 1; i > 0 && (w.hits[i-1].X-w.hits[i].X)*h > 0; i-- {
		w.hits[i-1], w.hits[i] = w.hits[i], w.hits[i-1]
	}
}

// root returns where ev changes sign within st, from g0 ≠ 0 at its start to
// g1 at its end: the side of the last bracket on which it has done so.
// Source: T. R. Chandrupatla, A new hybrid quadratic/bisection algorithm for
// finding the zero of a nonlinear function without using derivatives, Adv.
// Eng. Softw. 28 (1997) 145-149.
func (w *watch) root(ev *Event, st *Step, g0, g1 float64) float64 {
	if g1 == 0 {
		return st.end
	}
	crossed := func(g float64) bool { return g == 0 || g < 0 != (g0 < 0) }
	const eps = 0x1p-52
	// a is the newest point, b the other side of the bracket, p the point
	// that one of them replaced.
	a, fa := st.end, g1
	b, fb := st.from, g0
	t := 0.5
	for range 200 { // never reached: each pass shrinks the bracket by tol
		tol := 2 * eps * max(math.Abs(a), math.Abs(b))
		x := a + t*(b-a)
		if x == a || x == b {
			break
		}
		st.At(x, w.y)
		fx := ev.G(x, w.y)
		p, fp := b, fb
		if crossed(fx) == crossed(fa) {
			p, fp = a, fa
		} else {
			b, fb = a, fa
		}
		a, fa = x, fx
		limit := tol / math.Abs(b-a)
		if fa == 0 || limit > 0.5 {
			break
		}
		t = 0.5
		xi, phi := (a-b)/(p-b), (fa-fb)/(fp-fb)
		if phi*phi < xi && (1-phi)*(1-phi) < 1-xi {
			t = fa/(fb-fa)*fp/(fb-fp) + (p-a)/(b-a)*fa/(fp-fa)*fb/(fp-fb)
		}
		t = min(max(t, limit), 1-limit)
	}
	if crossed(fa) {
		return a
	}
	return b
}

func eventNaN(i int, x float64) error {
	return fmt.Errorf("ode: at x = %g: event %d: %w", x, i, ErrNotFinite)
}

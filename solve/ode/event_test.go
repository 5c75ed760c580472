package ode

import (
	"errors"
	"math"
	"testing"
)

// The oscillator y = (sin x, cos x) with RelTol 1e-12 has global errors of about
// 1e-11 over 10 units (problems_test.go); 1e-10 leaves a factor 10.
const rootTol = 1e-10

var sine = problems[1].f

func component(i int) func(float64, []float64) float64 {
	return func(_ float64, y []float64) float64 { return y[i] }
}

// at is zero at x = b, falling or growing with x.
func at(b, sign float64) func(float64, []float64) float64 {
	return func(x float64, _ []float64) float64 { return sign * (x - b) }
}

type seen struct {
	event  int
	x      float64
	rising bool
}

func integrateSine(t *testing.T, x0, x1 float64, events ...Event) ([]seen, Result, []float64) {
	t.Helper()
	var got []seen
	run := Run{
		Events: events,
		OnEvent: func(hit Hit) error {
			got = append(got, seen{hit.Event, hit.X, hit.Rising})
			if want := math.Sin(hit.X); !(math.Abs(hit.Y[0]-want) <= rootTol) {
				t.Errorf("event at %g: y = %g, want %g ± %g", hit.X, hit.Y[0], want, rootTol)
			}
			return nil
		},
	}
	y := []float64{math.Sin(x0), math.Cos(x0)}
	res, err := New(2, &Settings{RelTol: 1e-12}).Integrate(sine, x0, x1, y, &run)
	if err != nil {
		t.Fatal(err)
	}
	return got, res, y
}

func TestEvents(t *testing.T) {
	const pi = math.Pi
	tests := []struct {
		name   string
		x0, x1 float64
		events []Event
		want   []seen
		stop   int
	}{
		{"every root, start not reported", 0, 10,
			[]Event{{G: component(0)}},
			[]seen{{0, pi, false}, {0, 2 * pi, true}, {0, 3 * pi, false}}, -1},
		{"rising", 0, 10,
			[]Event{{G: component(0), Direction: 1}},
			[]seen{{0, 2 * pi, true}}, -1},
		{"falling", 0, 10,
			[]Event{{G: component(0), Direction: -1}},
			[]seen{{0, pi, false}, {0, 3 * pi, false}}, -1},
		{"terminal", 0, 10,
			[]Event{{G: component(0), Direction: 1, Terminal: true}, {G: component(1)}},
			[]seen{{1, pi / 2, false}, {1, 3 * pi / 2, true}, {0, 2 * pi, true}}, 0},
		{"backward: rising along the way", 0, -10,
			[]Event{{G: component(0), Direction: 1}},
			[]seen{{0, -pi, true}, {0, -3 * pi, true}}, -1},
		{"two within one step, in order", 0, 1,
			[]Event{{G: at(0.50002, 1)}, {G: at(0.50001, -1)}, {G: at(0.50001, 1)}},
			[]seen{{1, 0.50001, false}, {2, 0.50001, true}, {0, 0.50002, true}}, -1},
		{"two within one step, backward", 1, 0,
			[]Event{{G: at(0.50001, 1)}, {G: at(0.50002, -1)}},
			[]seen{{1, 0.50002, true}, {0, 0.50001, false}}, -1},
		{"terminal hides what lies behind it in the step", 0, 1,
			[]Event{{G: at(0.50002, 1)}, {G: at(0.50001, 1), Terminal: true}},
			[]seen{{1, 0.50001, true}}, 1},
		{"exactly at the end", 0, 0.75,
			[]Event{{G: at(0.75, 1), Terminal: true}},
			[]seen{{0, 0.75, true}}, 0},
		{"exactly at the start", 0.75, 1,
			[]Event{{G: at(0.75, 1), Terminal: true}}, nil, -1},
	}
	for _, tt := range tests {
		got, res, y := integrateSine(t, tt.x0, tt.x1, tt.events...)
		if res.Event != tt.stop {
			t.Errorf("%s: Result.Event = %d, want %d", tt.name, res.Event, tt.stop)
		}
		end := tt.x1
		if tt.stop >= 0 {
			end = tt.want[len(tt.want)-1].x
		}
		if !(math.Abs(res.X-end) <= rootTol) {
			t.Errorf("%s: ended at %g, want %g ± %g", tt.name, res.X, end, rootTol)
		}
		if want := math.Sin(end); !(math.Abs(y[0]-want) <= rootTol) {
			t.Errorf("%s: y = %g at the end, want %g ± %g", tt.name, y[0], want, rootTol)
		}
		if len(got) != len(tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, got, tt.want)
			continue
		}
		for i, w := range tt.want {
			g := got[i]
			if g.event != w.event || g.rising != w.rising || !(math.Abs(g.x-w.x) <= rootTol) {
				t.Errorf("%s: event %d is %v, want %v ± %g", tt.name, i, g, w, rootTol)
			}
		}
	}
}

// A terminal event cuts the step given to OnStep, and an integration that goes
// on from it finds the next root, not the same.
func TestEventRestart(t *testing.T) {
	solver := New(2, &Settings{RelTol: 1e-12})
	y := []float64{0, 1}
	to := 0.
	run := Run{
		Events: []Event{{G: component(0), Terminal: true}},
		OnStep: func(st *Step) error { to = st.To(); return nil },
	}
	x := 0.
	for n := 1; n <= 20; n++ {
		res, err := solver.Integrate(sine, x, 100, y, &run)
		if err != nil {
			t.Fatal(err)
		}
		x = res.X
		// Errors grow with x, see rootTol.
		if want, tol := float64(n)*math.Pi, float64(n)*rootTol; !(math.Abs(x-want) <= tol) {
			t.Fatalf("root %d at %.15g, want %.15g ± %g", n, x, want, tol)
		}
		if to != x {
			t.Errorf("root %d: the last step goes to %g, want %g", n, to, x)
		}
	}
}

// The root of a function with a triple zero or a jump is bracketed too. The
// bracket ends 4 units in the last place wide.
func TestEventHardRoots(t *testing.T) {
	const b, tol = 0.4321, 4 * 0x1p-52
	for name, g := range map[string]func(x float64) float64{
		"cubic": func(x float64) float64 { return (x - b) * (x - b) * (x - b) },
		"jump":  func(x float64) float64 { return math.Copysign(1, x-b) },
		"steep": func(x float64) float64 { return math.Exp(300*(x-b)) - 1 },
	} {
		calls := 0
		got, _, _ := integrateSine(t, 0, 1, Event{G: func(x float64, _ []float64) float64 {
			calls++
			return g(x)
		}})
		if len(got) != 1 || !(math.Abs(got[0].x-b) <= tol) {
			t.Errorf("%s: got %v, want one root at %g ± %g", name, got, b, tol)
		}
		// 50 bisections end a bracket of 1; twice that and the steps.
		if calls > 200 {
			t.Errorf("%s: %d calls of G", name, calls)
		}
	}
}

func TestEventErrors(t *testing.T) {
	for _, bad := range []float64{0, 0.5} { // from the start, within
		g := func(x float64, _ []float64) float64 {
			if x >= bad {
				return math.NaN()
			}
			return 1
		}
		y := []float64{0, 1}
		_, err := New(2, nil).Integrate(sine, 0, 1, y, &Run{Events: []Event{{G: g}}})
		if !errors.Is(err, ErrNotFinite) {
			t.Errorf("NaN from %g: error %v, want %v", bad, err, ErrNotFinite)
		}
	}
	stop := errors.New("stop")
	y := []float64{0, 1}
	res, err := New(2, nil).Integrate(sine, 0, 5, y, &Run{
		Events:  []Event{{G: component(1)}},
		OnEvent: func(Hit) error { return stop },
	})
	if !errors.Is(err, stop) || !(res.X >= math.Pi/2 && res.X < 5) {
		t.Errorf("error %v at %g, want %v soon after π/2", err, res.X, stop)
	}
}

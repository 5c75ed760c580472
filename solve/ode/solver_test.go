package ode

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

var (
	_ System    = Func(nil)
	_ Segmenter = (*branches)(nil)
)

// branches is y' = rate[i] in the i-th segment, with the segments as announced.
type branches struct {
	t        *testing.T
	edges    []float64 // ascending, first and last are the ends
	rates    []float64
	from, to float64
	log      [][2]float64
	atEdge   int // calls exactly at an end of the segment
}

func (b *branches) Segment(from, to float64) {
	b.from, b.to = from, to
	b.log = append(b.log, [2]float64{from, to})
}

func (b *branches) Derive(dst []float64, x float64, _ []float64) {
	lo, hi := min(b.from, b.to), max(b.from, b.to)
	if !(x >= lo && x <= hi) {
		b.t.Errorf("Derive at %g, outside the segment %g … %g", x, lo, hi)
	}
	if x == lo || x == hi {
		b.atEdge++
	}
	i, _ := slices.BinarySearch(b.edges, hi)
	dst[0] = b.rates[i-1]
}

func TestSegments(t *testing.T) {
	// Breaks outside, at the ends and doubled must not matter.
	breaks := []float64{-1, 0, 0.3, 0.3, 0.75, 2, 5}
	for _, backward := range []bool{false, true} {
		b := &branches{t: t, edges: []float64{0, 0.3, 0.75, 2}, rates: []float64{1, -2, 4}}
		x0, x1 := 0., 2.
		want := [][2]float64{{0, 0.3}, {0.3, 0.75}, {0.75, 2}}
		area := 0.3 - 2*0.45 + 4*1.25 // by hand
		if backward {
			x0, x1, area = 2, 0, -area
			want = [][2]float64{{2, 0.75}, {0.75, 0.3}, {0.3, 0}}
		}
		y := []float64{0}
		res, err := New(1, nil).Integrate(b, x0, x1, y, &Run{Breaks: breaks})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(b.log, want) {
			t.Errorf("segments %v, want %v", b.log, want)
		}
		// A constant is integrated exactly but for the rounding of the weights
		// and sums of about 25 steps: 100 units in the last place of 4.4.
		if !(math.Abs(y[0]-area) <= 1e-13) {
			t.Errorf("y = %.17g, want %.17g ± 1e-13", y[0], area)
		}
		if res.Rejected != 0 {
			t.Errorf("%d steps rejected, want 0: no step may see a jump", res.Rejected)
		}
		// Both ends of all three segments.
		if b.atEdge < 6 {
			t.Errorf("%d calls at the ends of segments, want >= 6", b.atEdge)
		}
	}
}

// y' = -y up to x = b and 10 - y beyond. Whichever branch f takes at exactly b,
// a break gives the accuracy of a smooth problem.
func TestBreak(t *testing.T) {
	const b, x1, tol = 0.7, 2, 1e-9
	want := math.Exp(-x1) + 10*(1-math.Exp(-(x1-b)))
	jump := func(closed bool) Func {
		return func(dst []float64, x float64, y []float64) {
			dst[0] = -y[0]
			if x > b || closed && x == b {
				dst[0] += 10
			}
		}
	}
	solver := New(1, &Settings{RelTol: tol})
	run := func(f Func, breaks ...float64) (float64, Result) {
		y := []float64{1}
		res, err := solver.Integrate(f, 0, x1, y, &Run{Breaks: breaks})
		if err != nil {
			t.Fatal(err)
		}
		return math.Abs(y[0] - want), res
	}
	for _, closed := range []bool{false, true} {
		with, rw := run(jump(closed), b)
		without, ro := run(jump(closed))
		t.Logf("closed %v: error %.2g (%+v) with, %.2g (%+v) without", closed, with, rw.Stats, without, ro.Stats)
		// y reaches 7.3, so 1 tolerance is 8e-9; the exponential problem stays
		// below one (problems_test.go).
		if !(with <= 8*tol) {
			t.Errorf("closed %v: error %g with the break, want <= %g", closed, with, 8*tol)
		}
		if rw.Rejected != 0 {
			t.Errorf("closed %v: %d steps rejected with the break, want 0", closed, rw.Rejected)
		}
		// Measured 1.8e-8 without and 5.3e-10 with, a factor 34; where the steps
		// land on the jump is chance, so 5 is asked.
		if !(without >= 5*with) {
			t.Errorf("closed %v: error %g without the break, %g with it: want it visibly worse", closed, without, with)
		}
		// The control finds the jump by rejecting steps, at a visible cost.
		if !(ro.Rejected >= 5 && ro.Evaluations > rw.Evaluations*5/4) {
			t.Errorf("closed %v: without the break %+v, with it %+v: want it visibly dearer", closed, ro.Stats, rw.Stats)
		}
	}
	// Beside the cost there is an error: without control of the step the jump
	// falls inside a step and leaves an error of order h.
	fixed := func(breaks bool) float64 {
		p := problem{f: jump(false), y0: []float64{1}, x1: x1, exact: func(x float64, dst []float64) {
			dst[0] = math.Exp(-x) + 10*max(0, 1-math.Exp(-(x-b)))
		}}
		if !breaks {
			ends, _ := fixedSteps(&p, 33)
			return ends
		}
		y := []float64{1}
		if _, err := New(1, &Settings{RelTol: 0.5, MaxStep: x1 / 33.}).Integrate(p.f, 0, x1, y, &Run{Breaks: []float64{b}}); err != nil {
			t.Fatal(err)
		}
		return math.Abs(y[0] - want)
	}
	t.Logf("steps of 2/33: %.2g with, %.2g without", fixed(true), fixed(false))
	// Measured 6e-3 (a fraction of h·jump = 0.6) and 8e-10.
	if with, without := fixed(true), fixed(false); !(with <= 1e-8 && without >= 1e-3) {
		t.Errorf("steps of 2/33: error %g with the break, want <= 1e-8; %g without, want >= 1e-3", with, without)
	}
}

// A break at an end of the whole interval counts as an end of a segment, so
// two calls that meet there equal one call with the break inside.
func TestBreakAtEnds(t *testing.T) {
	const b = 0.7
	for _, closed := range []bool{false, true} {
		f := Func(func(dst []float64, x float64, y []float64) {
			dst[0] = -y[0]
			if x > b || closed && x == b {
				dst[0] += 10
			}
		})
		run := &Run{Breaks: []float64{b}}
		s := New(1, nil)
		one, two := []float64{1}, []float64{1}
		for _, leg := range []struct {
			from, to float64
			y        []float64
		}{{0, 2, one}, {0, b, two}, {b, 2, two}} {
			if _, err := s.Integrate(f, leg.from, leg.to, leg.y, run); err != nil {
				t.Fatal(err)
			}
		}
		if one[0] != two[0] {
			t.Errorf("closed %v: two calls give %.17g, want exactly %.17g", closed, two[0], one[0])
		}
	}
}

// Segments of one unit in the last place, far from zero, are steps like others.
func TestTinySegments(t *testing.T) {
	const x0 = 1e6
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	b := x0 + 1.
	breaks := []float64{up(x0), b, up(b), up(up(b))}
	y := []float64{1}
	res, err := New(1, nil).Integrate(problems[0].f, x0, x0+3, y, &Run{Breaks: breaks})
	// The same problem as from 0 to 3: error below 1 tolerance of 1e-8, and
	// x rounded to 1e-10.
	if want := math.Exp(-3); err != nil || !(math.Abs(y[0]-want) <= 1e-8) {
		t.Errorf("y = %g, %v at %g; want %g ± 1e-8", y[0], err, res.X, want)
	}
}

func TestReuse(t *testing.T) {
	p := problems[2]
	solver := New(4, nil)
	once := func(s *Solver) ([]float64, Result) {
		y := slices.Clone(p.y0)
		res, err := s.Integrate(p.f, 0, p.x1, y, &Run{Breaks: []float64{1, 2}})
		if err != nil {
			t.Fatal(err)
		}
		return y, res
	}
	y1, r1 := once(solver)
	// Something else in between, ended by an error.
	bad := Func(func(dst []float64, x float64, y []float64) {
		for i := range dst {
			dst[i] = math.Sqrt(1 - x)
		}
	})
	if _, err := solver.Integrate(bad, 0, 2, make([]float64, 4), nil); !errors.Is(err, ErrNotFinite) {
		t.Errorf("error %v, want %v", err, ErrNotFinite)
	}
	for range 2 {
		y2, r2 := once(solver)
		if !slices.Equal(y1, y2) || r1 != r2 {
			t.Errorf("second use gives %v %+v, want %v %+v", y2, r2, y1, r1)
		}
		solver = New(4, nil)
	}
}

// The solver must not count on dst or on y outliving the call, nor touch the
// state while a step may still be rejected.
func TestDeriveContract(t *testing.T) {
	calls := 0
	f := Func(func(dst []float64, x float64, y []float64) {
		calls++
		keep := slices.Clone(y)
		for i := range dst {
			dst[i] = math.NaN()
		}
		if !slices.Equal(keep, y) {
			t.Error("dst overlaps y")
		}
		kepler(dst, x, y)
	})
	p := problems[2]
	y := slices.Clone(p.y0)
	res, err := New(4, nil).Integrate(f, 0, p.x1, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	if res.Evaluations != calls {
		t.Errorf("Evaluations = %d, want %d", res.Evaluations, calls)
	}
	// One at the start, one for the first step, six for each step tried.
	if want := 2 + 6*(res.Steps+res.Rejected); calls != want {
		t.Errorf("%d calls, want %d", calls, want)
	}
}

func TestSteps(t *testing.T) {
	p := problems[1]
	last, longest := 0., 0.
	at, want := make([]float64, 2), make([]float64, 2)
	run := Run{Breaks: []float64{5}, OnStep: func(st *Step) error {
		if st.From() != last {
			t.Errorf("step from %g, want %g", st.From(), last)
		}
		if st.From() < 5 && st.To() > 5 {
			t.Errorf("step %g … %g crosses the break", st.From(), st.To())
		}
		longest = max(longest, st.To()-st.From())
		last = st.To()
		// Slope at the ends is the right-hand side there, bit for bit.
		for _, x := range []float64{st.From(), st.To()} {
			st.At(x, at)
			p.f(want, x, at)
			st.Slope(x, at)
			if !slices.Equal(at, want) {
				t.Errorf("Slope(%g) = %v, want %v", x, at, want)
			}
		}
		return nil
	}}
	y := slices.Clone(p.y0)
	res, err := New(2, &Settings{MaxStep: 0.05, FirstStep: 0.01}).Integrate(p.f, 0, p.x1, y, &run)
	if err != nil {
		t.Fatal(err)
	}
	if last != p.x1 || res.X != p.x1 {
		t.Errorf("ended at %g and %g, want %g", last, res.X, p.x1)
	}
	if !(longest <= 0.05*(1+1e-12)) { // From + h is rounded
		t.Errorf("longest step %g, want <= 0.05", longest)
	}
}

func TestErrors(t *testing.T) {
	grow := Func(func(dst []float64, _ float64, y []float64) { dst[0] = y[0] * y[0] }) // y = 1/(1-x)
	root := Func(func(dst []float64, x float64, _ []float64) { dst[0] = math.Sqrt(0.5 - x) })
	plain := Func(func(dst []float64, _ float64, _ []float64) { dst[0] = 1 })
	nan, inf := math.NaN(), math.Inf(1)
	tests := []struct {
		name   string
		f      Func
		x0, x1 float64
		y0     float64
		set    Settings
		breaks []float64
		is     error // nil: any
		text   string
		x      float64 // where it must have ended, ± 1e-3
	}{
		{"pole", grow, 0, 2, 1, Settings{}, nil, ErrStepTooSmall, "below minimum", 1},
		{"NaN on the way", root, 0, 1, 0, Settings{}, nil, ErrNotFinite, "below minimum", 0.5},
		{"NaN at the start", root, 1, 2, 0, Settings{}, nil, ErrNotFinite, "at x = 1: derivative 0 = NaN", 1},
		{"too many steps", plain, 0, 1, 0, Settings{MaxStep: 0.001, FirstStep: 0.001, MaxSteps: 10}, nil, ErrTooManySteps, "10 tried", 0.01},
		{"step below minimum", plain, 1, 2, 0, Settings{MaxStep: 1e-16}, nil, ErrStepTooSmall, "1e-16 below", 1},
		{"y NaN", plain, 0, 1, nan, Settings{}, nil, ErrNotFinite, "y[0] = NaN", 0},
		{"x0 NaN", plain, nan, 1, 0, Settings{}, nil, ErrNotFinite, "from NaN", nan},
		{"x1 Inf", plain, 0, inf, 0, Settings{}, nil, ErrNotFinite, "to +Inf", 0},
		{"breaks", plain, 0, 1, 0, Settings{}, []float64{0.5, 0.4}, nil, "Run.Breaks[1] = 0.4, want >= Run.Breaks[0] = 0.5", 0},
		{"break NaN", plain, 0, 1, 0, Settings{}, []float64{nan}, nil, "Run.Breaks[0] = NaN", 0},
		{"RelTol", plain, 0, 1, 0, Settings{RelTol: nan}, nil, nil, "Settings.RelTol = NaN", 0},
		{"RelTol small", plain, 0, 1, 0, Settings{RelTol: 1e-16}, nil, nil, "want from 1e-14", 0},
		{"AbsTol", plain, 0, 1, 0, Settings{AbsTol: []float64{0}}, nil, nil, "Settings.AbsTol[0] = 0, want > 0", 0},
		{"MaxStep", plain, 0, 1, 0, Settings{MaxStep: -1}, nil, nil, "Settings.MaxStep = -1", 0},
		{"FirstStep", plain, 0, 1, 0, Settings{FirstStep: nan}, nil, nil, "Settings.FirstStep = NaN", 0},
		{"MaxSteps", plain, 0, 1, 0, Settings{MaxSteps: -1}, nil, nil, "Settings.MaxSteps = -1", 0},
	}
	for _, tt := range tests {
		y := []float64{tt.y0}
		res, err := New(1, &tt.set).Integrate(tt.f, tt.x0, tt.x1, y, &Run{Breaks: tt.breaks})
		if err == nil {
			t.Errorf("%s: no error", tt.name)
			continue
		}
		if tt.is != nil && !errors.Is(err, tt.is) {
			t.Errorf("%s: error %q, want %q", tt.name, err, tt.is)
		}
		if !strings.Contains(err.Error(), tt.text) || !strings.HasPrefix(err.Error(), "ode: ") {
			t.Errorf("%s: error %q, want it to contain %q", tt.name, err, tt.text)
		}
		if !(math.Abs(res.X-tt.x) <= 1e-3) && !math.IsNaN(tt.x) {
			t.Errorf("%s: ended at %g, want %g ± 1e-3", tt.name, res.X, tt.x)
		}
		// Within 1e-3 of the pole y is above 1000; it stays a number.
		if tt.name == "pole" && !(y[0] > 1000 && isFinite(y[0])) {
			t.Errorf("pole: y = %g at %.17g, want the state accepted last", y[0], res.X)
		}
	}
}

func TestCallerEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	n := 0
	y := []float64{0, 1}
	res, err := New(2, nil).Integrate(sine, 0, 10, y, &Run{OnStep: func(st *Step) error {
		if n++; n == 3 {
			cancel()
		}
		return ctx.Err()
	}})
	if !errors.Is(err, context.Canceled) || res.Steps != 3 {
		t.Errorf("error %v after %d steps, want %v after 3", err, res.Steps, context.Canceled)
	}
	// Short steps, so the state is exact to the local tolerance of 1e-8.
	if want := math.Sin(res.X); !(res.X > 0) || !(math.Abs(y[0]-want) <= 1e-8) {
		t.Errorf("y = %g at %g, want %g ± 1e-8", y[0], res.X, want)
	}
}

func TestEmptyInterval(t *testing.T) {
	y := []float64{0, 1}
	res, err := New(2, nil).Integrate(sine, 3, 3, y, nil)
	if want := (Result{X: 3, Event: -1}); err != nil || res != want || y[0] != 0 || y[1] != 1 {
		t.Errorf("got %+v, %v, y = %v; want %+v and y unchanged", res, err, y, want)
	}
}

func TestPanics(t *testing.T) {
	s := New(2, nil)
	for name, f := range map[string]func(){
		"n":      func() { New(0, nil) },
		"AbsTol": func() { New(2, &Settings{AbsTol: []float64{1}}) },
		"y":      func() { s.Integrate(sine, 0, 1, make([]float64, 3), nil) },
		"At":     func() { s.step.At(0, make([]float64, 1)) },
		"Slope":  func() { s.step.Slope(0, make([]float64, 3)) },
		"rows":   func() { NewSampler([]float64{1}, nil) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f()
		}()
	}
}

// work is an integration that uses everything.
func work(tb testing.TB) func() Result {
	p := problems[2]
	xs, rows := make([]float64, 200), make([][]float64, 200)
	for i := range xs {
		xs[i], rows[i] = p.x1*float64(i)/199, make([]float64, 4)
	}
	sampler, err := NewSampler(xs, rows)
	if err != nil {
		tb.Fatal(err)
	}
	hits := 0
	run := Run{
		Breaks:  []float64{1, 2, 3},
		Events:  []Event{{G: component(0)}, {G: component(1)}},
		OnStep:  sampler.Observe,
		OnEvent: func(Hit) error { hits++; return nil },
	}
	solver := New(4, nil)
	y := make([]float64, 4)
	return func() Result {
		sampler.Reset()
		copy(y, p.y0)
		res, err := solver.Integrate(p.f, 0, p.x1, y, &run)
		if err != nil {
			tb.Fatal(err)
		}
		return res
	}
}

func TestAllocs(t *testing.T) {
	f := work(t)
	if got := testing.AllocsPerRun(100, func() { f() }); got != 0 {
		t.Errorf("%g allocations in one integration, want 0", got)
	}
}

func BenchmarkIntegrate(b *testing.B) {
	p := problems[2]
	solver := New(4, nil)
	y := make([]float64, 4)
	var res Result
	b.ReportAllocs()
	for b.Loop() {
		copy(y, p.y0)
		var err error
		if res, err = solver.Integrate(p.f, 0, p.x1, y, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(res.Steps+res.Rejected), "ns/step")
}

func BenchmarkIntegrateAll(b *testing.B) {
	f := work(b)
	b.ReportAllocs()
	for b.Loop() {
		f()
	}
}

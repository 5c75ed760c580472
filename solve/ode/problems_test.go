package ode

import (
	"math"
	"testing"
)

// problem is a test equation with a known solution.
type problem struct {
	name   string
	f      Func
	y0     []float64
	x1     float64
	exact  func(x float64, dst []float64)
	growth float64 // how much a local error of 1 tolerance may become
}

// The growth is the measured error over RelTol, largest over the tolerances
// 1e-4 … 1e-11 (0.3, 7.6, 220 and 10), rounded up by about a factor 2: the
// control bounds the local error only, so there is no exact number.
var problems = []problem{
	{
		name:   "exponential",
		f:      func(dst []float64, _ float64, y []float64) { dst[0] = -y[0] },
		y0:     []float64{1},
		x1:     3,
		exact:  func(x float64, dst []float64) { dst[0] = math.Exp(-x) },
		growth: 1,
	},
	{
		name: "oscillator",
		f: func(dst []float64, _ float64, y []float64) {
			dst[0], dst[1] = y[1], -y[0]
		},
		y0:     []float64{0, 1},
		x1:     20,
		exact:  func(x float64, dst []float64) { dst[0], dst[1] = math.Sin(x), math.Cos(x) },
		growth: 20,
	},
	{
		name:   "kepler",
		f:      kepler,
		y0:     []float64{1 - ecc, 0, 0, math.Sqrt((1 + ecc) / (1 - ecc))},
		x1:     9,
		exact:  keplerExact,
		growth: 500,
	},
	{
		// y' = y·cos x: y = exp(sin x).
		name:   "nonautonomous",
		f:      func(dst []float64, x float64, y []float64) { dst[0] = y[0] * math.Cos(x) },
		y0:     []float64{1},
		x1:     10,
		exact:  func(x float64, dst []float64) { dst[0] = math.Exp(math.Sin(x)) },
		growth: 20,
	},
}

const ecc = 0.5

func kepler(dst []float64, _ float64, y []float64) {
	r2 := y[0]*y[0] + y[1]*y[1]
	r3 := r2 * math.Sqrt(r2)
	dst[0], dst[1] = y[2], y[3]
	dst[2], dst[3] = -y[0]/r3, -y[1]/r3
}

// keplerExact solves Kepler's equation E - e·sin E = x by Newton steps.
func keplerExact(x float64, dst []float64) {
	ea := x
	for range 50 {
		ea -= (ea - ecc*math.Sin(ea) - x) / (1 - ecc*math.Cos(ea))
	}
	s, c := math.Sincos(ea)
	q := math.Sqrt(1 - ecc*ecc)
	rate := 1 / (1 - ecc*c)
	dst[0], dst[1] = c-ecc, q*s
	dst[2], dst[3] = -s*rate, q*c*rate
}

func maxDiff(a, b []float64) float64 {
	worst := 0.
	for i := range a {
		if d := math.Abs(a[i] - b[i]); !(d <= worst) {
			worst = d
		}
	}
	return worst
}

// fixedSteps takes n equal steps without control and returns the largest error
// at the ends of the steps and of the continuous extension between them.
func fixedSteps(p *problem, n int) (ends, dense float64) {
	var s Step
	s.init(len(p.y0))
	copy(s.y, p.y0)
	f := field{sys: p.f, from: 0, to: p.x1, atTo: p.x1}
	f.derive(s.k[0], 0, s.y)
	got, want := make([]float64, len(p.y0)), make([]float64, len(p.y0))
	for i := range n {
		s.try(&f, p.x1*float64(i)/float64(n), p.x1*float64(i+1)/float64(n))
		for _, t := range []float64{0.2, 0.4, 0.6, 0.8} {
			x := s.from + t*s.h
			s.At(x, got)
			p.exact(x, want)
			dense = max(dense, maxDiff(got, want))
		}
		s.advance()
		p.exact(s.to, want)
		ends = max(ends, maxDiff(s.y, want))
	}
	return ends, dense
}

// The starting number of steps is large enough for the order to show; the last
// halving stays far above rounding. One half below the theory is allowed. The
// extension is of order 4, so its local error goes as h⁵, like the global error
// of the ends: 5 for both.
func TestObservedOrder(t *testing.T) {
	for i := range problems {
		p := &problems[i]
		n := int(math.Ceil(p.x1 * 16))
		end0, dense0 := fixedSteps(p, n)
		for range 2 {
			n *= 2
			end1, dense1 := fixedSteps(p, n)
			oe, od := math.Log2(end0/end1), math.Log2(dense0/dense1)
			t.Logf("%s, %d steps: order %.2f, extension %.2f (errors %.2g, %.2g)", p.name, n, oe, od, end1, dense1)
			if !(oe >= 4.5) {
				t.Errorf("%s: observed order %.2f, want >= 4.5", p.name, oe)
			}
			if !(od >= 4.5) {
				t.Errorf("%s: observed order of the extension %.2f, want >= 4.5", p.name, od)
			}
			end0, dense0 = end1, dense1
		}
	}
}

// The extension alone: one step from the exact state has the local order 5.
func TestDenseLocalOrder(t *testing.T) {
	p := &problems[2]
	local := func(h float64) float64 {
		q := *p
		q.x1 = h
		_, dense := fixedSteps(&q, 1)
		return dense
	}
	got := math.Log2(local(0.1) / local(0.05))
	t.Logf("local order of the extension %.2f", got)
	if !(got >= 4.5 && got <= 5.5) {
		t.Errorf("local order of the extension %.2f, want 5 ± 0.5", got)
	}
}

func TestTolerance(t *testing.T) {
	for _, p := range problems {
		var first, last float64
		for tol := 1e-4; tol > 0.5e-11; tol /= 10 {
			y := append([]float64(nil), p.y0...)
			want := make([]float64, len(y))
			dense := 0.
			run := Run{OnStep: func(st *Step) error {
				at, ref := make([]float64, len(y)), make([]float64, len(y))
				x := (st.From() + st.To()) / 2
				st.At(x, at)
				p.exact(x, ref)
				dense = max(dense, maxDiff(at, ref))
				return nil
			}}
			res, err := New(len(y), &Settings{RelTol: tol}).Integrate(p.f, 0, p.x1, y, &run)
			if err != nil {
				t.Fatal(err)
			}
			p.exact(p.x1, want)
			got := maxDiff(y, want)
			t.Logf("%s, tolerance %.0e: error %.2g, between steps %.2g, %+v", p.name, tol, got, dense, res.Stats)
			got = max(got, dense)
			if !(got <= p.growth*tol) {
				t.Errorf("%s: error %g, want <= %g times %g", p.name, got, p.growth, tol)
			}
			if first == 0 {
				first = got
			}
			last = got
		}
		// The estimate goes as h⁵ and so does the global error: 7 decades of
		// tolerance give 7 decades of error. One decade more or less is for
		// the coarse steps of the loosest tolerance.
		if got := math.Log10(first / last); !(got >= 6 && got <= 8) {
			t.Errorf("%s: 7 decades of tolerance give %.2f decades of error", p.name, got)
		}
	}
}

func TestBackward(t *testing.T) {
	for _, p := range problems {
		y := make([]float64, len(p.y0))
		p.exact(p.x1, y)
		const tol = 1e-9
		// Backward the exponential grows by e³ = 20; the others do not grow
		// differently.
		limit := 20 * p.growth * tol
		res, err := New(len(y), &Settings{RelTol: tol}).Integrate(p.f, p.x1, 0, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		if res.X != 0 {
			t.Errorf("%s: ended at %g, want 0", p.name, res.X)
		}
		if got := maxDiff(y, p.y0); !(got <= limit) {
			t.Errorf("%s: error %g at the start, want <= %g", p.name, got, limit)
		}
	}
}

// The energy of the oscillator y” = -y drifts by up to the local error in each
// of about 2000 steps; 1e-7 is 100 tolerances.
func TestEnergy(t *testing.T) {
	p := problems[1]
	y := append([]float64(nil), p.y0...)
	if _, err := New(2, &Settings{RelTol: 1e-9}).Integrate(p.f, 0, 40*math.Pi, y, nil); err != nil {
		t.Fatal(err)
	}
	if got := (y[0]*y[0] + y[1]*y[1]) - 1; !(math.Abs(got) <= 1e-7) {
		t.Errorf("relative change of energy %g, want 0 ± 1e-7", got)
	}
}

// The limit cycle of y” = (1-y²)y' - y. Source of both numbers: a Taylor
// series of order 40 in 45-digit arithmetic, steps of 0.05, after 8 periods
// (they repeat from the fifth period on). Tolerance: 100 times RelTol.
func TestVanDerPol(t *testing.T) {
	const (
		period    = 6.66328685932313
		amplitude = 2.00861986087484
		tol       = 1e-9
	)
	vdp := Func(func(dst []float64, _ float64, y []float64) {
		dst[0], dst[1] = y[1], (1-y[0]*y[0])*y[1]-y[0]
	})
	var xs, tops []float64
	run := Run{
		Events: []Event{{G: func(_ float64, y []float64) float64 { return y[1] }, Direction: -1}},
		OnEvent: func(hit Hit) error {
			xs, tops = append(xs, hit.X), append(tops, hit.Y[0])
			return nil
		},
	}
	y := []float64{2, 0}
	if _, err := New(2, &Settings{RelTol: 1e-11}).Integrate(vdp, 0, 60, y, &run); err != nil {
		t.Fatal(err)
	}
	if len(xs) != 9 {
		t.Fatalf("%d maxima in 60, want 9 (60/period = 9.004)", len(xs))
	}
	if got := xs[8] - xs[7]; !(math.Abs(got-period) <= tol) {
		t.Errorf("period %.15g, want %.15g ± %g", got, period, tol)
	}
	if got := tops[8]; !(math.Abs(got-amplitude) <= tol) {
		t.Errorf("amplitude %.15g, want %.15g ± %g", got, amplitude, tol)
	}
}

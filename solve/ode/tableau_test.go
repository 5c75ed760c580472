package ode

import (
	"fmt"
	"math"
	"testing"
)

// tree is a rooted tree, given by the subtrees of its root.
type tree []tree

func (t tree) order() int {
	n := 1
	for _, sub := range t {
		n += sub.order()
	}
	return n
}

// density is γ(t) of Hairer, Norsett, Wanner, II.2.
func (t tree) density() float64 {
	g := float64(t.order())
	for _, sub := range t {
		g *= sub.density()
	}
	return g
}

// weights returns Φ_i(t) of the same.
func (t tree) weights() [stages]float64 {
	var w [stages]float64
	for i := range w {
		w[i] = 1
	}
	for _, sub := range t {
		v := sub.weights()
		for i := range w {
			sum := 0.
			for j := range i {
				sum += a[i][j] * v[j]
			}
			w[i] *= sum
		}
	}
	return w
}

// trees returns the rooted trees with n nodes: all multisets of smaller
// trees with n-1 nodes together.
func trees(n int) []tree {
	var all []tree // with fewer than n nodes
	for m := 1; m < n; m++ {
		all = append(all, trees(m)...)
	}
	var found []tree
	var grow func(t tree, from, left int)
	grow = func(t tree, from, left int) {
		if left == 0 {
			found = append(found, append(tree(nil), t...))
			return
		}
		for i := from; i < len(all); i++ {
			if m := all[i].order(); m <= left {
				grow(append(t[:len(t):len(t)], all[i]), i, left-m)
			}
		}
	}
	grow(nil, 0, n-1)
	return found
}

// The coefficients are below 12 and a condition sums at most 7⁴ products of
// them, most of them zero: 1e-13 is about 500 units in the last place of 1.
const tableauTol = 1e-13

func TestNodes(t *testing.T) {
	for i := range c {
		sum := 0.
		for _, v := range a[i] {
			sum += v
		}
		if !(math.Abs(sum-c[i]) <= tableauTol) {
			t.Errorf("row %d of a sums to %.17g, want c = %.17g ± %g", i, sum, c[i], tableauTol)
		}
	}
}

func TestOrderConditions(t *testing.T) {
	var b, lower [stages]float64
	copy(b[:], a[stages-1][:])
	for i := range b {
		lower[i] = b[i] - e[i]
	}
	// Source of the counts: Hairer, Norsett, Wanner, table II.2.2.
	counts := []int{1, 1, 2, 4, 9}
	for n, want := range counts {
		ts := trees(n + 1)
		if len(ts) != want {
			t.Fatalf("%d trees of order %d, want %d", len(ts), n+1, want)
		}
		for _, tr := range ts {
			checkCondition(t, "b", b, tr, 1)
			if n+1 < order {
				checkCondition(t, "b of order 4", lower, tr, 1)
			}
		}
	}
	// The pair is of no use if the estimate vanishes on order 5 as well.
	worst := 0.
	for _, tr := range trees(order) {
		worst = max(worst, math.Abs(defect(lower, tr, 1)))
	}
	if !(worst > 1e-4) {
		t.Errorf("the weights of order 4 fulfil order 5 within %g", worst)
	}
}

func defect(w [stages]float64, tr tree, theta float64) float64 {
	sum := 0.
	for i, phi := range tr.weights() {
		sum += w[i] * phi
	}
	return sum - math.Pow(theta, float64(tr.order()))/tr.density()
}

func checkCondition(t *testing.T, name string, w [stages]float64, tr tree, theta float64) {
	t.Helper()
	if got := defect(w, tr, theta); !(math.Abs(got) <= tableauTol) {
		t.Errorf("%s at θ = %g, tree %v of order %d: off by %g, want 0 ± %g",
			name, theta, tr, tr.order(), got, tableauTol)
	}
}

// unitStep has the unit vector i as derivative of stage i and length 1, so
// that its continuous extension is the vector of weights b_i(θ).
func unitStep() *Step {
	s := new(Step)
	s.init(stages)
	s.end, s.to, s.h = 1, 1, 1
	for i := range s.k {
		s.k[i][i] = 1
	}
	s.combine(s.next, a[stages-1][:])
	return s
}

func TestDenseOrderConditions(t *testing.T) {
	s := unitStep()
	for _, theta := range []float64{0, 0.1, 0.25, 0.5, 0.7, 0.9, 1} {
		var w [stages]float64
		for i := range w {
			w[i] = math.NaN()
		}
		s.At(theta, w[:])
		for n := 1; n < order; n++ {
			for _, tr := range trees(n) {
				checkCondition(t, "dense b", w, tr, theta)
			}
		}
	}
}

func TestDenseSlope(t *testing.T) {
	s := unitStep()
	var got, left, right [stages]float64
	// Slope against central differences of At: the extension is a quartic
	// with terms up to about 12, whose third derivative is below 300, so
	// δ²/6·300 = 5e-9 with δ = 1e-5, plus 1e-15/δ of rounding.
	const delta, tol = 1e-5, 1e-8
	for _, theta := range []float64{delta, 0.3, 0.5, 0.8, 1 - delta} {
		s.Slope(theta, got[:])
		s.At(theta-delta, left[:])
		s.At(theta+delta, right[:])
		for i := range got {
			want := (right[i] - left[i]) / (2 * delta)
			if !(math.Abs(got[i]-want) <= tol) {
				t.Errorf("Slope(%g)[%d] = %g, want %g ± %g", theta, i, got[i], want, tol)
			}
		}
	}
	// At the ends Slope is k[0] and k[6]; just inside it must tend to them:
	// the second derivative is below 300, so 300·1e-12, rounding included.
	for _, end := range []struct {
		at, inside float64
		stage      int
	}{{0, 1e-12, 0}, {1, 1 - 1e-12, stages - 1}} {
		for _, x := range []float64{end.at, end.inside} {
			s.Slope(x, got[:])
			for i := range got {
				if !(math.Abs(got[i]-s.k[end.stage][i]) <= 3e-10) {
					t.Errorf("Slope(%v)[%d] = %g, want %g", x, i, got[i], s.k[end.stage][i])
				}
			}
		}
	}
}

func ExampleStep_At() {
	cosine := Func(func(dst []float64, x float64, _ []float64) { dst[0] = math.Cos(x) })
	y := []float64{0}
	mid := []float64{0}
	worst := 0.
	_, err := New(1, nil).Integrate(cosine, 0, 3, y, &Run{OnStep: func(st *Step) error {
		x := (st.From() + st.To()) / 2
		st.At(x, mid)
		worst = max(worst, math.Abs(mid[0]-math.Sin(x)))
		return nil
	}})
	fmt.Printf("%.6f %v %v\n", y[0], worst < 1e-6, err)
	// Output: 0.141120 true <nil>
}

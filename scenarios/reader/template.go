package reader

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// template slides a Gaussian hump along the samples and reads where they are most
// alike: where the coefficient of correlation under it is greatest. That is the
// quality. It declines where even that is small, or at an edge of the window.
type template struct {
	window window
	wide   float64 // of the hump at half height [rad]
	shape  []float64
	alike  []float64
}

// Widths at half height. The thermal hump of an ion current is 15 to 40 deg wide
// (common practice, no source); the pressure's is our own choice.
const (
	ionWide      = 25 * deg
	pressureWide = 50 * deg
)

// leastAlike is the correlation below which a template was not found. Our own choice.
const leastAlike = 0.5

func newTemplate(b *base) (Reader, error) {
	t := &template{window: b.window, wide: pressureWide}
	if b.signal == Ion {
		t.wide = ionWide
	}
	return t, nil
}

// Reset implements Reader.
func (*template) Reset() {}

// Read implements Reader.
func (t *template) Read(in *Input) Reading {
	w := &t.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	n := len(in.Theta)
	pace := (in.Theta[n-1] - in.Theta[0]) / float64(n-1)
	t.cut(pace)
	side := len(t.shape) / 2
	if cap(t.alike) < n {
		t.alike = make([]float64, n)
	}
	t.alike = t.alike[:n]
	for i := w.lo; i < w.hi; i++ {
		t.alike[i] = t.correlation(in.Values[:w.hi], i-side, w.lo)
	}
	k := w.top(t.alike)
	if !(t.alike[k] >= leastAlike) || !(w.standing(in.Values[k]-w.ground(in.Values)) >= 0.5) {
		return decline(whyFlat)
	}
	if k == w.lo || k == w.hi-1 {
		return decline(whyEdge)
	}
	at := in.Theta[k]
	if l, m, r := t.alike[k-1], t.alike[k], t.alike[k+1]; l-2*m+r < 0 {
		at += pace / 2 * (l - r) / (l - 2*m + r)
	}
	return Reading{Angle: at, Quality: math.Min(1, t.alike[k])}
}

// cut makes the template at a pace [rad], as long to each side as it is wide.
func (t *template) cut(pace float64) {
	side := max(2, int(t.wide/pace))
	if len(t.shape) == 2*side+1 {
		return
	}
	t.shape = make([]float64, 2*side+1)
	for i := range t.shape {
		z := float64(i-side) * pace / (t.wide / 2)
		t.shape[i] = math.Exp(-math.Ln2 * z * z)
	}
}

// correlation of the template, laid from sample first on, with the samples x from
// lo on; what hangs over is left out, and with less than two thirds there is none.
func (t *template) correlation(x []float64, first, lo int) float64 {
	a, b := max(0, lo-first), min(len(t.shape), len(x)-first)
	if 3*(b-a) < 2*len(t.shape) {
		return 0
	}
	shape, part := t.shape[a:b], x[first+a:first+b]
	ms, mp := stat.Mean(shape, nil), stat.Mean(part, nil)
	var ss, pp, sp float64
	for i, s := range shape {
		s, p := s-ms, part[i]-mp
		ss, pp, sp = ss+s*s, pp+p*p, sp+s*p
	}
	if !(ss*pp > 0) {
		return 0
	}
	return sp / math.Sqrt(ss*pp)
}

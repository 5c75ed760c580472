package reader

import "sort"

// parabola fits one by least squares to the samples about the top of the filtered
// ones, as far on both sides as the filter is wide; its vertex is the reading. It
// declines at an edge of the window and where there is no peak.
type parabola struct{ window window }

func newParabola(b *base) (Reader, error) { return &parabola{b.window}, nil }

// Reset implements Reader.
func (*parabola) Reset() {}

// Read implements Reader.
func (p *parabola) Read(in *Input) Reading {
	w := &p.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	w.filter(in)
	k := w.top(w.smooth)
	if why := w.peak(w.smooth, k); why != "" {
		return decline(why)
	}
	middle := in.Theta[k]
	lo, hi := sort.SearchFloat64s(in.Theta, middle-w.set.Smooth), sort.SearchFloat64s(in.Theta, middle+w.set.Smooth)
	lo, hi = min(max(lo, w.lo), k-1), max(min(hi, w.hi-1), k+1)
	at, ok := vertex(in.Theta[lo:hi+1], in.Values[lo:hi+1], middle)
	if !ok || at < in.Theta[lo] || at > in.Theta[hi] {
		return decline(whyFlat)
	}
	return Reading{Angle: at, Quality: w.quality(w.smooth, k), Humps: w.humps(w.smooth)}
}

// vertex returns where the parabola of least squares through y at x has its top,
// and whether it has one. It thinks about the middle, for the digits.
func vertex(x, y []float64, middle float64) (float64, bool) {
	unit := x[len(x)-1] - x[0]
	var s [5]float64 // sums of powers
	var t [3]float64
	for i := range x {
		u, power := (x[i]-middle)/unit, 1.
		for k := range s {
			s[k] += power
			if k < len(t) {
				t[k] += power * y[i]
			}
			power *= u
		}
	}
	var a [mostUnknowns][mostUnknowns]float64
	for i := range t {
		for j := range t {
			a[i][j] = s[i+j]
		}
	}
	if !cholesky(&a, t[:]) || !(t[2] < 0) {
		return 0, false
	}
	return middle - unit*t[1]/(2*t[2]), true
}

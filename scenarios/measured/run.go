package measured

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// run is an unbroken stretch of a recording: samples at x, and marks that tie x to the
// angle turned since the first mark. x is time [s], or the angle itself.
type run struct {
	x, p  []float64 // samples
	sum   []float64 // integral of p over x up to each
	holes []hole    // samples that were no number
	mark  []float64 // x of marks
	angle []float64 // of marks [rad], ascending
	next  float64   // angle of the firing dead centre of the next cycle
}

// hole is a sample that was no number.
type hole struct {
	x     float64
	where string
}

func (r *run) reset() {
	r.x, r.p, r.sum, r.holes, r.mark, r.angle = r.x[:0], r.p[:0], r.sum[:0], r.holes[:0], r.mark[:0], r.angle[:0]
	r.next = math.NaN()
}

// restart begins anew with the samples from x on.
func (r *run) restart(x float64) {
	k := sort.SearchFloat64s(r.x, x)
	xs, ps := slices.Clone(r.x[k:]), slices.Clone(r.p[k:])
	holes := slices.DeleteFunc(slices.Clone(r.holes), func(h hole) bool { return h.x < x })
	r.reset()
	r.holes = append(r.holes, holes...)
	for i := range xs {
		r.add(xs[i], ps[i])
	}
}

// add appends a sample.
func (r *run) add(x, p float64) {
	n := len(r.x)
	if n == 0 {
		r.sum = append(r.sum, 0)
	} else {
		r.sum = append(r.sum, r.sum[n-1]+(x-r.x[n-1])*(p+r.p[n-1])/2)
	}
	r.x, r.p = append(r.x, x), append(r.p, p)
}

// span is how far the marks reach [rad].
func (r *run) span() float64 {
	if len(r.angle) == 0 {
		return 0
	}
	return r.angle[len(r.angle)-1] - r.angle[0]
}

// at is x at an angle: by a cubic through the marks on both sides with the slopes of
// parabolas through three.
func (r *run) at(angle float64) float64 {
	n := len(r.angle)
	k := sort.SearchFloat64s(r.angle, angle)
	k = min(max(k, 1), n-1) - 1
	h := r.angle[k+1] - r.angle[k]
	u := (angle - r.angle[k]) / h
	if n == 2 {
		return r.mark[k] + u*(r.mark[k+1]-r.mark[k])
	}
	a, b := h*r.slope(k), h*r.slope(k+1)
	d := r.mark[k+1] - r.mark[k]
	return r.mark[k] + u*(a+u*(3*d-2*a-b+u*(a+b-2*d)))
}

// slope is dx/dangle at a mark.
func (r *run) slope(k int) float64 {
	n := len(r.angle)
	between := func(i int) float64 { return (r.mark[i+1] - r.mark[i]) / (r.angle[i+1] - r.angle[i]) }
	switch {
	case k == 0:
		return 1.5*between(0) - 0.5*r.slope(1)
	case k == n-1:
		return 1.5*between(n-2) - 0.5*r.slope(n-2)
	}
	h0, h1 := r.angle[k]-r.angle[k-1], r.angle[k+1]-r.angle[k]
	return (h1*between(k-1) + h0*between(k)) / (h0 + h1)
}

// integral is that of p from the first sample to x.
func (r *run) integral(x float64) float64 {
	k := r.before(x)
	u := x - r.x[k]
	slope := (r.p[k+1] - r.p[k]) / (r.x[k+1] - r.x[k])
	return r.sum[k] + u*(r.p[k]+u*slope/2)
}

// before is the sample at x or before it, not the last.
func (r *run) before(x float64) int {
	k := sort.SearchFloat64s(r.x, x)
	if k < len(r.x) && r.x[k] == x {
		k++
	}
	return min(max(k, 1), len(r.x)-1) - 1
}

// value is p at x, straight between samples.
func (r *run) value(x float64) float64 {
	k := r.before(x)
	return r.p[k] + (x-r.x[k])/(r.x[k+1]-r.x[k])*(r.p[k+1]-r.p[k])
}

// grid fills dst with pressure at evenly spaced angles from from on, step apart. Where
// there are two samples or more to a step it is their mean over a step about the angle,
// which lets nothing of the noise be lost for the better; otherwise straight between
// samples.
func (r *run) grid(dst []float64, from, step float64) {
	fine := 2*(r.x[1]-r.x[0]) <= r.at(from+step)-r.at(from)
	a := r.at(from - step/2)
	for i := range dst {
		theta := from + float64(i)*step
		if !fine {
			dst[i] = r.value(r.at(theta))
			continue
		}
		b := r.at(theta + step/2)
		dst[i] = (r.integral(b) - r.integral(a)) / (b - a)
		a = b
	}
}

// hole returns where a sample between two x was no number; "": none was.
func (r *run) hole(from, to float64) string {
	for _, h := range r.holes {
		if h.x >= from && h.x <= to {
			return h.where
		}
	}
	return ""
}

// forget drops what cycles from the angle on do not need.
func (r *run) forget(angle float64) {
	k := sort.SearchFloat64s(r.angle, angle) - 4
	if k < 64 {
		return
	}
	x := r.mark[k]
	r.mark, r.angle = slices.Delete(r.mark, 0, k), slices.Delete(r.angle, 0, k)
	s := sort.SearchFloat64s(r.x, x) - 2
	if s > 0 {
		base := r.sum[s]
		r.x, r.p, r.sum = slices.Delete(r.x, 0, s), slices.Delete(r.p, 0, s), slices.Delete(r.sum, 0, s)
		for i := range r.sum {
			r.sum[i] -= base
		}
	}
	r.holes = slices.DeleteFunc(r.holes, func(h hole) bool { return h.x < x })
}

// seconds writes a time for a person.
func seconds(t float64) string { return fmt.Sprintf("%.5f s", t) }

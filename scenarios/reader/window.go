package reader

import (
	"math"
	"sort"
)

// window is the part of a cycle that a reader looks at, smoothed, with what is
// known of the noise.
type window struct {
	set     Settings
	quiet   float64 // the exhaust stroke begins here: nothing burns after it [rad]
	lo, hi  int     // samples lo up to hi are inside
	base    float64 // mean of the quiet part, unit of the samples
	noise   float64 // rms of a sample
	smooth  []float64
	weights []float64
}

// open finds the window of in; a reason if there is none.
func (w *window) open(in *Input) string {
	if !whole(in) {
		return whyBroken
	}
	from := w.set.From
	if w.set.Blank > 0 {
		from = math.Max(from, -in.Spark+w.set.Blank*in.Speed)
	}
	w.lo, w.hi = sort.SearchFloat64s(in.Theta, from), sort.SearchFloat64s(in.Theta, w.set.To)
	if w.hi-w.lo < 3 {
		return whyBlanked
	}
	w.base, w.noise = quiet(in, w.quiet)
	return ""
}

// whole tells whether in has 8 samples or more, as they should be.
func whole(in *Input) bool {
	n := len(in.Theta)
	if n < 8 || len(in.Values) != n || !(in.Speed > 0) || math.IsInf(in.Speed, 0) || !finite(in.Spark) {
		return false
	}
	last := math.Inf(-1)
	for i, t := range in.Theta {
		if !(t > last) || !finite(in.Values[i]) {
			return false
		}
		last = t
	}
	return finite(last)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// quiet returns mean and noise of the samples from an angle on [rad]; the noise
// is that of second differences, of which an even slope has none: their rms is √6
// that of white noise.
func quiet(in *Input, from float64) (mean, noise float64) {
	k := sort.SearchFloat64s(in.Theta, from)
	if len(in.Theta)-k < 8 {
		k = 0
	}
	v := in.Values[k:]
	sum, squares := 0., 0.
	for i, x := range v {
		sum += x
		if i > 1 {
			d := x - 2*v[i-1] + v[i-2]
			squares += d * d
		}
	}
	return sum / float64(len(v)), math.Sqrt(squares / 6 / float64(len(v)-2))
}

// filter stores the samples of the window, smoothed, in w.smooth[lo:hi]: means
// under a triangle, wide at half its height as the settings say, over what of it
// lies in the window. Angles may be spaced unevenly a little: width counts in
// their mean distance.
func (w *window) filter(in *Input) {
	n := len(in.Theta)
	if cap(w.smooth) < n {
		w.smooth = make([]float64, n)
	}
	w.smooth = w.smooth[:n]
	pace := (in.Theta[n-1] - in.Theta[0]) / float64(n-1)
	half := max(1, int(math.Round(w.set.Smooth/pace)))
	if len(w.weights) != half {
		w.weights = make([]float64, half)
		for k := range w.weights {
			w.weights[k] = 1 - float64(k)/float64(half)
		}
	}
	for i := w.lo; i < w.hi; i++ {
		sum, all := in.Values[i], 1.
		for k := 1; k < half; k++ {
			if j := i - k; j >= w.lo {
				sum, all = sum+w.weights[k]*in.Values[j], all+w.weights[k]
			}
			if j := i + k; j < w.hi {
				sum, all = sum+w.weights[k]*in.Values[j], all+w.weights[k]
			}
		}
		w.smooth[i] = sum / all
	}
}

// top returns where x is greatest within the window; of a flat top, its middle.
func (w *window) top(x []float64) int {
	best, end := w.lo, w.lo
	for i := w.lo + 1; i < w.hi; i++ {
		switch {
		case x[i] > x[best]:
			best, end = i, i
		case x[i] == x[best] && end == i-1:
			end = i
		}
	}
	return (best + end) / 2
}

// ground is the lowest of x within the window.
func (w *window) ground(x []float64) float64 {
	low := x[w.lo]
	for i := w.lo; i < w.hi; i++ {
		low = math.Min(low, x[i])
	}
	return low
}

// standing is the quality of a peak that stands h above its ground: 1/2 where it
// is as high as the least that is taken for one.
func (w *window) standing(h float64) float64 {
	if !(h > 0) {
		return 0
	}
	return h / (h + w.set.Least*w.noise)
}

// quality of a peak of x at sample k; 0 at an edge of the window.
func (w *window) quality(x []float64, k int) float64 {
	if k == w.lo || k == w.hi-1 {
		return 0
	}
	return w.standing(x[k] - w.ground(x))
}

// stands returns "" where sample k of x is high enough for a peak.
func (w *window) stands(x []float64, k int) string {
	if h := x[k] - w.ground(x); !(h > 0 && h >= w.set.Least*w.noise) {
		return whyFlat
	}
	return ""
}

// peak returns "" where sample k of x is a peak: high enough, and no edge.
func (w *window) peak(x []float64, k int) string {
	if k == w.lo || k == w.hi-1 {
		return whyEdge
	}
	return w.stands(x, k)
}

// humps counts the tops of x within the window that rise and fall by so much that
// noise does not; the edges of the window are no side to rise or fall from.
func (w *window) humps(x []float64) int {
	rise := w.set.Least * w.noise
	count, up := 0, false
	low, high := x[w.lo], x[w.lo] // since the last turn
	for _, v := range x[w.lo:w.hi] {
		low, high = math.Min(low, v), math.Max(high, v)
		switch {
		case !up && v > low+rise:
			up, high = true, v
		case up && v < high-rise:
			up, low = false, v
			count++
		}
	}
	return count
}

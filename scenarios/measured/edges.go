package measured

import (
	"math"
	"slices"
)

// edger finds where a signal passes a level, between samples. A swing that does not go
// well beyond the level is noise.
type edger struct {
	level, over float64 // how far beyond the level a swing must go
	sign        float64 // -1: edges fall
	low         bool
	t, v        float64 // of the sample before
	crossed     float64 // time of the last upward crossing
}

// swing is how far beyond the level a signal must go, of its whole height. Our own choice.
const swing = 0.15

// newEdger returns one for a signal that looks like look; the level is midway where NaN
// is given. It returns nil where the signal stands still.
func newEdger(look []float64, level float64, falling bool) *edger {
	e := &edger{level: level, sign: 1, t: math.NaN()}
	low, high := heights(look)
	if !(high > low) {
		return nil
	}
	if math.IsNaN(level) {
		e.level = (low + high) / 2
	}
	e.over = swing * (high - low)
	if falling {
		e.sign = -1
	}
	return e
}

// heights are where a signal is low and high: its means below and above the middle
// between its least and greatest, so that a spike does not count.
func heights(look []float64) (low, high float64) {
	sorted := slices.DeleteFunc(slices.Clone(look), math.IsNaN)
	if len(sorted) == 0 {
		return math.NaN(), math.NaN()
	}
	slices.Sort(sorted)
	n := len(sorted)
	low, high = sorted[n/1000], sorted[n-1-n/1000]
	middle := (low + high) / 2
	cut, _ := slices.BinarySearch(sorted, middle)
	if cut == 0 || cut == n {
		return low, high
	}
	return sorted[cut/2], sorted[cut+(n-cut)/2]
}

// next takes a sample and returns the time of an edge, or NaN.
func (e *edger) next(t, v float64) float64 {
	v = e.sign * (v - e.level)
	out := math.NaN()
	if e.v < 0 && v >= 0 {
		e.crossed = e.t + (t-e.t)*e.v/(e.v-v)
	}
	switch {
	case e.low && v > e.over:
		e.low, out = false, e.crossed
	case v < -e.over:
		e.low = true
	}
	e.t, e.v = t, v
	return out
}

package chart

import (
	"math"

	"phasebench/scenarios/loop"
)

// Of long runs, about as many marks as a page can show. Our own choice.
const (
	mostLine  = 800 // points of a line
	mostEdge  = 400 // points of either edge of a ribbon
	mostDots  = 1200
	strongest = 900 // parts of the guard's row
)

// meanOver is how many cycles the lines of truth average.
const meanOver = 15

// envelopeOf returns xs and ys where they are not too many, or else the least and the
// greatest of every part of the line, in order, so that no spike is lost; of a part
// without a number, one point without. A gap within a part is closed.
func envelopeOf(xs, ys []float64, most int) (tx, ty []float64) {
	n := len(xs)
	if n <= most {
		return xs, ys
	}
	parts := most / 2
	for k := range parts {
		from, to := k*n/parts, (k+1)*n/parts
		lo, hi := -1, -1
		for i := from; i < to; i++ {
			if !finite(ys[i]) {
				continue
			}
			if lo < 0 || ys[i] < ys[lo] {
				lo = i
			}
			if hi < 0 || ys[i] > ys[hi] {
				hi = i
			}
		}
		switch {
		case lo < 0:
			tx, ty = append(tx, xs[from]), append(ty, math.NaN())
		case lo == hi: // a level line keeps its ends
			tx, ty = append(tx, xs[from], xs[to-1]), append(ty, ys[lo], ys[lo])
		default:
			a, b := min(lo, hi), max(lo, hi)
			tx, ty = append(tx, xs[a], xs[b]), append(ty, ys[a], ys[b])
		}
	}
	return tx, ty
}

// thinned returns the values at so many places at most, evenly spread.
func thinned(most int, lists ...[]float64) [][]float64 {
	out := make([][]float64, len(lists))
	for _, i := range evenly(len(lists[0]), most) {
		for k := range lists {
			out[k] = append(out[k], lists[k][i])
		}
	}
	return out
}

// running is the mean of what is a number of the meanOver values about each, fewer at
// the ends; NaN where none is, and in a gap as wide as that.
func running(v []float64) []float64 {
	sum, have := make([]float64, len(v)+1), make([]int, len(v)+1)
	for i, x := range v {
		sum[i+1], have[i+1] = sum[i], have[i]
		if finite(x) {
			sum[i+1], have[i+1] = sum[i]+x, have[i]+1
		}
	}
	out := make([]float64, len(v))
	for i := range v {
		a, b := max(0, i-meanOver/2), min(len(v), i+meanOver/2+1)
		out[i] = math.NaN()
		if n := have[b] - have[a]; n > 0 {
			out[i] = (sum[b] - sum[a]) / float64(n)
		}
	}
	return out
}

// runningRatio is that of torque over torque at MBT [-].
func runningRatio(steps []loop.Step) []float64 {
	torque, best := make([]float64, len(steps)), make([]float64, len(steps))
	for i := range steps {
		torque[i], best[i] = math.NaN(), math.NaN()
		if s := &steps[i]; finite(s.Truth.Torque, s.TorqueMBT) {
			torque[i], best[i] = s.Truth.Torque, s.TorqueMBT
		}
	}
	torque, best = running(torque), running(best)
	for i := range torque {
		torque[i] /= best[i]
		if !(best[i] > 0) {
			torque[i] = math.NaN()
		}
	}
	return torque
}

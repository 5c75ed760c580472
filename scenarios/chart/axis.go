package chart

import (
	"math"
	"strconv"
	"strings"
)

// tick is a mark on an axis; one without a label is short.
type tick struct {
	at    float64
	label string
}

// axis maps values to 0..1. Make one with newAxis.
type axis struct {
	title    string
	min, max float64
	log      bool
	ticks    []tick
}

// scale is a way to place ticks.
type scale int

const (
	linear      scale = iota
	angle             // degrees: 1, 2, 5, 10, 15, 30, 60, 90 ...
	logarithmic       // 1, 2, 5 of every decade
)

// newAxis returns an axis from lo to hi with about n ticks. Limits that
// enclose nothing, or are not finite, become some that do.
func newAxis(title string, s scale, lo, hi float64, n int) axis {
	lo, hi = widen(lo, hi, s == logarithmic)
	a := axis{title: title, min: lo, max: hi, log: s == logarithmic}
	if a.log {
		a.ticks = logTicks(lo, hi)
	} else {
		a.ticks = ticks(lo, hi, step(lo, hi, n, s == angle))
	}
	return a
}

func widen(lo, hi float64, log bool) (float64, float64) {
	if log {
		if !finite(lo, hi) || lo <= 0 || hi <= 0 {
			return 1, 10
		}
		if !(hi/lo > 1.001) {
			return lo / 2, lo * 2
		}
		return lo, hi
	}
	if !finite(lo, hi) || lo > hi {
		return 0, 1
	}
	if half := math.Max(1e-9, 1e-6*math.Max(math.Abs(lo), math.Abs(hi))); hi-lo < half {
		if half < 0.5 && math.Abs(lo) < 1e4 {
			half = 0.5
		}
		return lo - half, hi + half
	}
	return lo, hi
}

// at returns the share of the axis below v; NaN where v has no place.
func (a *axis) at(v float64) float64 {
	if a.log {
		if !(v > 0) {
			return math.NaN()
		}
		return math.Log(v/a.min) / math.Log(a.max/a.min)
	}
	return (v - a.min) / (a.max - a.min)
}

// step returns a round distance that puts at most n ticks from lo to hi.
func step(lo, hi float64, n int, angles bool) float64 {
	want := (hi - lo) / float64(max(n, 1))
	if angles {
		for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 90, 180, 360} {
			if s >= want && want > 0.5 {
				return s
			}
		}
	}
	p := math.Pow(10, math.Floor(math.Log10(want)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= want*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

func ticks(lo, hi, step float64) (out []tick) {
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	slack := 1e-9 * (hi - lo)
	for k := math.Ceil((lo - slack) / step); k*step <= hi+slack && len(out) < 100; k++ {
		out = append(out, tick{k * step, num(k*step, digits)})
	}
	return out
}

func logTicks(lo, hi float64) (out []tick) {
	wide := hi/lo > 2e4 // too many decades to label 2 and 5
	const slack = 1e-9
	for e := int(math.Floor(math.Log10(lo))); e <= int(math.Ceil(math.Log10(hi))); e++ {
		for m := 1; m <= 9; m++ {
			v, err := strconv.ParseFloat(strconv.Itoa(m)+"e"+strconv.Itoa(e), 64)
			if err != nil || v < lo*(1-slack) || v > hi*(1+slack) {
				continue
			}
			t := tick{at: v}
			if m == 1 || !wide && (m == 2 || m == 5) {
				t.label = strconv.FormatFloat(v, 'f', -1, 64)
				if e > 6 || e < -4 {
					t.label = minus(strconv.FormatFloat(v, 'g', -1, 64))
				}
			}
			out = append(out, t)
		}
	}
	return out
}

// num writes v with a real minus sign and never a minus zero.
func num(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return minus(s)
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// span is the range of the finite values of its lists.
func span(lists ...[]float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, l := range lists {
		for _, v := range l {
			if finite(v) {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
		}
	}
	return lo, hi
}

// pad widens lo..hi by share on either side, of the logarithm if log.
func pad(lo, hi, share float64, log bool) (float64, float64) {
	if log {
		r := math.Pow(hi/lo, share)
		return lo / r, hi * r
	}
	return lo - share*(hi-lo), hi + share*(hi-lo)
}

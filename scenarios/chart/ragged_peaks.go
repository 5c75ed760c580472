package chart

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/plot/vg/draw"
)

// Peaks draws how often the peak lands where: a histogram of LPP. Mean, median
// and sample standard deviation are of the cycles that burn; misfires that have
// a peak stand on top of them in another colour.
func Peaks(r *Ragged, title string) *Chart {
	lit, unlit := scaled(r.pick(r.LPP, true), 1/deg), scaled(r.pick(r.LPP, false), 1/deg)
	mean, sd := spread(lit)
	mid := median(lit)
	ch := &Chart{Title: title, Footer: r.footer(), About: "Histogram of the location of peak pressure.",
		Subtitle: r.peakSummary(len(lit), mean, mid, sd)}

	from, width, n := bins(lit, unlit)
	low, high := counts(lit, from, width, n), counts(unlit, from, width, n)
	for i := range high {
		high[i] += low[i]
	}
	ch.x = newAxis("LPP [deg after TDC]", angle, from-width, from+float64(n+1)*width, 12)
	most := 0.0
	for _, v := range high {
		most = math.Max(most, v)
	}
	p := panel{weight: 1, y: newAxis("cycles in "+num(width, digitsOf(width))+" deg", linear, 0, 1.25*math.Max(most, 1), 7)}
	if finite(mean, sd) {
		p.layers = append(p.layers, band{mean - sd, mean + sd})
		p.labels = append(p.labels, label{"one sd on either side", muted, upright(&p, mean+sd)})
	}
	p.layers = append(p.layers, bars{from, width, make([]float64, n), low, haze}, bars{from, width, low, high, rust})
	for _, m := range []struct {
		name  string
		at    float64
		style draw.LineStyle
	}{{"mean", mean, draw.LineStyle{Color: ink, Width: 1.1}}, {"median", mid, halfLine}} {
		if finite(m.at) {
			p.layers = append(p.layers, rule{m.at, m.style})
			p.labels = append(p.labels, label{m.name + " " + num(m.at, 1) + " deg", m.style.Color, upright(&p, m.at)})
		}
	}
	var at []anchor
	for i := range high {
		if high[i] > low[i] {
			at = append(at, anchor{from + (float64(i)+0.5)*width, high[i]})
		}
	}
	if len(at) > 0 {
		p.labels = append(p.labels, label{counted(len(unlit), "misfire"), rust, at})
	}
	ch.panels = []panel{p}
	return ch
}

func (r *Ragged) peakSummary(n int, mean, mid, sd float64) string {
	parts := []string{counted(n, "cycle") + " with a peak of their burn"}
	for _, v := range []quantity{{"mean", "deg", mean, 2}, {"median", "deg", mid, 2}, {"sd", "deg", sd, 2}} {
		if finite(v.value) {
			parts = append(parts, v.name+" "+num(v.value, v.digits)+" "+v.unit)
		}
	}
	return strings.Join(append(parts, r.missed()...), "  ·  ")
}

// edge is by how much of its width a bin begins early, so that a value on a
// round degree is not lost to the bin before it by rounding.
const edge = 1e-6

// bins lays bins of a round width over all values, the width after the spread
// of the cycles that burn: 2·IQR/∛n (D. Freedman and P. Diaconis, On the
// histogram as a density estimator, 1981; from memory), no more than 200.
func bins(lit, unlit []float64) (from, width float64, n int) {
	const most = 200
	lo, hi := span(lit, unlit)
	if lo > hi {
		return 0, 1, 1
	}
	if s := slices.Sorted(slices.Values(lit)); len(s) > 1 {
		iqr := stat.Quantile(0.75, stat.LinInterp, s, nil) - stat.Quantile(0.25, stat.LinInterp, s, nil)
		width = 2 * iqr / math.Cbrt(float64(len(s)))
	}
	width = math.Max(width, (hi-lo)/most)
	if !(width > 1e-3) || !finite(width) {
		width = 1
	}
	width = step(0, width, 1, false)
	from = width * math.Floor(lo/width+edge)
	return from, width, int((hi-from)/width+edge) + 1
}

// counts tells how many of v fall in each of n bins.
func counts(v []float64, from, width float64, n int) []float64 {
	out := make([]float64, n)
	for _, x := range v {
		if i := int((x-from)/width + edge); i >= 0 && i < n {
			out[i]++
		}
	}
	return out
}

// digitsOf tells how many decimals a round width has.
func digitsOf(width float64) int { return max(0, -int(math.Floor(math.Log10(width)+1e-9))) }

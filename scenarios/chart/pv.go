package chart

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot/vg/draw"

	"phasebench/solve"
)

// PV draws pressure against volume of c, both on logarithmic axes.
func PV(c *solve.Cycle, title string) *Chart {
	v, p := scaled(c.Volume, 1/cc), scaled(c.Pressure, 1/bar)
	ch := &Chart{Title: title, Subtitle: summary(c), Footer: point(&c.Operating),
		About: "Pressure against volume on logarithmic axes: compression, expansion and the pumping loop."}
	lo, hi := span(v)
	lo, hi = pad(lo, hi, 0.06, true)
	ch.x = newAxis("volume [cm³]", logarithmic, lo, hi, 0)
	low, top := span(p)
	low, top = pad(low, top, 0.08, true)
	pn := panel{weight: 1, y: newAxis("pressure [bar]", logarithmic, low, top, 0)}

	n := min(len(v), len(p))
	from, to := c.Begin, c.End
	if !(from >= 0 && from < to && to <= n) {
		from, to = 0, n
	}
	pumping := otherLine
	for _, open := range [][2]int{{0, min(from+1, n)}, {max(to-1, 0), n}} {
		if open[1]-open[0] > 1 {
			pn.layers = append(pn.layers, trace{xs: v[open[0]:open[1]], ys: p[open[0]:open[1]], style: pumping})
		}
	}
	pn.layers = append(pn.layers, trace{xs: v[from:to], ys: p[from:to], style: mainLine})

	if k, ok := nearest(c.Theta, c.LPP, n); ok && finite(c.Peak) {
		pn.mark(v[k], c.Peak/bar, draw.RingGlyph{}, mainLine, fmt.Sprintf("peak %s bar", num(c.Peak/bar, 1)))
	}
	if k, ok := nearest(c.Theta, -c.Operating.Spark, n); ok && k >= from && k < to {
		pn.mark(v[k], p[k], draw.CircleGlyph{}, sparkLine, "spark")
	}
	if to-from > 1 && to-from < n {
		pn.mark(v[from], p[from], draw.SquareGlyph{}, mainLine, "intake closes")
		pn.mark(v[to-1], p[to-1], draw.SquareGlyph{}, mainLine, "exhaust opens")
	}
	least := from
	for k := from; k < to; k++ {
		if v[k] < v[least] {
			least = k
		}
	}
	greatest := from // the turn between intake and compression
	for k := 0; k < from; k++ {
		if v[k] > v[greatest] {
			greatest = k
		}
	}
	last := max(to-1, 0) // the turn between expansion and exhaust
	for k := last; k < n; k++ {
		if v[k] > v[last] {
			last = k
		}
	}
	pn.stroke(v, p, from, least+1, "compression", blue, mainLine)
	pn.stroke(v, p, least, to, "expansion", blue, mainLine)
	pn.stroke(v, p, 0, greatest+1, "intake", rust, pumping)
	pn.stroke(v, p, last, n, "exhaust", rust, pumping)
	ch.panels = []panel{pn}
	return ch
}

// mark puts a dot with a label.
func (p *panel) mark(x, y float64, g draw.GlyphDrawer, s draw.LineStyle, text string) {
	p.layers = append(p.layers, dot{x, y, g, s})
	p.labels = append(p.labels, label{text, s.Color, []anchor{{x, y}}})
}

// stroke puts an arrow head and a name half way along v[a:b], p[a:b].
func (pn *panel) stroke(v, p []float64, a, b int, name string, col color.Color, s draw.LineStyle) {
	if b-a < 5 {
		return
	}
	mid := math.Sqrt(v[a] * v[b-1])
	k := a + 1
	for k < b-2 && (v[k] < mid) == (v[a] < mid) {
		k++
	}
	pn.layers = append(pn.layers, arrow{v[k-1], p[k-1], v[k], p[k], s})
	var at []anchor
	for _, d := range []int{0, 1, -1, 2, -2, 3, -3} {
		if i := k + d*(b-a)/10; i > a && i < b {
			at = append(at, anchor{v[i], p[i]})
		}
	}
	pn.labels = append(pn.labels, label{name, col, at})
}

// nearest returns the index below n whose value is closest to x.
func nearest(xs []float64, x float64, n int) (k int, ok bool) {
	best := math.Inf(1)
	for i := range min(len(xs), n) {
		if d := math.Abs(xs[i] - x); d < best {
			best, k, ok = d, i, true
		}
	}
	return k, ok
}

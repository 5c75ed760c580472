package chart

import (
	"math"

	"gonum.org/v1/plot/vg/draw"
)

// Overlay draws the pressure of many cycles over one another with their mean
// and their peaks, and below it the peaks of all cycles: LPP against peak
// pressure. Misfires are dashed lines and crosses.
func Overlay(r *Ragged, title string) *Chart {
	return &Chart{Title: title, Subtitle: r.summary(), Footer: r.footer(), x: raggedAxis(),
		About:  "Pressure of many cycles against angle, their mean and their peaks; below, where and how high all cycles peak.",
		panels: []panel{r.pressurePanel(5, true), r.peakPanel()}}
}

func raggedAxis() axis { return newAxis(angleTitle, angle, raggedFrom, raggedTo, 12) }

// pressurePanel names the spark if first, else, below another panel that does,
// the mean LPP.
func (r *Ragged) pressurePanel(weight float64, first bool) panel {
	theta, mean := scaled(r.Theta, 1/deg), scaled(r.Mean, 1/bar)
	curves, shown := [][]float64{}, [][]float64{cut(theta, mean, raggedFrom, raggedTo)}
	for _, p := range r.Pressure {
		c := scaled(p, 1/bar)
		curves, shown = append(curves, c), append(shown, cut(theta, c, raggedFrom, raggedTo))
	}
	low, top := span(shown...)
	p := panel{weight: weight, y: newAxis("pressure [bar]", linear, math.Min(0, 1.05*low), 1.12*top, 6)}
	r.marks(&p, first, !first)
	_, missed := r.overlay(&p, theta, curves)
	p.layers = append(p.layers, trace{xs: theta, ys: mean, style: boldLine})
	n := len(r.Pressure)
	lit, unlit := r.clouds(r.LPP[:min(n, len(r.LPP))], r.Peak, 1/deg, 1/bar)
	p.layers = append(p.layers, lit, unlit)
	if len(missed) > 0 {
		var at []anchor
		for _, c := range missed[:min(len(missed), 3)] {
			at = append(at, high(theta, c)...)
		}
		p.labels = append(p.labels, label{counted(len(missed), "misfire"), rust, at})
	}
	if len(mean) > 0 {
		p.labels = append(p.labels, label{"mean of " + counted(r.cycles(), "cycle"), ink, high(theta, mean)})
	}
	return p
}

func (r *Ragged) peakPanel() panel {
	lit, unlit := r.clouds(r.LPP, r.Peak, 1/deg, 1/bar)
	low, top := span(lit.ys, unlit.ys)
	if low < top {
		low, top = pad(low, top, 0.12, false)
	}
	p := panel{weight: 3, y: newAxis("peak pressure [bar]", linear, low, top, 5)}
	r.marks(&p, false, false)
	p.layers = append(p.layers, lit, unlit)
	x, _ := spread(scaled(r.pick(r.LPP, true), 1/deg))
	y, _ := spread(scaled(r.pick(r.Peak, true), 1/bar))
	if finite(x, y) {
		p.layers = append(p.layers, dot{x, y, draw.RingGlyph{}, boldLine})
		p.labels = append(p.labels, label{"mean LPP " + num(x, 1) + " deg, mean peak " + num(y, 1) + " bar", ink, []anchor{{x, y}}})
	}
	if n := len(unlit.xs); n > 0 {
		p.labels = append(p.labels, label{counted(n, "misfire"), rust, unlit.anchors()})
	}
	return p
}

// clouds pairs x with y, scaled, cycle by cycle: the cycles that are lit, and
// the misfires.
func (r *Ragged) clouds(x, y []float64, xBy, yBy float64) (lit, unlit cloud) {
	lit, unlit = cloud{col: blue}, cloud{col: rust, cross: true}
	for i := range min(len(x), len(y)) {
		c := &lit
		if !r.lit(i) {
			c = &unlit
		}
		if finite(x[i], y[i]) {
			c.xs, c.ys = append(c.xs, x[i]*xBy), append(c.ys, y[i]*yBy)
		}
	}
	return lit, unlit
}

// anchors returns the first few points of c.
func (c cloud) anchors() (out []anchor) {
	for i := range min(len(c.xs), 12) {
		out = append(out, anchor{c.xs[i], c.ys[i]})
	}
	return out
}

package chart

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/solve"
)

var (
	hotLine   = draw.LineStyle{Color: rust, Width: 1.6}
	eventLine = draw.LineStyle{Color: muted, Width: 0.7, Dashes: []vg.Length{1.2, 2}}
	meanLine  = draw.LineStyle{Color: ink, Width: 1.1, Dashes: []vg.Length{4, 2}}
)

// Gas draws the gas in the chamber over the whole cycle of c: temperatures,
// flows through the valves and burned-gas fraction.
func Gas(c *solve.Cycle, title string) *Chart {
	theta := scaled(c.Theta, 1/deg)
	lo, hi := span(theta)
	ch := angleChart(c, title, lo, hi)
	ch.x = newAxis(angleTitle, angle, ch.x.min, ch.x.max, 8)
	ch.Subtitle = gasSummary(c)
	ch.About = "Temperatures, flows through the valves and burned-gas fraction in the chamber against angle, over the whole cycle."
	ch.strip = strokes(c)
	ch.panels = []panel{temperaturePanel(c, theta), flowPanel(c, theta), compositionPanel(c, theta)}
	return ch
}

func gasSummary(c *solve.Cycle) string {
	parts := []quantity{
		{"residual", "%", 100 * c.Residual, 1},
		{"volumetric efficiency", "%", 100 * c.Volumetric, 1},
		{"air", "g/s", 1e3 * c.Airflow, 2},
		{"PMEP", "bar", c.PMEP / bar, 2},
	}
	if c.Lit {
		parts = append(parts, quantity{"burned zone up to", "K", c.PeakBurned, 0})
	}
	return enumerate(c, parts)
}

// sealedAt returns the ends of the part of c in which no valve is open [deg].
func sealedAt(c *solve.Cycle) (from, to float64, ok bool) {
	if !(c.Begin >= 0 && c.Begin < c.End && c.End <= len(c.Theta)) {
		return 0, 0, false
	}
	from, to = c.Theta[c.Begin]/deg, c.Theta[c.End-1]/deg
	return from, to, finite(from, to)
}

func temperaturePanel(c *solve.Cycle, theta []float64) panel {
	_, top := span(c.Temp, c.Unburned, c.Hot)
	p := panel{weight: 4.6, y: newAxis("temperature [K]", linear, 0, 1.15*top, 6)}
	if finite(c.Operating.Spark) {
		at := -c.Operating.Spark / deg
		p.layers = append(p.layers, rule{at, sparkLine})
		p.labels = append(p.labels, label{"spark", rust, upright(&p, at)})
	}
	p.layers = append(p.layers,
		trace{xs: theta, ys: c.Temp, style: meanLine},
		trace{xs: theta, ys: c.Unburned, style: mainLine},
		trace{xs: theta, ys: c.Hot, style: hotLine})
	p.labels = append(p.labels, label{"burned zone", rust, along(theta, c.Hot)})
	name := "unburned zone"
	if !c.Lit {
		name = "unburned charge"
	}
	p.labels = append(p.labels, label{name, blue, along(theta, c.Unburned)})
	alone := slices.Clone(c.Temp) // where it is the only temperature
	for i := max(c.Begin, 0); i < min(c.End, len(alone)); i++ {
		alone[i] = math.NaN()
	}
	at := along(theta, alone)
	slices.SortStableFunc(at, func(a, b anchor) int { return cmp.Compare(b.x, a.x) })
	if len(at) > 2 {
		at = at[2:] // not at the edge
	}
	p.labels = append(p.labels, label{"mean", ink, at})
	return p
}

func flowPanel(c *solve.Cycle, theta []float64) panel {
	const mg = 1e6
	in, out := open(scaled(c.Intake, mg*deg)), open(scaled(c.Exhaust, mg*deg))
	low, top := span(in, out)
	low, top = math.Min(low, 0), math.Max(top, 0)
	const weak = -0.02 // a flow back that is worth a word, over the greatest flow
	if low < weak*top {
		low = math.Min(1.15*low, -0.45*top)
	}
	p := panel{weight: 4, y: newAxis("flow in through the intake, out through the exhaust [mg/deg]", linear, low, 1.15*top, 5)}
	if from, to, ok := sealedAt(c); ok {
		for _, e := range []struct {
			name string
			at   float64
		}{{"intake closes", from}, {"exhaust opens", to}} {
			p.layers = append(p.layers, rule{e.at, eventLine})
			p.labels = append(p.labels, label{e.name, muted, upright(&p, e.at)})
		}
	}
	for _, f := range []struct {
		name, back string
		flow       []float64
		style      draw.LineStyle
	}{
		{"intake", "back into the intake", in, mainLine},
		{"exhaust", "back from the exhaust", out, otherLine},
	} {
		p.layers = append(p.layers, trace{xs: theta, ys: f.flow, style: f.style})
		least, most, ok := extremes(theta, f.flow)
		if !ok || !(most.y > 0) {
			continue
		}
		p.labels = append(p.labels, label{f.name, f.style.Color, []anchor{most}})
		if least.y < weak*top {
			p.labels = append(p.labels, label{f.back, f.style.Color, below(theta, f.flow, 0.4*least.y)})
		}
	}
	return p
}

func compositionPanel(c *solve.Cycle, theta []float64) panel {
	p := panel{weight: 2.4, y: newAxis("burned gas in the chamber [% by mass]", linear, -6, 110, 3),
		layers: []layer{trace{xs: theta, ys: scaled(c.Composition, 100), style: mainLine}}}
	if at, _, ok := sealedAt(c); ok && finite(c.Residual) {
		p.mark(at, 100*c.Residual, draw.RingGlyph{}, mainLine, "residual "+num(100*c.Residual, 1)+" % at intake closing")
	}
	return p
}

// open returns flow with NaN where the valve is shut.
func open(flow []float64) []float64 {
	out := slices.Clone(flow)
	for i := range flow {
		if flow[max(i-1, 0)] == 0 && flow[i] == 0 && flow[min(i+1, len(flow)-1)] == 0 {
			out[i] = math.NaN()
		}
	}
	return out
}

// upright returns anchors on a rule of p at x, from the top down.
func upright(p *panel, x float64) (out []anchor) {
	for _, share := range []float64{0.93, 0.8, 0.65, 0.5, 0.35} {
		out = append(out, anchor{x, p.y.min + share*(p.y.max-p.y.min)})
	}
	return out
}

// below returns anchors on the part of a curve below limit, its lowest first.
func below(xs, ys []float64, limit float64) (out []anchor) {
	for i := range min(len(xs), len(ys)) {
		if ys[i] <= limit && finite(xs[i], ys[i]) {
			out = append(out, anchor{xs[i], ys[i]})
		}
	}
	slices.SortStableFunc(out, func(a, b anchor) int { return cmp.Compare(a.y, b.y) })
	n := len(out)
	for i := range min(n, 8) {
		out[i] = out[i*n/min(n, 8)]
	}
	return out[:min(n, 8)]
}

// stroke is a named part of the horizontal axis.
type stroke struct {
	name     string
	from, to float64
}

// strokes returns the parts of a four-stroke cycle [deg], which end at its
// greatest volumes and dead centres.
func strokes(c *solve.Cycle) []stroke {
	n := min(len(c.Theta), len(c.Volume))
	if n < 5 {
		return nil
	}
	at := [5]float64{c.Theta[0] / deg, 0, 0, 0, c.Theta[n-1] / deg}
	greatest := [5]float64{1: math.Inf(-1), 3: math.Inf(-1)}
	for i := range n {
		k := 1
		if c.Theta[i] > 0 {
			k = 3
		}
		if v := c.Volume[i]; finite(v, c.Theta[i]) && v > greatest[k] {
			greatest[k], at[k] = v, c.Theta[i]/deg
		}
	}
	names := [4]string{"intake", "compression", "expansion", "exhaust"}
	var out []stroke
	for i, name := range names {
		if !(at[i+1] > at[i]) {
			return nil
		}
		out = append(out, stroke{name, at[i], at[i+1]})
	}
	return out
}

// along returns anchors spread over the finite part of a curve, from its
// middle outwards.
func along(xs, ys []float64) (out []anchor) {
	var all []anchor
	for i := range min(len(xs), len(ys)) {
		if finite(xs[i], ys[i]) {
			all = append(all, anchor{xs[i], ys[i]})
		}
	}
	for _, share := range []float64{0.5, 0.6, 0.4, 0.7, 0.3, 0.8, 0.2, 0.9, 0.1} {
		if n := len(all); n > 0 {
			out = append(out, all[int(share*float64(n-1))])
		}
	}
	return out
}

// extremes returns the least and the greatest point of a curve.
func extremes(xs, ys []float64) (least, most anchor, ok bool) {
	for i := range min(len(xs), len(ys)) {
		if !finite(xs[i], ys[i]) {
			continue
		}
		if !ok || ys[i] < least.y {
			least = anchor{xs[i], ys[i]}
		}
		if !ok || ys[i] > most.y {
			most = anchor{xs[i], ys[i]}
		}
		ok = true
	}
	return least, most, ok
}

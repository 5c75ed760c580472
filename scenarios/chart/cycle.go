package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg/draw"

	"phasebench/model"
	"phasebench/solve"
)

const (
	deg = math.Pi / 180
	bar = 1e5
	rpm = math.Pi / 30
	cc  = 1e-6

	angleTitle = "angle [deg after TDC]"
)

// Cycle draws pressure, heat release and burned fraction of c against angle.
func Cycle(c *solve.Cycle, title string) *Chart {
	lo, hi := window(c)
	ch := angleChart(c, title, lo, hi)
	ch.About = "Pressure, heat-release rate and burned fraction against angle."
	ch.add(c, pressurePanel(c, lo, hi))
	ch.add(c, releasePanel(c, lo, hi))
	ch.add(c, burnedPanel(c, lo, hi))
	return ch
}

// Heat draws heat release and burned fraction of c from the spark to the end
// of the burn.
func Heat(c *solve.Cycle, title string) *Chart {
	lo, hi := window(c)
	if spark := -c.Operating.Spark / deg; spark > lo && spark < hi {
		lo = math.Max(lo, spark-10)
	}
	if end := c.CA90/deg + 30; end > lo && end < hi {
		hi = end
	}
	ch := angleChart(c, title, lo, hi)
	ch.About = "Heat-release rate and burned fraction against angle."
	release := releasePanel(c, lo, hi)
	release.labels = append(release.labels, sparkLabel(c, release.y.max)...)
	ch.add(c, release)
	ch.add(c, burnedPanel(c, lo, hi))
	return ch
}

func angleChart(c *solve.Cycle, title string, lo, hi float64) *Chart {
	return &Chart{Title: title, Subtitle: summary(c), Footer: point(&c.Operating), x: newAxis(angleTitle, angle, lo, hi, 12)}
}

func pressurePanel(c *solve.Cycle, lo, hi float64) panel {
	theta := scaled(c.Theta, 1/deg)
	fired, motored := scaled(c.Pressure, 1/bar), scaled(c.Motored, 1/bar)
	_, top := span(cut(theta, fired, lo, hi), cut(theta, motored, lo, hi))
	knock := c.KnockOnset / deg
	knocks := knock >= lo && knock <= hi && c.KnockUnburned > 0
	head := 1.12
	if knocks {
		head = 1.32 // for its label
	}
	p := panel{weight: 5, y: newAxis("pressure [bar]", linear, 0, head*top, 6)}
	p.labels = append(p.labels, sparkLabel(c, p.y.max)...)
	if c.Lit && len(motored) > 0 {
		p.layers = append(p.layers, trace{xs: theta, ys: motored, style: grayLine})
	}
	p.layers = append(p.layers, trace{xs: theta, ys: fired, style: mainLine})
	if finite(c.LPP, c.Peak) {
		at := anchor{c.LPP / deg, c.Peak / bar}
		p.layers = append(p.layers, dot{at.x, at.y, draw.RingGlyph{}, mainLine})
		text := fmt.Sprintf("LPP %s deg, %s bar", num(at.x, 1), num(at.y, 1))
		p.labels = append(p.labels, label{text, blue, []anchor{at}})
	}
	if knocks {
		n := min(len(theta), len(fired))
		at := between(theta[:n], fired[:n], knock)
		stem := draw.LineStyle{Color: ink, Width: 0.8}
		p.layers = append(p.layers, trace{xs: []float64{knock, knock}, ys: []float64{at, p.y.max}, style: stem},
			dot{knock, at, draw.PyramidGlyph{}, stem})
		text := fmt.Sprintf("knock onset %s deg, %s %% unburned", num(knock, 1), num(100*c.KnockUnburned, 0))
		p.labels = append(p.labels, label{text, ink, []anchor{{knock, 0.95 * p.y.max}, {knock, at}}})
	}
	if c.Lit && len(motored) > 0 {
		p.labels = append(p.labels, label{"motored", muted, apart(theta, motored, fired, lo, hi)})
	}
	return p
}

// sparkLabel names the rule at the spark, high up in a panel that ends at top.
func sparkLabel(c *solve.Cycle, top float64) []label {
	var at []anchor
	for _, share := range []float64{0.95, 0.85, 0.7, 0.55, 0.4} {
		at = append(at, anchor{-c.Operating.Spark / deg, share * top})
	}
	return []label{{"spark " + sparkText(c.Operating.Spark), rust, at}}
}

func releasePanel(c *solve.Cycle, lo, hi float64) panel {
	theta, rate := scaled(c.Theta, 1/deg), scaled(c.Release, deg)
	low, top := span(cut(theta, rate, lo, hi))
	if !(top > 0) {
		top = 1
	}
	return panel{weight: 2.4, y: newAxis("heat-release rate [J/deg]", linear, math.Min(0, low), 1.1*top, 4),
		layers: []layer{trace{xs: theta, ys: rate, style: mainLine}}}
}

func burnedPanel(c *solve.Cycle, lo, hi float64) panel {
	p := panel{weight: 2.9, y: newAxis("burned fraction [%]", linear, 0, 108, 3),
		layers: []layer{trace{xs: scaled(c.Theta, 1/deg), ys: scaled(c.Burned, 100), style: mainLine}}}
	for _, m := range []struct {
		name      string
		at, share float64
	}{{"CA10", c.CA10, 10}, {"CA50", c.CA50, 50}, {"CA90", c.CA90, 90}} {
		at := anchor{m.at / deg, m.share}
		if !(at.x >= lo && at.x <= hi) {
			continue
		}
		p.layers = append(p.layers, dot{at.x, at.y, draw.CircleGlyph{}, halfLine})
		p.labels = append(p.labels, label{m.name + " " + num(at.x, 1) + " deg", plum, []anchor{at}})
	}
	return p
}

// add appends p with the marks that all panels of a cycle share.
func (ch *Chart) add(c *solve.Cycle, p panel) {
	marks := []layer{}
	if finite(c.CA10, c.CA90) {
		marks = append(marks, band{c.CA10 / deg, c.CA90 / deg})
	}
	if finite(c.Operating.Spark) && len(ch.panels) < 2 { // not among the labels of the last panel
		marks = append(marks, rule{-c.Operating.Spark / deg, sparkLine})
	}
	if finite(c.CA50) {
		marks = append(marks, rule{c.CA50 / deg, halfLine})
	}
	p.layers = append(marks, p.layers...)
	ch.panels = append(ch.panels, p)
}

// window is the part of the cycle worth drawing [deg]: a third of it around
// firing, or the sealed part if that is less.
func window(c *solve.Cycle) (lo, hi float64) {
	half := 120.0
	if n := len(c.Theta); n > 1 && c.Theta[n-1] > c.Theta[0] {
		half = (c.Theta[n-1] - c.Theta[0]) / deg / 6
	}
	lo, hi = -half, half
	if c.Begin >= 0 && c.Begin < c.End && c.End <= len(c.Theta) {
		lo = math.Max(lo, c.Theta[c.Begin]/deg)
		hi = math.Min(hi, c.Theta[c.End-1]/deg)
	}
	return lo, hi
}

// quantity is a number to write.
type quantity struct {
	name, unit string
	value      float64
	digits     int
}

// summary is the line of numbers under the title.
func summary(c *solve.Cycle) string {
	return enumerate(c, []quantity{
		{"IMEP gross", "bar", c.IMEPGross / bar, 2},
		{"PMEP", "bar", c.PMEP / bar, 2},
		{"torque", "N·m", c.Torque, 1},
		{"gross efficiency", "%", 100 * c.Efficiency, 1},
		{"burn 10–90 %", "deg", c.Rapid / deg, 1},
	})
}

// enumerate writes the values that are finite.
func enumerate(c *solve.Cycle, values []quantity) string {
	var parts []string
	if !c.Lit {
		parts = append(parts, "misfire: the charge did not light")
	}
	for _, v := range values {
		if finite(v.value) {
			parts = append(parts, fmt.Sprintf("%s %s %s", v.name, num(v.value, v.digits), v.unit))
		}
	}
	return strings.Join(parts, "  ·  ")
}

// point tells where the engine ran.
func point(op *model.Operating) string {
	return conditions(op) + ", spark " + sparkText(op.Spark)
}

func conditions(op *model.Operating) string {
	return fmt.Sprintf("%s rpm, manifold %s kPa, lambda %s", num(op.Speed/rpm, 0), num(op.MAP/1e3, 1), num(op.Lambda, 2))
}

// sparkText writes a spark advance [rad].
func sparkText(spark float64) string {
	if spark < 0 {
		return num(-spark/deg, 1) + " deg after TDC"
	}
	return num(spark/deg, 1) + " deg before TDC"
}

func scaled(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] * by
	}
	return out
}

// cut returns the ys whose x is from lo to hi.
func cut(xs, ys []float64, lo, hi float64) (out []float64) {
	for i := range min(len(xs), len(ys)) {
		if xs[i] >= lo && xs[i] <= hi {
			out = append(out, ys[i])
		}
	}
	return out
}

// apart returns anchors on the curve ys, those farthest from the curve other
// first.
func apart(xs, ys, other []float64, lo, hi float64) (out []anchor) {
	type candidate struct {
		anchor
		gap float64
	}
	var all []candidate
	last := math.Inf(-1)
	for i := range min(len(xs), len(ys), len(other)) {
		if xs[i] >= lo && xs[i] <= hi && xs[i] >= last+(hi-lo)/40 && finite(ys[i], other[i]) {
			all, last = append(all, candidate{anchor{xs[i], ys[i]}, math.Abs(other[i] - ys[i])}), xs[i]
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.gap, a.gap) })
	for _, a := range all[:min(len(all), 12)] {
		out = append(out, a.anchor)
	}
	return out
}

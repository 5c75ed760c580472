package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg/draw"
)

// Axis describes an axis of Lines.
type Axis struct {
	Title string // with its unit: "volume [cm³]"
	Log   bool   // logarithmic; values <= 0 are left out
	Angle bool   // degrees: ticks at multiples of 15, 30, 90
}

func (a Axis) scale() scale {
	switch {
	case a.Log:
		return logarithmic
	case a.Angle:
		return angle
	}
	return linear
}

// Curve is a line of Lines.
type Curve struct {
	Name string // written beside the line
	X, Y []float64
}

// Mark is a named point of Lines.
type Mark struct {
	X, Y float64
	Text string
}

// Lines draws curves and marks in their own units, each curve in another
// colour and dash: a p-V diagram of ideal cycles, say.
func Lines(title string, x, y Axis, curves []Curve, marks []Mark) *Chart {
	ch := &Chart{Title: title, About: y.Title + " against " + x.Title + "."}
	var xs, ys [][]float64
	for _, c := range curves {
		cx, cy := drawn(c, x.Log, y.Log)
		xs, ys = append(xs, cx), append(ys, cy)
	}
	limits := func(a Axis, lists [][]float64) axis {
		lo, hi := span(lists...)
		if lo < hi {
			lo, hi = pad(lo, hi, 0.06, a.Log)
		}
		return newAxis(a.Title, a.scale(), lo, hi, 9)
	}
	ch.x = limits(x, xs)
	p := panel{weight: 1, y: limits(y, ys)}
	styles := []draw.LineStyle{mainLine, otherLine, thirdLine, {Color: ink, Width: 1.1}, grayLine}
	for i := range curves {
		s := styles[i%len(styles)]
		p.layers = append(p.layers, trace{xs: xs[i], ys: ys[i], style: s})
	}
	for _, m := range marks {
		p.mark(m.X, m.Y, draw.RingGlyph{}, draw.LineStyle{Color: ink}, m.Text)
	}
	for i, c := range curves {
		p.labels = append(p.labels, label{c.Name, color.Color(styles[i%len(styles)].Color), alone(xs, ys, i)})
	}
	ch.panels = []panel{p}
	return ch
}

// drawn returns the points of c with NaN for those that have no place.
func drawn(c Curve, logX, logY bool) (xs, ys []float64) {
	for i := range min(len(c.X), len(c.Y)) {
		x, y := c.X[i], c.Y[i]
		if !finite(x, y) || logX && !(x > 0) || logY && !(y > 0) {
			x, y = math.NaN(), math.NaN()
		}
		xs, ys = append(xs, x), append(ys, y)
	}
	return xs, ys
}

// alone returns anchors spread over curve i.
func alone(xs, ys [][]float64, i int) (out []anchor) {
	n := len(xs[i])
	for _, share := range []float64{0.5, 0.35, 0.65, 0.2, 0.8, 0.95, 0.05, 0.28, 0.42, 0.58, 0.72} {
		if k := int(share * float64(n-1)); n > 0 && k >= 0 {
			out = append(out, anchor{xs[i][k], ys[i][k]})
		}
	}
	return out
}

package chart

import (
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// panel is one plot of a chart.
type panel struct {
	weight float64 // share of the height
	y      axis
	layers []layer // drawn in this order
	labels []label
	legend *legend // nil: none
}

// layer is something drawn on a pane.
type layer interface {
	draw(p *pane)
	// outline lists what labels should stay clear of, and how dearly.
	outline(p *pane) (lines [][]vg.Point, cost float64)
}

// pane is where a panel draws its data.
type pane struct {
	draw.Canvas
	x, y axis
}

func (p *pane) pt(x, y float64) vg.Point {
	return vg.Point{X: p.X(p.x.at(x)), Y: p.Y(p.y.at(y))}
}

// draw draws p in rect; last says that the labels of the x axis go below it.
func (p *panel) draw(page draw.Canvas, x axis, rect vg.Rectangle, last bool) {
	c := &pane{draw.Canvas{Canvas: page.Canvas, Rectangle: rect}, x, p.y}
	for _, l := range p.layers {
		if b, ok := l.(band); ok { // below the grid
			b.draw(c)
		}
	}
	for _, t := range x.ticks {
		if t.label != "" {
			at := c.X(x.at(t.at))
			c.StrokeLine2(gridLine, at, rect.Min.Y, at, rect.Max.Y)
		}
	}
	for _, t := range p.y.ticks {
		if t.label != "" {
			at := c.Y(p.y.at(t.at))
			c.StrokeLine2(gridLine, rect.Min.X, at, rect.Max.X, at)
		}
	}
	zero{}.draw(c)
	for _, l := range p.layers {
		if _, ok := l.(band); !ok {
			l.draw(c)
		}
	}
	c.axes(last)
	if p.legend != nil {
		p.legend.draw(c, pageWidth-margin)
	}
	c.place(append(p.layers, zero{}), p.labels)
}

// axes draws the two axes with ticks and titles.
func (p *pane) axes(last bool) {
	lo, hi := p.Min, p.Max
	p.StrokeLine2(axisLine, lo.X, lo.Y, hi.X, lo.Y)
	p.StrokeLine2(axisLine, lo.X, lo.Y, lo.X, hi.Y)
	for _, t := range p.y.ticks {
		y, l := p.Y(p.y.at(t.at)), tickLength
		if t.label == "" {
			l /= 2
		}
		p.StrokeLine2(axisLine, lo.X-l, y, lo.X, y)
		write(p, textSize, ink, vg.Point{X: lo.X - tickLength - 2.5, Y: y - 0.36*textSize}, 1, t.label)
	}
	for _, t := range p.x.ticks {
		x, l := p.X(p.x.at(t.at)), tickLength
		if t.label == "" {
			l /= 2
		}
		p.StrokeLine2(axisLine, x, lo.Y-l, x, lo.Y)
		if last {
			write(p, textSize, ink, vg.Point{X: x, Y: lo.Y - tickLength - textSize - 0.5}, 0.5, t.label)
		}
	}
	write(p, textSize, ink, vg.Point{X: lo.X, Y: hi.Y + 4}, 0, p.y.title)
	if last {
		write(p, textSize, ink, vg.Point{X: hi.X, Y: lo.Y - tickLength - 2*textSize - 5}, 1, p.x.title)
	}
}

// trace is a line through points, broken where one is not finite.
type trace struct {
	xs, ys []float64
	style  draw.LineStyle
	glyph  draw.GlyphDrawer // at every point; nil: none
}

func (t trace) lines(p *pane) [][]vg.Point {
	var out [][]vg.Point
	var run []vg.Point
	for i := range min(len(t.xs), len(t.ys)) {
		if q := p.pt(t.xs[i], t.ys[i]); finite(float64(q.X), float64(q.Y)) {
			run = append(run, q)
		} else if run != nil {
			out, run = append(out, run), nil
		}
	}
	if run != nil {
		out = append(out, run)
	}
	return out
}

func (t trace) draw(p *pane) {
	lines := t.lines(p)
	if t.style.Width > 0 {
		for _, l := range p.ClipLinesXY(lines...) {
			p.StrokeLines(t.style, thin(l))
		}
	}
	if t.glyph != nil {
		for _, l := range lines {
			for _, q := range l {
				glyph(p, q, t.glyph, t.style)
			}
		}
	}
}

func (t trace) outline(p *pane) ([][]vg.Point, float64) { return t.lines(p), lineCost }

// joined is one path of many lines, closed or not.
func joined(lines [][]vg.Point, closed bool) (path vg.Path) {
	for _, l := range lines {
		path.Move(l[0])
		for _, q := range l[1:] {
			path.Line(q)
		}
		if closed {
			path.Close()
		}
	}
	return path
}

// thin drops points that lie closer together than a picture shows.
func thin(l []vg.Point) []vg.Point {
	out := l[:0:0]
	for i, q := range l {
		if n := len(out); n > 0 && i < len(l)-1 {
			if d := q.Sub(out[n-1]); d.Dot(d) < 0.04 {
				continue
			}
		}
		out = append(out, q)
	}
	return out
}

// dot is a single marked point.
type dot struct {
	x, y  float64
	glyph draw.GlyphDrawer
	style draw.LineStyle
}

func (d dot) draw(p *pane) { glyph(p, p.pt(d.x, d.y), d.glyph, d.style) }

func (d dot) outline(p *pane) ([][]vg.Point, float64) {
	q := p.pt(d.x, d.y)
	r := dotRadius
	return [][]vg.Point{{{X: q.X - r, Y: q.Y}, {X: q.X + r, Y: q.Y}}, {{X: q.X, Y: q.Y - r}, {X: q.X, Y: q.Y + r}}}, 0.9 * lineCost
}

// glyph draws g, filled with paper where it is hollow.
func glyph(p *pane, q vg.Point, g draw.GlyphDrawer, s draw.LineStyle) {
	if !finite(float64(q.X), float64(q.Y)) || !p.Contains(q) {
		return
	}
	r := dotRadius
	switch g.(type) {
	case draw.RingGlyph:
		p.DrawGlyphNoClip(draw.GlyphStyle{Color: paper, Radius: r, Shape: draw.CircleGlyph{}}, q)
	case draw.SquareGlyph:
		p.DrawGlyphNoClip(draw.GlyphStyle{Color: paper, Radius: r, Shape: draw.BoxGlyph{}}, q)
	}
	p.SetLineDash(nil, 0)
	p.SetLineWidth(1.2)
	p.DrawGlyphNoClip(draw.GlyphStyle{Color: s.Color, Radius: r, Shape: g}, q)
}

// rule is a line over the whole height at x.
type rule struct {
	x     float64
	style draw.LineStyle
}

func (r rule) draw(p *pane) {
	if at := p.X(p.x.at(r.x)); finite(float64(at)) && p.ContainsX(at) {
		p.StrokeLine2(r.style, at, p.Min.Y, at, p.Max.Y)
	}
}

func (r rule) outline(p *pane) ([][]vg.Point, float64) {
	at := p.X(p.x.at(r.x))
	return [][]vg.Point{{{X: at, Y: p.Min.Y}, {X: at, Y: p.Max.Y}}}, 7
}

// band shades the whole height between two x.
type band struct{ from, to float64 }

func (b band) draw(p *pane) {
	from, to := math.Max(b.from, p.x.min), math.Min(b.to, p.x.max)
	if !(to > from) {
		return
	}
	p.SetColor(shade)
	p.Fill(vg.Rectangle{Min: vg.Point{X: p.X(p.x.at(from)), Y: p.Min.Y}, Max: vg.Point{X: p.X(p.x.at(to)), Y: p.Max.Y}}.Path())
}

func (b band) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// zero is a line where y is zero, unless that is an edge.
type zero struct{}

func (z zero) draw(p *pane) { p.StrokeLines(zeroLine, z.line(p)) }

func (z zero) outline(p *pane) ([][]vg.Point, float64) { return [][]vg.Point{z.line(p)}, 6 }

func (zero) line(p *pane) []vg.Point {
	if p.y.log || p.y.min >= 0 || p.y.max <= 0 {
		return nil
	}
	at := p.Y(p.y.at(0))
	return []vg.Point{{X: p.Min.X, Y: at}, {X: p.Max.X, Y: at}}
}

// arrow is a head on the line from a to b, at b.
type arrow struct {
	ax, ay, bx, by float64
	style          draw.LineStyle
}

func (a arrow) draw(p *pane) {
	from, to := p.pt(a.ax, a.ay), p.pt(a.bx, a.by)
	d := to.Sub(from)
	n := vg.Length(math.Hypot(float64(d.X), float64(d.Y)))
	if !(n > 0) || !finite(float64(n)) || !p.Contains(to) {
		return
	}
	d = d.Scale(1 / n)
	side := vg.Point{X: -d.Y, Y: d.X}
	back := to.Sub(d.Scale(8))
	var path vg.Path
	path.Move(to)
	path.Line(back.Add(side.Scale(3.2)))
	path.Line(back.Sub(side.Scale(3.2)))
	path.Close()
	p.SetColor(a.style.Color)
	p.Fill(path)
}

func (a arrow) outline(p *pane) ([][]vg.Point, float64) { return nil, 0 }

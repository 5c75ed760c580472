package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

const (
	straightWithin = vg.Length(0.1) // a quarter of a pixel of PNG files
	crowdCost      = 1              // of covering one of many lines or dots

	crowdRadius = vg.Length(1.25)
	crowdGrain  = vg.Length(0.4) // dots closer than that count as one
)

// bundle is many lines over the same x. They are one path in the file.
type bundle struct {
	xs    []float64
	ys    [][]float64
	style draw.LineStyle
}

// lines holds what can be seen of the bundle: no points out of the pane, and
// none that a straight line passes.
func (b bundle) lines(p *pane) (out [][]vg.Point) {
	for _, y := range b.ys {
		for _, l := range p.ClipLinesXY(trace{xs: b.xs, ys: y}.lines(p)...) {
			out = append(out, straight(l, straightWithin))
		}
	}
	return out
}

func (b bundle) draw(p *pane) {
	if path := joined(b.lines(p), false); len(path) > 0 {
		p.SetLineStyle(b.style)
		p.Stroke(path)
	}
}

func (b bundle) outline(p *pane) ([][]vg.Point, float64) { return b.lines(p), crowdCost }

// straight drops points of l that come within tol of the line that is left.
// Its ends stay. Source: D. Douglas and T. Peucker, Algorithms for the
// reduction of the number of points required to represent a digitized line or
// its caricature, 1973 (from memory).
func straight(l []vg.Point, tol vg.Length) []vg.Point {
	if len(l) < 3 {
		return l
	}
	out := l[:1:1]
	var keep func(i, j int)
	keep = func(i, j int) { // points after i, up to j
		far, at := tol, 0
		for k := i + 1; k < j; k++ {
			if d := distance(l[k], l[i], l[j]); d > far {
				far, at = d, k
			}
		}
		if at == 0 {
			out = append(out, l[j])
			return
		}
		keep(i, at)
		keep(at, j)
	}
	keep(0, len(l)-1)
	return out
}

// distance of q from the segment a-b.
func distance(q, a, b vg.Point) vg.Length {
	d, e := b.Sub(a), q.Sub(a)
	if n := d.Dot(d); n > 0 {
		e = e.Sub(d.Scale(max(0, min(1, e.Dot(d)/n))))
	}
	return vg.Length(math.Hypot(float64(e.X), float64(e.Y)))
}

// cloud is many small dots, or crosses. They are one path in the file.
type cloud struct {
	xs, ys []float64
	col    color.Color
	cross  bool
}

// points are those in the pane, one for all that fall on the same spot.
func (c cloud) points(p *pane) (out []vg.Point) {
	seen := map[[2]int]bool{}
	for i := range min(len(c.xs), len(c.ys)) {
		q := p.pt(c.xs[i], c.ys[i])
		if !finite(float64(q.X), float64(q.Y)) || !p.Contains(q) {
			continue
		}
		spot := [2]int{int(q.X / crowdGrain), int(q.Y / crowdGrain)}
		if !seen[spot] {
			seen[spot] = true
			out = append(out, q)
		}
	}
	return out
}

func (c cloud) draw(p *pane) {
	var path vg.Path
	for _, q := range c.points(p) {
		if r := crowdRadius; !c.cross {
			path.Move(vg.Point{X: q.X + r, Y: q.Y})
			path.Arc(q, r, 0, 2*math.Pi)
			path.Close()
		} else {
			r *= 1.5
			path.Move(vg.Point{X: q.X - r, Y: q.Y - r})
			path.Line(vg.Point{X: q.X + r, Y: q.Y + r})
			path.Move(vg.Point{X: q.X - r, Y: q.Y + r})
			path.Line(vg.Point{X: q.X + r, Y: q.Y - r})
		}
	}
	switch {
	case len(path) == 0:
	case c.cross:
		p.SetLineStyle(draw.LineStyle{Color: c.col, Width: 0.9})
		p.Stroke(path)
	default:
		p.SetColor(c.col)
		p.Fill(path)
	}
}

func (c cloud) outline(p *pane) (lines [][]vg.Point, cost float64) {
	for _, q := range c.points(p) {
		lines = append(lines, []vg.Point{q})
	}
	return lines, crowdCost
}

// bars are of equal width, each from a base to a top.
type bars struct {
	from, width float64 // of the first bar
	base, top   []float64
	col         color.Color
}

// boxes are those that have a height.
func (b bars) boxes(p *pane) (out []vg.Rectangle) {
	const gap = 0.35 // on either side
	for i := range b.top {
		if !(b.top[i] > b.base[i]) {
			continue
		}
		x := b.from + float64(i)*b.width
		r := vg.Rectangle{Min: p.pt(x, b.base[i]), Max: p.pt(x+b.width, b.top[i])}
		if r.Size().X > 6*gap {
			r.Min.X, r.Max.X = r.Min.X+gap, r.Max.X-gap
		}
		out = append(out, r)
	}
	return out
}

func (b bars) draw(p *pane) {
	var path vg.Path
	for _, r := range b.boxes(p) {
		path = append(path, r.Path()...)
	}
	if len(path) > 0 {
		p.SetColor(b.col)
		p.Fill(path)
	}
}

func (b bars) outline(p *pane) (lines [][]vg.Point, cost float64) {
	for _, r := range b.boxes(p) {
		top := vg.Point{X: r.Min.X, Y: r.Max.Y}
		lines = append(lines, []vg.Point{r.Min, top, r.Max, {X: r.Max.X, Y: r.Min.Y}, r.Min})
	}
	return lines, lineCost
}

package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"

	"phasebench/scenarios/trust"
)

// tiles is a value over sparks and loads, a tile each: nothing is made up between.
type tiles struct {
	xs, ys []float64   // edges
	z      [][]float64 // by load, then spark; NaN: none
	levels []tick      // between the tints, rising
	marks  []layer     // drawn on them later; the numbers make way
}

// newTiles lays out q of nodes of one speed. Their sparks are those of the first.
func newTiles(nodes []trust.Node, q TrustQuantity) *tiles {
	t := &tiles{}
	var x, y []float64
	for i := range nodes[0].Cells {
		x = append(x, nodes[0].Cells[i].Spark/deg)
	}
	for i := range nodes {
		y = append(y, nodes[i].MAP/1e3)
		row := make([]float64, len(x))
		for k := range row {
			row[k] = math.NaN()
			if k < len(nodes[i].Cells) {
				row[k] = q.Value(&nodes[i].Cells[k])
			}
		}
		t.z = append(t.z, row)
	}
	t.xs, t.ys = edges(x), edges(y)
	return t
}

// edges returns the borders of tiles about the given middles: half way between
// neighbours. A single one reaches a tenth of its value, but 1 at least, to
// either side.
func edges(at []float64) (out []float64) {
	n := len(at)
	switch n {
	case 0:
		return nil
	case 1:
		half := math.Max(1, 0.1*math.Abs(at[0]))
		return []float64{at[0] - half, at[0] + half}
	}
	out = append(out, at[0]-(at[1]-at[0])/2)
	for i := 1; i < n; i++ {
		out = append(out, (at[i-1]+at[i])/2)
	}
	return append(out, at[n-1]+(at[n-1]-at[n-2])/2)
}

// tone is the tint of v.
func (t *tiles) tone(v float64) color.Color {
	k := 0
	for k < len(t.levels) && v >= t.levels[k].at {
		k++
	}
	return tint(k, len(t.levels)+1)
}

func (t *tiles) draw(p *pane) {
	var lines [][]vg.Point
	for _, m := range t.marks {
		l, _ := m.outline(p)
		lines = append(lines, l...)
	}
	nan := math.NaN()
	none := [][]float64{{nan, nan}, {nan, nan}}
	for i, row := range t.z {
		for k, v := range row {
			x, y := t.xs[k:k+2], t.ys[i:i+2]
			if !finite(v) {
				(&field{xs: x, ys: y, z: none}).hatch(p)
				continue
			}
			r := vg.Rectangle{Min: p.pt(x[0], y[0]), Max: p.pt(x[1], y[1])}
			if !finite(float64(r.Min.X), float64(r.Min.Y), float64(r.Max.X), float64(r.Max.Y)) {
				continue
			}
			p.SetColor(t.tone(v))
			p.Fill(r.Path())
			text := num(v, 0)
			box := textBox(text, smallSize, r.Min.Add(r.Max).Scale(0.5))
			if wide := grow(box, 1.5); wide.Min.X > r.Min.X && wide.Min.Y > r.Min.Y && crossings(lines, grow(box, dotRadius+1)) == 0 {
				write(p, smallSize, ink, box.Min, 0, text)
			}
		}
	}
}

func (t *tiles) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// frame is an outline just inside a box.
type frame struct{ x0, x1, y0, y1 float64 }

func (f frame) line(p *pane) []vg.Point {
	const inset = 2 // of its upper and lower side
	a, b := p.pt(f.x0, f.y0), p.pt(f.x1, f.y1)
	a.Y, b.Y = a.Y+inset, b.Y-inset
	if !finite(float64(a.X), float64(a.Y), float64(b.X), float64(b.Y)) {
		return nil
	}
	return []vg.Point{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}, a}
}

func (f frame) draw(p *pane) {
	if l := f.line(p); l != nil {
		p.StrokeLines(safeLine, p.ClipLinesXY(l)...)
	}
}

func (f frame) outline(p *pane) ([][]vg.Point, float64) {
	if l := f.line(p); l != nil {
		return [][]vg.Point{l}, lineCost
	}
	return nil, 0
}

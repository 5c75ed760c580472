package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

var (
	contourLine = draw.LineStyle{Color: blue, Width: 0.9}
	hatchLine   = draw.LineStyle{Color: color.NRGBA{0xC6, 0xC1, 0xB4, 0xFF}, Width: 0.5}
)

// field is a quantity over a grid of nodes, bilinear in each cell.
type field struct {
	xs, ys []float64
	z      [][]float64 // over xs, then ys; NaN: none
	absent [][]string  // what to write where there is none
	levels []tick      // contour lines, rising
	digits int         // of the values at the nodes
}

// Every cell is drawn as so many by so many squares of two triangles.
const fine = 4

// vertex is a vertex of the fine mesh, twice, or the two ends of the edge
// that a level crosses.
type vertex [2]int

func (v vertex) crossing() bool { return v[0] != v[1] }

// whole tells whether the cell above and right of a node has all values.
func (f *field) whole(i, j int) bool {
	return finite(f.z[i][j], f.z[i+1][j], f.z[i][j+1], f.z[i+1][j+1], f.xs[i], f.xs[i+1], f.ys[j], f.ys[j+1])
}

// cells tells whether any cell has all values.
func (f *field) cells() bool {
	for i := range len(f.xs) - 1 {
		for j := range len(f.ys) - 1 {
			if f.whole(i, j) {
				return true
			}
		}
	}
	return false
}

// mesh is the fine mesh of a field on a pane.
type mesh struct {
	points []vg.Point
	z      []float64
	faces  [][3]int // all turn the same way
}

func (f *field) mesh(p *pane) *mesh {
	nx, ny := (len(f.xs)-1)*fine+1, (len(f.ys)-1)*fine+1
	m := &mesh{}
	for i := range nx {
		for j := range ny {
			// A corner without weight must not count: it may be NaN.
			k, l := min(i/fine, len(f.xs)-2), min(j/fine, len(f.ys)-2)
			u, v := float64(i-k*fine)/fine, float64(j-l*fine)/fine
			mix := func(w, a, b float64) float64 {
				switch w {
				case 0:
					return a
				case 1:
					return b
				}
				return a + w*(b-a)
			}
			m.points = append(m.points, p.pt(mix(u, f.xs[k], f.xs[k+1]), mix(v, f.ys[l], f.ys[l+1])))
			m.z = append(m.z, mix(u, mix(v, f.z[k][l], f.z[k][l+1]), mix(v, f.z[k+1][l], f.z[k+1][l+1])))
		}
	}
	for i := range nx - 1 {
		for j := range ny - 1 {
			if f.whole(i/fine, j/fine) {
				a, b, c, d := i*ny+j, (i+1)*ny+j, (i+1)*ny+j+1, i*ny+j+1
				m.faces = append(m.faces, [3]int{a, b, c}, [3]int{a, c, d})
			}
		}
	}
	return m
}

// pt is where v lies if it is on a line of the given level.
func (m *mesh) pt(v vertex, level float64) vg.Point {
	a, b := m.points[v[0]], m.points[v[1]]
	if !v.crossing() {
		return a
	}
	w := (level - m.z[v[0]]) / (m.z[v[1]] - m.z[v[0]])
	return a.Add(b.Sub(a).Scale(vg.Length(w)))
}

// above returns the closed outlines of what is not below level, and the lines
// at that level among them.
func (m *mesh) above(level float64) (outlines, lines [][]vg.Point) {
	type edge [2]vertex
	var edges []edge
	at := map[edge]int{} // index in edges; edges that two faces share go
	gone := map[int]bool{}
	var cut []edge
	for _, t := range m.faces {
		var poly []vertex
		for i, a := range t {
			b := t[(i+1)%3]
			if m.z[a] >= level {
				poly = append(poly, vertex{a, a})
			}
			if (m.z[a] >= level) != (m.z[b] >= level) {
				poly = append(poly, vertex{min(a, b), max(a, b)})
			}
		}
		for i, a := range poly {
			b := poly[(i+1)%len(poly)]
			if k, ok := at[edge{b, a}]; ok && !gone[k] {
				gone[k] = true
				continue
			}
			at[edge{a, b}] = len(edges)
			edges = append(edges, edge{a, b})
			if a.crossing() && b.crossing() {
				cut = append(cut, edge{a, b})
			}
		}
	}
	var left []edge
	for k, e := range edges {
		if !gone[k] {
			left = append(left, e)
		}
	}
	chain := func(edges []edge) (out [][]vg.Point) {
		from := map[vertex][]int{}
		into := map[vertex]int{}
		for k, e := range edges {
			from[e[0]] = append(from[e[0]], k)
			into[e[1]]++
		}
		used := make([]bool, len(edges))
		follow := func(k int) {
			if used[k] {
				return
			}
			line := []vg.Point{m.pt(edges[k][0], level)}
			for next := k; next >= 0; {
				k, next = next, -1
				used[k] = true
				line = append(line, m.pt(edges[k][1], level))
				for _, n := range from[edges[k][1]] {
					if !used[n] {
						next = n
						break
					}
				}
			}
			out = append(out, line)
		}
		for k, e := range edges { // open lines from where they begin
			if into[e[0]] == 0 {
				follow(k)
			}
		}
		for k := range edges {
			follow(k)
		}
		return out
	}
	return chain(left), chain(cut)
}

func (f *field) draw(p *pane) {
	f.hatch(p)
	nodes := f.texts(p)
	if f.cells() {
		f.tints(p, nodes)
	}
	for _, t := range nodes {
		if t.dot {
			p.DrawGlyphNoClip(draw.GlyphStyle{Color: ink, Radius: 1.2, Shape: draw.CircleGlyph{}}, t.node)
		}
		write(p, t.size, ink, t.box.Min, 0, t.text)
	}
}

func (f *field) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// tints draws the bands and the contour lines, which make way for the texts.
func (f *field) tints(p *pane, texts []boxed) {
	m := f.mesh(p)
	type line struct {
		name   string
		points []vg.Point
	}
	var all []line
	for k := range len(f.levels) + 1 {
		level := math.Inf(-1)
		if k > 0 {
			level = f.levels[k-1].at
		}
		outlines, lines := m.above(level)
		p.SetColor(tint(k, len(f.levels)+1))
		if path := joined(outlines, true); len(path) > 0 { // a single one, or seams would show
			p.Fill(path)
		}
		for _, l := range lines {
			all = append(all, line{f.levels[k-1].label, dense(l)})
		}
	}
	var taken []vg.Rectangle
	for _, t := range texts {
		d := vg.Point{X: 2, Y: 2}
		taken = append(taken, t.box, vg.Rectangle{Min: t.node.Sub(d), Max: t.node.Add(d)})
	}
	var names []boxed
	for k, l := range all {
		shift := 0.5 + 0.2*(float64(k%3)-1) // so that they do not stand in a row
		box, ok := spot(p, l.points, l.name, shift, taken, 5)
		if !ok && len(l.points) > 80 {
			box, ok = spot(p, l.points, l.name, shift, taken, 1.5)
		}
		if ok {
			names, taken = append(names, boxed{text: l.name, size: smallSize, box: box}), append(taken, box)
		}
	}
	gaps := append(texts[:len(texts):len(texts)], names...)
	for _, l := range all {
		for _, part := range outside(l.points, gaps) {
			p.StrokeLines(contourLine, thin(part))
		}
	}
	for _, n := range names {
		write(p, n.size, ink, n.box.Min, 0, n.text)
	}
}

// boxed is a text with its place.
type boxed struct {
	text string
	size vg.Length
	box  vg.Rectangle
	node vg.Point // that it belongs to
	dot  bool     // the node gets a dot
}

func textBox(text string, size vg.Length, mid vg.Point) vg.Rectangle {
	half := vg.Point{X: textWidth(text, size) / 2, Y: 0.36 * size}
	return vg.Rectangle{Min: mid.Sub(half), Max: mid.Add(half)}
}

// texts places what is written at the nodes, above each. Where they are too
// many even in small letters, some columns and rows are left out.
func (f *field) texts(p *pane) (out []boxed) {
	if len(f.xs) == 0 || len(f.ys) == 0 {
		return nil
	}
	text := func(i, j int) string {
		if t := f.absent[i][j]; t != "" {
			return t
		}
		return num(f.z[i][j], f.digits)
	}
	for k, size := range []vg.Length{textSize, smallSize} {
		room := [...]vg.Length{14, 7}[k] // around each
		wide := vg.Length(0)
		for i := range f.xs {
			for j := range f.ys {
				wide = max(wide, textWidth(text(i, j), size))
			}
		}
		columns := spaced(f.xs, func(x float64) vg.Length { return p.pt(x, f.ys[0]).X }, wide+room)
		rows := spaced(f.ys, func(y float64) vg.Length { return p.pt(f.xs[0], y).Y }, size+room+1)
		out = out[:0]
		for _, i := range columns {
			for _, j := range rows {
				at := p.pt(f.xs[i], f.ys[j])
				t := boxed{text: text(i, j), size: size, node: at, dot: f.absent[i][j] == ""}
				if t.dot {
					at.Y += 3 + 0.36*size
				}
				t.box = textBox(t.text, size, at)
				out = append(out, t)
			}
		}
		if len(columns) == len(f.xs) && len(rows) == len(f.ys) {
			break
		}
	}
	return out
}

// spaced returns the indices of those at that lie at least so far apart on the
// page; all but the first may be left out.
func spaced(at []float64, place func(float64) vg.Length, least vg.Length) (kept []int) {
	last := vg.Length(math.Inf(-1))
	for i, v := range at {
		if q := place(v); finite(float64(q)) && q-last >= least {
			kept, last = append(kept, i), q
		}
	}
	return kept
}

// hatch fills the cells that lack a value.
func (f *field) hatch(p *pane) {
	const apart = 5
	for i := range len(f.xs) - 1 {
		for j := range len(f.ys) - 1 {
			if f.whole(i, j) {
				continue
			}
			a, b := p.pt(f.xs[i], f.ys[j]), p.pt(f.xs[i+1], f.ys[j+1])
			if !finite(float64(a.X), float64(a.Y), float64(b.X), float64(b.Y)) {
				continue
			}
			first := math.Ceil(float64(a.X-b.Y) / apart)
			for k := first; k*apart < float64(b.X-a.Y); k++ {
				c := vg.Length(k * apart) // x − y
				from, to := max(a.X, c+a.Y), min(b.X, c+b.Y)
				if to > from {
					p.StrokeLine2(hatchLine, from, from-c, to, to-c)
				}
			}
		}
	}
}

// dense returns l with points at most 1 apart.
func dense(l []vg.Point) []vg.Point {
	out := l[:1:1]
	for i := 1; i < len(l); i++ {
		d := l[i].Sub(l[i-1])
		n := max(int(math.Ceil(math.Hypot(float64(d.X), float64(d.Y)))), 1)
		for k := 1; k <= n; k++ {
			out = append(out, l[i-1].Add(d.Scale(vg.Length(k)/vg.Length(n))))
		}
	}
	return out
}

// spot returns a place for text on the line l, near the given share of it and
// so far clear of what is taken.
func spot(p *pane, l []vg.Point, text string, share float64, taken []vg.Rectangle, clear vg.Length) (vg.Rectangle, bool) {
	best, least := vg.Rectangle{}, math.Inf(1)
	for k := range l {
		box := textBox(text, smallSize, l[k])
		wide := grow(box, clear)
		if len(l) < 25 || wide.Min.X < p.Min.X || wide.Max.X > p.Max.X || wide.Min.Y < p.Min.Y || wide.Max.Y > p.Max.Y {
			continue
		}
		if l[0] != l[len(l)-1] && min(k, len(l)-1-k) < 9 { // the ends should show
			continue
		}
		cost := math.Abs(float64(k)/float64(len(l)-1) - share)
		for _, t := range taken {
			if overlap(wide, t) {
				cost = math.Inf(1)
				break
			}
		}
		if cost < least {
			best, least = box, cost
		}
	}
	return best, !math.IsInf(least, 1)
}

// outside cuts off the parts of l within the boxes.
func outside(l []vg.Point, boxes []boxed) (out [][]vg.Point) {
	var run []vg.Point
	end := func() {
		if len(run) > 1 {
			out = append(out, run)
		}
		run = nil
	}
	for _, q := range l {
		hidden := false
		for _, b := range boxes {
			r := grow(b.box, 1.2)
			if q.X > r.Min.X && q.X < r.Max.X && q.Y > r.Min.Y && q.Y < r.Max.Y {
				hidden = true
				break
			}
		}
		if hidden {
			end()
		} else {
			run = append(run, q)
		}
	}
	end()
	return out
}

// legend explains the tints of a field, right of a pane.
type legend struct {
	f    *field
	unit string
}

const (
	legendWidth  = 9
	legendGap    = 12
	legendLabels = 60 // at most
)

// room is the width that l takes beside a pane.
func (l *legend) room() vg.Length {
	w := vg.Length(0)
	for _, t := range l.f.levels {
		w = max(w, textWidth(t.label, textSize))
	}
	return legendGap + legendWidth + tickLength + 3 + min(w, legendLabels)
}

func (l *legend) draw(p *pane, right vg.Length) {
	n := len(l.f.levels) + 1
	x := p.Max.X + legendGap
	height := p.Max.Y - p.Min.Y
	for k := range n {
		lo, hi := p.Min.Y+height*vg.Length(k)/vg.Length(n), p.Min.Y+height*vg.Length(k+1)/vg.Length(n)
		box := vg.Rectangle{Min: vg.Point{X: x, Y: lo}, Max: vg.Point{X: x + legendWidth, Y: hi}}
		p.SetColor(tint(k, n))
		p.Fill(box.Path())
	}
	for k, t := range l.f.levels {
		y := p.Min.Y + height*vg.Length(k+1)/vg.Length(n)
		p.StrokeLine2(contourLine, x, y, x+legendWidth, y)
		p.StrokeLine2(axisLine, x+legendWidth, y, x+legendWidth+tickLength, y)
		write(p, textSize, ink, vg.Point{X: x + legendWidth + tickLength + 3, Y: y - 0.36*textSize}, 0, fit(t.label, textSize, legendLabels))
	}
	p.SetColor(ink)
	p.SetLineWidth(axisLine.Width)
	p.SetLineDash(nil, 0)
	p.Stroke(vg.Rectangle{Min: vg.Point{X: x, Y: p.Min.Y}, Max: vg.Point{X: x + legendWidth, Y: p.Max.Y}}.Path())
	write(p, textSize, ink, vg.Point{X: right, Y: p.Max.Y + 4}, 1, l.unit)
}

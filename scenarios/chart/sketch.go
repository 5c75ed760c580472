package chart

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// SketchOptions describes a Sketch; nil or a zero field means the default.
type SketchOptions struct {
	Title          string // above everything; default none
	XTitle, YTitle string // with their units; default "x" and "y"
	Width, Height  int    // of the plot without its labels [characters]; default 64 by 14
	Angle          bool   // x in degrees: ticks at multiples of 15, 30, 90
	Samples        bool   // also mark every point with an o
	Marks          []SketchMark
}

// SketchMark is a letter put on a Sketch and explained below it.
type SketchMark struct {
	X, Y   float64
	Letter byte
	Text   string // default: no explanation
}

// Three characters share a row, so that the curve has three times the
// resolution of the rows.
const heights = ".-'"

// Sketch plots ys against xs, which must rise, as ASCII text. Points that are
// not finite leave a gap.
func Sketch(w io.Writer, xs, ys []float64, opts *SketchOptions) error {
	o := SketchOptions{}
	if opts != nil {
		o = *opts
	}
	if o.Width <= 0 {
		o.Width = 64
	}
	if o.Height <= 0 {
		o.Height = 14
	}
	if o.XTitle == "" {
		o.XTitle = "x"
	}
	if o.YTitle == "" {
		o.YTitle = "y"
	}
	n := min(len(xs), len(ys))
	s := newGrid(xs[:n], ys[:n], &o)
	s.curve(xs[:n], ys[:n])
	if s.empty {
		copy(s.cells[o.Height/2][max(o.Width/2-7, 0):], "nothing to plot")
	}
	if o.Samples {
		for i := range n {
			s.put(xs[i], ys[i], 'o')
		}
	}
	for _, m := range o.Marks {
		s.put(m.X, m.Y, m.Letter)
	}
	_, err := w.Write(s.text(&o))
	return err
}

// textGrid is the inside of a sketch.
type textGrid struct {
	x, y  axis
	cells [][]byte // from the top
	empty bool     // no point is finite
}

func newGrid(xs, ys []float64, o *SketchOptions) *textGrid {
	for _, m := range o.Marks {
		if finite(m.X, m.Y) {
			xs, ys = append(xs[:len(xs):len(xs)], m.X), append(ys[:len(ys):len(ys)], m.Y)
		}
	}
	var px, py []float64 // of whole points
	for i := range xs {
		if finite(xs[i], ys[i]) {
			px, py = append(px, xs[i]), append(py, ys[i])
		}
	}
	s := linear
	if o.Angle {
		s = angle
	}
	g := &textGrid{empty: len(px) == 0}
	lo, hi := span(px)
	g.x = newAxis(o.XTitle, s, lo, hi, o.Width/8)
	lo, hi = span(py)
	lo, hi = widen(lo, hi, false)
	lo, hi = pad(lo, hi, 0.5/float64(o.Height), false)
	g.y = newAxis(o.YTitle, linear, lo, hi, o.Height/2)
	for range o.Height {
		g.cells = append(g.cells, bytes.Repeat([]byte{' '}, o.Width))
	}
	return g
}

func (g *textGrid) column(x float64) int {
	return int(math.Round(g.x.at(x) * float64(len(g.cells[0])-1)))
}

// level is the height of y in thirds of a row, from the bottom.
func (g *textGrid) level(y float64) int {
	n := 3 * len(g.cells)
	return min(max(int(g.y.at(y)*float64(n)), 0), n-1)
}

func (g *textGrid) row(level int) []byte { return g.cells[len(g.cells)-1-level/3] }

func (g *textGrid) put(x, y float64, c byte) {
	if k := g.x.at(x); finite(x, y) && k > -1e-9 && k < 1+1e-9 {
		g.row(g.level(y))[g.column(x)] = c
	}
}

// curve draws the line column by column, steep parts as bars.
func (g *textGrid) curve(xs, ys []float64) {
	before, had := 0, false
	for col := range g.cells[0] {
		x := g.x.min + (g.x.max-g.x.min)*float64(col)/float64(len(g.cells[0])-1)
		y := between(xs, ys, x)
		if !finite(y) {
			had = false
			continue
		}
		now := g.level(y)
		if had {
			lo, hi := min(before, now)/3, max(before, now)/3
			for r := lo + 1; r < hi; r++ {
				g.row(3 * r)[col] = '|'
			}
		}
		g.row(now)[col] = heights[now%3]
		before, had = now, true
	}
}

// between interpolates; NaN outside xs and next to a gap.
func between(xs, ys []float64, x float64) float64 {
	for i := range xs {
		if math.Abs(xs[i]-x) <= 1e-9*math.Max(1, math.Abs(x)) {
			return ys[i]
		}
		if i > 0 && xs[i-1] < x && x < xs[i] {
			return ys[i-1] + (ys[i]-ys[i-1])*(x-xs[i-1])/(xs[i]-xs[i-1])
		}
	}
	return math.NaN()
}

// text puts the axes around the inside.
func (g *textGrid) text(o *SketchOptions) []byte {
	labels := map[int]string{}
	left := 0
	for _, t := range g.y.ticks {
		l := ascii(t.label)
		labels[len(g.cells)-1-g.level(t.at)/3] = l
		left = max(left, len(l))
	}
	var b bytes.Buffer
	line := func(s string) { b.WriteString(strings.TrimRight(s, " ") + "\n") }
	if o.Title != "" {
		line(ascii(o.Title))
	}
	line(strings.Repeat(" ", left+1) + ascii(o.YTitle))
	for i, row := range g.cells {
		edge := "|"
		if labels[i] != "" {
			edge = "+"
		}
		line(fmt.Sprintf("%*s %s%s", left, labels[i], edge, row))
	}
	bottom := bytes.Repeat([]byte{'-'}, len(g.cells[0]))
	under := bytes.Repeat([]byte{' '}, left+2+len(g.cells[0])+8)
	free := 0
	for _, t := range g.x.ticks {
		col, l := g.column(t.at), ascii(t.label)
		bottom[col] = '+'
		at := left + 2 + col - (len(strings.TrimPrefix(l, "-"))-1)/2 - (len(l) - len(strings.TrimPrefix(l, "-")))
		if at >= free && at+len(l) <= len(under) {
			copy(under[at:], l)
			free = at + len(l) + 1
		}
	}
	line(strings.Repeat(" ", left+1) + "+" + string(bottom))
	line(string(under))
	title := ascii(o.XTitle)
	line(strings.Repeat(" ", max(left+2+len(g.cells[0])-len(title), 0)) + title)
	for _, m := range o.Marks {
		if m.Text != "" && finite(m.X, m.Y) {
			line(strings.Repeat(" ", left+2) + string(rune(m.Letter)) + "  " + ascii(m.Text))
		}
	}
	return b.Bytes()
}

var plain = strings.NewReplacer("−", "-", "–", "-", "·", ".", "³", "3", "²", "2", "°", " deg")

// ascii replaces what is not ASCII.
func ascii(s string) string {
	return strings.Map(func(r rune) rune {
		if r > 126 || !strconv.IsPrint(r) {
			return '?'
		}
		return r
	}, plain.Replace(s))
}

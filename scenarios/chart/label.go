package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
)

// label is text beside one of its anchors, wherever it covers least.
type label struct {
	text    string
	col     color.Color
	anchors []anchor
}

// anchor is a data point that a label may stand at.
type anchor struct{ x, y float64 }

// What it costs a label to cover a line of data.
const lineCost = 10

// Directions from an anchor to its label, best first.
var sides = [][2]float64{{1, 0}, {1, 1}, {-1, 1}, {-1, 0}, {1, -1}, {-1, -1}, {0, 1}, {0, -1}}

// place draws the labels where they cross least of the layers, each other
// and the edge.
func (p *pane) place(layers []layer, labels []label) {
	type obstacle struct {
		lines [][]vg.Point
		cost  float64
	}
	var all []obstacle
	for _, l := range layers {
		lines, cost := l.outline(p)
		all = append(all, obstacle{lines, cost})
	}
	var taken []vg.Rectangle
	for _, l := range labels {
		size := vg.Point{X: textWidth(l.text, textSize), Y: 0.75 * textSize}
		best, least := vg.Rectangle{}, math.Inf(1)
		for i, a := range l.anchors {
			at := p.pt(a.x, a.y)
			if !finite(float64(at.X), float64(at.Y)) || !p.Contains(at) {
				continue
			}
			for j, side := range sides {
				for _, d := range []float64{5, 9, 15, 24, 36} {
					box, moved := p.inside(beside(at, size, side, d))
					cost := 0.5*float64(i) + 0.3*float64(j) + 0.12*d + 4*moved
					wide := grow(box, 1.5)
					for _, o := range all {
						cost += o.cost * float64(crossings(o.lines, wide))
						if d > 5 && o.cost >= lineCost && parted(o.lines, at, box) {
							cost += 0.9 * o.cost // the label would seem to belong to that line
						}
					}
					for _, t := range taken {
						if overlap(grow(box, 3), t) {
							cost += 200
						}
					}
					if cost < least {
						best, least = box, cost
					}
				}
			}
		}
		if math.IsInf(least, 1) {
			continue
		}
		taken = append(taken, best)
		write(p, textSize, l.col, best.Min, 0, l.text)
	}
}

// beside returns the box of the given size d away from at on one side.
func beside(at, size vg.Point, side [2]float64, d float64) vg.Rectangle {
	sx, sy := vg.Length(side[0]), vg.Length(side[1])
	gap := vg.Length(d)
	if side[0] != 0 && side[1] != 0 {
		gap *= 0.75
	}
	c := vg.Point{X: at.X + sx*(gap+size.X/2), Y: at.Y + sy*(gap+size.Y/2)}
	half := size.Scale(0.5)
	return vg.Rectangle{Min: c.Sub(half), Max: c.Add(half)}
}

// inside moves r into the pane and tells how far.
func (p *pane) inside(r vg.Rectangle) (vg.Rectangle, float64) {
	const edge = 3
	var d vg.Point
	d.X = max(p.Min.X+edge-r.Min.X, 0) + min(p.Max.X-edge-r.Max.X, 0)
	d.Y = max(p.Min.Y+edge-r.Min.Y, 0) + min(p.Max.Y-edge-r.Max.Y, 0)
	return r.Add(d), math.Abs(float64(d.X)) + math.Abs(float64(d.Y))
}

func grow(r vg.Rectangle, by vg.Length) vg.Rectangle {
	d := vg.Point{X: by, Y: by}
	return vg.Rectangle{Min: r.Min.Sub(d), Max: r.Max.Add(d)}
}

func overlap(a, b vg.Rectangle) bool {
	return a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y
}

// crossings counts the lines that meet r.
func crossings(lines [][]vg.Point, r vg.Rectangle) (n int) {
	for _, l := range lines {
		for i := range l {
			if meets(l[max(i-1, 0)], l[i], r) {
				n++
				break
			}
		}
	}
	return n
}

// parted tells whether a line runs between at, but not through it, and r.
func parted(lines [][]vg.Point, at vg.Point, r vg.Rectangle) bool {
	to := vg.Point{X: min(max(at.X, r.Min.X), r.Max.X), Y: min(max(at.Y, r.Min.Y), r.Max.Y)}
	from := at.Add(to.Sub(at).Scale(0.35))
	for _, l := range lines {
		for i := 1; i < len(l); i++ {
			if turn(from, to, l[i-1])*turn(from, to, l[i]) < 0 && turn(l[i-1], l[i], from)*turn(l[i-1], l[i], to) < 0 {
				return true
			}
		}
	}
	return false
}

// turn is positive where c lies left of the way from a to b.
func turn(a, b, c vg.Point) float64 {
	u, v := b.Sub(a), c.Sub(a)
	return float64(u.X*v.Y - u.Y*v.X)
}

// meets tells whether the segment a-b touches r, by Liang-Barsky clipping.
func meets(a, b vg.Point, r vg.Rectangle) bool {
	if a.X < r.Min.X && b.X < r.Min.X || a.X > r.Max.X && b.X > r.Max.X || a.Y < r.Min.Y && b.Y < r.Min.Y || a.Y > r.Max.Y && b.Y > r.Max.Y {
		return false // most of them
	}
	d := b.Sub(a)
	from, to := 0.0, 1.0
	for _, e := range [4][2]vg.Length{
		{-d.X, a.X - r.Min.X}, {d.X, r.Max.X - a.X},
		{-d.Y, a.Y - r.Min.Y}, {d.Y, r.Max.Y - a.Y},
	} {
		if e[0] == 0 {
			if e[1] < 0 {
				return false
			}
			continue
		}
		t := float64(e[1] / e[0])
		if e[0] < 0 {
			from = math.Max(from, t)
		} else {
			to = math.Min(to, t)
		}
	}
	return from <= to
}

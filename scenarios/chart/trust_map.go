package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/trust"
)

const (
	sparkTitle = "spark advance [deg before TDC]"
	loadTitle  = "manifold pressure [kPa]"
)

// mostSpeeds is how many panels Trust has room for.
const mostSpeeds = 4

// Trust draws q of one reader over spark advance [deg before TDC] and manifold
// pressure [kPa], a panel for each speed (of many, four): a tile for each spark
// and load, with MBT, the flips on both sides of it and a frame around the safe
// range. A tile without a number is hatched. A reader that m has not gives an
// empty picture.
func Trust(m *trust.Map, reader int, q TrustQuantity, title string) *Chart {
	ch := &Chart{Title: title, Subtitle: q.Title() + " [" + q.Unit() + "]", Footer: trustFooter(m, reader),
		About: q.Title() + " over spark advance and manifold pressure, with MBT, flips and the safe range.",
		note:  "●  MBT   ○  flip, advanced   □  flip, retarded   ×  believed nowhere   frame: safe range"}
	speeds := bySpeed(trustNodes(m, reader))
	kept := evenly(len(speeds), mostSpeeds)
	var sparks, values []float64
	var all []*tiles
	blank := false
	for _, k := range kept {
		t := newTiles(speeds[k], q)
		sparks = append(sparks, t.xs...)
		for _, row := range t.z {
			values = append(values, row...)
			blank = blank || !finite(row...)
		}
		all = append(all, t)
	}
	lo, hi := span(values)
	if lo <= hi {
		ch.Subtitle += "  ·  " + num(lo, 1) + " to " + num(hi, 1)
	}
	if blank {
		ch.Subtitle += "  ·  hatched: too few readings"
	}
	if len(kept) < len(speeds) {
		ch.Subtitle += fmt.Sprintf("  ·  %d of %d speeds", len(kept), len(speeds))
	}
	levels := q.levels(lo, hi)
	lo, hi = span(sparks)
	ch.x = newAxis(sparkTitle, angle, lo, hi, 12)
	for k, t := range all {
		nodes := speeds[kept[k]]
		t.levels, t.marks = levels, marksOf(nodes, t.ys)
		p := panel{weight: 1, y: loadAxis(nodes, t.ys, max(3, 8/len(all))), layers: append([]layer{t}, t.marks...)}
		if k == 0 && len(levels) > 0 {
			p.legend = &legend{&field{levels: levels}, q.Unit()}
		}
		ch.panels = append(ch.panels, p)
	}
	if len(all) == 0 {
		ch.Subtitle += "  ·  " + nothing
		ch.panels = []panel{{weight: 1, y: newAxis(loadTitle, linear, 0, 1, 5)}}
	}
	return ch
}

// nothing is told of a map without the reader or the node that is asked for.
const nothing = "nothing was looked at"

// trustNodes are those of a reader, none if m has no such reader.
func trustNodes(m *trust.Map, reader int) []trust.Node {
	if m == nil || reader < 0 || reader >= len(m.Nodes) {
		return nil
	}
	return m.Nodes[reader]
}

// trustFooter tells reader and conditions.
func trustFooter(m *trust.Map, reader int) string {
	nodes := trustNodes(m, reader)
	if len(nodes) == 0 || m.Plan == nil {
		return ""
	}
	return fmt.Sprintf("%s, reader %s, %d cycles at each spark, target LPP %s deg after TDC", m.Plan.Signal, nodes[0].Reader, m.Plan.Cycles, num(m.Plan.Target/deg, 1))
}

// known writes v without digits after the point, or a dash if it is none.
func known(v float64) string {
	if !finite(v) {
		return "–"
	}
	return num(v, 0)
}

// pointName tells speed and load of n.
func pointName(n *trust.Node) string {
	return known(n.Speed/rpm) + " rpm, " + known(n.MAP/1e3) + " kPa"
}

// bySpeed cuts nodes wherever the speed changes.
func bySpeed(nodes []trust.Node) (out [][]trust.Node) {
	from := 0
	for i := range nodes {
		if i+1 == len(nodes) || nodes[i+1].Speed != nodes[i].Speed {
			out, from = append(out, nodes[from:i+1]), i+1
		}
	}
	return out
}

// evenly returns the indices of n things, or of so many of them at most, 2 or
// more: the first, the last, and others evenly between.
func evenly(n, most int) (kept []int) {
	if n <= most {
		for k := range n {
			kept = append(kept, k)
		}
		return kept
	}
	for k := range most {
		kept = append(kept, int(math.Round(float64(k*(n-1))/float64(most-1))))
	}
	return kept
}

// loadAxis has its ticks at the loads of nodes, at most so many; ys are the edges
// of their tiles.
func loadAxis(nodes []trust.Node, ys []float64, most int) axis {
	lo, hi := span(ys)
	a := newAxis(loadTitle+" at "+known(nodes[0].Speed/rpm)+" rpm", linear, lo, hi, 5)
	a.ticks = nil
	for _, k := range evenly(len(nodes), most) {
		if v := nodes[k].MAP / 1e3; finite(v) {
			a.ticks = append(a.ticks, tick{v, num(v, 0)})
		}
	}
	return a
}

// The lines on tiles: MBT and the flips on either side, told apart by dashes and
// glyphs as well.
var (
	mbtLine      = draw.LineStyle{Color: ink, Width: 1.2}
	advancedLine = draw.LineStyle{Color: rust, Width: 1.2, Dashes: []vg.Length{5, 2}}
	retardedLine = draw.LineStyle{Color: plum, Width: 1.2, Dashes: []vg.Length{5, 1.5, 1.2, 1.5}}
	safeLine     = draw.LineStyle{Color: ink, Width: 0.8}
)

// marksOf returns what is drawn on the tiles of nodes of one speed; ys are their
// edges.
func marksOf(nodes []trust.Node, ys []float64) []layer {
	var frames, crosses []layer
	mbt := trace{style: mbtLine, glyph: draw.CircleGlyph{}}
	advanced := trace{style: advancedLine, glyph: draw.RingGlyph{}}
	retarded := trace{style: retardedLine, glyph: draw.SquareGlyph{}}
	for i := range nodes {
		n := &nodes[i]
		y := n.MAP / 1e3
		at := [3]float64{n.MBT / deg, n.Advanced.Spark / deg, n.Retarded.Spark / deg}
		if nowhere(n) { // the cross stands for all three
			crosses = append(crosses, dot{at[0], y, draw.CrossGlyph{}, draw.LineStyle{Color: rust}})
			at = [3]float64{math.NaN(), math.NaN(), math.NaN()}
		}
		for k, t := range []*trace{&mbt, &advanced, &retarded} {
			t.xs, t.ys = append(t.xs, at[k]), append(t.ys, y)
		}
		if isSafe(n) {
			frames = append(frames, frame{n.Safe.From / deg, n.Safe.To / deg, ys[i], ys[i+1]})
		}
	}
	return append(append(frames, mbt, advanced, retarded), crosses...)
}

// nowhere tells whether the reader cannot be believed anywhere near MBT.
func nowhere(n *trust.Node) bool {
	return n.Advanced.How == trust.Nowhere || n.Retarded.How == trust.Nowhere
}

// isSafe tells whether n has a safe range.
func isSafe(n *trust.Node) bool { return finite(n.Safe.From, n.Safe.To) && n.Safe.From <= n.Safe.To }

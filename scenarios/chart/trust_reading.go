package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"

	"phasebench/scenarios/trust"
)

// Reading draws what one reader reads at one node against spark advance [deg
// before TDC]: the mean reading within a standard deviation on either side, the
// true peak and the target [deg after TDC], MBT, the flips, and the safe range
// shaded. A node that m has not gives an empty picture.
func Reading(m *trust.Map, reader, node int, title string) *Chart {
	ch := &Chart{Title: title, Footer: trustFooter(m, reader), note: "light blue: one standard deviation to either side",
		About: "Mean reading and true peak against spark advance, with target, MBT, flips and the safe range."}
	nodes := trustNodes(m, reader)
	if node < 0 || node >= len(nodes) {
		ch.Subtitle = nothing
		ch.x = newAxis(sparkTitle, angle, 0, 1, 12)
		ch.panels = []panel{{weight: 1, y: newAxis(angleTitle, angle, 0, 1, 8)}}
		return ch
	}
	n := &nodes[node]
	var sparks, read, truth, low, high []float64
	for i := range n.Cells {
		c := &n.Cells[i]
		sparks, read, truth = append(sparks, c.Spark/deg), append(read, c.Read/deg), append(truth, c.Truth/deg)
		low, high = append(low, (c.Read-c.SD)/deg), append(high, (c.Read+c.SD)/deg)
	}
	ch.Subtitle = pointName(n) + "  ·  " + safeText(n)
	target := math.NaN()
	if m.Plan != nil {
		target = m.Plan.Target / deg
	}
	lo, hi := span(sparks)
	ch.x = newAxis(sparkTitle, angle, lo, hi, 12)
	from, to := lo, hi
	if lo, hi = span(read, truth, low, high, []float64{target}); lo < hi {
		lo, hi = pad(lo, hi, 0.08, false)
	}
	p := panel{weight: 1, y: newAxis(angleTitle, angle, lo, hi, 9)}
	if isSafe(n) {
		p.layers = append(p.layers, band{n.Safe.From / deg, n.Safe.To / deg})
		p.labels = append(p.labels, label{"safe", muted, []anchor{{(n.Safe.From + n.Safe.To) / 2 / deg, p.y.min}}})
	}
	p.layers = append(p.layers, ribbon{sparks, low, high},
		trace{xs: []float64{from, to}, ys: []float64{target, target}, style: grayLine},
		trace{xs: sparks, ys: truth, style: otherLine}, trace{xs: sparks, ys: read, style: mainLine})
	drawn := [][]float64{read, truth}
	xs := [][]float64{sparks, sparks}
	p.labels = append(p.labels,
		label{"mean reading", blue, alone(xs, drawn, 0)},
		label{"true peak", rust, alone(xs, drawn, 1)},
		label{"target", muted, []anchor{{to, target}, {from, target}}})
	if x := n.MBT / deg; finite(x) {
		p.layers = append(p.layers, rule{x, safeLine})
		p.labels = append(p.labels, label{"MBT", ink, upright(&p, x)})
	}
	for _, f := range []*trust.Flip{&n.Advanced, &n.Retarded} {
		if x := f.Spark / deg; finite(x) && f.How != trust.Nowhere {
			p.layers = append(p.layers, rule{x, halfLine})
			p.labels = append(p.labels, label{"flip: " + why(f), plum, upright(&p, x)})
		}
	}
	ch.panels = []panel{p}
	return ch
}

// safeText tells the safe range and what to average.
func safeText(n *trust.Node) string {
	switch {
	case isSafe(n):
		text := "safe from " + num(n.Safe.From/deg, 0) + " to " + num(n.Safe.To/deg, 0) + " deg"
		if finite(n.Needed) {
			text += "  ·  average " + counted(int(n.Needed), "cycle") + " for ±1 deg at 95 %"
		}
		return text
	case !finite(n.MBT):
		return "no safe range: no MBT"
	case nowhere(n):
		return "no safe range: " + why(&n.Advanced)
	}
	return "no safe range"
}

// why says why f is: its first cause, or else how readings mislead there.
func why(f *trust.Flip) string {
	switch {
	case len(f.Causes) > 0:
		return f.Causes[0].Name
	case f.How == trust.BySide:
		return "wrong side"
	case f.How == trust.BySlope:
		return "moves the wrong way"
	case f.How == trust.Nowhere:
		return "believed nowhere"
	}
	return ""
}

// ribbonColor is blue so pale that lines and ink are read on it.
var ribbonColor = color.NRGBA{0xD3, 0xE3, 0xEC, 0xFF}

// ribbon fills what lies between two curves, broken where one is not finite.
type ribbon struct{ xs, low, high []float64 }

// outlines are closed.
func (r ribbon) outlines(p *pane) (out [][]vg.Point) {
	var up, down []vg.Point
	end := func() {
		if len(up) > 1 {
			for i := len(down) - 1; i >= 0; i-- {
				up = append(up, down[i])
			}
			out = append(out, append(up, up[0]))
		}
		up, down = nil, nil
	}
	for i, x := range r.xs {
		a, b := p.pt(x, r.low[i]), p.pt(x, r.high[i])
		if !finite(float64(a.X), float64(a.Y), float64(b.Y)) {
			end()
			continue
		}
		up, down = append(up, a), append(down, b)
	}
	end()
	return out
}

func (r ribbon) draw(p *pane) {
	if path := joined(r.outlines(p), true); len(path) > 0 {
		p.SetColor(ribbonColor)
		p.Fill(path)
	}
}

func (r ribbon) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

package chart

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/record"
	"phasebench/scenarios/trust"
)

// mostRows is how many points Envelope has room for.
const mostRows = 25

// topRow is the height of the first row; all lie above 0, which would be ruled.
const topRow = 100

// Envelope draws on one page where a loop with one reader may run: for every
// speed and load (of many, 25) a bar over the safe range of spark advance [deg
// before TDC], MBT, the flips with their first cause, and how many cycles must
// be averaged for ±1 deg at 95 %. It carries record.Caution. A reader that m has
// not gives no rows.
func Envelope(m *trust.Map, reader int, title string) *Chart {
	ch := &Chart{Title: title, Footer: trustFooter(m, reader), x: newAxis(sparkTitle, angle, 0, 1, 12),
		About: "The safe range of spark advance for every speed and load, with MBT, flips and their causes. " + record.Caution,
		note:  "bar: safe   ●  MBT   ○  flip, advanced   □  flip, retarded   ×  believed nowhere"}
	nodes := trustNodes(m, reader)
	kept := evenly(len(nodes), mostRows)
	ch.Subtitle = "safe range of spark advance, and how many cycles to average for ±1 deg at 95 %"
	switch {
	case len(nodes) == 0:
		ch.Subtitle = nothing
	case len(kept) < len(nodes):
		ch.Subtitle += fmt.Sprintf("  ·  %d of %d points", len(kept), len(nodes))
	}
	var sparks []float64
	rows := max(len(kept), 1)
	bottom := topRow - float64(rows) + 0.5
	p := panel{weight: 1, y: newAxis("speed, manifold pressure, cycles to average", linear, bottom-0.12*float64(rows), topRow+0.5, 1)}
	p.y.ticks = nil
	for i, k := range kept {
		n, y := &nodes[k], float64(topRow-i)
		p.layers = append(p.layers, envelopeRow{n, y})
		p.y.ticks = append(p.y.ticks, tick{y, pointName(n) + ", " + known(n.Needed)})
		for j := range n.Cells {
			sparks = append(sparks, n.Cells[j].Spark/deg)
		}
	}
	if lo, hi := span(sparks); lo <= hi {
		if lo < hi {
			lo, hi = lo-0.25*(hi-lo), hi+0.5*(hi-lo) // room for the causes
		}
		ch.x = newAxis(sparkTitle, angle, lo, hi, 12)
	}
	p.layers = append(p.layers, caution{bottom})
	ch.panels = []panel{p}
	return ch
}

// envelopeRow is one point at height y.
type envelopeRow struct {
	n *trust.Node
	y float64
}

func (r envelopeRow) draw(p *pane) {
	n := r.n
	at := func(spark float64) vg.Point { return p.pt(spark/deg, r.y) }
	if !finite(n.MBT) || nowhere(n) {
		q := at(n.MBT)
		if !finite(n.MBT) {
			q.X = (p.Min.X + p.Max.X) / 2
		}
		say(p, q, 1, safeText(n))
		glyph(p, at(n.MBT), draw.CrossGlyph{}, draw.LineStyle{Color: rust})
		return
	}
	verdict := "none"
	if isSafe(n) {
		tall := min(0.55*(p.pt(0, 1).Y-p.pt(0, 0).Y), 11)
		a, b := at(n.Safe.From), at(n.Safe.To)
		p.SetColor(haze)
		p.Fill(vg.Rectangle{Min: vg.Point{X: a.X, Y: a.Y - tall/2}, Max: vg.Point{X: b.X, Y: b.Y + tall/2}}.Path())
		verdict = ""
	}
	tell := func(spark, side float64, text string) { // the first text tells the verdict, too
		if verdict != "" {
			text, verdict = verdict+": "+text, ""
		}
		say(p, at(spark), side, text)
	}
	if f := &n.Advanced; finite(f.Spark) { // a flip may be beyond MBT; its text is beyond both
		tell(math.Max(f.Spark, n.MBT), 1, why(f))
	}
	if f := &n.Retarded; finite(f.Spark) {
		tell(math.Min(f.Spark, n.MBT), -1, why(f))
	}
	if verdict != "" { // without a flip
		say(p, at(n.MBT), 1, verdict)
	}
	glyph(p, at(n.MBT), draw.CircleGlyph{}, mbtLine)
	glyph(p, at(n.Retarded.Spark), draw.SquareGlyph{}, retardedLine)
	glyph(p, at(n.Advanced.Spark), draw.RingGlyph{}, advancedLine)
}

// say writes small text right of q if side is 1, left of it if side is -1, on
// paper, or a line of the grid would strike it out.
func say(p *pane, q vg.Point, side float64, text string) {
	const gap = 6
	q.X += vg.Length(side) * gap
	room := p.Max.X - q.X
	if side < 0 {
		room = q.X - p.Min.X - 2
	}
	text = fit(text, smallSize, room)
	half := vg.Point{X: textWidth(text, smallSize) / 2, Y: 0.36 * smallSize}
	q.X += vg.Length(side) * half.X
	box := vg.Rectangle{Min: q.Sub(half), Max: q.Add(half)}
	p.SetColor(paper)
	p.Fill(grow(box, 1).Path())
	write(p, smallSize, ink, box.Min, 0, text)
}

func (r envelopeRow) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// caution writes record.Caution below the given height.
type caution struct{ top float64 }

func (c caution) draw(p *pane) {
	top := p.Y(p.y.at(c.top))
	p.SetColor(paper)
	p.Fill(vg.Rectangle{Min: p.Min, Max: vg.Point{X: p.Max.X, Y: top}}.Path())
	p.StrokeLine2(gridLine, p.Min.X, top, p.Max.X, top)
	y := top
	for _, l := range broken(record.Caution, smallSize, p.Max.X-p.Min.X-10) {
		y -= smallSize + 2
		write(p, smallSize, ink, vg.Point{X: p.Min.X + 5, Y: y}, 0, l)
	}
}

func (c caution) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// broken breaks text between words into lines no wider than room.
func broken(text string, size, room vg.Length) (lines []string) {
	for _, word := range strings.Fields(text) {
		if n := len(lines); n > 0 && textWidth(lines[n-1]+" "+word, size) <= room {
			lines[n-1] += " " + word
		} else {
			lines = append(lines, word)
		}
	}
	return lines
}

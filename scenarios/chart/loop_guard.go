package chart

import (
	"image/color"
	"slices"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
)

// guardPart is a row of cycles that the guard treated alike; state is a place in
// loop.States.
type guardPart struct {
	from, to float64 // the first cycle, and one past the last
	state    int
}

// guardParts cuts the run where the state changes; of a long run, every state stands
// for some cycles of which it is the one that interferes most.
func (l *loopRun) guardParts() (out []guardPart) {
	n := len(l.Steps)
	every := (n + strongest - 1) / strongest
	for i := 0; i < n; i += every {
		part := guardPart{from: float64(l.Steps[i].Cycle)}
		for k := i; k < min(i+every, n); k++ {
			part.state = max(part.state, slices.Index(loop.States(), l.Steps[k].State))
			part.to = float64(l.Steps[k].Cycle) + 1
		}
		if k := len(out) - 1; k >= 0 && out[k].state == part.state {
			out[k].to = part.to
		} else {
			out = append(out, part)
		}
	}
	return out
}

// guardLooks are the states as they are drawn: each has a letter, a tint, and lines
// leaning one way, the other, both or none, so that none goes by colour alone.
var guardLooks = map[control.State]struct {
	letter     string
	tint       color.Color
	rise, fall bool // hatched that way
}{
	control.Follow:   {"F", paper, false, false},
	control.Limit:    {"L", shade, true, false},
	control.Hold:     {"H", ribbonColor, false, true},
	control.Return:   {"R", shade, true, true},
	control.Fallback: {"B", haze, false, false},
}

var guardHatch = draw.LineStyle{Color: muted, Width: 0.5}

// guard is the panel of what the guard did.
func (l *loopRun) guard() panel {
	y := newAxis("guard", linear, 0, 1, 1)
	y.ticks = nil
	return panel{weight: 0.26, y: y, layers: []layer{guardRow(l.guardParts())}}
}

// guardRow is the row of parts, with what they mean above it.
type guardRow []guardPart

func (g guardRow) draw(p *pane) {
	var boxes []vg.Rectangle
	for _, part := range g {
		r := vg.Rectangle{Min: p.pt(max(part.from, p.x.min), 0), Max: p.pt(min(part.to, p.x.max), 1)}
		guardBox(p, loop.States()[part.state], r)
		boxes = append(boxes, r)
	}
	for i, r := range boxes {
		s := loop.States()[g[i].state]
		if s == control.Follow { // the rule: left blank
			continue
		}
		letter := guardLooks[s].letter
		for _, text := range []string{string(s), letter} {
			if box := textBox(text, smallSize, r.Min.Add(r.Max).Scale(0.5)); box.Min.X > r.Min.X+2 {
				p.SetColor(paper)
				p.Fill(grow(box, 1.2).Path())
				write(p, smallSize, ink, box.Min, 0, text)
				letter = ""
				break
			}
		}
		// Too narrow for a letter, it has one in the blank beside it.
		if next := i + 1; letter != "" && next < len(g) && loop.States()[g[next].state] == control.Follow {
			half := textWidth(letter, smallSize)/2 + 2
			if box := textBox(letter, smallSize, vg.Point{X: r.Max.X + half, Y: (r.Min.Y + r.Max.Y) / 2}); box.Max.X < boxes[next].Max.X {
				write(p, smallSize, ink, box.Min, 0, letter)
			}
		}
	}
	at := vg.Point{X: p.Min.X + textWidth("guard", textSize) + 12, Y: p.Max.Y + 4}
	for i, s := range loop.States() {
		if !slices.ContainsFunc(g, func(part guardPart) bool { return part.state == i }) {
			continue
		}
		guardBox(p, s, vg.Rectangle{Min: at, Max: vg.Point{X: at.X + 14, Y: at.Y + 6.5}})
		at.X += 17
		text := guardLooks[s].letter + " " + string(s)
		write(p, textSize, ink, at, 0, text)
		at.X += textWidth(text, textSize) + 12
	}
}

func (g guardRow) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

// guardBox fills r as s looks.
func guardBox(p *pane, s control.State, r vg.Rectangle) {
	const apart = 3.5 // lines of a hatching
	look := guardLooks[s]
	p.SetColor(look.tint)
	p.Fill(r.Path())
	c := draw.Canvas{Canvas: p.Canvas.Canvas, Rectangle: r}
	tall := r.Size().Y
	var lines [][]vg.Point
	for x := r.Min.X - tall; x < r.Max.X; x += apart {
		if look.rise {
			lines = append(lines, []vg.Point{{X: x, Y: r.Min.Y}, {X: x + tall, Y: r.Max.Y}})
		}
		if look.fall {
			lines = append(lines, []vg.Point{{X: x, Y: r.Max.Y}, {X: x + tall, Y: r.Min.Y}})
		}
	}
	if path := joined(c.ClipLinesXY(lines...), false); len(path) > 0 {
		p.SetLineStyle(guardHatch)
		p.Stroke(path)
	}
	p.SetLineStyle(guardHatch)
	p.Stroke(r.Path())
}

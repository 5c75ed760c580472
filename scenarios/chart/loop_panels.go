package chart

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/loop"
)

// spark is the panel of what fired.
func (l *loopRun) spark() panel {
	const room = 10 // for the believed range beyond what is drawn [deg]
	fired := l.list(deg, func(s *loop.Step) float64 { return s.Fired.Leading })
	base := l.list(deg, func(s *loop.Step) float64 { return s.Base })
	mbt := l.list(deg, func(s *loop.Step) float64 { return s.Truth.MBT })
	asked := l.ordered()
	xs := l.cycles()
	lo, hi := span(fired, base, mbt, asked)
	bound := func(v float64) float64 { return math.Max(lo-room, math.Min(hi+room, v)) }
	from := l.list(1, func(s *loop.Step) float64 { return bound(s.Safe.From / deg) })
	to := l.list(1, func(s *loop.Step) float64 { return bound(s.Safe.To / deg) })
	if a, b := span(from, to); a < b {
		lo, hi = math.Min(lo, a), math.Max(hi, b)
	}
	p := panel{weight: 1.6, y: rangeAxis(sparkTitle, lo, hi, 5)}
	safe := thinned(mostEdge, xs, from, to)
	p.layers = append(p.layers, ribbon{safe[0], safe[1], safe[2]})
	if at := along(safe[0], safe[2]); len(at) > 0 {
		p.labels = append(p.labels, label{"reader believed", muted, at})
	}
	l.lines(&p, []loopLine{
		{"base map", base, grayLine}, {"MBT", mbt, otherLine}, {"ordered", asked, handLine}, {"fired", fired, mainLine}})
	l.hands(&p, fired, asked)
	return p
}

// ordered is the spark that each cycle was ordered to fire with, where a hand made it
// fire with another; NaN where none did.
func (l *loopRun) ordered() []float64 {
	delay := 1
	if l.Scenario != nil {
		delay = max(delay, l.Scenario.Actuator.Delay)
	}
	out := make([]float64, len(l.Steps))
	for i := range l.Steps {
		out[i] = math.NaN()
		if l.Steps[i].Manual != 0 && i >= delay {
			out[i] = l.Steps[i-delay].Ordered.Leading / deg
		}
	}
	return out
}

// hands tells by how much a hand moves the spark, where it has stopped to move.
func (l *loopRun) hands(p *panel, fired, asked []float64) {
	const most = 4
	told := 0
	for i := range l.Steps {
		s := &l.Steps[i]
		if s.Manual == 0 || told == most || i > 0 && l.Steps[i-1].Manual == s.Manual || i+1 < len(l.Steps) && l.Steps[i+1].Manual != s.Manual {
			continue
		}
		told++
		at := float64(s.Cycle)
		sign := "+"
		if s.Manual < 0 {
			sign = ""
		}
		p.layers = append(p.layers, trace{xs: []float64{at, at}, ys: []float64{asked[i], fired[i]}, style: draw.LineStyle{Color: plum, Width: 1.4}})
		p.labels = append(p.labels, label{"hand " + sign + num(s.Manual/deg, 1) + " deg", plum, []anchor{{at, (asked[i] + fired[i]) / 2}, {at, fired[i]}, {at, asked[i]}}})
	}
}

// peak is the panel of where the pressure peak was read and was.
func (l *loopRun) peak() panel {
	xs := l.cycles()
	read := l.list(deg, func(s *loop.Step) float64 { return s.Single.Angle })
	truth := running(l.list(deg, func(t *loop.Step) float64 { return t.Truth.Hump() }))
	target := l.list(deg, func(s *loop.Step) float64 { return s.Target })
	lo, hi := span(read, truth, target)
	p := panel{weight: 1.4, y: rangeAxis(peakTitle, lo, hi, 5)}
	dots := thinned(mostDots, xs, read)
	p.layers = append(p.layers, cloud{xs: dots[0], ys: dots[1], col: haze})
	var missed []float64
	for i, v := range dots[1] {
		if !finite(v) {
			missed = append(missed, dots[0][i])
		}
	}
	p.layers = append(p.layers, rug{missed})
	if len(missed) > 0 {
		p.labels = append(p.labels, label{"not read", rust, along(missed, slices.Repeat([]float64{p.y.min}, len(missed)))})
	}
	all := []loopLine{{"target", target, grayLine}}
	if l.Scenario != nil && l.Scenario.Sensing.Average != "" {
		all = append(all, loopLine{"averaged reading", l.list(deg, func(s *loop.Step) float64 { return s.Reading.Angle }), averageLine})
	}
	l.lines(&p, append(all, loopLine{"true, mean of 15", truth, mainLine}))
	p.labels = append(p.labels, label{"read", muted, along(xs, read)})
	return p
}

const peakTitle = "pressure peak [deg after TDC]"

// outcome is what came of it: what has a ceiling, and torque if there is room.
func (l *loopRun) outcome() (out []panel) {
	xs := l.cycles()
	ceiling := loop.Ceiling{}
	heard := false
	if l.Scenario != nil {
		ceiling, heard = l.Scenario.Ceiling, l.Scenario.Sensing.Knock
	}
	if ceiling.Peak > 0 {
		out = append(out, l.ceilinged("peak pressure [bar]", xs, l.list(bar, func(s *loop.Step) float64 { return s.Truth.Peak }), ceiling.Peak/bar))
	}
	if ceiling.Knock > 0 {
		out = append(out, l.ceilinged("knock intensity [bar]", xs, l.list(bar, func(s *loop.Step) float64 { return s.Truth.KnockIntensity }), ceiling.Knock/bar))
	} else if heard {
		out = append(out, l.ceilinged("loudness of knock, over the usual [-]", xs, l.list(1, func(s *loop.Step) float64 { return s.Knock }), math.NaN()))
	}
	share := runningRatio(l.Steps)
	for i := range share {
		share[i] *= 100
	}
	if lo, hi := span(share); lo <= hi && len(out)+2 < loopPanels {
		p := panel{weight: 0.7, y: rangeAxis("brake torque over that at MBT [%], mean of 15", lo, math.Max(hi, 100), 3)}
		p.layers = append(p.layers, trace{xs: []float64{xs[0], xs[len(xs)-1]}, ys: []float64{100, 100}, style: grayLine})
		l.lines(&p, []loopLine{{"", share, mainLine}})
		out = append([]panel{p}, out...)
	}
	return out
}

// ceilinged is a panel of dots that should stay below a ceiling; NaN: there is none.
// Those beyond are crosses, and thinned out apart from the others.
func (l *loopRun) ceilinged(title string, xs, ys []float64, ceiling float64) panel {
	var over, most [2][]float64
	for i, y := range ys {
		to := &most
		if y > ceiling {
			to = &over
		}
		to[0], to[1] = append(to[0], xs[i]), append(to[1], y)
	}
	lo, hi := span(ys, []float64{ceiling})
	p := panel{weight: 0.7, y: rangeAxis(title, lo, hi, 3)}
	dots, crosses := thinned(mostDots, most[:]...), thinned(mostDots/3, over[:]...)
	p.layers = append(p.layers, cloud{xs: dots[0], ys: dots[1], col: haze}, cloud{xs: crosses[0], ys: crosses[1], col: rust, cross: true})
	if finite(ceiling) {
		from, to := xs[0], xs[len(xs)-1]
		p.layers = append(p.layers, trace{xs: []float64{from, to}, ys: []float64{ceiling, ceiling}, style: ceilingLine})
		p.labels = append(p.labels, label{"ceiling, " + counted(len(over[0]), "cycle") + " beyond", rust, []anchor{{from + 0.05*(to-from), ceiling}, {to, ceiling}, {(from + to) / 2, ceiling}}})
	}
	return p
}

// loopLine is a line over all cycles.
type loopLine struct {
	name  string
	ys    []float64
	style draw.LineStyle
}

// lines draws lines over all cycles in p and names them.
func (l *loopRun) lines(p *panel, all []loopLine) {
	xs := l.cycles()
	for _, line := range all {
		x, y := envelopeOf(xs, line.ys, mostLine)
		if len(x) < len(xs) { // up and down at every place
			line.style.Width = min(line.style.Width, 0.7)
		}
		p.layers = append(p.layers, trace{xs: x, ys: y, style: line.style})
		if line.name != "" {
			p.labels = append(p.labels, label{line.name, line.style.Color, along(x, y)})
		}
	}
}

// rangeAxis has room above and below the values from lo to hi, and about n ticks.
func rangeAxis(title string, lo, hi float64, n int) axis {
	if lo < hi {
		lo, hi = pad(lo, hi, 0.08, false)
	}
	return newAxis(title, linear, lo, hi, n)
}

// rug is short ticks up from the x axis.
type rug struct{ xs []float64 }

func (r rug) draw(p *pane) {
	const tall = 5
	var lines [][]vg.Point
	for _, x := range r.xs {
		if at := p.X(p.x.at(x)); finite(float64(at)) && p.ContainsX(at) {
			lines = append(lines, []vg.Point{{X: at, Y: p.Min.Y}, {X: at, Y: p.Min.Y + tall}})
		}
	}
	if path := joined(lines, false); len(path) > 0 {
		p.SetLineStyle(draw.LineStyle{Color: rust, Width: 0.6})
		p.Stroke(path)
	}
}

func (r rug) outline(*pane) ([][]vg.Point, float64) { return nil, 0 }

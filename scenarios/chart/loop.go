package chart

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/record"
)

const cycleTitle = "cycle"

// loopPanels is how many panels of a run there is room for below the guard.
const loopPanels = 4

var (
	ceilingLine = draw.LineStyle{Color: rust, Width: 1.2, Dashes: []vg.Length{1.5, 1.5}}
	handLine    = draw.LineStyle{Color: plum, Width: 1.2, Dashes: []vg.Length{5, 1.5, 1.2, 1.5}}
	averageLine = draw.LineStyle{Color: plum, Width: 0.9}
)

// Loop draws a run over its cycles, in panels one above the other: what the guard
// did; the spark fired [deg before TDC] with the base map, true MBT, where the reader
// can be believed, and what was ordered while a hand moved it; the pressure peak [deg
// after TDC] as it was read, its target and its true place; brake torque over that at
// MBT [%]; peak pressure and knock intensity [bar] where they have a ceiling, or else
// how loud knock was heard. Long runs are thinned out. A run without cycles gives an
// empty picture.
func Loop(r *loop.Run, title string) *Chart {
	ch := &Chart{Title: title, Subtitle: nothing, Footer: loopFooter(r),
		About: "A controller in closed loop over the cycles of a run: guard, spark advance, pressure peak and what came of them. " + record.Caution}
	n := 0
	if r != nil {
		n = len(r.Steps)
	}
	ch.x = newAxis(cycleTitle, linear, 0, float64(max(n-1, 1)), 10)
	if n == 0 {
		ch.panels = []panel{{weight: 1, y: newAxis(sparkTitle, linear, 0, 1, 5)}}
		return ch
	}
	ch.x = newAxis(cycleTitle, linear, float64(r.Steps[0].Cycle), float64(r.Steps[n-1].Cycle), 10)
	l := &loopRun{Run: r}
	ch.Subtitle = l.summary()
	ch.note = l.timeNote()
	ch.panels = append([]panel{l.guard(), l.spark(), l.peak()}, l.outcome()...)
	return ch
}

// loopRun is a run of one cycle or more on its way to a picture.
type loopRun struct{ *loop.Run }

// list returns of all cycles a number in the unit of the picture.
func (l *loopRun) list(unit float64, of func(*loop.Step) float64) []float64 {
	out := make([]float64, len(l.Steps))
	for i := range l.Steps {
		out[i] = of(&l.Steps[i]) / unit
	}
	return out
}

// cycles are the numbers of the cycles.
func (l *loopRun) cycles() []float64 {
	return l.list(1, func(s *loop.Step) float64 { return float64(s.Cycle) })
}

// count tells how many cycles are such.
func (l *loopRun) count(such func(*loop.Step) bool) (n int) {
	for i := range l.Steps {
		if such(&l.Steps[i]) {
			n++
		}
	}
	return n
}

// ratio is brake torque over that of the same cycles fired at MBT, of all cycles that
// have the latter [-]; NaN of none.
func ratio(steps []loop.Step) float64 {
	torque, best := 0., 0.
	for i := range steps {
		if s := &steps[i]; finite(s.Truth.Torque, s.TorqueMBT) {
			torque, best = torque+s.Truth.Torque, best+s.TorqueMBT
		}
	}
	if !(best > 0) {
		return math.NaN()
	}
	return torque / best
}

// summary is the line of numbers under the title.
func (l *loopRun) summary() string {
	parts := []string{counted(len(l.Steps), "cycle")}
	if v := 100 * ratio(l.Steps); finite(v) {
		parts = append(parts, "brake torque "+num(v, 1)+" % of that at MBT")
	}
	for _, c := range []struct {
		what string
		such func(*loop.Step) bool
	}{
		{"not read", declined},
		{"changed by the guard", func(s *loop.Step) bool { return s.State != control.Follow }},
		{"knocked", func(s *loop.Step) bool { return s.Truth.Knocking }},
		{"misfired", func(s *loop.Step) bool { return s.Truth.Misfire }},
	} {
		if n := l.count(c.such); n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, c.what))
		}
	}
	return strings.Join(parts, "  ·  ")
}

// declined tells whether the reader had no reading.
func declined(s *loop.Step) bool { return !finite(s.Single.Angle) }

// timeNote tells how long the cycles took.
func (l *loopRun) timeNote() string {
	last := &l.Steps[len(l.Steps)-1]
	if !finite(last.Time) {
		return ""
	}
	text := fmt.Sprintf("to cycle %d: %s s", last.Cycle, num(last.Time, 1))
	if every := (len(l.Steps) + strongest - 1) / strongest; every > 1 {
		text += fmt.Sprintf("  ·  guard: the strongest of each %d cycles", every)
	}
	return text
}

// loopFooter tells what ran.
func loopFooter(r *loop.Run) string {
	if r == nil || r.Scenario == nil {
		return ""
	}
	s := r.Scenario
	name := s.Law.Name
	if r.Told != "" {
		name += " (" + r.Told + ")"
	}
	parts := []string{"law " + name}
	if s.Law.Knock != "" {
		parts = append(parts, "with "+s.Law.Knock)
	}
	if s.Sensing.Reader != "" {
		parts = append(parts, s.Sensing.String())
	}
	if s.Guard.Off {
		parts = append(parts, "no guard")
	}
	return strings.Join(append(parts, fmt.Sprintf("seed %d", r.Seed)), ", ")
}

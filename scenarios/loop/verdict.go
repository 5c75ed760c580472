package loop

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"phasebench/scenarios/control"
)

// What a verdict goes by. Our own choice.
const (
	settleMean   = 20       // cycles of the mean that must stay near
	settleWithin = 2 * deg  // near what the leg ends with
	clearBy      = 3 * deg  // from the target, for a side to matter; as package trust has it
	falseBy      = 10 * deg // from the truth, for a reading to be false
	farBy        = 5 * deg  // beyond the believed range is far
	limitWithin  = 1 * deg  // at a limit of the actuator
	runawayRow   = 20       // cycles on end at a limit
)

// Verdict is what a run came to: Part of the whole run, and of every leg.
//
// A leg here lasts from one change of the scenario to the next: where a Leg begins, a
// fault comes or a fault goes. The change itself, if it takes some cycles, is part of
// the leg that it leads to.
//
// Of the whole run Settle, SettleTime, Hover, HoverLPP and OffTarget are those of the
// leg where each is worst, that is, farthest from 0; the first two are NaN if one leg
// never settles. Counts, shares and torque lost are of all cycles.
type Verdict struct {
	Part
	Legs      []Part
	Unsettled int // legs that never settle

	// Runaway tells that the law steered the wrong way until it could not any more: for
	// 20 cycles on end what was ordered, with what a hand adds, came within 1 deg of
	// Actuator.Most, while the true peaks of those cycles were on the mean more than 3 deg
	// earlier than the target; or of Actuator.Least, and later. Where all of them misfire
	// that counts as the wrong side.
	Runaway bool
}

// Part is what some successive cycles of a run came to. A number that it does not
// have is NaN.
//
// The true peak is Truth.LPP; where the burn is so late that the pressure is greatest
// about dead centre, before it, it is CA50; a misfire has none. A reading is
// Step.Single, of that cycle alone.
type Part struct {
	First, Last int // cycles, without Last

	// Settle is how many cycles of a leg come before it is settled, SettleTime how long
	// they take [s]. It is settled from the first cycle from which on the mean spark that
	// fired, of a cycle and the 19 after it, stays within 2 deg of its mean over the last
	// quarter of the leg; from there to the end is the settled part. NaN if no such cycle
	// comes before that quarter: the spark never settles. NaN as well for a leg of
	// fewer than 80 cycles, which cannot tell.
	Settle, SettleTime float64

	Hover     float64 // standard deviation of the spark that fired, settled part [rad]
	HoverLPP  float64 // of the true peak [rad]
	OffTarget float64 // mean of true peak less target, settled part [rad]; positive: too late

	// TorqueLost is 1 − ΣT/ΣT', with the true brake torque T and that of the same cycles
	// fired at MBT T', of all cycles that have both [-]. MBT is that of the mean cycle, and
	// cycles vary: it may be slightly negative by chance. NaN where no cycle has T', or
	// ΣT' is not positive. TorqueLostSettled is that of settled parts.
	TorqueLost, TorqueLostSettled float64

	OverPeak  int     // cycles with a true peak pressure above Ceiling.Peak; 0 without one
	OverKnock int     // cycles with a true knock intensity above Ceiling.Knock; 0 without one
	Knocking  float64 // share of cycles whose end gas truly ignites by itself [-]
	Misfires  int     // cycles that truly misfire

	// WrongSide counts readings that are on one side of the target while the true peak is
	// on the other, and more than 3 deg from it.
	WrongSide int

	// FalseRun is how many false readings came in a row at most: more than 10 deg from the
	// true peak, or of a misfire, which has none. A cycle without a reading ends a row.
	FalseRun int

	Declined float64 // share of cycles without a reading [-]

	Authority float64               // greatest distance of an order that passed from the base map [rad]
	States    map[control.State]int // cycles in each state of the guard
	Fallback  int                   // of which on the base map or on the way to it
	Refused   int                   // orders of the law that did not pass as they were: limited, held or replaced

	// Ranged counts cycles with a range where the reader can be believed, Step.Safe: 0
	// where nobody asked and where there is none, and then the others are 0 as well. Of
	// those Beyond fired outside, on either side, BeyondFar by more than 5 deg. DrivenOut
	// were more than 5 deg too early, fired earlier than the cycle before, and by an
	// order that was earlier than the one before: a hand at the distributor does not
	// count, nor does a range that moves away.
	Ranged, Beyond, BeyondFar, DrivenOut int
}

// Verdict returns what r came to.
func (r *Run) Verdict() Verdict {
	v := Verdict{Runaway: r.runaway()}
	whole := span{run: r, last: len(r.Steps)}
	v.Part = whole.part()
	var settled []Step
	worst := func(to *float64, x float64) {
		if !(math.Abs(*to) >= math.Abs(x)) && !math.IsNaN(x) {
			*to = x
		}
	}
	for _, s := range r.spans() {
		p := s.part()
		from := s.settle()
		if from < 0 {
			v.Unsettled++
		} else {
			steps := r.Steps[from:s.last]
			p.hover(steps)
			p.Settle, p.SettleTime = float64(from-s.first), r.ended(from)-r.ended(s.first)
			settled = append(settled, steps...)
		}
		v.Legs = append(v.Legs, p)
		worst(&v.Settle, p.Settle)
		worst(&v.SettleTime, p.SettleTime)
		worst(&v.Hover, p.Hover)
		worst(&v.HoverLPP, p.HoverLPP)
		worst(&v.OffTarget, p.OffTarget)
	}
	if v.Unsettled > 0 {
		v.Settle, v.SettleTime = math.NaN(), math.NaN()
	}
	v.TorqueLostSettled = lost(settled)
	return v
}

// ended is when the cycle before n was over [s].
func (r *Run) ended(n int) float64 {
	if n == 0 {
		return 0
	}
	return r.Steps[n-1].Time
}

// span is the cycles of a run from first up to but without last.
type span struct {
	run         *Run
	first, last int
}

// spans returns the legs of r as a verdict has them.
func (r *Run) spans() []span {
	s := r.Scenario
	var at []int
	for i := range s.Legs {
		at = append(at, s.Legs[i].Cycle)
	}
	for i := range s.Sensing.Faults {
		at = append(at, s.Sensing.Faults[i].From, s.Sensing.Faults[i].To)
	}
	at = slices.DeleteFunc(at, func(n int) bool { return n <= 0 || n >= len(r.Steps) })
	slices.Sort(at)
	first := 0
	var all []span
	for _, n := range append(slices.Compact(at), len(r.Steps)) {
		if n > first {
			all = append(all, span{r, first, n})
		}
		first = n
	}
	return all
}

// settle returns the cycle from which on s is settled; -1: never.
func (s *span) settle() int {
	steps := s.run.Steps[s.first:s.last]
	quarter := len(steps) / 4
	if quarter < settleMean {
		return -1
	}
	mean := func(some []Step) float64 {
		sum := 0.
		for i := range some {
			sum += some[i].Fired.Leading
		}
		return sum / float64(len(some))
	}
	end := mean(steps[len(steps)-quarter:])
	k := len(steps) - settleMean
	for k >= 0 && math.Abs(mean(steps[k:k+settleMean])-end) <= settleWithin {
		k--
	}
	if k++; k >= len(steps)-quarter {
		return -1
	}
	return s.first + k
}

// part counts what is counted of s.
func (s *span) part() Part {
	nan := math.NaN()
	steps := s.run.Steps[s.first:s.last]
	p := Part{First: s.first, Last: s.last, Settle: nan, SettleTime: nan, Hover: nan, HoverLPP: nan, OffTarget: nan,
		TorqueLost: lost(steps), TorqueLostSettled: nan, Knocking: nan, Declined: nan, Authority: nan, States: map[control.State]int{}}
	ceiling := s.run.Scenario.Ceiling
	knocking, declined, row := 0, 0, 0
	for i := range steps {
		t := &steps[i]
		count := func(to *int, is bool) {
			if is {
				*to++
			}
		}
		count(&p.OverPeak, ceiling.Peak > 0 && t.Truth.Peak > ceiling.Peak)
		count(&p.OverKnock, ceiling.Knock > 0 && t.Truth.KnockIntensity > ceiling.Knock)
		count(&knocking, t.Truth.Knocking)
		count(&p.Misfires, t.Truth.Misfire)
		count(&declined, math.IsNaN(t.Single.Angle))
		count(&p.WrongSide, t.wrongSide())
		row++
		if !t.falseReading() {
			row = 0
		}
		p.FalseRun = max(p.FalseRun, row)
		if off := math.Abs(t.Ordered.Leading - t.Base); !(p.Authority >= off) && !math.IsNaN(off) {
			p.Authority = off
		}
		p.States[t.State]++
		count(&p.Refused, t.Ordered.Leading != t.Want.Leading)
		early, late := t.Fired.Leading-t.Safe.To, t.Safe.From-t.Fired.Leading
		count(&p.Ranged, !math.IsNaN(early) && !math.IsNaN(late))
		count(&p.Beyond, early > 0 || late > 0)
		count(&p.BeyondFar, early > farBy || late > farBy)
		count(&p.DrivenOut, early > farBy && s.run.earlier(s.first+i))
	}
	p.Fallback = p.States[control.Return] + p.States[control.Fallback]
	if n := float64(len(steps)); n > 0 {
		p.Knocking, p.Declined = float64(knocking)/n, float64(declined)/n
	}
	return p
}

// hover fills in what is told of a settled part.
func (p *Part) hover(steps []Step) {
	var spark, peak, off []float64
	for i := range steps {
		spark = append(spark, steps[i].Fired.Leading)
		if at := steps[i].Truth.Hump(); !math.IsNaN(at) {
			peak, off = append(peak, at), append(off, at-steps[i].Target)
		}
	}
	p.Hover, p.TorqueLostSettled = stat.StdDev(spark, nil), lost(steps)
	if len(peak) > 1 {
		p.HoverLPP, p.OffTarget = stat.StdDev(peak, nil), stat.Mean(off, nil)
	}
}

// lost is the torque lost against MBT in steps [-].
func lost(steps []Step) float64 {
	got, best := 0., 0.
	for i := range steps {
		if t := &steps[i]; !math.IsNaN(t.TorqueMBT) && !math.IsNaN(t.Truth.Torque) {
			got += t.Truth.Torque
			best += t.TorqueMBT
		}
	}
	if !(best > 0) {
		return math.NaN()
	}
	return 1 - got/best
}

// wrongSide tells whether the reading of t is on the wrong side of the target.
func (t *Step) wrongSide() bool {
	off, read := t.Truth.Hump()-t.Target, t.Single.Angle-t.Target
	return off < -clearBy && read > 0 || off > clearBy && read < 0
}

// falseReading tells whether t has a reading, and that is false.
func (t *Step) falseReading() bool {
	return !math.IsNaN(t.Single.Angle) && !(math.Abs(t.Single.Angle-t.Truth.Hump()) <= falseBy)
}

// earlier tells whether cycle n fired earlier than the one before because its order
// was.
func (r *Run) earlier(n int) bool {
	if n == 0 {
		return false
	}
	for k := max(1, n-r.Scenario.Actuator.Delay+1); k <= n; k++ {
		if r.Steps[k].Manual > r.Steps[k-1].Manual {
			return false
		}
	}
	order := func(n int) float64 { // that cycle n fired by
		if n -= r.Scenario.Actuator.Delay; n >= 0 {
			return r.Steps[n].Ordered.Leading
		}
		return r.Scenario.Legs[0].Operating.Spark
	}
	return r.Steps[n].Fired.Leading > r.Steps[n-1].Fired.Leading && order(n) > order(n-1)
}

// runaway is Verdict.Runaway.
func (r *Run) runaway() bool {
	a := &r.Scenario.Actuator
	sum, n, row, side := 0., 0., 0, 0 // of cycles in a row at one side: 1 early, -1 late
	for i := range r.Steps {
		t := &r.Steps[i]
		at := 0
		switch order := t.Ordered.Leading + t.Manual; {
		case order >= a.Most-limitWithin:
			at = 1
		case order <= a.Least+limitWithin:
			at = -1
		}
		if at != side {
			sum, n, row, side = 0, 0, 0, at
		}
		if row++; at == 0 {
			continue
		}
		if off := t.Truth.Hump() - t.Target; !math.IsNaN(off) {
			sum += off
			n++
		}
		if row >= runawayRow && (n == 0 || float64(at)*sum/n < -clearBy) {
			return true
		}
	}
	return false
}

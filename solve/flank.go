package solve

import (
	"phasebench/model"
	"phasebench/wiebe"
)

// tailForm is the form exponent of the burn in the trailing corner: it rises in
// proportion to the angle (our own choice).
const tailForm = 1

// pace is by what factor the burn angles of charge ch differ from those that the
// engine file states [-].
func (s *Solver) pace(op *model.Operating, ch *charge) float64 {
	b := &s.engine.Burn
	if b.Law != model.BurnScaled || s.calibrating {
		return s.vary.Rapid
	}
	return s.vary.Rapid * s.base.RapidBurn(s.climate(op, ch)) / b.Rapid
}

// meet returns what the flames of a rotary chamber burn at op, its angles being
// pace times those of the engine file: first the trailing corner as a burn, then
// the shares of the plugs' flames.
//
// The flames run towards each other along the flank at constant speeds, so that
// where they meet moves in proportion to the split: at no split the leading flame
// has its stated share, and the trailing one none if the other is there before its
// spark. The corner begins to burn a stated angle after the trailing spark, or
// after the leading flame has come to that plug, whichever is first. All of this is
// our own choice: a rotor drags the charge along, so that flames spread quickly
// ahead of a plug and hardly behind it, and the narrow gap at the trailing apex
// burns last (common practice, no source).
func (s *Solver) meet(op *model.Operating, pace float64) (tail wiebe.Burn, shares []float64) {
	f := &s.engine.Burn.Flank
	tail = s.two.burn[:0]
	reach, rest := f.Reach*pace, 1-f.Tail
	corner := reach
	trailing := 0.
	if s.plugs == 2 {
		corner = min(op.Split, reach)
		trailing = min(max((1-f.Leading)*(1-op.Split/reach), 0), 1)
	}
	if f.Tail > 0 {
		tail = append(tail, wiebe.Part{Share: f.Tail, Stage: wiebe.Stage{
			Start: -op.Spark + corner + f.TailDelay*pace, Span: f.TailSpan * pace, A: wiebe.Whole, M: tailForm}})
	}
	s.meeting = [mostPlugs]float64{rest * (1 - trailing), rest * trailing}
	return tail, s.meeting[:s.plugs]
}

package solve

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/flame"
	"phasebench/model/wall"
	"phasebench/wiebe"
)

const (
	// compression is the polytropic exponent that carries the charge from
	// intake closing to the spark where a burn law looks at it (common
	// practice, no source).
	compression = 1.32

	// MinFlame is the laminar flame speed [m/s] below which a spark lights
	// nothing (our own choice: a sixth of the stoichiometric speed; it puts
	// the lean limit of gasoline near lambda 1.8).
	MinFlame = 0.12
)

// flame is the laminar flame speed [m/s] and the kinematic viscosity [m²/s] of
// charge ch, compressed without burning to theta.
func (s *Solver) flame(op *model.Operating, ch *charge, theta float64) (speed, viscosity float64) {
	f, b := &s.air.a, &s.air.b
	vol, _ := s.chamber.Volume(theta)
	r := s.air.sealed / vol
	p, t := ch.p*math.Pow(r, compression), ch.t*math.Pow(r, compression-1)
	s.air.fresh.Props(t, p, f)
	s.air.burned.Props(t, p, b)
	wet := ch.residual * b.V / ((1-ch.residual)*f.V + ch.residual*b.V) // by mole
	return s.laminar.Speed(1/op.Lambda, t, p, wet), wall.Viscosity(t) * f.V
}

// climate is what a burn law sees of charge ch.
func (s *Solver) climate(op *model.Operating, ch *charge) wiebe.Climate {
	speed, viscosity := s.flame(op, ch, 0)
	return wiebe.Climate{Speed: op.Speed, Viscosity: viscosity, Flame: speed}
}

// burn places the burn of charge ch at op in s.closed; it tells whether the
// spark lights the charge.
func (s *Solver) burn(op *model.Operating, ch *charge) (lit bool, err error) {
	b := &s.engine.Burn
	start := -op.Spark
	s.closed.Burn = s.closed.Burn[:0]
	if b.Law == model.BurnWiebe {
		place := func(st *model.Stage, share float64) {
			s.closed.Burn = append(s.closed.Burn, wiebe.Part{Share: share,
				Stage: wiebe.Stage{Start: start + st.Delay, Span: st.Span, A: st.A, M: st.M}})
		}
		place(&b.First, 1-b.SecondShare)
		if b.SecondShare > 0 {
			place(&b.Second, b.SecondShare)
		}
		return true, s.closed.Burn.Check()
	}
	development, rapid := b.Development, b.Rapid
	if b.Law == model.BurnScaled && !s.calibrating {
		flame := func(theta float64) float64 { v, _ := s.flame(op, ch, theta); return v }
		climate := s.climate(op, ch)
		if !(climate.Flame >= MinFlame && flame(start) >= MinFlame) {
			return false, nil
		}
		development = s.base.Development(climate, start, s.engine.Timing.ExhaustOpening, flame)
		if math.IsNaN(development) { // the exhaust opens first
			return false, nil
		}
		rapid = s.base.RapidBurn(climate)
	}
	stage, err := wiebe.FromAngles(start, development, rapid)
	s.closed.Burn = append(s.closed.Burn, wiebe.Part{Share: 1, Stage: stage})
	return true, err
}

// calibrate runs the base point of a scaled burn with its angles as they are,
// and keeps the climate found there.
func (s *Solver) calibrate() error {
	b := &s.engine.Burn
	if b.Law != model.BurnScaled {
		return nil
	}
	laminar, err := flame.ForFuel(s.engine.Fuel)
	if err != nil {
		return err
	}
	s.laminar = laminar
	s.calibrating = true
	defer func() { s.calibrating = false }()
	ch, _, err := s.settle(&b.Base)
	if err != nil {
		return err
	}
	s.base = wiebe.Base{Climate: s.climate(&b.Base, &ch), Rapid: b.Rapid}
	top := s.base.Climate.Flame
	if top < MinFlame {
		return fmt.Errorf("solve: at the base point of the burn no spark lights the charge: its laminar flame speed is %.3g m/s, want at least %g", top, MinFlame)
	}
	flame := func(theta float64) float64 { v, _ := s.flame(&b.Base, &ch, theta); return v }
	s.base.Growth = wiebe.Grown(-b.Base.Spark, b.Development-b.Base.Spark, top, flame)
	return nil
}

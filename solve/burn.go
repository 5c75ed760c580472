package solve

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/flame"
	"phasebench/model/wall"
	"phasebench/wiebe"
)

// compression is the polytropic exponent that carries the charge from intake
// closing to the spark where a burn law looks ahead (common practice, no
// source).
const compression = 1.32

// charge is what the chamber holds at intake closing.
type charge struct {
	p, t     float64 // [Pa], [K]
	volume   float64 // [m³]
	residual float64 // burned mass fraction [-]
}

// flame returns the laminar flame speed [m/s] and the kinematic viscosity
// [m²/s] of charge ch, compressed without burning to theta.
func (s *Solver) flame(op *model.Operating, ch *charge, theta float64) (speed, viscosity float64) {
	vol, _ := s.chamber.Volume(theta)
	r := ch.volume / vol
	p, t := ch.p*math.Pow(r, compression), ch.t*math.Pow(r, compression-1)
	return s.laminarAt(op, ch.residual, t, p), wall.Viscosity(t) * s.gas.f.V
}

// laminarAt is the laminar flame speed [m/s] at t [K], p [Pa] with residual
// mass fraction residual; s.gas is left at that state.
func (s *Solver) laminarAt(op *model.Operating, residual, t, p float64) float64 {
	f, b := &s.gas.f, &s.gas.g
	s.gas.fresh.Props(t, p, f)
	s.gas.burned.Props(t, p, b)
	wet := residual * b.V / ((1-residual)*f.V + residual*b.V) // by mole
	return s.laminar.Speed(1/op.Lambda, t, p, wet)
}

// climate is what a scaled burn sees of charge ch.
func (s *Solver) climate(op *model.Operating, ch *charge) wiebe.Climate {
	speed, viscosity := s.flame(op, ch, 0)
	return wiebe.Climate{Speed: op.Speed, Viscosity: viscosity, Flame: speed}
}

// ignition is how a charge burns.
type ignition struct {
	lit   bool
	why   string  // not lit: the reason
	start float64 // where the two zones begin [rad]
}

// ignite decides how charge ch burns at op and prepares s.two for it.
func (s *Solver) ignite(op *model.Operating, ch *charge) (ignition, error) {
	b := &s.engine.Burn
	two := &s.two
	sparks := [mostPlugs]float64{-op.Spark, -op.Spark + op.Split}
	two.lit = sparks
	two.share = b.Efficiency * s.vary.Burned
	two.burn, two.fronts = two.burn[:0], nil
	if s.vary.Burned == 0 {
		return ignition{why: noSpark}, nil
	}

	// Burned gas does not burn again, nor does a charge whose flame is too slow.
	if ch.residual > mostResidual {
		return ignition{why: flame.TooLean}, nil
	}
	first := sparks[s.firstPlug()]
	if b.Law == model.BurnScaled || b.Law == model.BurnFlame {
		speed, viscosity := s.flame(op, ch, first)
		top, _ := s.flame(op, ch, 0)
		vol, _ := s.chamber.Volume(first)
		u := s.flames.Intensity * chamber.DepthSpeed(s.chamber, op.Speed)
		if lit, why := flame.Lights(math.Min(speed, top), u, vol/s.bore, viscosity); !lit {
			return ignition{why: why}, nil
		}
	}
	if b.Law == model.BurnFlame && !s.calibrating {
		two.fronts, two.flames = s.fronts, s.flames
		two.flames.Speedup /= math.Pow(s.vary.Rapid, rapidPower)
		return ignition{lit: true, start: first}, nil
	}

	shares, slower := s.shares, 1.
	if s.engine.Rotary() {
		two.burn, shares = s.meet(op, s.pace(op, ch))
		slower = b.Flank.Slowdown
	}
	for k, share := range shares {
		if share == 0 {
			continue
		}
		factor := 1.
		if k > 0 {
			factor = slower
		}
		if ok, err := s.place(op, ch, sparks[k], share, factor); err != nil {
			return ignition{}, err
		} else if !ok {
			two.burn = two.burn[:0]
			return ignition{why: flame.TooLean}, nil
		}
	}
	if err := two.burn.Check(); err != nil {
		return ignition{}, err
	}
	start := two.burn.Angle(wiebeKernel)
	if !(start < s.to-1e-3) {
		return ignition{why: "too late: the exhaust opens first"}, nil
	}
	return ignition{lit: true, start: start}, nil
}

// place appends to s.two.burn the burn of one plug that fires at spark [rad]
// and burns share of the charge, slower by that factor; ok tells whether the flame
// develops.
func (s *Solver) place(op *model.Operating, ch *charge, spark, share, slower float64) (ok bool, err error) {
	b := &s.engine.Burn
	put := func(st wiebe.Stage, share float64) {
		s.two.burn = append(s.two.burn, wiebe.Part{Share: share, Stage: st})
	}
	if b.Law == model.BurnWiebe {
		stage := func(st *model.Stage) wiebe.Stage {
			return wiebe.Stage{Start: spark + st.Delay*s.vary.Development*slower, Span: st.Span * s.vary.Rapid * slower, A: st.A, M: st.M}
		}
		put(stage(&b.First), share*(1-b.SecondShare))
		if b.SecondShare > 0 {
			put(stage(&b.Second), share*b.SecondShare)
		}
		return true, nil
	}
	development, rapid := b.Development, b.Rapid
	if b.Law == model.BurnScaled && !s.calibrating {
		climate := s.climate(op, ch)
		development = s.base.Development(climate, spark, s.to, func(theta float64) float64 {
			v, _ := s.flame(op, ch, theta)
			return v
		})
		if math.IsNaN(development) { // the exhaust opens first
			return false, nil
		}
		rapid = s.base.RapidBurn(climate)
	}
	development, rapid = development*s.vary.Development, rapid*s.vary.Rapid
	s.burnAngles = [2]float64{development, rapid}
	stage, err := wiebe.FromAngles(spark, development*slower, rapid*slower)
	put(stage, share)
	return true, err
}

// calibrate runs the base point of a scaled burn or of flames with its two
// angles as they are. It keeps the climate found there, and makes flames have
// the same angles.
func (s *Solver) calibrate() error {
	b := &s.engine.Burn
	if b.Law != model.BurnScaled && b.Law != model.BurnFlame {
		return nil
	}
	s.calibrating = true
	carry, ign, err := s.settle(&b.Base)
	s.calibrating = false
	if err != nil {
		return err
	}
	if !ign.lit {
		return fmt.Errorf("solve: at the base point of the burn the spark lights nothing: the charge is %s", ign.why)
	}
	ch := s.charge(&carry)
	s.base = wiebe.Base{Climate: s.climate(&b.Base, &ch), Rapid: b.Rapid}
	s.base.Growth = wiebe.Grown(-b.Base.Spark, b.Development-b.Base.Spark, s.base.Climate.Flame,
		func(theta float64) float64 { v, _ := s.flame(&b.Base, &ch, theta); return v })
	if b.Law == model.BurnFlame {
		return s.tune(&carry)
	}
	return nil
}

// How flames answer, about: they burn so much later [rad] with a kernel e times
// smaller, and 10 to 90 % burn in 1/Speedup^(1/rapidPower) of the angle.
const (
	grows      = 5 * math.Pi / 180
	rapidPower = 1.2
)

// tune finds the speed-up and the kernel with which the sealed part of the base
// point has the burn angles that were given.
func (s *Solver) tune(carry *Carry) error {
	b := &s.engine.Burn
	for range 60 {
		ch := s.charge(carry)
		ign, err := s.ignite(&b.Base, &ch)
		if err != nil {
			return err
		}
		if !ign.lit {
			break
		}
		y := s.begin(carry)
		if err := s.sealed(y, ign); err != nil {
			return err
		}
		slow := (s.reached[0] + b.Base.Spark) / b.Development // > 1: develops too slowly
		long := (s.reached[2] - s.reached[0]) / b.Rapid
		if math.Abs(slow-1) < 1e-4 && math.Abs(long-1) < 1e-4 {
			return nil
		}
		if math.IsNaN(slow) || math.IsNaN(long) { // not burned by exhaust opening
			s.flames.Speedup *= 1.5
			continue
		}
		s.flames.Speedup *= math.Pow(long, rapidPower)
		s.kernel *= math.Exp((slow - 1) * b.Development / grows)
		if !(s.kernel < 0.05 && s.kernel > 1e-7 && s.flames.Speedup < 100 && s.flames.Speedup > 1e-3) {
			break
		}
	}
	return fmt.Errorf("solve: no flame develops in %.3g deg and burns in %.3g deg at the base point", b.Development*180/math.Pi, b.Rapid*180/math.Pi)
}

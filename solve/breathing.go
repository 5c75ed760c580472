package solve

import (
	"errors"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/gas"
)

// ErrNoCharge is wrapped where the gas left over fills all or most of the
// chamber.
var ErrNoCharge = errors.New("the chamber takes in no fresh charge to speak of")

// charge is what the chamber holds at intake closing.
type charge struct {
	p, t     float64 // [Pa], [K]
	mass     float64 // [kg]
	kept     float64 // mass left from the cycle before [kg]
	residual float64 // burned mass fraction [-]
}

// leftover is what stays in the chamber at the gas-exchange dead centre.
type leftover struct {
	t      float64 // [K]
	burned float64 // burned mass fraction [-]
	mass   float64 // [kg]
}

// distance is how much burned gas and how much gas in all [kg] a and b differ
// by, the greater of both.
func (a *leftover) distance(b *leftover) float64 {
	return math.Max(math.Abs(a.mass-b.mass), math.Abs(a.burned-b.burned)*b.mass)
}

// ahead extrapolates from one cycle's leftover b to the next one's a to where
// the series tends (Aitken 1926, with the ratio of successive changes of mass
// for all components). moved is the last change of mass, 0 where there is
// none to go by; ahead keeps it up to date.
func (a leftover) ahead(b *leftover, moved *float64) leftover {
	before := *moved
	*moved = a.mass - b.mass
	ratio := *moved / before
	if !(math.Abs(ratio) < 0.9 && math.Abs(*moved) > 1e-7*a.mass) { // beyond that it would follow rounding
		return a
	}
	*moved = 0 // the next change follows a jump
	k := ratio / (1 - ratio)
	return leftover{t: a.t + k*(a.t-b.t), burned: a.burned + k*(a.burned-b.burned), mass: a.mass + k*(a.mass-b.mass)}
}

// breathing is the gas exchange at one operating point, a simple model:
//
//   - the gas left in the chamber expands without loss from exhaust opening to
//     the exhaust pressure and fills the clearance at that pressure;
//   - fresh charge then enters at constant pressure until intake closing and
//     mixes with it: m·u = m_kept·u_kept + m_fresh·h_fresh − p·(V − V_clearance);
//   - the chamber pressure differs from manifold and exhaust by a loss that
//     grows with the dynamic head at mean piston speed.
//
// Source: the ideal intake and exhaust processes of Heywood 1988, section 5.3
// (from memory). Charge pushed back before a late intake closing counts as
// never taken in.
type breathing struct {
	intake, exhaust float64 // mean chamber pressure in the two strokes [Pa]
	entry           float64 // temperature of the fresh charge at entry [K]
	fresh, burned   gas.Gas
	clearance       float64 // volume at the gas-exchange dead centre [m³]
	sealed          float64 // volume at intake closing [m³]
	a, b            gas.Props
}

// set prepares for op; exhausted is the temperature of the exhaust gas [K].
func (x *breathing) set(e *model.Engine, op *model.Operating, speed, exhausted float64) {
	head := speed * speed / 2
	x.fresh.Props(op.Intake, op.MAP, &x.a)
	x.intake = op.MAP / (1 + e.Breathing.IntakeLoss*head/(x.a.V*op.MAP))
	x.burned.Props(exhausted, op.Exhaust, &x.b)
	x.exhaust = op.Exhaust + e.Breathing.ExhaustLoss*head/x.b.V
	x.entry = op.Intake + e.Breathing.Heating
}

// mix returns the properties of the mixture with burned mass fraction y.
func (x *breathing) mix(t, p, y float64) (v, u, s, cp float64) {
	x.fresh.Props(t, p, &x.a)
	x.burned.Props(t, p, &x.b)
	return (1-y)*x.a.V + y*x.b.V, (1-y)*x.a.U + y*x.b.U, (1-y)*x.a.S + y*x.b.S, (1-y)*x.a.Cp + y*x.b.Cp
}

// fill returns the charge that results when fresh gas joins what is left. The
// error wraps ErrNoCharge.
func (x *breathing) fill(left leftover) (charge, error) {
	p := x.intake
	_, uKept, _, _ := x.mix(left.t, x.exhaust, left.burned)
	x.fresh.Props(x.entry, p, &x.a)
	hFresh := x.a.H
	burned := left.burned * left.mass // [kg]

	// at returns the charge at temperature t and the energy it has too much [J].
	at := func(t float64) (c charge, off float64) {
		x.fresh.Props(t, p, &x.a)
		x.burned.Props(t, p, &x.b)
		mass := (x.sealed - burned*(x.b.V-x.a.V)) / x.a.V
		off = (mass-burned)*x.a.U + burned*x.b.U + p*(x.sealed-x.clearance) - left.mass*uKept - (mass-left.mass)*hFresh
		return charge{p: p, t: t, mass: mass, kept: left.mass, residual: burned / mass}, off
	}
	t0, t1 := 150., 3600.
	_, f0 := at(t0)
	c, f1 := at(t1)
	// Regula falsi, Illinois variant: side counts which end moved last.
	for n, side := 0, 0; n < 100 && f0 < 0 && f1 > 0 && t1-t0 > 1e-12*t1; n++ {
		t := (t0*f1 - t1*f0) / (f1 - f0)
		var f float64
		if c, f = at(t); math.Abs(f) < 1e-6*c.mass { // 1e-12 of the energy
			break
		}
		if f > 0 {
			t1, f1 = t, f
			if side > 0 {
				f0 /= 2
			}
			side = 1
		} else {
			t0, f0 = t, f
			if side < 0 {
				f1 /= 2
			}
			side = -1
		}
	}
	if !(f0 < 0 && f1 > 0 && c.mass > left.mass) {
		return c, x.noCharge()
	}
	return c, nil
}

func (x *breathing) noCharge() error {
	return fmt.Errorf("solve: at %.4g kPa in the intake stroke and %.4g kPa in the exhaust stroke %w", x.intake/1e3, x.exhaust/1e3, ErrNoCharge)
}

// empty returns what is left of gas that has pressure p [Pa], temperature t
// [K] and burned fraction y at exhaust opening.
func (x *breathing) empty(p, t, y float64) (leftover, error) {
	_, _, s, _ := x.mix(t, p, y)
	for range 50 {
		v, _, now, cp := x.mix(t, x.exhaust, y)
		step := (now - s) * t / cp
		t -= math.Max(-0.5*t, math.Min(0.5*t, step))
		if math.Abs(step) < 1e-12*t {
			return leftover{t: t, burned: y, mass: x.clearance / v}, nil
		}
	}
	return leftover{}, fmt.Errorf("solve: expansion from %.4g bar to the exhaust does not settle", p/1e5)
}

// crossover is how far on each side of the gas-exchange dead centre the
// pressure changes over from exhaust to intake [rad].
const crossover = 20 * math.Pi / 180

// pressure is the chamber pressure at theta while a valve is open; evo and
// pEvo are angle [rad] and pressure [Pa] at exhaust opening. The pressure falls
// from there to the exhaust's by a half cosine that ends at the dead centre.
func (x *breathing) pressure(theta float64, start, end, evo, bottom, pEvo float64) float64 {
	switch {
	case theta > end-crossover:
		return x.exhaust + (x.intake-x.exhaust)*ramp((theta-end+crossover)/(2*crossover))
	case theta < start+crossover:
		return x.exhaust + (x.intake-x.exhaust)*ramp((theta-start+crossover)/(2*crossover))
	case theta < evo:
		return x.intake
	case theta < bottom:
		return pEvo + (x.exhaust-pEvo)*ramp((theta-evo)/(bottom-evo))
	}
	return x.exhaust
}

// ramp rises smoothly from 0 to 1.
func ramp(x float64) float64 { return (1 - math.Cos(math.Pi*x)) / 2 }

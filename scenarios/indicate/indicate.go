// Package indicate makes numbers of a recorded cylinder pressure: its zero, the work,
// where it is greatest, the burn behind it, and how far each number can be trusted.
//
// A recording tells little of the gas: how much charge there is and what was left of the
// cycle before come from the model's periodic cycle at the same speed, load and mixture
// (package solve). Numbers that need them say so.
package indicate

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/gas"
	"phasebench/model/wall"
	"phasebench/solve"
	"phasebench/wiebe"
)

const deg = math.Pi / 180

// Settings says how a recording is indicated; the zero value is usual.
type Settings struct {
	Peg      Peg     // "": AtInlet
	Exponent float64 // of the peg Fixed [-], 1.2 to 1.45; 0: 1.32
	Shift    float64 // what the angles of the recording read too much [rad], -20 to 20 deg
	// ShiftError is the standard error of Shift [rad], 0 to 5 deg; 0: 0.1 deg, what is
	// asked of a TDC sensor (literature: Pipitone et al. 2007).
	ShiftError float64
	LowPass    float64 // a zero-phase filter ends here [1/rad], 0: none
}

// Usual numbers of Settings; own choices but for the exponent (literature: 1.32, Maurya
// 2019 chapter 5).
const (
	usualExponent   = 1.32
	usualShiftError = 0.1 * deg
	exponentError   = 0.02 // standard error of a given exponent [-] (common practice, no source)
)

// Number is a value and its standard error; both NaN where there is none.
type Number struct{ Value, Error float64 }

// Numbers are those of one cycle. Angles in rad, pressures in Pa, heat in J.
type Numbers struct {
	Zero        Number // that was added to the recorded pressure
	Noise       float64
	LPP, Peak   Number
	IMEPGross   Number // from -π to π
	IMEPNet     Number // of the whole row
	PMEP        Number // net less gross
	Compression Number // polytropic exponents
	Expansion   Number
	Burn        Burn   // by the first law, properties of the gas and heat to the walls
	Ratio       Burn   // by Rassweiler and Withrow
	Heat        Number // released until the exhaust opens, walls included [J]

	// What a shift and a zero too great by their standard errors change, and what is left
	// out: of all cycles alike, so that a mean of many (Ensemble) is no better for it.
	turned, lifted, lacking values
}

// Burn is where so much of what burns has burned.
type Burn struct{ CA10, CA50, CA90 Number }

// Indicator makes numbers of cycles of one engine at one operating point. It keeps its
// buffers: one serves one goroutine.
type Indicator struct {
	engine  *model.Engine
	op      model.Operating
	set     Settings
	chamber chamber.Chamber
	closed  solve.Closed
	fuel    float64 // that could burn in a cycle [J]
	opens   float64 // the exhaust valve or port [rad]
	shuts   float64 // the intake valve or port [rad]
	stretch float64 // of angles about dead centre, 1 for strokes of 180 degrees; 1.5 for a rotor [-]

	theta, p, smooth, v []float64
	burned, walls       []float64
	work                []float64
	ring                ringing
}

// New returns an indicator for e where op says it ran; nil settings are usual. What is
// not allowed comes back as a *model.Problem.
func New(e *model.Engine, op *model.Operating, set *Settings) (*Indicator, error) {
	x := &Indicator{engine: e, op: *op}
	if set != nil {
		x.set = *set
	}
	if x.set.Peg == "" {
		x.set.Peg = AtInlet
	}
	if x.set.Exponent == 0 {
		x.set.Exponent = usualExponent
	}
	if x.set.ShiftError == 0 {
		x.set.ShiftError = usualShiftError
	}
	if err := x.set.check(); err != nil {
		return nil, err
	}
	var err error
	if x.chamber, err = e.Chamber(); err != nil {
		return nil, err
	}
	x.shuts, x.opens = e.Sealed()
	x.stretch = x.chamber.Strokes().Period() / (4 * math.Pi)
	return x, x.charge()
}

func (s *Settings) check() error {
	if _, err := ParsePeg(string(s.Peg)); err != nil {
		return err
	}
	for _, q := range []struct {
		key              string
		v, low, high, by float64
		unit             string
	}{
		{"exponent", s.Exponent, 1.2, 1.45, 1, ""}, {"shift_deg", s.Shift, -20, 20, deg, " deg"},
		{"shift_error_deg", s.ShiftError, 0, 5, deg, " deg"}, {"low_pass_per_deg", s.LowPass, 0, 0.5, 1 / deg, " 1/deg"},
	} {
		if v := q.v / q.by; !(v >= q.low && v <= q.high) {
			return &model.Problem{Key: q.key, Given: fmt.Sprintf("%.6g", v), Want: fmt.Sprintf("%g to %g%s", q.low, q.high, q.unit)}
		}
	}
	return nil
}

// charge asks the model what is in the chamber.
func (x *Indicator) charge() error {
	s, err := solve.New(x.engine, nil)
	if err != nil {
		return err
	}
	carry, err := s.Settle(&x.op)
	if err != nil {
		return err
	}
	mass, _, residual := carry.Charge()
	fuel, err := gas.FuelByName(x.engine.Fuel)
	if err != nil {
		return err
	}
	fresh, err := gas.NewFresh(fuel, x.op.Lambda, gas.DefaultAir)
	if err != nil {
		return err
	}
	burned, err := gas.NewBurned(fuel, math.Max(x.op.Lambda, gas.MinBurnedLambda), gas.DefaultAir)
	if err != nil {
		return err
	}
	table, err := gas.NewTable(burned, gas.DefaultFreezeK)
	if err != nil {
		return err
	}
	w := &x.engine.Wall
	x.closed = solve.Closed{Chamber: x.chamber, Speed: x.op.Speed, Mass: mass, Fresh: fresh, Burned: table, Residual: residual, Efficiency: 1,
		WallFactor: w.Factor, HeadTemp: w.Head + x.op.WallShift, PistonTemp: w.Piston + x.op.WallShift, LinerTemp: w.Liner + x.op.WallShift,
		Burn: wiebe.Single(wiebe.Stage{Start: -x.op.Spark, Span: 1, A: wiebe.Whole, M: 2})}
	if w.Law != "" && w.Law != "none" {
		if x.closed.Wall, err = wall.ByName(w.Law); err != nil {
			return err
		}
	}
	x.fuel = mass * (1 - residual) * s.Heat(x.op.Lambda)
	return nil
}

package loop

import (
	"math"
	"time"

	"phasebench/model"
	"phasebench/scenarios/reader"
)

// What Usual begins with. Our own choice.
const (
	usualCycles = 600
	usualTarget = 15. // [deg]
	usualBehind = 10. // the loop begins so much later than the engine's own spark [deg]
	usualRetard = 3.  // [deg]
	usualOver   = 20  // cycles, where an average is asked for

	usualLimit = 100 * time.Millisecond // of an outside law
)

// UsualReader is the reader of a signal where none is named. Our own choice.
func UsualReader(of reader.Signal) string {
	if of == reader.Pressure {
		return "smoothed"
	}
	return "tracker"
}

// Usual returns the scenario that files begin with, for e: 600 cycles at the engine's
// own point, LPP asked for at 15 deg (of a rotary engine, where its chamber has risen as
// much), nobody's hand at the distributor and a throttle
// that stays; the loop begins 10 deg later than the engine's own spark. UsualActuator;
// the reader "tracker" of ion current, without an average (over 20 cycles where one is
// asked for); the law "integral" with its usual numbers, free; the guard with its usual
// numbers and an envelope; a base map 3 deg behind MBT; no ceilings; cycles that differ
// as usual. Our own choice.
//
// A file that asks for the signal pressure and names no reader gets "smoothed", and an
// outside law has 100 ms a cycle unless the file says otherwise.
func Usual(e *model.Engine) Scenario {
	// As files are read: a product of two float64, and not the constant nearest to it.
	rad := func(degrees float64) float64 { return degrees * deg }
	target := usualTarget
	if likened, err := e.Likened(usualTarget * deg); e.Rotary() && err == nil {
		target = math.Round(likened/deg*10) / 10
	}
	first := Leg{Operating: e.Point, Target: rad(target), HoldTorque: math.NaN()}
	first.Operating.Spark = rad(e.Point.Spark/deg - usualBehind)
	s := Scenario{
		Name: "usual", Engine: e, Cycles: usualCycles, Legs: []Leg{first}, Actuator: UsualActuator(),
		Sensing: Sensing{Signal: reader.Ion, Reader: UsualReader(reader.Ion), Over: usualOver},
		Law:     Law{Name: "integral", Mode: Free},
		Base:    Base{Retard: rad(usualRetard)},
	}
	s.Guard.Envelope = true
	if e.Rotary() {
		s.Sensing.engine = e
	}
	return s
}

package loop

import (
	"math"

	"phasebench/model"
	"phasebench/scenarios/control"
)

// UsualActuator returns one that fires the next cycle as ordered, in steps of
// 0.1 deg, from 10 deg after to 60 deg before dead centre. Our own choice.
func UsualActuator() Actuator {
	return Actuator{Delay: 1, Step: 0.1 * deg, Least: -10 * deg, Most: 60 * deg, Dwell: 3e-3, Think: 0.5e-3}
}

func (a *Actuator) check(e *model.Engine) error {
	switch {
	case a.Delay < 1 || a.Delay > 20:
		return bad("actuator.delay_cycles", a.Delay, "1 to 20")
	case !(a.Step >= 0 && a.Step <= 5*deg):
		return bad("actuator.step_deg", a.Step/deg, "0 to 5 deg")
	case !(a.Dwell >= 0 && a.Dwell <= 20e-3):
		return bad("actuator.dwell_ms", a.Dwell*1e3, "0 to 20 ms")
	case !(a.Think >= 0 && a.Think <= 20e-3):
		return bad("actuator.think_ms", a.Think*1e3, "0 to 20 ms")
	case !(a.Least < a.Most):
		return bad("actuator.most_deg_btdc", a.Most/deg, "more than actuator.least_deg_btdc")
	case a.Apart && e.Burn.Plugs != 2:
		return bad("actuator.apart", true, "an engine with 2 plugs")
	}
	for _, x := range []struct {
		key string
		v   float64
	}{{"actuator.least_deg_btdc", a.Least}, {"actuator.most_deg_btdc", a.Most}} {
		op := e.Point
		if op.Spark = x.v; op.Check(e) != nil {
			return bad(x.key, x.v/deg, "a spark between intake closing and exhaust opening")
		}
	}
	return nil
}

// fire returns what becomes of an order at a speed [rad/s], in an engine whose
// cycle begins at start [rad] and whose trailing plug stays split [rad] behind,
// with a hand that adds manual [rad] to both plugs and trailing to the second. A
// trailing spark is NaN where it stays that split behind.
//
// The coil of the first cycle that an order can reach must still be charged: the
// spark cannot be earlier than what is left of it allows.
func (a *Actuator) fire(o control.Order, speed, start, split, manual, trailing float64) control.Order {
	most := a.Most
	if a.Delay == 1 {
		most = math.Min(most, -start-(a.Dwell+a.Think)*speed)
	}
	at := func(spark float64) float64 {
		if a.Step > 0 {
			spark = math.Round(spark/a.Step) * a.Step
		}
		return math.Max(a.Least, math.Min(most, spark))
	}
	fired := control.Order{Leading: at(o.Leading + manual), Trailing: math.NaN()}
	switch {
	case a.Apart && !math.IsNaN(o.Trailing):
		fired.Trailing = at(o.Trailing + manual + trailing)
	case trailing != 0:
		fired.Trailing = at(o.Leading - split + manual + trailing)
	}
	return fired
}

// accept returns the order that the driver keeps of one while a hand adds manual
// [rad]: what could not fire is not counted on, so that a law that goes on from it
// does not wind up.
func (a *Actuator) accept(o control.Order, manual float64) control.Order {
	o.Leading = math.Max(a.Least-manual, math.Min(a.Most-manual, o.Leading))
	return o
}

// Package loop runs a controller in closed loop against the simulated engine, cycle
// by cycle, through simulated instruments: plant, reader, law, guard and log.
//
// Of what happened a Run holds both what the controller saw and what was true, so
// that a Verdict can be given. The same scenario and seed give the same run.
package loop

import (
	"fmt"
	"math"
	"time"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

const (
	deg = math.Pi / 180
	rpm = 2 * math.Pi / 60
)

// Scenario is everything about a run but its seed.
type Scenario struct {
	Name     string
	Engine   *model.Engine
	Cycles   int   // 10 to 1,000,000
	Legs     []Leg // one or more; the first at cycle 0, its Spark is where the loop begins
	Actuator Actuator
	Sensing  Sensing
	Law      Law
	Guard    control.GuardSettings
	Base     Base
	Ceiling  Ceiling
	Knobs    *stream.Knobs // how far cycles differ; nil: as usual there
	Exact    bool          // solve every cycle directly
}

// Leg is where the engine runs, and what is asked of the loop, from one cycle on
// until the next leg.
type Leg struct {
	Cycle          int
	Over           int             // cycles that the change to it takes in a straight line; 0: a step
	Operating      model.Operating // Spark counts in the first leg only
	Target         float64         // LPP [rad]
	Manual         float64         // a hand at the distributor: both plugs fire so much earlier than ordered [rad]
	ManualTrailing float64         // and the trailing plug so much more [rad]
	HoldTorque     float64         // a governor moves the throttle until brake torque is this [N·m]; NaN: it stays
}

// Actuator is what stands between an order and the spark.
type Actuator struct {
	Delay       int     // from the cycle seen to the one that fires as ordered [cycles], 1 to 20
	Step        float64 // sparks are multiples of this [rad], 0 to 5 deg; 0: any
	Least, Most float64 // no spark is ever later or earlier than these [rad]
	Dwell       float64 // the coil charges for so long [s], 0 to 20 ms
	Think       float64 // from the end of a cycle to the order [s], 0 to 20 ms
	Apart       bool    // the plugs move apart, as the law orders; else together
}

// Sensing is how the controller sees the cycle.
type Sensing struct {
	Signal   reader.Signal
	Reader   string           // a name that reader.New knows
	Settings *reader.Settings // nil: reader.Usual
	Average  string           // a name of reader.CombinerNames; "": each cycle alone
	Over     int              // cycles averaged, 1 to 1000
	Pressure bool             // a transducer is fitted even where Signal is ion
	Knock    bool             // a knock sensor is fitted
	Faults   []sensor.Fault

	engine *model.Engine // for which settings are usual; nil: one with a piston
}

// usual is what Settings begin with.
func (s *Sensing) usual() *reader.Settings {
	if s.engine == nil {
		return reader.Usual(s.Signal)
	}
	return reader.UsualFor(s.Signal, s.engine)
}

// Law is which law moves the spark.
type Law struct {
	Name    string             // of control.Names; Outside stands for Program or Address
	Numbers map[string]float64 // of that law, in units of their keys
	Knock   string             // a law that limits it where the engine knocks; "": none
	KnockOf map[string]float64 // numbers of that
	Mode    Mode

	Program []string // of the law Outside, with its arguments
	Address string   // of a program that listens on loopback, in its place
	Binary  bool     // frames in place of JSON lines
	Samples bool     // it gets samples, not readings
	Limit   time.Duration
}

// pressure tells whether a transducer is fitted.
func (s *Sensing) pressure() bool { return s.Pressure || s.Signal == reader.Pressure }

// Outside is the name of a law that is another program.
const Outside = "outside"

// Mode is what a law may do.
type Mode string

// Modes.
const (
	Free       Mode = "free"
	RetardOnly Mode = "retard-only" // never earlier than the base map
	AdviseOnly Mode = "advise-only" // it moves nothing and tells what it would do
)

// Base is the base map: sparks for every speed and load, set before the run.
type Base struct {
	Table  *control.Table // nil: MBT at the speeds and loads of the scenario, in dry air and with walls and fuel of the engine file, less Retard
	Retard float64        // [rad], -20 to 40 deg
}

// Ceiling is what a verdict counts cycles beyond.
type Ceiling struct {
	Peak  float64 // true peak pressure [Pa]; 0: none
	Knock float64 // true knock intensity [Pa]; 0: none
}

// bad is a *model.Problem about key.
func bad(key string, given any, want string) error {
	if v, ok := given.(float64); ok {
		given = fmt.Sprintf("%.6g", v)
	}
	return &model.Problem{Key: key, Given: fmt.Sprint(given), Want: want}
}

// Check returns a *model.Problem about the first thing that is not allowed, or nil.
func (s *Scenario) Check() error {
	if s.Cycles < 10 || s.Cycles > mostCycles {
		return bad("cycles", s.Cycles, "10 to 1000000")
	}
	if len(s.Legs) == 0 || s.Legs[0].Cycle != 0 || s.Legs[0].Over != 0 {
		return bad("at.cycle", len(s.Legs), "a first leg at cycle 0, at once")
	}
	for i := range s.Legs {
		l := &s.Legs[i]
		key := func(name string) string { return fmt.Sprintf("at[%d].%s", i, name) }
		if i > 0 && !(l.Cycle > s.Legs[i-1].Cycle+s.Legs[i-1].Over) {
			return bad(key("cycle"), l.Cycle, fmt.Sprintf("more than %d, where the leg before is reached", s.Legs[i-1].Cycle+s.Legs[i-1].Over))
		}
		if l.Over < 0 || l.Over > mostCycles {
			return bad(key("over_cycles"), l.Over, "0 to 1000000")
		}
		if err := l.Operating.Check(s.Engine); err != nil {
			return fmt.Errorf("at[%d]: %w", i, err)
		}
		for _, x := range []struct {
			name      string
			v         float64
			low, high float64
		}{{"target_deg_atdc", l.Target / deg, -20, 60}, {"manual_offset_deg", l.Manual / deg, -90, 90}, {"manual_trailing_offset_deg", l.ManualTrailing / deg, -90, 90}} {
			if !(x.v >= x.low && x.v <= x.high) {
				return bad(key(x.name), x.v, fmt.Sprintf("%g to %g deg", x.low, x.high))
			}
		}
		if t := l.HoldTorque; !math.IsNaN(t) && !(t > 0 && t < 1e5) {
			return bad(key("hold_torque_nm"), t, "more than 0")
		}
		if l.ManualTrailing != 0 && s.Engine.Burn.Plugs != 2 {
			return bad(key("manual_trailing_offset_deg"), l.ManualTrailing/deg, "no such offset for an engine with one plug")
		}
	}
	if err := s.Actuator.check(s.Engine); err != nil {
		return err
	}
	if s.Sensing.Over < 0 || s.Sensing.Over > 1000 {
		return bad("reader.over_cycles", s.Sensing.Over, "1 to 1000")
	}
	switch s.Law.Mode {
	case Free, RetardOnly, AdviseOnly:
	default:
		return bad("law.mode", string(s.Law.Mode), "free, retard-only or advise-only")
	}
	if err := s.checkLaw(); err != nil {
		return err
	}
	if r := s.Base.Retard / deg; !(r >= -20 && r <= 40) {
		return bad("base.retard_deg", r, "-20 to 40 deg")
	}
	for _, x := range []struct {
		key string
		v   float64
	}{{"ceiling.peak_bar", s.Ceiling.Peak / 1e5}, {"ceiling.knock_bar", s.Ceiling.Knock / 1e5}} {
		if !(x.v >= 0 && x.v <= 1000) {
			return bad(x.key, x.v, "0 to 1000 bar, 0 for none")
		}
	}
	return nil
}

// schedule is where the engine runs, for a stream. All of it has the engine's own
// spark: one surface for each place, whatever the loop does.
func (s *Scenario) schedule() stream.Schedule {
	place := func(l *Leg) model.Operating {
		op := l.Operating
		op.Spark = s.Engine.Point.Spark
		return op
	}
	all := stream.Schedule{{Cycle: 0, Operating: place(&s.Legs[0])}}
	for i := range s.Legs[1:] {
		l := &s.Legs[i+1]
		op := place(l)
		before := all[len(all)-1]
		if op == before.Operating {
			continue
		}
		if l.Cycle-1 > before.Cycle { // it lasts until here
			all = append(all, stream.Knot{Cycle: l.Cycle - 1, Operating: before.Operating})
		}
		all = append(all, stream.Knot{Cycle: l.Cycle + l.Over, Operating: op})
	}
	return all
}

// leg returns the leg of cycle n, with targets and offsets on their way to it.
func (s *Scenario) leg(n int) Leg {
	k := 0
	for k+1 < len(s.Legs) && s.Legs[k+1].Cycle <= n {
		k++
	}
	l := s.Legs[k]
	if k > 0 && n < l.Cycle+l.Over {
		before, w := &s.Legs[k-1], float64(n-l.Cycle+1)/float64(l.Over+1)
		mix := func(to *float64, x float64) { *to = x + w*(*to-x) }
		mix(&l.Target, before.Target)
		mix(&l.Manual, before.Manual)
		mix(&l.ManualTrailing, before.ManualTrailing)
	}
	return l
}

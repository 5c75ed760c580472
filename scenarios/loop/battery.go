package loop

import (
	"errors"
	"math"

	"phasebench/model"
	"phasebench/scenarios/sensor"
)

// Places and sizes of the battery. Our own choice; speeds are those of the first leg
// of the controller's own scenario times a factor.
const (
	slowBy    = 0.75
	fastBy    = 1.25
	lightMAP  = 45e3 // [Pa]
	highMAP   = 90e3
	fullMAP   = 100e3
	idleSpeed = 900 * rpm
	idleMAP   = 32e3

	changeAt  = 200 // the cycle of a change, or of a fault
	changeEnd = 400
	driftOver = 150 // cycles of a drift

	moreWater  = 0.02 // humidity [kg/kg]
	warmer     = 60.  // walls [K]
	poorOctane = -8.
	startOff   = 20 * deg
	handOff    = 10 * deg
)

// trial is one scenario of the battery.
type trial struct {
	name, about string
	cycles      int
	first       func(s *Scenario, l *Leg) // what is different in the first leg; nil: nothing
	later       []change
}

// change is a leg after the first, which differs from that.
type change struct {
	cycle, over int
	to          func(l *Leg)
}

// at moves a leg to a speed, as a factor, and manifold pressure.
func at(speed, mapPa float64) func(*Leg) {
	return func(l *Leg) {
		l.Operating.Speed *= speed
		l.Operating.MAP = mapPa
	}
}

// begin is for trials that begin elsewhere.
func begin(to func(*Leg)) func(*Scenario, *Leg) { return func(_ *Scenario, l *Leg) { to(l) } }

// offset begins so much earlier than the base, as far as the actuator goes.
func offset(by float64) func(*Scenario, *Leg) {
	return func(s *Scenario, l *Leg) {
		spark := l.Operating.Spark
		if t := s.Base.Table; t != nil {
			spark = t.At(l.Operating.Speed, l.Operating.MAP)
		}
		l.Operating.Spark = math.Max(s.Actuator.Least, math.Min(s.Actuator.Most, spark+by))
	}
}

// hand turns the distributor.
func hand(by float64) []change {
	return []change{{changeAt, 0, func(l *Leg) { l.Manual = by }}}
}

// trials is the one table of the battery without its faults.
var trials = []trial{
	{"steady-slow-light", "low speed and light load", 400, begin(at(slowBy, lightMAP)), nil},
	{"steady-slow-high", "low speed and high load", 400, begin(at(slowBy, highMAP)), nil},
	{"steady-middle-light", "speed of the scenario and light load", 400, begin(at(1, lightMAP)), nil},
	{"steady-middle-high", "speed of the scenario and high load", 400, begin(at(1, highMAP)), nil},
	{"steady-fast-light", "high speed and light load", 400, begin(at(fastBy, lightMAP)), nil},
	{"steady-fast-high", "high speed and high load", 400, begin(at(fastBy, highMAP)), nil},
	{"load-step", "light load, a step to high load, and back", 600, begin(at(1, lightMAP)),
		[]change{{changeAt, 0, func(l *Leg) { l.Operating.MAP = highMAP }}, {changeEnd, 0, func(*Leg) {}}}},
	{"speed-step", "low speed, a step to high speed, and back, at high load", 600, begin(at(slowBy, highMAP)),
		[]change{{changeAt, 0, func(l *Leg) { l.Operating.Speed *= fastBy / slowBy }}, {changeEnd, 0, func(*Leg) {}}}},
	{"humidity-drift", "the intake air takes up 20 g/kg of water", 500, nil,
		[]change{{changeAt, driftOver, func(l *Leg) { l.Operating.Humidity = math.Min(0.05, l.Operating.Humidity+moreWater) }}}},
	{"wall-drift", "all walls become 60 K warmer", 500, nil,
		[]change{{changeAt, driftOver, func(l *Leg) { l.Operating.WallShift = math.Min(200, l.Operating.WallShift+warmer) }}}},
	{"start-advanced", "begins 20 deg earlier than the base", 500, offset(startOff), nil},
	{"start-retarded", "begins 20 deg later than the base", 500, offset(-startOff), nil},
	{"idle", "900 rpm and 32 kPa", 500, begin(func(l *Leg) { l.Operating.Speed, l.Operating.MAP = idleSpeed, idleMAP }), nil},
	{"hand-advances", "a hand turns the distributor 10 deg early", 500, nil, hand(handOff)},
	{"hand-retards", "a hand turns the distributor 10 deg late", 500, nil, hand(-handOff)},
	{"poor-fuel", "full load on fuel of 8 octane numbers less", 500, begin(func(l *Leg) {
		l.Operating.MAP = fullMAP
		l.Operating.OctaneShift = math.Max(-40, l.Operating.OctaneShift+poorOctane)
	}), nil},
}

// faultTrial is what trials with a fault have before their kind.
const faultTrial = "fault-"

// About tells in one line what the scenario of that name in a battery is about; "" if
// there is none.
func About(name string) string {
	for i := range trials {
		if trials[i].name == name {
			return trials[i].about
		}
	}
	for _, k := range sensor.Kinds() {
		if faultTrial+k.Name == name {
			return "a fault comes and goes (" + k.Instrument + "): " + k.About
		}
	}
	return ""
}

// Battery returns what the controller of s should be proved in: its law, guard, reader
// and actuator in scenarios of 400 to 600 cycles each, which are steady points, steps,
// drifts, far starts, idle, a hand at the distributor, poor fuel, and one for every
// fault of an instrument that is fitted, of typical severity, which comes and goes.
// About tells of each.
//
// What a scenario leaves alone is as in s and its first leg, but that the throttle is
// fixed and no hand at the distributor. The spark of that leg stands for the base where
// Base has no Table. Later legs, faults and the number of cycles of s do not count.
func Battery(s *Scenario) []Scenario {
	var all []Scenario
	for i := range trials {
		all = append(all, trials[i].of(s))
	}
	for _, k := range sensor.Kinds() {
		fault := sensor.Fault{Name: k.Name, From: changeAt, To: changeEnd, Severity: k.Typical}
		if !s.fitted(fault) {
			continue
		}
		t := trial{name: faultTrial + k.Name, cycles: 600}
		with := t.of(s)
		with.Sensing.Faults = []sensor.Fault{fault}
		all = append(all, with)
	}
	return all
}

// of puts s through t.
func (t *trial) of(s *Scenario) Scenario {
	out := *s
	out.Name, out.Cycles, out.Sensing.Faults = t.name, t.cycles, nil
	first := Leg{Operating: s.Legs[0].Operating, Target: s.Legs[0].Target, HoldTorque: math.NaN()}
	if t.first != nil {
		t.first(s, &first)
	}
	out.Legs = []Leg{first}
	for _, c := range t.later {
		l := first
		l.Cycle, l.Over = c.cycle, c.over
		c.to(&l)
		out.Legs = append(out.Legs, l)
	}
	return out
}

// fitted tells whether fault is of an instrument that s has.
func (s *Scenario) fitted(fault sensor.Fault) bool {
	setup := s.setup()
	setup.Faults = []sensor.Fault{fault}
	_, err := sensor.New(s.Engine, setup, 0)
	var p *model.Problem
	return !(errors.As(err, &p) && p.Key == "fault")
}

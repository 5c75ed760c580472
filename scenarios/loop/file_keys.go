package loop

import (
	"fmt"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// key is one key of a scenario file, of a table that T holds. The lists below are the
// one place that knows keys; reading and writing follow them.
type key[T any] struct {
	name, about string
	at          func(*T) place
	not         func(*Scenario) string // what rules the key out; "" or nil: nothing does
	unset       func(*T) bool          // nothing to write; nil: there always is
}

func onePlug(s *Scenario) string {
	if s.Engine.Burn.Plugs == 2 {
		return ""
	}
	return "an engine with one plug"
}

func inside(s *Scenario) string {
	if s.Law.Name == Outside {
		return ""
	}
	return fmt.Sprintf("law.name = %q", s.Law.Name)
}

func tabled(s *Scenario) string {
	if s.Base.Table == nil {
		return ""
	}
	return "base.speeds_rpm"
}

var topKeys = []key[Scenario]{
	{name: "name", about: "short name", at: func(s *Scenario) place { return word{&s.Name} }},
	{name: "cycles", about: "how many", at: func(s *Scenario) place { return whole{&s.Cycles} }},
	{name: "exact", about: "solve every cycle directly, slowly", at: func(s *Scenario) place { return truth{at: &s.Exact} }},
}

// legKeys are those of [[at]]; what is left out stays as in the row before, except for
// over_cycles.
var legKeys = []key[Leg]{
	{name: "cycle", about: "from this cycle on", at: func(l *Leg) place { return whole{&l.Cycle} }},
	{name: "over_cycles", about: "reached in a straight line within these; 0: at once", at: func(l *Leg) place { return whole{&l.Over} }, unset: func(l *Leg) bool { return l.Over == 0 }},
	{name: "speed_rpm", about: "shaft speed", at: func(l *Leg) place { return real{&l.Operating.Speed, rpm} }},
	{name: "map_kpa", about: "manifold absolute pressure", at: func(l *Leg) place { return real{&l.Operating.MAP, 1e3} }},
	{name: "lambda", about: "relative air-fuel ratio", at: func(l *Leg) place { return real{&l.Operating.Lambda, 1} }},
	{name: sparkKey, about: "where the loop begins", at: func(l *Leg) place { return real{&l.Operating.Spark, deg} }},
	{name: "trailing_split_deg", about: "the trailing plug fires so much later", at: func(l *Leg) place { return real{&l.Operating.Split, deg} }, not: onePlug},
	{name: "exhaust_kpa", about: "absolute pressure in the exhaust", at: func(l *Leg) place { return real{&l.Operating.Exhaust, 1e3} }},
	{name: "intake_k", about: "temperature in the manifold", at: func(l *Leg) place { return real{&l.Operating.Intake, 1} }},
	{name: "humidity_g_kg", about: "water in the intake air, per mass of dry air", at: func(l *Leg) place { return real{&l.Operating.Humidity, 1e-3} }},
	{name: "wall_shift_k", about: "all walls are so much warmer than the engine's", at: func(l *Leg) place { return real{&l.Operating.WallShift, 1} }},
	{name: "octane_shift", about: "octane number of the fuel less the engine's", at: func(l *Leg) place { return real{&l.Operating.OctaneShift, 1} }},
	{name: "target_deg_atdc", about: "LPP that is asked for", at: func(l *Leg) place { return real{&l.Target, deg} }},
	{name: "manual_offset_deg", about: "a hand at the distributor: both plugs fire so much earlier than ordered", at: func(l *Leg) place { return real{&l.Manual, deg} }},
	{name: "manual_trailing_offset_deg", about: "and the trailing plug so much more", at: func(l *Leg) place { return real{&l.ManualTrailing, deg} }, not: onePlug},
	{name: "hold_torque_nm", about: "a governor moves the throttle until brake torque is this; none: it stays", at: func(l *Leg) place { return torque{&l.HoldTorque} }},
}

// sparkKey is a key of the first row alone.
const sparkKey = "spark_deg_btdc"

var actuatorKeys = []key[Actuator]{
	{name: "delay_cycles", about: "from the cycle seen to the one that fires as ordered", at: func(a *Actuator) place { return whole{&a.Delay} }},
	{name: "step_deg", about: "sparks are multiples of this; 0: any", at: func(a *Actuator) place { return real{&a.Step, deg} }},
	{name: "least_deg_btdc", about: "no spark is later", at: func(a *Actuator) place { return real{&a.Least, deg} }},
	{name: "most_deg_btdc", about: "no spark is earlier", at: func(a *Actuator) place { return real{&a.Most, deg} }},
	{name: "dwell_ms", about: "the coil charges for so long", at: func(a *Actuator) place { return real{&a.Dwell, 1e-3} }},
	{name: "think_ms", about: "from the end of a cycle to the order", at: func(a *Actuator) place { return real{&a.Think, 1e-3} }},
	{name: "plugs", about: "how two plugs move", at: func(a *Actuator) place { return either{&a.Apart, "together", "apart"} }},
}

// settings of the reader: from the first key on they are its own.
func settings(s *Sensing) *reader.Settings {
	if s.Settings == nil {
		s.Settings = s.usual()
	}
	return s.Settings
}

func noSettings(s *Sensing) bool { return s.Settings == nil }

// readerKeys begin with the signal, which says what is usual.
var readerKeys = []key[Sensing]{
	{name: "signal", about: "what it reads", at: func(s *Sensing) place { return signal{&s.Signal} }},
	{name: "name", about: "of the reader", at: func(s *Sensing) place { return word{&s.Reader} }},
	{name: "window_from_deg", about: "where it looks, after dead centre", at: func(s *Sensing) place { return real{&settings(s).From, deg} }, unset: noSettings},
	{name: "window_to_deg", about: "", at: func(s *Sensing) place { return real{&settings(s).To, deg} }, unset: noSettings},
	{name: "blank_ms", about: "from the spark on it does not look for so long", at: func(s *Sensing) place { return real{&settings(s).Blank, 1e-3} }, unset: noSettings},
	{name: "smooth_deg", about: "width at half height of its filter", at: func(s *Sensing) place { return real{&settings(s).Smooth, deg} }, unset: noSettings},
	{name: "least", about: "a peak lower than so many times the noise is none", at: func(s *Sensing) place { return real{&settings(s).Least, 1} }, unset: noSettings},
	{name: "exponent", about: "of compression and expansion, for readers of pressure", at: func(s *Sensing) place { return real{&settings(s).Exponent, 1} }, unset: noSettings},
	{name: "share", about: "of the height of the peak at which chord cuts it", at: func(s *Sensing) place { return real{&settings(s).Share, 1} }, unset: noSettings},
	{name: "average", about: "how readings of the last cycles make one", at: func(s *Sensing) place { return optional{&s.Average} }},
	{name: "over_cycles", about: "so many", at: func(s *Sensing) place { return whole{&s.Over} }},
	{name: "pressure", about: "a transducer is fitted too", at: func(s *Sensing) place { return truth{at: &s.Pressure} }},
	{name: "knock", about: "a knock sensor is fitted", at: func(s *Sensing) place { return truth{at: &s.Knock} }},
}

// lawKeys begin with the names, which say what numbers there are besides.
var lawKeys = []key[Law]{
	{name: "name", about: "which law moves the spark", at: func(l *Law) place { return word{&l.Name} }},
	{name: "mode", about: "what it may do: free, retard-only, advise-only", at: func(l *Law) place { return word{(*string)(&l.Mode)} }},
	{name: "knock", about: "a law that limits it where the engine knocks", at: func(l *Law) place { return optional{&l.Knock} }},
	{name: "program", about: "the law, with its arguments", at: func(l *Law) place { return words{&l.Program} }, not: inside, unset: func(l *Law) bool { return len(l.Program) == 0 }},
	{name: "tcp", about: "where it listens on this machine", at: func(l *Law) place { return word{&l.Address} }, not: inside, unset: func(l *Law) bool { return l.Address == "" }},
	{name: "framing", about: "how it is spoken to", at: func(l *Law) place { return either{&l.Binary, "json", "binary"} }, not: inside},
	{name: "sees", about: "what it gets of a cycle", at: func(l *Law) place { return either{&l.Samples, "reading", "samples"} }, not: inside},
	{name: "limit_ms", about: "within which it answers", at: func(l *Law) place { return limit{&l.Limit} }, not: inside},
}

var guardKeys = []key[control.GuardSettings]{
	{name: "on", about: "it stands between the law and the coil", at: func(g *control.GuardSettings) place { return truth{&g.Off, true} }},
	{name: "envelope", about: "it stays where readings can be believed", at: func(g *control.GuardSettings) place { return truth{at: &g.Envelope} }},
}

var baseKeys = []key[Base]{
	{name: "retard_deg", about: "behind MBT", at: func(b *Base) place { return real{&b.Retard, deg} }, not: tabled},
}

var ceilingKeys = []key[Ceiling]{
	{name: "peak_bar", about: "true peak pressure beyond which cycles are counted; 0: none", at: func(c *Ceiling) place { return real{&c.Peak, 1e5} }},
	{name: "knock_bar", about: "true knock intensity beyond which they are; 0: none", at: func(c *Ceiling) place { return real{&c.Knock, 1e5} }},
}

// knobKeys are all knobs of a stream.
var knobKeys = func() (all []key[stream.Knobs]) {
	for _, k := range stream.Table {
		all = append(all, key[stream.Knobs]{name: k.Key, about: k.About, at: func(to *stream.Knobs) place { return real{k.At(to), 1} }})
	}
	return all
}()

// faultKeys are those of [[fault]].
var faultKeys = []key[sensor.Fault]{
	{name: "name", at: func(f *sensor.Fault) place { return word{&f.Name} }},
	{name: "severity", at: func(f *sensor.Fault) place { return real{&f.Severity, 1} }},
	{name: "from_cycle", at: func(f *sensor.Fault) place { return whole{&f.From} }},
	{name: "to_cycle", at: func(f *sensor.Fault) place { return whole{&f.To} }, unset: func(f *sensor.Fault) bool { return f.To < 0 }},
}

// tableKeys are those of a base map that is given.
var tableKeys = []string{"speeds_rpm", "maps_kpa", "spark_deg_btdc"}

// lawNumbers lists the numbers of the law of that name; ok: there is such a law.
func lawNumbers(name string) (numbers []control.Number, ok bool) {
	if name == Outside || name == "" {
		return nil, true
	}
	k, err := control.KindOf(name)
	return k.Numbers, err == nil
}

// engineName is the engine of a file that names none.
const engineName = model.Default

package model

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"phasebench/model/friction"
	"phasebench/model/gas"
	"phasebench/model/wall"
)

// Problem is one value that is not allowed. Key is the name in engine files;
// a value of an operating point that stands alone has its bare name.
type Problem struct {
	Key   string // such as geometry.bore_mm
	Given string // the value, in the unit of the key; "" when it is missing
	Want  string // what is allowed
}

func (p *Problem) Error() string {
	if p.Given == "" {
		return fmt.Sprintf("%s is missing: want %s", p.Key, p.Want)
	}
	return fmt.Sprintf("%s = %s: want %s", p.Key, p.Given, p.Want)
}

// quantity is one number of an engine file: its key, what it means, what is
// allowed and where it goes. The tables below are the one place that knows
// this; reading, checking, writing and the documentation all follow them.
type quantity struct {
	key, about string
	unit       string  // as said to a person
	scale      float64 // SI value of 1 in the file
	low, high  float64 // allowed, in file units
	open       bool    // low itself is not allowed
	fallback   float64 // in file units; NaN: the key is required
	at         func(*Engine) *float64
	when       func(*Engine) bool // nil: always; else the key exists only then
}

// word is one text of an engine file.
type word struct {
	key, about string
	at         func(*Engine) *string
	allowed    func() []string    // nil: any text
	fallback   string             // "": the key is required
	when       func(*Engine) bool // nil: always; else the key exists only then
	unsaid     string             // not "": this value goes without saying, and is not written
}

// said tells whether w is written for e.
func (w *word) said(e *Engine) bool {
	v := *w.at(e)
	return (w.when == nil || w.when(e)) && (w.unsaid == "" || v != "" && v != w.unsaid)
}

const (
	deg = math.Pi / 180
	rpm = 2 * math.Pi / 60
	mm  = 1e-3
	kpa = 1e3
	bar = 1e5
)

var required = math.NaN()

func angled(e *Engine) bool { return e.Burn.Law != BurnWiebe }
func scaled(e *Engine) bool { return e.Burn.Law == BurnScaled || e.Burn.Law == BurnFlame }
func staged(e *Engine) bool { return e.Burn.Law == BurnWiebe }
func double(e *Engine) bool { return staged(e) && e.Burn.SecondShare > 0 }
func twin(e *Engine) bool   { return e.Burn.Plugs == 2 }
func chen(e *Engine) bool   { return e.Friction.Law == FrictionChenFlynn }
func walled(e *Engine) bool { return e.Wall.Law != "none" }

var words = []word{
	{"name", "short name", func(e *Engine) *string { return &e.Name }, nil, "", nil, ""},
	{"description", "what it is", func(e *Engine) *string { return &e.Description }, nil, "none", nil, ""},
	{"fuel", "fuel, always as vapour", func(e *Engine) *string { return &e.Fuel }, gas.Fuels, "", nil, ""},
	{"geometry.kind", "what encloses the gas", func(e *Engine) *string { return &e.Kind }, func() []string { return []string{KindPiston, KindRotary} }, KindPiston, nil, KindPiston},
	{"wall.law", "wall-heat correlation", func(e *Engine) *string { return &e.Wall.Law },
		func() []string { return append(wall.Names(), "none") }, "woschni", nil, ""},
	{"burn.law", "how the burn is given", func(e *Engine) *string { return &e.Burn.Law },
		func() []string { return []string{BurnFixed, BurnScaled, BurnFlame, BurnWiebe} }, "", nil, ""},
	{"friction.law", "friction correlation", func(e *Engine) *string { return &e.Friction.Law },
		func() []string { return []string{FrictionChenFlynn, FrictionPatton} }, FrictionChenFlynn, nil, ""},
	{"friction.valve_train", "type of valve train", func(e *Engine) *string { return &e.Friction.Follower },
		friction.FollowerNames, "", func(e *Engine) bool { return !chen(e) }, ""},
}

// series is one list of numbers of an engine file; its range is that of each.
type series struct {
	key, about, unit string
	scale            float64
	at               func(*Engine) *[]float64
}

var lists = []series{
	{"intake.lift_table_deg_atdc", "measured lift: angles, in place of the events and peak_lift_mm", "deg", deg, func(e *Engine) *[]float64 { return &e.Intake.TableAngle }},
	{"intake.lift_table_mm", "measured lift, 0 at both ends", "mm", mm, func(e *Engine) *[]float64 { return &e.Intake.TableLift }},
	{"exhaust.lift_table_deg_atdc", "measured lift: angles, in place of the events and peak_lift_mm", "deg", deg, func(e *Engine) *[]float64 { return &e.Exhaust.TableAngle }},
	{"exhaust.lift_table_mm", "measured lift, 0 at both ends", "mm", mm, func(e *Engine) *[]float64 { return &e.Exhaust.TableLift }},
}

var quantities = slices.Concat([]quantity{
	{"geometry.bore_mm", "piston diameter", "mm", mm, 0, 1000, true, required, func(e *Engine) *float64 { return &e.Geometry.Bore }, piston},
	{"geometry.stroke_mm", "twice the crank radius", "mm", mm, 0, 2000, true, required, func(e *Engine) *float64 { return &e.Geometry.Stroke }, piston},
	{"geometry.rod_mm", "connecting rod between centres", "mm", mm, 0, 10000, true, required, func(e *Engine) *float64 { return &e.Geometry.Rod }, piston},
	{"geometry.pin_offset_mm", "pin offset, positive towards the side the crank pin moves to after dead centre", "mm", mm, -1000, 1000, false, 0, func(e *Engine) *float64 { return &e.Geometry.Offset }, piston},
	{"geometry.compression_ratio", "greatest over least volume", "", 1, 1, 30, true, required, (*Engine).Ratio, nil},
	{"geometry.head_area_ratio", "head surface over bore area", "", 1, 0, 5, true, 1, func(e *Engine) *float64 { return &e.Geometry.HeadArea }, piston},
	{"geometry.piston_area_ratio", "crown surface over bore area", "", 1, 0, 5, true, 1, func(e *Engine) *float64 { return &e.Geometry.PistonArea }, piston},
}, rotor, openings("intake.", func(e *Engine) *Port { return &e.Intake }),
	[]quantity{{"intake.charge_heating_k", "warming of the fresh charge on the way in", "K", 1, 0, 200, false, 20, func(e *Engine) *float64 { return &e.Intake.Heating }, nil}},
	openings("exhaust.", func(e *Engine) *Port { return &e.Exhaust }),
	[]quantity{
		{"crevice.volume_mm3", "dead volume around the rings", "mm³", mm * mm * mm, 0, 1e5, false, 0, func(e *Engine) *float64 { return &e.Crevice.Volume }, nil},
		{"crevice.blowby_area_mm2", "effective leak area past the rings", "mm²", mm * mm, 0, 10, false, 0, func(e *Engine) *float64 { return &e.Crevice.Leak }, piston},
	}, seals, []quantity{
		{"wall.factor", "multiplies the correlation", "", 1, 0, 10, false, 1, func(e *Engine) *float64 { return &e.Wall.Factor }, walled},
		{"wall.head_k", "surface temperature", "K", 1, 200, 1000, false, 450, func(e *Engine) *float64 { return &e.Wall.Head }, lined},
		{"wall.piston_k", "surface temperature", "K", 1, 200, 1000, false, 480, func(e *Engine) *float64 { return &e.Wall.Piston }, lined},
		{"wall.liner_k", "surface temperature", "K", 1, 200, 1000, false, 420, func(e *Engine) *float64 { return &e.Wall.Liner }, lined},
	}, plates, []quantity{
		{"burn.efficiency", "share of the fresh charge that ever burns", "", 1, 0, 1, true, 0.97, func(e *Engine) *float64 { return &e.Burn.Efficiency }, nil},
		{"burn.octane", "octane number of the fuel, for knock", "", 1, 40, 130, false, 91, func(e *Engine) *float64 { return &e.Octane }, nil},
		{"burn.plugs", "spark plugs, 1 or 2", "", 1, 1, 2, false, 1, func(e *Engine) *float64 { return &e.Burn.Plugs }, nil},
		{"burn.plug_x_mm", "place of the (leading) plug on the head, from the cylinder axis", "mm", mm, -500, 500, false, 0, func(e *Engine) *float64 { return &e.Burn.PlugX }, piston},
		{"burn.plug_y_mm", "", "mm", mm, -500, 500, false, 0, func(e *Engine) *float64 { return &e.Burn.PlugY }, piston},
		{"burn.second_plug_x_mm", "place of the trailing plug", "mm", mm, -500, 500, false, required, func(e *Engine) *float64 { return &e.Burn.SecondX }, placed},
		{"burn.second_plug_y_mm", "", "mm", mm, -500, 500, false, 0, func(e *Engine) *float64 { return &e.Burn.SecondY }, placed},
		{"burn.development_deg", "spark to 10 % burned", "deg", deg, 0, 180, true, required, func(e *Engine) *float64 { return &e.Burn.Development }, angled},
		{"burn.rapid_burn_deg", "10 to 90 % burned", "deg", deg, 0, 180, true, required, func(e *Engine) *float64 { return &e.Burn.Rapid }, angled},
	}, flank, point("burn.base_", "where those two angles hold: ", func(e *Engine) *Operating { return &e.Burn.Base }, scaled),
	stage("burn.", "", 0, func(e *Engine) *Stage { return &e.Burn.First }, staged),
	[]quantity{{"burn.second_share", "share of the charge burned by a second stage", "", 1, 0, 0.99, false, 0, func(e *Engine) *float64 { return &e.Burn.SecondShare }, staged}},
	stage("burn.second_", "second stage: ", required, func(e *Engine) *Stage { return &e.Burn.Second }, double),
	[]quantity{
		{"friction.constant_bar", "A of FMEP = A + B pmax + C Sp + D Sp²", "bar", bar, 0, 10, false, 0.4, func(e *Engine) *float64 { return &e.Friction.ChenFlynn.Constant }, chen},
		{"friction.per_peak_pressure", "B", "bar/bar", 1, 0, 0.1, false, 0.005, func(e *Engine) *float64 { return &e.Friction.ChenFlynn.Peak }, chen},
		{"friction.per_piston_speed_bar_s_m", "C", "bar s/m", bar, 0, 1, false, 0.09, func(e *Engine) *float64 { return &e.Friction.ChenFlynn.Linear }, chen},
		{"friction.per_piston_speed_squared_bar_s2_m2", "D", "bar s²/m²", bar, 0, 0.1, false, 0.0009, func(e *Engine) *float64 { return &e.Friction.ChenFlynn.Square }, chen},
	}, point("point.", "", atPoint, nil), disturbances("point.", atPoint))

func atPoint(e *Engine) *Operating { return &e.Point }

// point is the rows of an operating point.
func point(prefix, about string, at func(*Engine) *Operating, when func(*Engine) bool) []quantity {
	return []quantity{
		{prefix + "speed_rpm", about + "shaft speed", "rpm", rpm, 20, 30000, false, required, func(e *Engine) *float64 { return &at(e).Speed }, when},
		{prefix + "map_kpa", about + "manifold absolute pressure", "kPa", kpa, 5, 500, false, required, func(e *Engine) *float64 { return &at(e).MAP }, when},
		{prefix + "lambda", about + "relative air-fuel ratio", "", 1, 0.6, 2, false, 1, func(e *Engine) *float64 { return &at(e).Lambda }, when},
		{prefix + "spark_deg_btdc", about + "spark advance", "deg", deg, -360, 360, false, required, func(e *Engine) *float64 { return &at(e).Spark }, when},
		{prefix + "trailing_split_deg", about + "the trailing plug fires so much later", "deg", deg, -90, 90, false, 0, func(e *Engine) *float64 { return &at(e).Split },
			func(e *Engine) bool { return twin(e) && (when == nil || when(e)) }},
		{prefix + "intake_k", about + "temperature in the manifold", "K", 1, 230, 500, false, 300, func(e *Engine) *float64 { return &at(e).Intake }, when},
		{prefix + "exhaust_kpa", about + "absolute pressure in the exhaust", "kPa", kpa, 20, 500, false, 101.325, func(e *Engine) *float64 { return &at(e).Exhaust }, when},
	}
}

// disturbances is the rows of what disturbs an operating point.
func disturbances(prefix string, at func(*Engine) *Operating) []quantity {
	return []quantity{
		{prefix + "humidity_g_kg", "water in the intake air, per mass of dry air", "g/kg", 1e-3, 0, 50, false, 0, func(e *Engine) *float64 { return &at(e).Humidity }, nil},
		{prefix + "wall_shift_k", "all walls are so much warmer than given; without effect under wall.law none", "K", 1, -100, 200, false, 0, func(e *Engine) *float64 { return &at(e).WallShift }, nil},
		{prefix + "octane_shift", "octane number of the fuel less burn.octane", "", 1, -40, 40, false, 0, func(e *Engine) *float64 { return &at(e).OctaneShift }, nil},
	}
}

// openings is the rows of valves, or of a port in a wall.
func openings(prefix string, at func(*Engine) *Port) []quantity {
	cam := func(e *Engine) bool { return len(at(e).TableAngle) == 0 && len(at(e).TableLift) == 0 }
	return append([]quantity{
		{prefix + "open_deg_atdc", "the valve leaves its seat; around the gas-exchange dead centre count on past the end of the cycle", "deg", deg, -1200, 1200, false, required, func(e *Engine) *float64 { return &at(e).Open }, cam},
		{prefix + "close_deg_atdc", "it is back", "deg", deg, -1200, 1200, false, required, func(e *Engine) *float64 { return &at(e).Close }, cam},
		{prefix + "peak_lift_mm", "greatest lift", "mm", mm, 0, 100, true, required, func(e *Engine) *float64 { return &at(e).Lift }, func(e *Engine) bool { return piston(e) && cam(e) }},
		{prefix + "seat_mm", "inner seat diameter", "mm", mm, 0, 500, true, required, func(e *Engine) *float64 { return &at(e).Diameter }, piston},
		{prefix + "valves", "equal valves in this port", "", 1, 1, 8, false, 1, func(e *Engine) *float64 { return &at(e).Count }, piston},
		{prefix + "flow_factor", "multiplies the usual discharge coefficients", "", 1, 0, 1.4, true, 1, func(e *Engine) *float64 { return &at(e).Flow }, piston},
	}, slot(prefix, at)...)
}

// stage is the rows of a Wiebe stage; delay is the fallback of its delay.
func stage(prefix, about string, delay float64, at func(*Engine) *Stage, when func(*Engine) bool) []quantity {
	return []quantity{
		{prefix + "delay_deg", about + "spark to the start of burning", "deg", deg, 0, 180, false, delay, func(e *Engine) *float64 { return &at(e).Delay }, when},
		{prefix + "duration_deg", about + "start to the end of burning", "deg", deg, 0.1, 360, false, required, func(e *Engine) *float64 { return &at(e).Span }, when},
		{prefix + "wiebe_a", about + "burned fraction at the end is 1 - exp(-a)", "", 1, 0, 50, true, 6.907755278982137, func(e *Engine) *float64 { return &at(e).A }, when},
		{prefix + "wiebe_m", about + "form: the exponent is m + 1", "", 1, 0.3, 10, false, 2, func(e *Engine) *float64 { return &at(e).M }, when},
	}
}

// applies tells whether the key exists for e at all.
func (q *quantity) applies(e *Engine) bool { return q.when == nil || q.when(e) }

// value is the value of q in e in the unit of the file.
func (q *quantity) value(e *Engine) float64 { return *q.at(e) / q.scale }

// want says what is allowed.
func (q *quantity) want() string {
	unit := ""
	if q.unit != "" {
		unit = " " + q.unit
	}
	if q.open {
		return fmt.Sprintf("more than %g and at most %g%s", q.low, q.high, unit)
	}
	return fmt.Sprintf("%g to %g%s", q.low, q.high, unit)
}

// check returns what is wrong with the value of q in e, or nil.
func (q *quantity) check(e *Engine) *Problem {
	// A round trip through SI may move a value on the border by an ulp or two.
	v, slack := q.value(e), 1e-12*math.Max(math.Abs(q.low), math.Abs(q.high))
	if (v > q.low || (!q.open && v >= q.low-slack)) && v <= q.high+slack {
		return nil
	}
	return &Problem{q.key, number(v), q.want()}
}

// number writes v so that it reads back within a rounding error.
func number(v float64) string { return fmt.Sprintf("%.12g", v) }

// problems lists everything that is not allowed in e.
func (e *Engine) problems() (all []*Problem) {
	for _, w := range words {
		if w.when != nil && !w.when(e) {
			continue
		}
		v := *w.at(e)
		if v == "" {
			v = w.unsaid
		}
		if v == "" {
			all = append(all, &Problem{w.key, `""`, "a text"})
		} else if w.allowed != nil && !slices.Contains(w.allowed(), v) {
			all = append(all, &Problem{w.key, fmt.Sprintf("%q", v), "one of " + strings.Join(w.allowed(), ", ")})
		}
	}
	for i := range quantities {
		if q := &quantities[i]; q.applies(e) {
			if p := q.check(e); p != nil {
				all = append(all, p)
			}
		}
	}
	if len(all) > 0 {
		return all // what follows compares values with each other
	}
	g := &e.Geometry
	if least := g.Stroke/2 + math.Abs(g.Offset); piston(e) && !(g.Rod > least) {
		return append(all, &Problem{"geometry.rod_mm", number(g.Rod / mm),
			"more than stroke_mm/2 + |pin_offset_mm| = " + number(least/mm) + " mm"})
	}
	if e.Rotary() {
		if all = append(all, e.rotaryProblems()...); len(all) > 0 {
			return all
		}
	}
	if all = append(all, e.shape()...); len(all) > 0 {
		return all
	}
	all = append(all, e.Point.problems("point.", e)...)
	if scaled(e) {
		all = append(all, e.Burn.Base.problems("burn.base_", e)...)
		if b := &e.Burn.Base; b.Humidity != 0 || b.WallShift != 0 || b.OctaneShift != 0 {
			all = append(all, &Problem{"burn.base", fmt.Sprintf("(Humidity %g, WallShift %g, OctaneShift %g)", b.Humidity, b.WallShift, b.OctaneShift), "a base point with none of these"})
		}
	}
	return all
}

// shape lists what is wrong with counts, valves or ports, and plugs.
func (e *Engine) shape() (all []*Problem) {
	for _, c := range []struct {
		key   string
		value float64
	}{{"intake.valves", e.Intake.Count}, {"exhaust.valves", e.Exhaust.Count}, {"burn.plugs", e.Burn.Plugs}} {
		if c.value != math.Trunc(c.value) {
			all = append(all, &Problem{c.key, number(c.value), "a whole number"})
		}
	}
	c, err := e.Chamber()
	if err != nil {
		return append(all, &Problem{"geometry", err.Error(), "a chamber"})
	}
	strokes := c.Strokes()
	period := strokes.Period()
	for _, v := range []struct {
		key  string
		port *Port
	}{{"intake", &e.Intake}, {"exhaust", &e.Exhaust}} {
		if _, err := v.port.Opening(period); err != nil {
			want := "valves that open, lift and close again within a cycle"
			if e.Rotary() {
				want = "a port that opens, stays open and closes again within a cycle"
			}
			all = append(all, &Problem{v.key, "(" + err.Error() + ")", want})
		}
	}
	if len(all) > 0 {
		return all
	}
	intakeOpen, from := e.Intake.Event()
	to, exhaustClose := e.Exhaust.Event()
	bad := func(key string, at, low, high float64, why string) {
		if !(at > low && at < high) {
			all = append(all, &Problem{key, number(at / deg), fmt.Sprintf("%s: between %s and %s deg", why, number(low/deg), number(high/deg))})
		}
	}
	bad("intake.close_deg_atdc", from, strokes.Start, 0, "the intake to close before firing dead centre")
	bad("exhaust.open_deg_atdc", to, 0, strokes.End, "the exhaust to open after firing dead centre")
	bad("intake.open_deg_atdc", intakeOpen, to-period, from, "the intake to open after the exhaust has")
	bad("exhaust.close_deg_atdc", exhaustClose, to, from+period, "the exhaust to close before the intake does")
	if most := 0.1 * c.Swept() / (*e.Ratio() - 1); !(e.Crevice.Volume <= most) {
		all = append(all, &Problem{"crevice.volume_mm3", number(e.Crevice.Volume / (mm * mm * mm)),
			"at most a tenth of the clearance volume, " + number(most/(mm*mm*mm)) + " mm³"})
	}
	if e.Rotary() {
		return all
	}
	for _, p := range []struct {
		key  string
		x, y float64
	}{{"burn.plug_x_mm", e.Burn.PlugX, e.Burn.PlugY}, {"burn.second_plug_x_mm", e.Burn.SecondX, e.Burn.SecondY}} {
		if r := math.Hypot(p.x, p.y); !(r <= e.Geometry.Bore/2) {
			all = append(all, &Problem{p.key, number(p.x / mm), fmt.Sprintf("a plug within the bore: at most %s mm from the axis, not %s", number(e.Geometry.Bore/2/mm), number(r/mm))})
		}
	}
	if twin(e) && e.Burn.PlugX == e.Burn.SecondX && e.Burn.PlugY == e.Burn.SecondY {
		all = append(all, &Problem{"burn.second_plug_x_mm", number(e.Burn.SecondX / mm), "another place than the leading plug's"})
	}
	return all
}

// problems lists what is wrong with o beyond its ranges.
func (o *Operating) problems(prefix string, e *Engine) (all []*Problem) {
	from, to := e.Sealed()
	within := func(advance float64) bool { return -advance > from && -advance < to }
	span := fmt.Sprintf("a spark between intake closing and exhaust opening, %s to %s deg before dead centre", number(-to/deg), number(-from/deg))
	if !within(o.Spark) {
		all = append(all, &Problem{prefix + "spark_deg_btdc", number(o.Spark / deg), span})
	} else if twin(e) && !within(o.Spark-o.Split) {
		all = append(all, &Problem{prefix + "trailing_split_deg", number(o.Split / deg), span + ", of the trailing plug too"})
	}
	// A shift of 0 leaves what the engine's own ranges allow.
	if least := min(e.Wall.Head, e.Wall.Piston, e.Wall.Liner); walled(e) && o.WallShift < 0 && !(least+o.WallShift > 200) {
		all = append(all, &Problem{prefix + "wall_shift_k", number(o.WallShift), "every wall above 200 K: more than " + number(200-least) + " K"})
	}
	if sum := e.Octane + o.OctaneShift; o.OctaneShift != 0 && !(sum >= 40 && sum <= 130) {
		all = append(all, &Problem{prefix + "octane_shift", number(o.OctaneShift),
			fmt.Sprintf("an octane number of 40 to 130 in all: %s to %s", number(40-e.Octane), number(130-e.Octane))})
	}
	return all
}

// Check returns the first *Problem of e, or nil.
func (e *Engine) Check() error {
	if all := e.problems(); len(all) > 0 {
		return all[0]
	}
	return nil
}

// bare is the rows of an operating point that stands alone.
var bare = slices.Concat(point("", "", atPoint, nil), disturbances("", atPoint))

// Check returns the first *Problem of running e at o, or nil. e itself must
// be in order.
func (o *Operating) Check(e *Engine) error {
	trial := *e
	trial.Point = *o
	for _, q := range bare {
		if !q.applies(e) {
			continue
		}
		if p := q.check(&trial); p != nil {
			return p
		}
	}
	if all := o.problems("", e); len(all) > 0 {
		return all[0]
	}
	return nil
}

package model

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
	allowed    func() []string // nil: any text
	fallback   string          // "": the key is required
}

const (
	deg = math.Pi / 180
	rpm = 2 * math.Pi / 60
	mm  = 1e-3
	kpa = 1e3
	bar = 1e5
)

var required = math.NaN()

func angled(e *Engine) bool { return e.Burn.Law == BurnFixed || e.Burn.Law == BurnScaled }
func scaled(e *Engine) bool { return e.Burn.Law == BurnScaled }
func staged(e *Engine) bool { return e.Burn.Law == BurnWiebe }
func double(e *Engine) bool { return staged(e) && e.Burn.SecondShare > 0 }
func walled(e *Engine) bool { return e.Wall.Law != "none" }

var words = []word{
	{"name", "short name", func(e *Engine) *string { return &e.Name }, nil, ""},
	{"description", "what it is", func(e *Engine) *string { return &e.Description }, nil, "none"},
	{"fuel", "fuel, always as vapour", func(e *Engine) *string { return &e.Fuel }, gas.Fuels, ""},
	{"wall.law", "wall-heat correlation", func(e *Engine) *string { return &e.Wall.Law },
		func() []string { return append(wall.Names(), "none") }, "woschni"},
	{"burn.law", "how the burn is given", func(e *Engine) *string { return &e.Burn.Law },
		func() []string { return []string{BurnFixed, BurnScaled, BurnWiebe} }, ""},
}

var quantities = slices.Concat([]quantity{
	{"geometry.bore_mm", "piston diameter", "mm", mm, 0, 1000, true, required, func(e *Engine) *float64 { return &e.Geometry.Bore }, nil},
	{"geometry.stroke_mm", "twice the crank radius", "mm", mm, 0, 2000, true, required, func(e *Engine) *float64 { return &e.Geometry.Stroke }, nil},
	{"geometry.rod_mm", "connecting rod between centres", "mm", mm, 0, 10000, true, required, func(e *Engine) *float64 { return &e.Geometry.Rod }, nil},
	{"geometry.pin_offset_mm", "pin offset, positive towards the side the crank pin moves to after dead centre", "mm", mm, -1000, 1000, false, 0, func(e *Engine) *float64 { return &e.Geometry.Offset }, nil},
	{"geometry.compression_ratio", "greatest over least volume", "", 1, 1, 30, true, required, func(e *Engine) *float64 { return &e.Geometry.Ratio }, nil},
	{"geometry.head_area_ratio", "head surface over bore area", "", 1, 0, 5, true, 1, func(e *Engine) *float64 { return &e.Geometry.HeadArea }, nil},
	{"geometry.piston_area_ratio", "crown surface over bore area", "", 1, 0, 5, true, 1, func(e *Engine) *float64 { return &e.Geometry.PistonArea }, nil},

	{"timing.intake_closing_deg_atdc", "the chamber is sealed from here", "deg", deg, -360, 0, true, required, func(e *Engine) *float64 { return &e.Timing.IntakeClosing }, nil},
	{"timing.exhaust_opening_deg_atdc", "to here", "deg", deg, 0, 360, true, required, func(e *Engine) *float64 { return &e.Timing.ExhaustOpening }, nil},

	{"breathing.intake_loss", "pressure lost over the dynamic head at mean piston speed", "", 1, 0, 1000, false, 40, func(e *Engine) *float64 { return &e.Breathing.IntakeLoss }, nil},
	{"breathing.exhaust_loss", "the same on the way out", "", 1, 0, 1000, false, 40, func(e *Engine) *float64 { return &e.Breathing.ExhaustLoss }, nil},
	{"breathing.charge_heating_k", "warming of the fresh charge on the way in", "K", 1, 0, 200, false, 20, func(e *Engine) *float64 { return &e.Breathing.Heating }, nil},

	{"wall.factor", "multiplies the correlation", "", 1, 0, 10, false, 1, func(e *Engine) *float64 { return &e.Wall.Factor }, walled},
	{"wall.head_k", "surface temperature", "K", 1, 200, 1000, false, 450, func(e *Engine) *float64 { return &e.Wall.Head }, walled},
	{"wall.piston_k", "surface temperature", "K", 1, 200, 1000, false, 480, func(e *Engine) *float64 { return &e.Wall.Piston }, walled},
	{"wall.liner_k", "surface temperature", "K", 1, 200, 1000, false, 420, func(e *Engine) *float64 { return &e.Wall.Liner }, walled},

	{"burn.efficiency", "share of the fresh charge that ever burns", "", 1, 0, 1, true, 0.97, func(e *Engine) *float64 { return &e.Burn.Efficiency }, nil},
	{"burn.development_deg", "spark to 10 % burned", "deg", deg, 0, 180, true, required, func(e *Engine) *float64 { return &e.Burn.Development }, angled},
	{"burn.rapid_burn_deg", "10 to 90 % burned", "deg", deg, 0, 180, true, required, func(e *Engine) *float64 { return &e.Burn.Rapid }, angled},
}, point("burn.base_", "where those two angles hold: ", func(e *Engine) *Operating { return &e.Burn.Base }, scaled),
	stage("burn.", "", 0, func(e *Engine) *Stage { return &e.Burn.First }, staged),
	[]quantity{{"burn.second_share", "share of the charge burned by a second stage", "", 1, 0, 0.99, false, 0, func(e *Engine) *float64 { return &e.Burn.SecondShare }, staged}},
	stage("burn.second_", "second stage: ", required, func(e *Engine) *Stage { return &e.Burn.Second }, double),
	[]quantity{
		{"friction.constant_bar", "A of FMEP = A + B pmax + C Sp + D Sp²", "bar", bar, 0, 10, false, 0.4, func(e *Engine) *float64 { return &e.Friction.Constant }, nil},
		{"friction.per_peak_pressure", "B", "bar/bar", 1, 0, 0.1, false, 0.005, func(e *Engine) *float64 { return &e.Friction.Peak }, nil},
		{"friction.per_piston_speed_bar_s_m", "C", "bar s/m", bar, 0, 1, false, 0.09, func(e *Engine) *float64 { return &e.Friction.Linear }, nil},
		{"friction.per_piston_speed_squared_bar_s2_m2", "D", "bar s²/m²", bar, 0, 0.1, false, 0.0009, func(e *Engine) *float64 { return &e.Friction.Square }, nil},
	}, point("point.", "", func(e *Engine) *Operating { return &e.Point }, nil))

// point is the rows of an operating point.
func point(prefix, about string, at func(*Engine) *Operating, when func(*Engine) bool) []quantity {
	return []quantity{
		{prefix + "speed_rpm", about + "shaft speed", "rpm", rpm, 20, 30000, false, required, func(e *Engine) *float64 { return &at(e).Speed }, when},
		{prefix + "map_kpa", about + "manifold absolute pressure", "kPa", kpa, 5, 500, false, required, func(e *Engine) *float64 { return &at(e).MAP }, when},
		{prefix + "lambda", about + "relative air-fuel ratio", "", 1, 0.6, 2, false, 1, func(e *Engine) *float64 { return &at(e).Lambda }, when},
		{prefix + "spark_deg_btdc", about + "spark advance", "deg", deg, -360, 360, false, required, func(e *Engine) *float64 { return &at(e).Spark }, when},
		{prefix + "intake_k", about + "temperature in the manifold", "K", 1, 230, 500, false, 300, func(e *Engine) *float64 { return &at(e).Intake }, when},
		{prefix + "exhaust_kpa", about + "absolute pressure in the exhaust", "kPa", kpa, 20, 500, false, 101.325, func(e *Engine) *float64 { return &at(e).Exhaust }, when},
	}
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
		v := *w.at(e)
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
	if least := g.Stroke/2 + math.Abs(g.Offset); !(g.Rod > least) {
		return append(all, &Problem{"geometry.rod_mm", number(g.Rod / mm),
			"more than stroke_mm/2 + |pin_offset_mm| = " + number(least/mm) + " mm"})
	}
	all = append(all, e.Point.problems("point.", e)...)
	if scaled(e) {
		all = append(all, e.Burn.Base.problems("burn.base_", e)...)
	}
	return all
}

// problems lists what is wrong with o beyond its ranges.
func (o *Operating) problems(prefix string, e *Engine) []*Problem {
	if at := -o.Spark; !(at > e.Timing.IntakeClosing && at < e.Timing.ExhaustOpening) {
		return []*Problem{{prefix + "spark_deg_btdc", number(o.Spark / deg),
			fmt.Sprintf("a spark between intake closing and exhaust opening, %s to %s deg before dead centre",
				number(-e.Timing.ExhaustOpening/deg), number(-e.Timing.IntakeClosing/deg))}}
	}
	return nil
}

// Check returns the first *Problem of e, or nil.
func (e *Engine) Check() error {
	if all := e.problems(); len(all) > 0 {
		return all[0]
	}
	return nil
}

// Check returns the first *Problem of running e at o, or nil. e itself must
// be in order.
func (o *Operating) Check(e *Engine) error {
	trial := *e
	trial.Point = *o
	for _, q := range point("", "", func(e *Engine) *Operating { return &e.Point }, nil) {
		if p := q.check(&trial); p != nil {
			return p
		}
	}
	if all := o.problems("", e); len(all) > 0 {
		return all[0]
	}
	return nil
}

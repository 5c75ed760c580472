package model

import (
	"fmt"

	"phasebench/model/chamber"
)

// Kinds of engine, as named in engine files.
const (
	KindPiston = "piston" // a piston on a crank: the kind that goes without saying
	KindRotary = "rotary" // a three-sided rotor in a trochoid housing
)

// Rotary tells whether e is a rotary engine. Its angles are those of the shaft:
// a cycle of one of its three chambers takes three turns.
func (e *Engine) Rotary() bool { return e.Kind == KindRotary }

// Chambers is how many equal chambers drive the shaft, a cycle over that many
// apart: 1, or the 3 of a rotor. Torque, power and airflow are those of all,
// everything else is that of one.
func (e *Engine) Chambers() float64 {
	if e.Rotary() {
		return 3
	}
	return 1
}

// Ratio is the place of the compression ratio [-] of e.
func (e *Engine) Ratio() *float64 {
	if e.Rotary() {
		return &e.Rotor.Ratio
	}
	return &e.Geometry.Ratio
}

// Likened carries an angle [rad] that is usual with pistons over to e: it stays as
// it is, but for a rotor it is where the chamber has risen by as much of its swept
// volume as that of the default engine. Heat loss and a late tail are not in it.
func (e *Engine) Likened(angle float64) (float64, error) {
	if !e.Rotary() {
		return angle, nil
	}
	usual, err := Load(Default)
	if err != nil {
		return 0, err
	}
	from, err := usual.Chamber()
	if err != nil {
		return 0, err
	}
	to, err := e.Chamber()
	if err != nil {
		return 0, err
	}
	return chamber.SameRise(from, to, angle), nil
}

// Leaks returns the areas by which a chamber of e leaks; a piston's rings leak to
// the crankcase, as the side seals do to the inside of the rotor.
func (e *Engine) Leaks() (chamber.Leak, error) {
	if !e.Rotary() {
		return chamber.Leak{Side: e.Crevice.Leak}, nil
	}
	c, err := chamber.NewTrochoid(e.Rotor)
	if err != nil {
		return chamber.Leak{}, err
	}
	return c.Leak(e.Seals)
}

// Flank is how the charge of a rotary chamber burns, along the flank of the
// rotor. The burn angles of Burn are those of the leading plug's flame, which
// runs with the rotor; that of the trailing plug runs against it. The two meet
// between the plugs. What is left in the narrow trailing corner burns last.
type Flank struct {
	Leading   float64 // share of what the two flames burn that is the leading one's when both plugs fire at once [-]
	Reach     float64 // from the leading spark until its flame is at the trailing plug [rad]
	Slowdown  float64 // the trailing flame takes so many times as long [-], >= 1
	Tail      float64 // share of the charge in the trailing corner [-]
	TailDelay float64 // from the trailing spark, or from Reach, until the corner begins to burn [rad]
	TailSpan  float64 // from there until all but 0.1 % of it is burned [rad]
}

func piston(e *Engine) bool { return !e.Rotary() }
func placed(e *Engine) bool { return twin(e) && piston(e) }
func lined(e *Engine) bool  { return walled(e) && piston(e) }
func plated(e *Engine) bool { return walled(e) && e.Rotary() }
func tailed(e *Engine) bool { return e.Rotary() && e.Burn.Flank.Tail > 0 }
func leads(e *Engine) bool  { return twin(e) && e.Rotary() }

const um = 1e-6

var rotor = []quantity{
	{"geometry.eccentricity_mm", "of the shaft: the rotor's middle runs round at this radius", "mm", mm, 0, 200, true, required, func(e *Engine) *float64 { return &e.Rotor.Eccentricity }, (*Engine).Rotary},
	{"geometry.radius_mm", "generating radius, from the rotor's middle to an apex", "mm", mm, 0, 2000, true, required, func(e *Engine) *float64 { return &e.Rotor.Radius }, (*Engine).Rotary},
	{"geometry.width_mm", "of housing and rotor along the shaft", "mm", mm, 0, 2000, true, required, func(e *Engine) *float64 { return &e.Rotor.Width }, (*Engine).Rotary},
}

var usualSeals = chamber.UsualSeals()

var seals = []quantity{
	{"seals.apex_gap_um", "gap under an apex seal, over the width", "µm", um, 0, 1000, false, usualSeals.Apex / um, func(e *Engine) *float64 { return &e.Seals.Apex }, (*Engine).Rotary},
	{"seals.corner_mm2", "open area at each end of an apex seal", "mm²", mm * mm, 0, 10, false, usualSeals.Corner / (mm * mm), func(e *Engine) *float64 { return &e.Seals.Corner }, (*Engine).Rotary},
	{"seals.side_gap_um", "gap under a side seal, along the flank", "µm", um, 0, 1000, false, usualSeals.Side / um, func(e *Engine) *float64 { return &e.Seals.Side }, (*Engine).Rotary},
	{"seals.flow_coefficient", "discharge coefficient of all these", "", 1, 0, 1, true, usualSeals.Flow, func(e *Engine) *float64 { return &e.Seals.Flow }, (*Engine).Rotary},
}

var plates = []quantity{
	{"wall.side_plate_k", "surface temperature", "K", 1, 200, 1000, false, 430, func(e *Engine) *float64 { return &e.Wall.Head }, plated},
	{"wall.rotor_k", "surface temperature", "K", 1, 200, 1000, false, 500, func(e *Engine) *float64 { return &e.Wall.Piston }, plated},
	{"wall.housing_k", "surface temperature of the trochoid; crevices keep their gas at it", "K", 1, 200, 1000, false, 430, func(e *Engine) *float64 { return &e.Wall.Liner }, plated},
}

var flank = []quantity{
	{"burn.leading_share", "share burned by the leading plug's flame when both plugs fire at once, of what the two burn; development_deg and rapid_burn_deg are those of that flame", "", 1, 0.1, 0.9, false, 0.6, func(e *Engine) *float64 { return &e.Burn.Flank.Leading }, leads},
	{"burn.reach_deg", "from the leading spark until its flame is at the trailing plug", "deg", deg, 0, 360, true, required, func(e *Engine) *float64 { return &e.Burn.Flank.Reach }, (*Engine).Rotary},
	{"burn.trailing_slowdown", "the trailing flame, against the rotor's motion, takes so many times as long", "", 1, 1, 5, false, 1.3, func(e *Engine) *float64 { return &e.Burn.Flank.Slowdown }, leads},
	{"burn.tail_share", "share of the charge that burns late, in the trailing corner", "", 1, 0, 0.5, false, 0, func(e *Engine) *float64 { return &e.Burn.Flank.Tail }, (*Engine).Rotary},
	{"burn.tail_delay_deg", "from the trailing spark, or the leading flame at its plug, until the corner begins to burn", "deg", deg, 0, 360, false, required, func(e *Engine) *float64 { return &e.Burn.Flank.TailDelay }, tailed},
	{"burn.tail_duration_deg", "from there until all but 0.1 % of it is burned", "deg", deg, 1, 720, false, required, func(e *Engine) *float64 { return &e.Burn.Flank.TailSpan }, tailed},
}

// slot is the rows of a port in a wall.
func slot(prefix string, at func(*Engine) *Port) []quantity {
	return []quantity{
		{prefix + "port_area_mm2", "of the port, fully open; peripheral or side: its timings tell", "mm²", mm * mm, 0, 1e5, true, required, func(e *Engine) *float64 { return &at(e).Area }, (*Engine).Rotary},
		{prefix + "uncover_deg", "from open_deg_atdc until it is fully open", "deg", deg, 0, 720, true, required, func(e *Engine) *float64 { return &at(e).Uncover }, (*Engine).Rotary},
		{prefix + "cover_deg", "from where it begins to close until close_deg_atdc", "deg", deg, 0, 720, true, required, func(e *Engine) *float64 { return &at(e).Cover }, (*Engine).Rotary},
		{prefix + "flow_coefficient", "discharge coefficient either way", "", 1, 0, 1, true, 0.7, func(e *Engine) *float64 { return &at(e).Flow }, (*Engine).Rotary},
	}
}

// rotaryProblems lists what is wrong with a rotary engine beyond its ranges.
func (e *Engine) rotaryProblems() (all []*Problem) {
	r := &e.Rotor
	if least := chamber.LeastRadius * r.Eccentricity; !(r.Radius >= least) {
		all = append(all, &Problem{"geometry.radius_mm", number(r.Radius / mm), fmt.Sprintf("at least %d eccentricity_mm = %s mm", chamber.LeastRadius, number(least/mm))})
	} else if most := r.MostRatio(); !(r.Ratio <= most) {
		all = append(all, &Problem{"geometry.compression_ratio", number(r.Ratio), fmt.Sprintf("at most that without a recess in the rotor, %.4g", most)})
	}
	for _, p := range []struct {
		key  string
		port *Port
	}{{"intake.lift_table_mm", &e.Intake}, {"exhaust.lift_table_mm", &e.Exhaust}} {
		if n := max(len(p.port.TableAngle), len(p.port.TableLift)); n > 0 {
			all = append(all, &Problem{p.key, fmt.Sprintf("a table of %d rows", n), "no lift table with geometry.kind = \"rotary\", which has ports"})
		}
	}
	if e.Burn.Law == BurnFlame {
		all = append(all, &Problem{"burn.law", `"flame"`, "fixed, scaled or wiebe for a rotary engine: a flame front is cut by the walls of a cylinder"})
	}
	if e.Friction.Law != FrictionChenFlynn {
		all = append(all, &Problem{"friction.law", fmt.Sprintf("%q", e.Friction.Law), `"chen-flynn" for a rotary engine: the other counts the parts of a piston engine`})
	}
	return all
}

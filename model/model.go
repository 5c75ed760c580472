// Package model describes an engine and an operating point as a person would:
// in engine files with units in their key names, checked before anything is
// solved. Inside, every value is SI and every angle radians after firing dead
// centre, except spark advance, which is positive before it.
package model

import (
	"phasebench/model/chamber"
	"phasebench/model/friction"
	"phasebench/model/valve"
)

// Engine is one cylinder, or one rotor with its three chambers, and what
// surrounds it.
type Engine struct {
	Name        string
	Description string
	Fuel        string // a name known to gas.FuelByName
	Octane      float64
	Kind        string        // KindPiston, or "" which is the same, or KindRotary
	Geometry    chamber.Crank // of a piston engine
	Rotor       chamber.Rotor // of a rotary engine
	Seals       chamber.Seals // of a rotary engine
	Intake      Port
	Exhaust     Port
	Crevice     Crevice
	Wall        Wall
	Burn        Burn
	Friction    Friction
	Point       Operating // where the engine runs unless told otherwise
}

// Port is what stands between the chamber and a pipe: one or more equal valves,
// or, in a rotary engine, a port in the housing or in a side plate.
type Port struct {
	Open, Close float64 // where it opens and is shut again [rad], unwrapped: Open < Close; unused with a table
	Lift        float64 // greatest lift [m]; unused with a table
	Diameter    float64 // inner seat [m]
	Count       float64 // valves
	Flow        float64 // multiplies the usual discharge coefficients of valves; of a port it is the coefficient [-]
	Heating     float64 // warming of fresh charge on the way in [K]

	Area           float64 // of a port, fully open [m²]; 0: valves
	Uncover, Cover float64 // angle over which a port opens and closes [rad]

	TableAngle, TableLift []float64 // measured lift [rad], [m]; empty: a polynomial cam
}

// Crevice is the dead volume around the rings or seals, and what leaks past rings.
type Crevice struct {
	Volume float64 // [m³]
	Leak   float64 // effective area to the crankcase [m²]
}

// Wall parametrises the heat lost to the walls.
type Wall struct {
	Law                 string  // a name known to wall.ByName, or "none"
	Factor              float64 // multiplies the coefficient [-]
	Head, Piston, Liner float64 // surface temperatures [K]; of side plates, rotor and housing as chamber.Walls has them
}

// Laws of burning, as named in engine files.
const (
	BurnFixed  = "fixed"  // two burn angles, always the same
	BurnScaled = "scaled" // two burn angles at a base point, scaled to conditions
	BurnWiebe  = "wiebe"  // the numbers of one or two Wiebe stages
	BurnFlame  = "flame"  // turbulent entrainment by a spherical flame, made to have two burn angles at a base point
)

// Burn parametrises combustion.
type Burn struct {
	Law        string
	Efficiency float64 // share of the fresh charge that ever burns [-]

	Plugs            float64 // 1, or 2: leading and trailing
	PlugX, PlugY     float64 // place of the (leading) plug on the head, from the axis [m]
	SecondX, SecondY float64 // of the trailing plug [m]
	Flank            Flank   // of a rotary engine, in place of places

	// For fixed, scaled and flame.
	Development float64 // spark to 10 % [rad]
	Rapid       float64 // 10 to 90 % [rad]
	// For scaled and flame: where those two angles hold, with dry air, walls and
	// octane number as they are.
	Base Operating

	// For wiebe.
	First, Second Stage
	SecondShare   float64 // share of the charge burned by the second stage [-]; 0: one stage
}

// Stage is one Wiebe stage placed by its delay after the spark.
type Stage struct {
	Delay float64 // [rad]
	Span  float64 // [rad]
	A, M  float64 // [-]
}

// Laws of friction, as named in engine files.
const (
	FrictionChenFlynn = "chen-flynn"
	FrictionPatton    = "patton"
)

// Friction parametrises rubbing and auxiliaries.
type Friction struct {
	Law       string
	ChenFlynn friction.ChenFlynn
	Follower  string // for Patton: a name known to friction.FollowerByName
}

// Operating is where the engine runs.
type Operating struct {
	Speed   float64 // shaft speed [rad/s]
	MAP     float64 // manifold absolute pressure [Pa]
	Lambda  float64 // relative air-fuel ratio [-]
	Spark   float64 // spark advance of the (leading) plug [rad], positive before firing dead centre
	Split   float64 // the trailing plug fires so much later [rad]; unused with one plug
	Intake  float64 // temperature in the manifold [K]
	Exhaust float64 // absolute pressure in the exhaust [Pa]

	// What disturbs it; 0 is none.
	Humidity    float64 // water in the intake air [kg/kg of dry air], 0 to 0.05; never held against saturation
	WallShift   float64 // all walls are so much warmer than the engine's [K], -100 to 200; without effect under the wall law "none"
	OctaneShift float64 // octane number of the fuel less the engine's [-], -40 to 40
}

// Chamber returns the volume law of e.
func (e *Engine) Chamber() (chamber.Chamber, error) {
	if e.Rotary() {
		c, err := chamber.NewTrochoid(e.Rotor)
		if err != nil {
			return nil, err
		}
		return c, nil
	}
	c, err := chamber.NewSliderCrank(e.Geometry)
	if err != nil {
		return nil, err // not c: a nil *SliderCrank in a Chamber is not nil
	}
	return c, nil
}

// Opening returns the valves or the port of p in a cycle of period [rad].
func (p *Port) Opening(period float64) (valve.Opening, error) {
	if p.Area > 0 {
		port, err := valve.NewPort(valve.Slot{Open: p.Open, Close: p.Close, Uncover: p.Uncover, Cover: p.Cover, Area: p.Area, Flow: p.Flow}, period)
		if err != nil {
			return nil, err // not port: a nil *Port in an Opening is not nil
		}
		return port, nil
	}
	v, err := p.valves(period)
	if err != nil {
		return nil, err
	}
	return v, nil
}

func (p *Port) valves(period float64) (*valve.Valve, error) {
	var lift valve.Lift
	var err error
	if len(p.TableAngle) > 0 || len(p.TableLift) > 0 {
		lift, err = valve.NewTable(p.TableAngle, p.TableLift, period)
	} else {
		lift, err = valve.NewCam(p.Open, p.Close, p.Lift, period)
	}
	if err != nil {
		return nil, err
	}
	cd := valve.Poppet()
	for i := range cd {
		cd[i].Cd *= p.Flow
	}
	return valve.NewValve(lift, int(p.Count), p.Diameter, cd)
}

// Event returns where p opens and is shut again [rad], unwrapped.
func (p *Port) Event() (open, close float64) {
	if len(p.TableAngle) == 0 || len(p.TableAngle) != len(p.TableLift) {
		return p.Open, p.Close
	}
	first, last := 0, len(p.TableLift)-1
	for first < last && p.TableLift[first+1] == 0 {
		first++
	}
	for last > first && p.TableLift[last-1] == 0 {
		last--
	}
	return p.TableAngle[first], p.TableAngle[last]
}

// Sealed returns where the last valve or port closes before firing and the first
// opens after it [rad].
func (e *Engine) Sealed() (from, to float64) {
	_, from = e.Intake.Event()
	to, _ = e.Exhaust.Event()
	return from, to
}

// FrictionLaw returns the friction law of e.
func (e *Engine) FrictionLaw() (friction.Law, error) {
	if e.Friction.Law == FrictionChenFlynn {
		return e.Friction.ChenFlynn, nil
	}
	f, err := friction.FollowerByName(e.Friction.Follower)
	if err != nil {
		return nil, err
	}
	valves := int(e.Intake.Count + e.Exhaust.Count)
	return friction.Single(e.Geometry.Bore, e.Geometry.Stroke, e.Geometry.Ratio, valves, f), nil
}

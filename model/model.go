// Package model describes an engine and an operating point as a person would:
// in engine files with units in their key names, checked before anything is
// solved. Inside, every value is SI and every angle radians after firing dead
// centre, except spark advance, which is positive before it.
package model

import (
	"phasebench/model/chamber"
	"phasebench/model/friction"
)

// Engine is one cylinder and what surrounds it.
type Engine struct {
	Name        string
	Description string
	Fuel        string // a name known to gas.FuelByName
	Geometry    chamber.Crank
	Timing      Timing
	Breathing   Breathing
	Wall        Wall
	Burn        Burn
	Friction    friction.ChenFlynn
	Point       Operating // where the engine runs unless told otherwise
}

// Timing is when the chamber is sealed.
type Timing struct {
	IntakeClosing  float64 // [rad], before 0
	ExhaustOpening float64 // [rad], after 0
}

// Breathing parametrises the simple gas exchange of package solve.
type Breathing struct {
	IntakeLoss  float64 // pressure lost on the way in over the dynamic head at mean piston speed [-]
	ExhaustLoss float64 // the same on the way out [-]
	Heating     float64 // warming of the fresh charge by port and valve [K]
}

// Wall parametrises the heat lost to the walls.
type Wall struct {
	Law                 string  // a name known to wall.ByName, or "none"
	Factor              float64 // multiplies the coefficient [-]
	Head, Piston, Liner float64 // surface temperatures [K]
}

// Laws of burning, as named in engine files.
const (
	BurnFixed  = "fixed"  // two burn angles, always the same
	BurnScaled = "scaled" // two burn angles at a base point, scaled to conditions
	BurnWiebe  = "wiebe"  // the numbers of one or two Wiebe stages
)

// Burn parametrises combustion.
type Burn struct {
	Law        string
	Efficiency float64 // share of the fresh charge that ever burns [-]

	// For fixed and scaled.
	Development float64 // spark to 10 % [rad]
	Rapid       float64 // 10 to 90 % [rad]
	// For scaled: where those two angles hold.
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

// Operating is where the engine runs.
type Operating struct {
	Speed   float64 // shaft speed [rad/s]
	MAP     float64 // manifold absolute pressure [Pa]
	Lambda  float64 // relative air-fuel ratio [-]
	Spark   float64 // spark advance [rad], positive before firing dead centre
	Intake  float64 // temperature in the manifold [K]
	Exhaust float64 // absolute pressure in the exhaust [Pa]
}

// Chamber returns the volume law of e.
func (e *Engine) Chamber() (chamber.Chamber, error) {
	c, err := chamber.NewSliderCrank(e.Geometry)
	if err != nil {
		return nil, err // not c: a nil *SliderCrank in a Chamber is not nil
	}
	return c, nil
}

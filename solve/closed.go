// Package solve applies the first law to one cycle of an engine and repeats it
// until it is periodic.
//
// While valves are open, and sealed until the charge burns, the chamber is one
// zone; from there to exhaust opening it is an unburned and a burned one. Solver
// puts the phases together. Closed is one sealed zone that burns, alone: for
// handbook cycles.
package solve

import (
	"phasebench/model/chamber"
	"phasebench/model/gas"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// The components of the state of Closed.
const (
	Pressure  = iota // [Pa]
	Temp             // [K]
	Work             // done by the gas since the start, ∫p dV [J]
	WallHeat         // given to the walls since the start [J]
	nUnknowns        // length of the state
)

// MotoredExponent is the polytropic exponent of the pressure that a
// wall-heat law takes as motored (common practice, no source).
const MotoredExponent = 1.33

// Closed is the first law for a sealed chamber of one zone:
//
//	m·du = −p·dV − dQw,  p·V = m·R·T
//
// with u = (1−b)·u_fresh(T,p) + b·u_burned(T,p), v alike, and b growing from
// its first value as the charge burns. Both u include formation enthalpy, so
// burning needs no heat-release term. It is an ode.System in θ [rad] with
// the state Pressure, Temp, Work, WallHeat. Set all fields, then call Begin.
type Closed struct {
	Chamber       chamber.Chamber
	Speed         float64 // shaft speed [rad/s]
	Mass          float64 // [kg]
	Fresh, Burned gas.Gas
	Residual      float64    // burned mass fraction before burning [-]
	Efficiency    float64    // share of the fresh charge that ever burns [-]
	Burn          wiebe.Burn // empty: motored

	Wall                            wall.Law // nil: adiabatic
	WallFactor                      float64  // multiplies the coefficient [-]
	HeadTemp, PistonTemp, LinerTemp float64  // [K]

	in place
	s  state
}

var _ ode.Segmenter = (*Closed)(nil)

// Begin prepares the integration from the state p [Pa], t [K] at theta [rad].
func (c *Closed) Begin(theta, p, t float64) {
	c.in = place{mixture: mixture{fresh: c.Fresh, burned: c.Burned}, chamber: c.Chamber, speed: c.Speed,
		law: c.Wall, factor: c.WallFactor, headTemp: c.HeadTemp, pistonTemp: c.PistonTemp, linerTemp: c.LinerTemp}
	c.in.size()
	c.in.refer(theta, p, t)
}

// Segment implements ode.Segmenter: Burn.Breaks must be breaks.
func (c *Closed) Segment(from, _ float64) { c.in.cond.Firing = from >= c.Burn.Start() }

// Derive implements ode.System.
func (c *Closed) Derive(dst []float64, theta float64, y []float64) {
	p, t := y[Pressure], y[Temp]
	vol, dVol := c.Chamber.Volume(theta)
	x, dx := c.Burn.At(theta)
	left := (1 - c.Residual) * c.Efficiency
	c.in.at(t, p, c.Residual+left*x, &c.s)
	hA, wallTemp := c.in.walls(theta, vol, p, t, c.Mass)
	heat := hA * (t - wallTemp)
	dst[Pressure], dst[Temp] = c.s.change(vol, dVol, c.Mass, 0, -heat, left*dx)
	dst[Work] = p * dVol
	dst[WallHeat] = heat
}

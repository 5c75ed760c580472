// Package solve applies the first law to one cycle of an engine and repeats it
// until it is periodic.
//
// While valves are open, and sealed until the charge burns, the chamber is one
// zone; from there to exhaust opening it is an unburned and a burned one. Solver
// puts the phases together. Closed is one sealed zone that burns, alone: for
// handbook cycles.
package solve

import (
	"math"

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

	firing             bool
	cond               wall.Conditions
	refP, refV         float64
	freshNow, burntNow gas.Props
}

var _ ode.Segmenter = (*Closed)(nil)

// Begin prepares the integration from the state p [Pa], t [K] at theta [rad].
func (c *Closed) Begin(theta, p, t float64) {
	c.refP = p
	c.refV, _ = c.Chamber.Volume(theta)
	c.cond = wall.Conditions{
		Bore: c.Chamber.Bore(), Speed: c.Chamber.MeanSpeed(c.Speed),
		Swept: c.Chamber.Swept(), Reference: t / (p * c.refV),
	}
}

// Segment implements ode.Segmenter: Burn.Breaks must be breaks.
func (c *Closed) Segment(from, _ float64) { c.firing = from >= c.Burn.Start() }

// burned returns the burned mass fraction b and db/dθ [1/rad].
func (c *Closed) burned(theta float64) (b, db float64) {
	x, dx := c.Burn.At(theta)
	left := (1 - c.Residual) * c.Efficiency
	return c.Residual + left*x, left * dx
}

// Derive implements ode.System.
func (c *Closed) Derive(dst []float64, theta float64, y []float64) {
	p, t := y[Pressure], y[Temp]
	vol, dVol := c.Chamber.Volume(theta)
	b, db := c.burned(theta)
	f, g := &c.freshNow, &c.burntNow
	c.Fresh.Props(t, p, f)
	c.Burned.Props(t, p, g)

	// v and u of the mixture and their partial derivatives.
	a := 1 - b
	vT := a*f.V*f.VT/t + b*g.V*g.VT/t
	vP := a*f.V*f.VP/p + b*g.V*g.VP/p
	uT := a*f.UT(t, p) + b*g.UT(t, p)
	uP := a*f.UP() + b*g.UP()

	heat := c.wallHeat(theta, vol, p, t) / c.Speed // [J/rad]

	// vT·dT + vP·dp = dv − (vb−vf)·db
	// uT·dT + uP·dp = −p·dv − dq − (ub−uf)·db
	rv := dVol/c.Mass - (g.V-f.V)*db
	ru := -p*dVol/c.Mass - heat/c.Mass - (g.U-f.U)*db
	det := vT*uP - vP*uT
	dst[Temp] = (rv*uP - vP*ru) / det
	dst[Pressure] = (vT*ru - uT*rv) / det
	dst[Work] = p * dVol
	dst[WallHeat] = heat
}

// wallHeat returns the heat flow to the walls [W].
func (c *Closed) wallHeat(theta, vol, p, t float64) float64 {
	if c.Wall == nil {
		return 0
	}
	w := c.Chamber.Walls(theta)
	area := w.Head + w.Piston + w.Liner
	mean := (w.Head*c.HeadTemp + w.Piston*c.PistonTemp + w.Liner*c.LinerTemp) / area
	k := &c.cond
	k.Volume, k.Pressure, k.Temp, k.TempWall, k.Density = vol, p, t, mean, c.Mass/vol
	k.Firing = c.firing
	if c.firing {
		k.Motored = c.refP * math.Exp(MotoredExponent*math.Log(c.refV/vol))
	}
	return c.WallFactor * c.Wall.Coefficient(k) * area * (t - mean)
}

// Energy is the internal energy of the charge [J] at theta [rad], pressure p
// [Pa] and temperature t [K], formation enthalpy included.
func (c *Closed) Energy(theta, p, t float64) float64 {
	b, _ := c.burned(theta)
	c.Fresh.Props(t, p, &c.freshNow)
	c.Burned.Props(t, p, &c.burntNow)
	return c.Mass * ((1-b)*c.freshNow.U + b*c.burntNow.U)
}

package solve

import (
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/valve"
	"phasebench/model/wall"
)

// place is what both systems share: the chamber with its walls and crevice, at
// one operating point.
type place struct {
	mixture
	chamber chamber.Chamber
	speed   float64 // shaft speed [rad/s]

	law                             wall.Law // nil: adiabatic
	factor                          float64
	headTemp, pistonTemp, linerTemp float64 // [K]
	cond                            wall.Conditions
	refP, refV                      float64 // at intake closing

	crevice   float64 // volume [m³]
	areas     chamber.Leak
	leaks     [3]leak
	nLeaks    int     // of these that let gas out
	ringR     float64 // gas constant of what is in the crevice [J/kg/K]
	ringGamma float64
}

// leak is one way out of the chamber. Rings leak to the crankcase and side seals to
// the inside of the rotor, at the exhaust's pressure (our own choice). Past the
// apex seals gas goes to the neighbours: while a chamber is under pressure, the one
// ahead of it exhausts and the one behind it takes in, so that the pressures there
// are about those of exhaust and manifold. What comes in from neighbours under
// pressure, while the ports of this chamber are open, is left out (our own choice).
type leak struct {
	area float64 // effective [m²]
	to   float64 // pressure there [Pa]
}

// set prepares for an engine at op, whose fresh charge has the burned fraction
// fresh. Without a wall law there are no walls to be warmer: the crevice keeps
// its temperature too.
func (c *place) set(e *model.Engine, op *model.Operating, fresh float64) {
	c.speed = op.Speed
	if c.law != nil {
		w := &e.Wall
		c.headTemp, c.pistonTemp, c.linerTemp = w.Head+op.WallShift, w.Piston+op.WallShift, w.Liner+op.WallShift
	}
	c.crevice, c.nLeaks = e.Crevice.Volume, 0
	for _, l := range [...]leak{{c.areas.Side, op.Exhaust}, {c.areas.Apex, op.Exhaust}, {c.areas.Apex, op.MAP}} {
		if l.area > 0 {
			c.leaks[c.nLeaks] = l
			c.nLeaks++
		}
	}
	var s state
	c.at(c.linerTemp, op.MAP, fresh, &s)
	c.ringR = op.MAP * s.v / c.linerTemp
	c.ringGamma = s.gamma(op.MAP)
	c.size()
}

// size tells wall-heat laws how large and how fast the chamber is.
func (c *place) size() {
	c.cond = wall.Conditions{Bore: c.chamber.Bore(), Speed: c.chamber.MeanSpeed(c.speed), Swept: c.chamber.Swept()}
}

// refer takes the state at intake closing as the reference of wall-heat laws.
func (c *place) refer(theta, p, t float64) {
	c.refP = p
	c.refV, _ = c.chamber.Volume(theta)
	c.cond.Reference = t / (p * c.refV)
}

// walls returns the coefficient of wall heat times area over shaft speed
// [J/rad/K] and the mean wall temperature [K].
func (c *place) walls(theta, vol, p, t, mass float64) (hA, mean float64) {
	if c.law == nil {
		return 0, t
	}
	w := c.chamber.Walls(theta)
	area := w.Head + w.Piston + w.Liner
	mean = (w.Head*c.headTemp + w.Piston*c.pistonTemp + w.Liner*c.linerTemp) / area
	k := &c.cond
	k.Volume, k.Pressure, k.Temp, k.TempWall, k.Density = vol, p, t, mean, mass/vol
	if k.Firing {
		k.Motored = c.refP * math.Exp(MotoredExponent*math.Log(c.refV/vol))
	}
	return c.factor * c.law.Coefficient(k) * area / c.speed, mean
}

// ring returns what of the crevice depends on nothing but p [Pa]: the mass in
// it over p [kg/Pa], which its walls keep at the liner's temperature, and the
// flow past rings or seals [kg/rad].
func (c *place) ring(p float64) (perPressure, leak float64) {
	perPressure = c.crevice / (c.ringR * c.linerTemp)
	for _, l := range c.leaks[:c.nLeaks] {
		leak += valve.Flow(l.area, p, c.linerTemp, c.ringR, c.ringGamma, l.to) / c.speed
	}
	return perPressure, leak
}

// inRing is the burned fraction of what is in the crevice, of which burned is
// that mass [kg].
func (c *place) inRing(burned, p float64) float64 {
	all := c.crevice / (c.ringR * c.linerTemp) * p
	if !(all > 0) {
		return 0
	}
	return math.Max(0, math.Min(1, burned/all))
}

// Package ideal computes the cycles of handbooks: Otto, Diesel and dual, with
// constant or variable specific heats or with fuel, air and burned gas at
// equilibrium; and heat released over a finite angle.
//
// Inside all is SI; Table gives a result under the keys and in the units that
// users see. Every error about a value is a *model.Problem under such a key.
package ideal

import (
	"math"
	"slices"
	"strings"

	"phasebench/model/gas"
)

// Gas models, as named by users.
const (
	ColdAir     = "cold-air"    // constant specific heats
	Air         = "air"         // air of variable specific heats, heat from outside
	Equilibrium = "equilibrium" // fuel and air, burned at chemical equilibrium
)

// Gases lists the gas models.
func Gases() []string { return []string{ColdAir, Air, Equilibrium} }

// AirWithArgon is dry air with its argon, 78.08, 20.95 and 0.97 % by mole of
// N2, O2 and Ar: close to the air of textbook tables.
var AirWithArgon = gas.Air{N2: 0.7808 / 0.2095, Ar: 0.0097 / 0.2095}

// Charge is what fills the cylinder and how far it is compressed. Fields that
// belong to another gas model than Gas are ignored.
type Charge struct {
	Gas   string  // one of Gases
	Ratio float64 // compression ratio v1/v2 [-], 1.001 to 50
	T1    float64 // before compression [K], 230 to 600
	P1    float64 // [Pa], 0.05e5 to 10e5

	// For ColdAir.
	Gamma float64 // ratio of specific heats [-], 1.05 to 1.67
	R     float64 // gas constant [J/kg/K], 100 to 5000

	// For Air and Equilibrium.
	Air gas.Air // N2 0.1 to 100 for Equilibrium

	// For Equilibrium.
	Fuel string  // one of gas.Fuels
	Phi  float64 // fuel-air equivalence ratio [-], 0.5 to 1.666
}

// DefaultCharge is air at 300 K and 1 bar, compressed eightfold, and sensible
// values of what the other gas models ask for.
func DefaultCharge() Charge {
	return Charge{
		Gas: Air, Ratio: 8, T1: 300, P1: 1e5,
		Gamma: gas.ColdAir.Gamma, R: gas.ColdAir.R,
		Air:  gas.DefaultAir,
		Fuel: "iso-octane", Phi: 1,
	}
}

// hottest is the highest temperature of any state [K], a little below the end
// of the property data at 6000 K. tightest is the least room above T2 [K].
const (
	hottest  = 5900
	tightest = 100
)

var (
	ratioLimits = limits{"ratio", "", 1, 1.001, 50}
	t1Limits    = limits{"t1_k", "K", 1, 230, 600}
	p1Limits    = limits{"p1_bar", "bar", bar, 0.05, 10}
	gammaLimits = limits{"gamma", "", 1, 1.05, 1.67}
	rLimits     = limits{"gas_constant_j_kg_k", "J/kg/K", 1, 100, 5000}
	phiLimits   = limits{"phi", "", 1, 0.5, 1.666} // lambda 0.6, the least burned gas takes
	heatLimits  = limits{"heat_kj_kg", "kJ/kg", kJ, 0.01, 10e3}
)

func (c *Charge) check() error {
	if !slices.Contains(Gases(), c.Gas) {
		return problem("gas", quote(c.Gas), "one of "+strings.Join(Gases(), ", "))
	}
	err := firstOf(ratioLimits.check(c.Ratio), t1Limits.check(c.T1), p1Limits.check(c.P1))
	switch c.Gas {
	case ColdAir:
		return firstOf(err, gammaLimits.check(c.Gamma), rLimits.check(c.R))
	case Air:
		return firstOf(err, checkAir(c.Air, 0))
	}
	if err = firstOf(err, phiLimits.check(c.Phi), checkAir(c.Air, 0.1)); err != nil {
		return err
	}
	if !slices.Contains(gas.Fuels(), c.Fuel) {
		return problem("fuel", quote(c.Fuel), "one of "+strings.Join(gas.Fuels(), ", "))
	}
	return nil
}

func checkAir(a gas.Air, least float64) error {
	n2 := limits{"air_n2", "mol per mol O2", 1, least, 100}
	ar := limits{"air_ar", "mol per mol O2", 1, 0, 100}
	return firstOf(n2.check(a.N2), ar.check(a.Ar))
}

// air is the gas of a charge without fuel.
func (c *Charge) air() gas.Gas {
	if c.Gas == ColdAir {
		return gas.Perfect{R: c.R, Gamma: c.Gamma}
	}
	return gas.NewAirStandard(c.Air)
}

// reacting is the gas of a charge with fuel, before and after burning, and the
// heat of complete combustion [J/kg of charge].
func (c *Charge) reacting() (fresh *gas.Frozen, burned *gas.Burned, heat float64, err error) {
	fuel, err := gas.FuelByName(c.Fuel)
	if err != nil {
		return nil, nil, 0, err
	}
	fresh, err = gas.NewFresh(fuel, 1/c.Phi, c.Air)
	if err != nil {
		return nil, nil, 0, err
	}
	burned, err = gas.NewBurned(fuel, 1/c.Phi, c.Air)
	if err != nil {
		return nil, nil, 0, err
	}
	return fresh, burned, fresh.FuelFraction() * fuel.LHV, nil
}

// lifted is g with u and h raised by q [J/kg]: adding heat is burning from it.
type lifted struct {
	g gas.Gas
	q float64
}

func (l lifted) Props(t, p float64, dst *gas.Props) {
	l.g.Props(t, p, dst)
	dst.U += l.q
	dst.H += l.q
}

// roomAtVolume and roomAtPressure are the heat [J/kg] that takes g from s to
// temperature top [K].
func roomAtVolume(g gas.Gas, s *State, top float64) float64 {
	return at(g, top, s.P*top/s.T).U - s.U
}

func roomAtPressure(g gas.Gas, s *State, top float64) float64 {
	e := at(g, top, s.P)
	return e.enthalpy() - s.enthalpy()
}

// heatedAtVolume is s after heat q [J/kg] at constant volume.
func heatedAtVolume(g gas.Gas, s *State, q float64) (State, error) {
	t, p, err := gas.FlameUV(lifted{g, q}, g, s.T, s.P)
	if err != nil {
		return State{}, err
	}
	return at(g, t, p), nil
}

// heatedAtPressure is s after heat q [J/kg] at constant pressure.
func heatedAtPressure(g gas.Gas, s *State, q float64) (State, error) {
	t, err := gas.FlameHP(lifted{g, q}, g, s.T, s.P)
	if err != nil {
		return State{}, err
	}
	return at(g, t, s.P), nil
}

// withoutFuel reports the gas model of a cycle that cannot burn fuel.
func (c *Charge) withoutFuel(cycle string) error {
	if c.Gas != Equilibrium {
		return nil
	}
	return problem("gas", quote(c.Gas), ColdAir+" or "+Air+": a "+cycle+
		" cycle compresses air alone, and an equilibrium charge holds its fuel from the start")
}

// hotLimit is the highest temperature [K] that heat at constant pressure may
// lead to from s: a larger volume than v1 [m³/kg] is impossible.
func hotLimit(s *State, v1 float64) float64 { return math.Min(hottest, s.T*v1/s.V) }

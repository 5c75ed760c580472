// Package gas gives the properties of what is in the cylinder: pure species
// (NASA-7 polynomials), fuels, fresh charge of frozen composition, burned gas
// at chemical equilibrium, and perfect gases for handbook cycles.
//
// Everything is per kilogram and in SI units. Enthalpy and internal energy
// include the enthalpy of formation (elements at 298.15 K have h = 0), so a
// reaction needs no heat-release term: burning lowers u at equal temperature.
package gas

import "math"

// Props are the properties of a gas at one temperature and pressure.
type Props struct {
	V  float64 // specific volume [m³/kg]
	U  float64 // specific internal energy, formation included [J/kg]
	H  float64 // specific enthalpy, formation included [J/kg]
	S  float64 // specific entropy [J/kg/K]
	Cp float64 // (∂h/∂T)p [J/kg/K]; follows the shifting equilibrium where the gas reacts
	HP float64 // (∂h/∂p)T [J/kg/Pa]; 0 for a frozen gas
	VT float64 // (∂ln v/∂ln T)p [-]; 1 for a frozen gas
	VP float64 // (∂ln v/∂ln p)T [-]; -1 for a frozen gas
}

// Gas is a model of a gas as a function of temperature and pressure, reacting
// or frozen.
type Gas interface {
	// Props stores in dst the properties at temperature t [K] and pressure
	// p [Pa]. It never allocates. Where the model has no answer every field
	// is NaN. A Gas may keep a warm start between calls: results do not
	// depend on it beyond its convergence tolerance, but one Gas must not be
	// used by two goroutines at once unless its type says otherwise.
	Props(t, p float64, dst *Props)
}

// UT is (∂u/∂T)p [J/kg/K].
func (g *Props) UT(t, p float64) float64 { return g.Cp - p*g.V/t*g.VT }

// UP is (∂u/∂p)T [J/kg/Pa]. It needs neither t nor p, and takes them to be
// called like its neighbours.
func (g *Props) UP() float64 { return g.HP - g.V*(1+g.VP) }

// Cv is (∂u/∂T)v [J/kg/K], from the derivatives in g and no identity, so it
// belongs to the same u(T,p) and v(T,p) even where they are interpolated.
func (g *Props) Cv(t, p float64) float64 {
	return g.UT(t, p) - g.UP()*p*g.VT/(t*g.VP)
}

// Gamma is the exponent of a loss-free adiabatic change, dh = v·dp:
// (∂ln p/∂ln ρ) [-]. It is the isentropic exponent of any gas in equilibrium
// and of any frozen gas.
func (g *Props) Gamma(t, p float64) float64 {
	return -1 / (g.VP + g.VT*p*(g.V-g.HP)/(t*g.Cp))
}

// noAnswer makes every field NaN.
func (g *Props) noAnswer() {
	n := math.NaN()
	*g = Props{V: n, U: n, H: n, S: n, Cp: n, HP: n, VT: n, VP: n}
}

// legal reports whether t [K] and p [Pa] are positive and finite.
func legal(t, p float64) bool {
	return t > 0 && p > 0 && !math.IsInf(t, 1) && !math.IsInf(p, 1)
}

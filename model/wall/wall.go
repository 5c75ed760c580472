// Package wall holds the correlations for the heat that the gas gives to the
// chamber walls.
package wall

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Conditions is what a correlation may look at.
type Conditions struct {
	Bore     float64 // length scale [m]
	Speed    float64 // mean speed of the moving wall [m/s]
	Volume   float64 // [m³]
	Pressure float64 // [Pa]
	Temp     float64 // mean gas temperature [K]
	TempWall float64 // mean wall temperature, weighted by area [K]
	Density  float64 // [kg/m³]

	Exchange bool // a valve is open

	// Firing is true from the start of burning to the opening of the exhaust;
	// the three that follow are only read then.
	Firing    bool
	Motored   float64 // pressure at this angle had there been no burning [Pa]
	Swept     float64 // [m³]
	Reference float64 // temperature over pressure times volume at a reference state, Tr/(pr·Vr) [K/J]
}

// Law is a wall-heat correlation.
type Law interface {
	// Coefficient returns the heat-transfer coefficient [W/m²/K].
	Coefficient(c *Conditions) float64
}

// ErrUnknown is wrapped by ByName.
var ErrUnknown = errors.New("unknown wall-heat law")

// laws by the name used in engine files, each with its usual constants.
var laws = map[string]Law{
	"woschni":    Woschni{Exchange: 6.18, Compression: 2.28, Combustion: 3.24e-3},
	"hohenberg":  Hohenberg{Scale: 130, Speed: 1.4},
	"annand":     Annand{Convection: 0.5, Radiation: 0.075 * stefanBoltzmann},
	"eichelberg": Eichelberg{Scale: 7.67},
}

// Names lists the laws that ByName knows, sorted.
func Names() []string {
	names := make([]string, 0, len(laws))
	for n := range laws {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// ByName returns the law of that name, or an error that wraps ErrUnknown.
func ByName(name string) (Law, error) {
	if l, ok := laws[name]; ok {
		return l, nil
	}
	return nil, fmt.Errorf("wall: law %q, want one of %s: %w", name, strings.Join(Names(), ", "), ErrUnknown)
}

// Woschni is
//
//	h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8,  w = C1·Sp + C2·Vd·Tr/(pr·Vr)·(p − pm)
//
// with B [m], p [kPa], T [K], w [m/s]. Source: G. Woschni, SAE 670931, 1967,
// in the form of Heywood 1988 eq. 12.19 (from memory).
type Woschni struct {
	Exchange    float64 // C1 while a valve is open [-]; 6.18
	Compression float64 // C1 while the valves are shut [-]; 2.28
	Combustion  float64 // C2 [m/s/K]; 3.24e-3
}

// Coefficient implements Law.
func (w Woschni) Coefficient(c *Conditions) float64 {
	v := w.Compression * c.Speed
	if c.Exchange {
		v = w.Exchange * c.Speed
	}
	if c.Firing {
		v += w.Combustion * c.Swept * c.Reference * (c.Pressure - c.Motored)
	}
	// (1/B)^0.2 · (p w)^0.8 · T^-0.55 by one exponential: this is a hot path.
	return 3.26 * math.Exp(0.8*math.Log(1e-3*c.Pressure*math.Max(v, 0))-0.2*math.Log(c.Bore)-0.55*math.Log(c.Temp))
}

// Hohenberg is h = C1 V^-0.06 p^0.8 T^-0.4 (Sp + C2)^0.8 with V [m³],
// p [bar], T [K]. Source: G. Hohenberg, SAE 790825, 1979 (from memory).
type Hohenberg struct {
	Scale float64 // C1; 130
	Speed float64 // C2 [m/s]; 1.4
}

// Coefficient implements Law.
func (h Hohenberg) Coefficient(c *Conditions) float64 {
	return h.Scale * math.Pow(c.Volume, -0.06) * math.Pow(1e-5*c.Pressure*(c.Speed+h.Speed), 0.8) * math.Pow(c.Temp, -0.4)
}

const stefanBoltzmann = 5.670374419e-8 // [W/m²/K⁴], CODATA 2018

// Annand is h = a (k/B) Re^0.7 + c (T⁴ − Tw⁴)/(T − Tw), Re = ρ Sp B/μ, the
// second term only while firing. Source: W.J.D. Annand, Proc. IMechE 177,
// 1963 (from memory; a 0.35 to 0.8, c 0.075 σ for spark ignition).
type Annand struct {
	Convection float64 // a [-]
	Radiation  float64 // c [W/m²/K⁴]
}

// Coefficient implements Law.
func (a Annand) Coefficient(c *Conditions) float64 {
	mu := Viscosity(c.Temp)
	const prandtl, cp = 0.7, 1150. // hot air, to the accuracy of the correlation
	re := c.Density * c.Speed * c.Bore / mu
	h := a.Convection * mu * cp / prandtl / c.Bore * math.Pow(re, 0.7)
	if c.Firing {
		t, w := c.Temp, c.TempWall
		h += a.Radiation * (t*t + w*w) * (t + w)
	}
	return h
}

// Eichelberg is h = C Sp^(1/3) (p T)^(1/2) with Sp [m/s], p [MPa], T [K]; it
// knows neither bore nor burning. Source: G. Eichelberg, Engineering 148, 1939,
// found on large slow diesel engines (from memory; C is quoted as 7.67e-3 with
// h in kW/m²/K, now and then for p in bar, which would be three times too much).
type Eichelberg struct {
	Scale float64 // C; 7.67
}

// Coefficient implements Law.
func (e Eichelberg) Coefficient(c *Conditions) float64 {
	return e.Scale * math.Cbrt(c.Speed) * math.Sqrt(1e-6*c.Pressure*c.Temp)
}

// Viscosity is the dynamic viscosity of air [Pa·s] at t [K], a power law,
// also fair for burned gas. Source: Heywood 1988 eq. 4.53 (from memory).
func Viscosity(t float64) float64 { return 3.3e-7 * math.Pow(t, 0.7) }

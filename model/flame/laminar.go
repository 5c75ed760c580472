// Package flame gives the laminar flame speed of a charge, the front of a
// spherical flame cut by the chamber walls, how it entrains and burns the
// charge, and what a spark lights.
package flame

import (
	"errors"
	"fmt"
	"math"
)

// ErrUnknown is wrapped when a fuel has no correlation here.
var ErrUnknown = errors.New("no laminar flame speed for this fuel")

// Laminar is a correlation for the laminar flame speed of one fuel.
type Laminar interface {
	// Speed returns SL [m/s], never negative, of a charge with fuel-air
	// equivalence ratio phi [-], unburned temperature t [K], pressure p [Pa]
	// and residual mole fraction residual [-].
	Speed(phi, t, p, residual float64) float64
}

// ForFuel returns the correlation for a fuel by its name in engine files, or
// an error that wraps ErrUnknown.
func ForFuel(name string) (Laminar, error) {
	if l, ok := byFuel[name]; ok {
		return l, nil
	}
	return nil, fmt.Errorf("flame: fuel %q: %w", name, ErrUnknown)
}

var byFuel = map[string]Laminar{
	// Metghalchi and Keck, Combust. Flame 48:191, 1982 (coefficients from memory).
	"iso-octane": parabola{best: 0.263, curve: -0.847, rich: 1.13, exponents: metghalchi},
	"propane":    parabola{best: 0.342, curve: -1.387, rich: 1.08, exponents: metghalchi},
	"methanol":   parabola{best: 0.369, curve: -1.405, rich: 1.11, exponents: metghalchi},
	// Rhodes and Keck, SAE 850047, 1985 (from memory).
	"gasoline": parabola{best: 0.305, curve: -0.549, rich: 1.21, exponents: rhodes},
	// Gülder, SAE 841000, 1984 (from memory).
	"ethanol": bell{scale: 0.465, power: 0.25, width: 6.34, warm: 1.75,
		pressure: func(phi float64) float64 { return -0.17 / math.Sqrt(phi) }},
	"methane": bell{scale: 0.422, power: 0.15, width: 5.18, warm: 2,
		pressure: func(float64) float64 { return -0.5 }},
	// Iijima and Takeno, Combust. Flame 65:35, 1986 (from memory).
	"hydrogen": hydrogen{},
}

const (
	warmRef  = 298.    // [K]
	pressRef = 101325. // 1 atm [Pa]
)

// dilution is the share of the undiluted speed that is left with a residual
// mole fraction x: 1 − 2.06 x^0.77. Source: Rhodes and Keck, SAE 850047, 1985
// (from memory). Used for every fuel.
func dilution(x float64) float64 { return math.Max(0, 1-2.06*math.Pow(math.Max(x, 0), 0.77)) }

// parabola is SL = (Bm + Bφ(φ−φm)²)·(T/T0)^a·(p/p0)^b times the dilution.
type parabola struct {
	best, curve float64 // Bm, Bφ [m/s]
	rich        float64 // φm [-]
	exponents   func(phi float64) (a, b float64)
}

func metghalchi(phi float64) (a, b float64) { return 2.18 - 0.8*(phi-1), -0.16 + 0.22*(phi-1) }

func rhodes(phi float64) (a, b float64) {
	return 2.4 - 0.271*math.Pow(phi, 3.51), -0.357 + 0.14*math.Pow(phi, 2.77)
}

func (f parabola) Speed(phi, t, p, residual float64) float64 {
	a, b := f.exponents(phi)
	s := math.Max(0, f.best+f.curve*(phi-f.rich)*(phi-f.rich))
	return s * math.Pow(t/warmRef, a) * math.Pow(p/pressRef, b) * dilution(residual)
}

// bell is SL = W φ^η exp(−ξ(φ−1.075)²)·(T/T0)^α·(p/p0)^β times the dilution.
type bell struct {
	scale, power, width, warm float64 // W [m/s], η, ξ, α
	pressure                  func(phi float64) float64
}

func (f bell) Speed(phi, t, p, residual float64) float64 {
	off := phi - 1.075
	s := f.scale * math.Pow(phi, f.power) * math.Exp(-f.width*off*off)
	return s * math.Pow(t/warmRef, f.warm) * math.Pow(p/pressRef, f.pressure(phi)) * dilution(residual)
}

// hydrogen is SL = (2.98 − (φ−1.7)² + 0.32(φ−1.7)³)·(T/291)^α·(1 + β ln p),
// p in atm, fitted to 25 atm.
type hydrogen struct{}

func (hydrogen) Speed(phi, t, p, residual float64) float64 {
	off := phi - 1.7
	s := 2.98 - off*off + 0.32*off*off*off
	grow := 1 + (0.43+0.003*off)*math.Log(p/pressRef)
	return math.Max(0, s*grow) * math.Pow(t/291, 1.54+0.026*off) * dilution(residual)
}

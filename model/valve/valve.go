package valve

import (
	"errors"
	"fmt"
	"math"
)

// ErrValve is wrapped by every error about an impossible valve.
var ErrValve = errors.New("impossible valve")

// Discharge is one point of the discharge coefficient against lift.
type Discharge struct {
	Ratio float64 // lift over inner seat diameter [-], >= 0
	Cd    float64 // flow over that of the ideal nozzle of the same area [-], > 0, at most 1
}

// Poppet is the usual discharge coefficient of a poppet valve, referred to the
// area of Valve.Geometric: about 0.7 while the jet fills the gap, falling as
// it leaves the seats. Common practice, after the shape of Heywood, Internal
// Combustion Engine Fundamentals, 1988, fig. 6.18 (from memory, ±0.05).
func Poppet() []Discharge {
	return []Discharge{{0, 0.70}, {0.05, 0.70}, {0.10, 0.68}, {0.15, 0.65}, {0.20, 0.61}, {0.25, 0.58}, {0.30, 0.56}, {0.35, 0.55}}
}

// Valve is one or more equal valves that move together. Make it by NewValve;
// the fields are to be read only.
type Valve struct {
	Lift
	Count    int     // valves [-]
	Diameter float64 // inner seat [m]

	cd      curve
	perLift float64 // curtain area over lift, all valves [m]
	port    float64 // port area, all valves [m²]
}

// NewValve returns count valves of inner seat diameter [m]. The coefficient cd
// has ascending ratios; between its points it is a monotone cubic, beyond
// them constant, so that one point makes it constant; none means Poppet. It
// holds for flow either way. Otherwise the error wraps ErrValve.
func NewValve(lift Lift, count int, diameter float64, cd []Discharge) (*Valve, error) {
	bad := func(format string, args ...any) (*Valve, error) {
		return nil, fmt.Errorf("valve: %s: %w", fmt.Sprintf(format, args...), ErrValve)
	}
	switch {
	case lift == nil:
		return bad("no lift")
	case count < 1:
		return bad("count = %d, want >= 1", count)
	case !(diameter > 0) || math.IsInf(diameter, 0):
		return bad("inner seat diameter = %g m, want > 0 m", diameter)
	case !(lift.Peak() <= diameter):
		return bad("peak lift = %g m, want at most the inner seat diameter = %g m", lift.Peak(), diameter)
	}
	if len(cd) == 0 {
		cd = Poppet()
	}
	x, y := make([]float64, len(cd)), make([]float64, len(cd))
	for i, p := range cd {
		switch {
		case !(p.Ratio >= 0) || math.IsInf(p.Ratio, 0):
			return bad("discharge row %d: lift over diameter = %g, want >= 0", i+1, p.Ratio)
		case i > 0 && !(p.Ratio > x[i-1]):
			return bad("discharge row %d: lift over diameter = %g, want > %g of row %d", i+1, p.Ratio, x[i-1], i)
		case !(p.Cd > 0 && p.Cd <= 1):
			return bad("discharge row %d: coefficient = %g, want > 0 and at most 1", i+1, p.Cd)
		}
		x[i], y[i] = p.Ratio, p.Cd
	}
	n := float64(count)
	return &Valve{lift, count, diameter, newCurve(x, y), n * math.Pi * diameter, n * math.Pi / 4 * diameter * diameter}, nil
}

// Area returns the effective flow area Cd·A [m²] of all valves together at any
// theta [rad]. It never allocates.
func (v *Valve) Area(theta float64) float64 {
	l := v.At(theta)
	if l == 0 {
		return 0
	}
	return v.Coefficient(l) * v.Geometric(l)
}

// Coefficient returns Cd [-] at lift [m].
func (v *Valve) Coefficient(lift float64) float64 { return v.cd.at(lift / v.Diameter) }

// Geometric returns the flow area [m²] at lift [m] before the discharge
// coefficient: exactly the curtain π·D·L up to L/D = 0.2, exactly the port
// π·D²/4 from 0.3, and between them joined with continuous curvature, at most
// 3.75 % below the smaller of the two.
func (v *Valve) Geometric(lift float64) float64 {
	curtain := v.perLift * lift
	r := curtain / v.port
	const from, to = 0.8, 1.2
	switch {
	case r <= from:
		return curtain
	case r >= to:
		return v.port
	}
	// The slope falls from 1 to 0 as 1 − 3t² + 2t³.
	t := (r - from) / (to - from)
	return v.port * (r - (to-from)*t*t*t*(1-t/2))
}

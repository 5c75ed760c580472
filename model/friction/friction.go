// Package friction gives the mean effective pressure lost to rubbing and
// auxiliaries, pumping excluded.
package friction

import (
	"errors"
	"fmt"
	"math"
)

// Conditions is what a law may look at. A law reads only some of it.
type Conditions struct {
	Peak    float64 // peak cylinder pressure [Pa], >= 0
	Speed   float64 // mean piston speed [m/s], > 0
	Omega   float64 // shaft speed [rad/s], > 0
	Intake  float64 // intake manifold pressure [Pa], > 0
	Ambient float64 // [Pa], > 0
}

// Law is a friction law.
type Law interface {
	// MEP returns the friction mean effective pressure [Pa]. It never allocates.
	MEP(c *Conditions) float64
	// Check returns an error that wraps ErrRange if the law cannot be used.
	Check() error
}

var (
	// ErrRange is wrapped by every error about a value that is not allowed.
	ErrRange = errors.New("out of range")
	// ErrUnknown is wrapped by FollowerByName.
	ErrUnknown = errors.New("unknown valve train")
)

// ChenFlynn is FMEP = A + B·pmax + C·Sp + D·Sp². Source: S.K. Chen and
// P.F. Flynn, SAE 650733, 1965; the split into four terms and the usual size
// of the coefficients are common practice (from memory): A 0.3 to 0.5 bar,
// B 0.004 to 0.006, C 0.08 to 0.10 bar/(m/s), D 0.0006 to 0.0012 bar/(m/s)².
type ChenFlynn struct {
	Constant float64 // A [Pa], >= 0
	Peak     float64 // B [-], >= 0
	Linear   float64 // C [Pa/(m/s)], >= 0
	Square   float64 // D [Pa/(m/s)²], >= 0
}

// FMEP returns the friction mean effective pressure [Pa] at peak cylinder
// pressure peak [Pa] and mean piston speed [m/s].
func (f ChenFlynn) FMEP(peak, speed float64) float64 {
	return f.Constant + f.Peak*peak + f.Linear*speed + f.Square*speed*speed
}

// MEP implements Law; it reads Peak and Speed.
func (f ChenFlynn) MEP(c *Conditions) float64 { return f.FMEP(c.Peak, c.Speed) }

// Check implements Law.
func (f ChenFlynn) Check() error {
	for _, v := range []struct {
		field, unit string
		value       float64
	}{
		{"Constant", "Pa", f.Constant},
		{"Peak", "", f.Peak},
		{"Linear", "Pa/(m/s)", f.Linear},
		{"Square", "Pa/(m/s)²", f.Square},
	} {
		if !(v.value >= 0) || math.IsInf(v.value, 0) {
			return bad("ChenFlynn."+v.field, v.value, v.unit, ">= 0 and finite")
		}
	}
	return nil
}

// bad tells that a field holds a value it may not; unit may be empty.
func bad(field string, v any, unit, want string) error {
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Errorf("friction: %s = %v%s, want %s: %w", field, v, unit, want, ErrRange)
}

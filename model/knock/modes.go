package knock

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Mode is a way in which the gas in a flat round chamber rings, without motion
// along its axis:
//
//	f = α·c / (π·B)
//
// with α a zero of J'm, the derivative of the Bessel function. Source:
// C.S. Draper, NACA Rep. 493, 1935, and J. Aero. Sci. 5, 1938 (from memory).
// The walls are rigid, the gas is uniform and the bowl in a piston is not seen.
type Mode struct {
	Circumferential int     // m, nodal diameters
	Radial          int     // n, nodal circles
	Zero            float64 // α [-]
	Frequency       float64 // [Hz]
}

// Name returns "(m,n)"; (1,0) is the first transverse mode.
func (m Mode) Name() string { return fmt.Sprintf("(%d,%d)", m.Circumferential, m.Radial) }

// maxModes bounds the work of Modes.
const maxModes = 1000

// Modes returns the count lowest modes, 1 to 1000, in ascending order, of a
// chamber of bore [m], > 0, in gas with sound speed sound [m/s], > 0. Errors
// wrap ErrRange.
func Modes(bore, sound float64, count int) ([]Mode, error) {
	switch {
	case !(bore > 0) || !finite(bore):
		return nil, fmt.Errorf("knock: Modes: bore = %g m, want > 0: %w", bore, ErrRange)
	case !(sound > 0) || !finite(sound):
		return nil, fmt.Errorf("knock: Modes: sound = %g m/s, want > 0: %w", sound, ErrRange)
	case count < 1 || count > maxModes:
		return nil, fmt.Errorf("knock: Modes: count = %d, want 1 to %d: %w", count, maxModes, ErrRange)
	}
	// Some x²/4 zeros of all orders lie below x.
	limit := 3 + 2*math.Sqrt(float64(count))
	modes := zerosBelow(limit)
	for len(modes) < count {
		limit *= 1.1
		modes = zerosBelow(limit)
	}
	modes = modes[:count]
	for i := range modes {
		modes[i].Frequency = modes[i].Zero * sound / (math.Pi * bore)
	}
	return modes, nil
}

// zerosBelow returns the modes with a zero in (0, limit), in ascending order.
func zerosBelow(limit float64) []Mode {
	var modes []Mode
	for m := 0; float64(m) < limit; m++ {
		n := 0
		if m == 0 {
			n = 1 // the zero of J'0 at 0 is the mean pressure
		}
		// No zero of J'm, other than 0, lies below m or below 1, and any two
		// are more than 3 apart, so a step of 1 misses none.
		for x := math.Max(float64(m), 1); x < limit; x++ {
			if besselSlope(m, x) > 0 == (besselSlope(m, x+1) > 0) {
				continue
			}
			if zero := besselSlopeZero(m, x, x+1); zero < limit {
				modes = append(modes, Mode{Circumferential: m, Radial: n, Zero: zero})
			}
			n++
		}
	}
	slices.SortFunc(modes, func(a, b Mode) int { return cmp.Compare(a.Zero, b.Zero) })
	return modes
}

// besselSlope is J'm(x).
func besselSlope(m int, x float64) float64 {
	if m == 0 {
		return -math.J1(x)
	}
	return (math.Jn(m-1, x) - math.Jn(m+1, x)) / 2
}

// besselSlopeZero halves (lo, hi), which holds one zero of J'm, to the last digit.
func besselSlopeZero(m int, lo, hi float64) float64 {
	up := besselSlope(m, hi) > 0
	for {
		mid := lo + (hi-lo)/2
		if !(lo < mid && mid < hi) {
			return mid
		}
		if besselSlope(m, mid) > 0 == up {
			hi = mid
		} else {
			lo = mid
		}
	}
}

// SoundSpeed returns √(γRT) [m/s] with γ [-], gas constant r [J/kg/K] and
// temperature t [K], all > 0.
func SoundSpeed(gamma, r, t float64) float64 { return math.Sqrt(gamma * r * t) }

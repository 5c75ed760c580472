// Package knock tells when the charge ahead of the flame ignites by itself,
// how hard it does so, and at which frequencies the chamber then rings.
package knock

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"
)

// ErrRange is wrapped by every error about a value that is not allowed.
var ErrRange = errors.New("out of range")

const atmosphere = 101325. // [Pa]

// DouaudEyzat is the ignition delay of a gasoline-like fuel,
//
//	τ = 17.68 ms · (ON/100)^3.402 · p^−1.7 · exp(3800/T)
//
// with p [atm] and T [K]. Source: A.M. Douaud and P. Eyzat, SAE 780080, 1978
// (constants from memory). It was fitted to primary reference fuels of octane
// number 80 to 100 and knows neither dilution nor the mixture's strength,
// except through T and p; other fuels and octane numbers are extrapolation.
type DouaudEyzat struct {
	Octane float64 // octane number [-], 40 to 130
}

const (
	delayScale   = 17.68e-3 // [s]
	delayOctane  = 3.402    // exponent [-]
	delayPress   = -1.7     // exponent [-]
	delayThermal = 3800.    // [K]
)

// Check returns an error that wraps ErrRange if the octane number is not
// within 40 to 130.
func (d DouaudEyzat) Check() error {
	if !(d.Octane >= 40 && d.Octane <= 130) {
		return fmt.Errorf("knock: DouaudEyzat.Octane = %g, want 40 to 130: %w", d.Octane, ErrRange)
	}
	return nil
}

// Delay returns τ [s] at pressure p [Pa], > 0, and unburned temperature t [K], > 0.
func (d DouaudEyzat) Delay(p, t float64) float64 { return delayScale * math.Exp(d.exponent(p, t)) }

// Rate returns 1/τ [1/s], for p and t as in Delay. It is d/dt of the integral
// of Livengood and Wu (5th Symp. Combust., 1955): a state that starts from 0
// when the charge is shut in and ignites what is unburned when it reaches 1.
// Against angle, divide by the shaft speed [rad/s]. It never allocates.
func (d DouaudEyzat) Rate(p, t float64) float64 { return math.Exp(-d.exponent(p, t)) / delayScale }

// exponent is ln(τ/delayScale).
func (d DouaudEyzat) exponent(p, t float64) float64 {
	return delayOctane*math.Log(d.Octane/100) + delayPress*math.Log(p/atmosphere) + delayThermal/t
}

// Onset returns the angle where the integral first reaches 1, and whether it
// does. Samples are at strictly ascending angles theta [rad]; between them the
// integral follows the monotone cubic of Fritsch and Butland. An integral that
// is 1 or more at the first sample has its onset there. If there is a NaN
// ahead of the onset, or the samples about it are not finite or their angles
// do not ascend, there is no onset. It panics if the lengths differ.
func Onset(theta, integral []float64) (float64, bool) {
	if len(theta) != len(integral) {
		panic(fmt.Sprintf("knock: Onset: %d angles, %d values", len(theta), len(integral)))
	}
	at := slices.IndexFunc(integral, func(v float64) bool { return !(v < 1) })
	if at < 0 {
		return 0, false
	}
	// The curve of a cell depends on one neighbour to either side at most.
	first, last := max(at-2, 0), min(at+2, len(theta))
	theta, integral, at = theta[first:last], integral[first:last], at-first
	for i := range theta {
		if !finite(theta[i]) || !finite(integral[i]) || i > 0 && !(theta[i-1] < theta[i]) {
			return 0, false
		}
	}
	if at == 0 {
		return theta[0], true
	}
	var curve interp.FritschButland
	if err := curve.Fit(theta, integral); err != nil {
		return 0, false
	}
	lo, hi := theta[at-1], theta[at]
	for {
		mid := lo + (hi-lo)/2
		if !(lo < mid && mid < hi) {
			return hi, true
		}
		if curve.Predict(mid) < 1 {
			lo = mid
		} else {
			hi = mid
		}
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

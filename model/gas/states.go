package gas

import (
	"errors"
	"fmt"
	"math"
)

// ErrNoState is wrapped where no state of the gas answers the question.
var ErrNoState = errors.New("no such state")

const (
	stateLowK  = 100  // temperatures searched [K]
	stateHighK = 6000 // [K]
	stateTol   = 1e-12
	stateIter  = 100
)

// FlameHP is the temperature [K] of burned gas with the enthalpy and pressure
// of fresh at t0 [K] and p0 [Pa].
func FlameHP(fresh, burned Gas, t0, p0 float64) (t float64, err error) {
	var a, b Props
	fresh.Props(t0, p0, &a)
	t, ok := search(2300, func(t float64) (f, d float64) {
		burned.Props(t, p0, &b)
		return b.H - a.H, b.Cp
	})
	if !ok {
		return 0, stateError("FlameHP", t0, p0)
	}
	return t, nil
}

// FlameUV is the state of burned gas with the internal energy and volume of
// fresh at t0 [K] and p0 [Pa].
func FlameUV(fresh, burned Gas, t0, p0 float64) (t, p float64, err error) {
	var a Props
	fresh.Props(t0, p0, &a)
	t, p, err = TPFromUV(burned, a.U, a.V, 2600, 2600/t0*p0)
	if err != nil {
		return 0, 0, fmt.Errorf("%w; asked by FlameUV for fresh gas at %g K, %g Pa", err, t0, p0)
	}
	return t, p, nil
}

// TPFromUV finds the state of specific internal energy u [J/kg] and volume v
// [m³/kg], from a guess of temperature [K] and pressure [Pa].
func TPFromUV(g Gas, u, v, tGuess, pGuess float64) (t, p float64, err error) {
	var d Props
	return atVolume("TPFromUV", g, v, tGuess, pGuess, &d, func(t, p float64) (float64, float64) {
		return d.U - u, d.Cv(t, p)
	})
}

// TPFromSV finds the state of specific entropy s [J/kg/K] and volume v
// [m³/kg], from a guess of temperature [K] and pressure [Pa].
func TPFromSV(g Gas, s, v, tGuess, pGuess float64) (t, p float64, err error) {
	var d Props
	return atVolume("TPFromSV", g, v, tGuess, pGuess, &d, func(t, p float64) (float64, float64) {
		return d.S - s, d.Cv(t, p) / t
	})
}

// atVolume searches for the temperature where miss is 0 along v constant;
// miss returns the miss and its slope for the properties in d.
func atVolume(who string, g Gas, v, tGuess, pGuess float64, d *Props, miss func(t, p float64) (f, slope float64)) (t, p float64, err error) {
	if !legal(tGuess, pGuess) || !(v > 0) {
		return 0, 0, stateError(who, tGuess, pGuess)
	}
	p = pGuess
	last := tGuess
	t, ok := search(tGuess, func(t float64) (float64, float64) {
		p *= t / last // as an ideal gas; then Newton in ln p
		last = t
		for range stateIter {
			g.Props(t, p, d)
			step := -math.Log(d.V/v) / d.VP
			p *= math.Exp(min(max(step, -2), 2))
			if !(math.Abs(step) > stateTol) {
				break
			}
		}
		return miss(t, p)
	})
	if !ok {
		return 0, 0, stateError(who, tGuess, pGuess)
	}
	return t, p, nil
}

// search finds the root of an increasing f by Newton's method inside a
// shrinking bracket. f returns value and slope; the slope may be rough.
func search(t float64, f func(t float64) (f, slope float64)) (float64, bool) {
	lo, hi := float64(stateLowK), float64(stateHighK)
	t = min(max(t, lo), hi)
	before := math.Inf(1)
	for range stateIter {
		v, slope := f(t)
		if math.IsNaN(v) || math.IsNaN(slope) {
			return 0, false
		}
		if v > 0 {
			hi = t
		} else {
			lo = t
		}
		next := t - v/slope
		if !(next >= lo && next <= hi) || math.Abs(next-t) > before {
			next = (lo + hi) / 2
		}
		step := math.Abs(next - t)
		if step <= stateTol*t {
			const edge = 1e-9 // closer than this to an end, the range was too short
			return next, next > stateLowK*(1+edge) && next < stateHighK*(1-edge)
		}
		before, t = step, next
	}
	return 0, false
}

func stateError(who string, t, p float64) error {
	return fmt.Errorf("gas: %s: at or from %g K, %g Pa: %w between %d and %d K", who, t, p, ErrNoState, stateLowK, stateHighK)
}

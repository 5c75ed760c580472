// Package valve gives what flows through the valves of a cylinder: lift
// against angle, effective flow area, compressible flow through it either
// way, and a published correlation for the gas left behind.
//
// Angles are radians on the cycle of the engine. A valve event is given by
// unwrapped angles, open < close, and may run over an end of the cycle: in a
// cycle from −360 to 360 degrees an exhaust valve may open at 130 and close at
// 375. Lifts take any angle and wrap it.
package valve

import (
	"errors"
	"fmt"
	"math"
)

// ErrLift is wrapped by every error about a lift that no valve can follow.
var ErrLift = errors.New("impossible lift")

// Lift is one opening of a valve each cycle.
type Lift interface {
	// At returns the lift [m] at any theta [rad]: >= 0, and 0 outside the
	// event. It never allocates.
	At(theta float64) float64

	Opens() float64  // where the lift leaves 0 [rad]
	Closes() float64 // where it is back at 0 [rad], > Opens, unwrapped
	Peak() float64   // largest lift [m], > 0
}

// event is the part of the cycle in which a valve is off its seat.
type event struct {
	open, close float64 // [rad]
	mid, half   float64 // centre and half the duration [rad]
	period      float64 // [rad]
}

func newEvent(open, close, period float64) (event, error) {
	bad := func(what string, given float64, want string) (event, error) {
		return event{}, fmt.Errorf("valve: %s = %g rad, want %s: %w", what, given, want, ErrLift)
	}
	switch {
	case !(period > 0) || math.IsInf(period, 0):
		return bad("period", period, "> 0 rad")
	case math.IsNaN(open) || math.IsInf(open, 0):
		return bad("opening", open, "a number")
	case !(close > open) || math.IsInf(close, 0):
		return bad("closing", close, fmt.Sprintf("> opening = %g rad", open))
	case !(close-open < period):
		return bad("duration", close-open, fmt.Sprintf("< period = %g rad", period))
	}
	return event{open: open, close: close, mid: open + (close-open)/2, half: (close - open) / 2, period: period}, nil
}

// Opens implements Lift.
func (e *event) Opens() float64 { return e.open }

// Closes implements Lift.
func (e *event) Closes() float64 { return e.close }

// centred returns the angle from the nearest centre of the event [rad], from
// −period/2 to period/2.
func (e *event) centred(theta float64) float64 {
	d := theta - e.mid
	return d - e.period*math.Floor(d/e.period+0.5)
}

// Cam is a symmetric polynomial lift with zero lift, slope and acceleration
// at both ends:
//
//	L = peak·(1−x²)³(1+x²) = peak·(1 − 2x² + 2x⁶ − x⁸)
//
// with x from −1 at opening to 1 at closing. It falls on both sides of its
// peak, and its mean over the event is CamMean of the peak.
type Cam struct {
	event
	peak float64 // [m]
}

// CamMean is the mean lift of a Cam over its event, as part of its peak:
// 1 − 2/3 + 2/7 − 1/9.
const CamMean = 32. / 63

// NewCam returns the cam that opens at open, closes at close and lifts the
// valve by peak [m] between, in a cycle of period, all [rad]. Otherwise the
// error wraps ErrLift.
func NewCam(open, close, peak, period float64) (*Cam, error) {
	e, err := newEvent(open, close, period)
	if err != nil {
		return nil, err
	}
	if !(peak > 0) || math.IsInf(peak, 0) {
		return nil, fmt.Errorf("valve: peak lift = %g m, want > 0 m: %w", peak, ErrLift)
	}
	return &Cam{e, peak}, nil
}

// At implements Lift.
func (c *Cam) At(theta float64) float64 {
	x := c.centred(theta) / c.half
	y := 1 - x*x
	if y <= 0 {
		return 0
	}
	return c.peak * y * y * y * (1 + x*x)
}

// Peak implements Lift.
func (c *Cam) Peak() float64 { return c.peak }

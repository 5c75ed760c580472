package valve

import (
	"errors"
	"fmt"
	"math"
)

// ErrPort is wrapped by every error about an impossible port.
var ErrPort = errors.New("impossible port")

// Opening lets gas through during a part of the cycle: a Valve or a Port.
type Opening interface {
	// Area returns the effective flow area [m²] at any theta [rad]: >= 0, and 0
	// outside the event. It never allocates.
	Area(theta float64) float64

	Opens() float64  // where the area leaves 0 [rad]
	Closes() float64 // where it is back at 0 [rad], > Opens, unwrapped
}

// Slot describes a port in a wall that an edge of the moving wall uncovers and
// covers, as in the housing or the side plate of a rotary engine.
type Slot struct {
	Open, Close float64 // where it begins to open and is shut again [rad], unwrapped: Open < Close
	Uncover     float64 // from there until it is fully open [rad], > 0
	Cover       float64 // from where it begins to close until it is shut [rad], > 0; Uncover + Cover <= Close − Open
	Area        float64 // fully open [m²], > 0
	Flow        float64 // discharge coefficient at every opening, either way [-], > 0, at most 1
}

// Port is a Slot whose open part grows as 3u² − 2u³ with the part u of the angle
// it takes: area and slope are continuous, and fall to 0 at both ends. It is
// within 0.05 of the part of a round hole that a straight edge uncovers at
// constant speed (our own choice).
type Port struct {
	event
	slot Slot
}

// NewPort returns the port s in a cycle of period [rad]. Otherwise the error
// wraps ErrPort, or ErrLift for an impossible event.
func NewPort(s Slot, period float64) (*Port, error) {
	bad := func(what string, given float64, want string) (*Port, error) {
		return nil, fmt.Errorf("valve: port: %s = %g, want %s: %w", what, given, want, ErrPort)
	}
	e, err := newEvent(s.Open, s.Close, period)
	if err != nil {
		return nil, err
	}
	whole := s.Close - s.Open
	switch {
	case !(s.Uncover > 0 && s.Uncover < whole):
		return bad("Slot.Uncover", s.Uncover, fmt.Sprintf("> 0 and < Close − Open = %g rad", whole))
	case !(s.Cover > 0 && s.Uncover+s.Cover <= whole*(1+1e-12)): // their sum may be off by rounding
		return bad("Slot.Cover", s.Cover, fmt.Sprintf("> 0 and at most Close − Open − Uncover = %g rad", whole-s.Uncover))
	case !(s.Area > 0) || math.IsInf(s.Area, 0):
		return bad("Slot.Area", s.Area, "> 0 m²")
	case !(s.Flow > 0 && s.Flow <= 1):
		return bad("Slot.Flow", s.Flow, "> 0 and at most 1")
	}
	return &Port{e, s}, nil
}

// Area implements Opening.
func (p *Port) Area(theta float64) float64 {
	d := p.centred(theta)
	u := min((p.half+d)/p.slot.Uncover, (p.half-d)/p.slot.Cover, 1)
	if u <= 0 {
		return 0
	}
	return p.slot.Flow * p.slot.Area * u * u * (3 - 2*u)
}

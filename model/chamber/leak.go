package chamber

import (
	"fmt"
	"math"
)

// Seals is how far the seals of a rotor are from tight.
type Seals struct {
	Apex   float64 // gap under an apex seal, as wide as the rotor [m], >= 0
	Corner float64 // open area at each of the two ends of an apex seal [m²], >= 0
	Side   float64 // gap under the side seal, along the flank on both sides [m], >= 0
	Flow   float64 // discharge coefficient [-], > 0, at most 1
}

// UsualSeals is a rotor in good order (our own choice): with a width of 80 mm an
// apex leaks like a hole of 0.56 mm². Published models use about 1 mm² for an
// apex (from memory, not confirmed).
func UsualSeals() Seals { return Seals{Apex: 5e-6, Corner: 0.2e-6, Side: 0.5e-6, Flow: 0.7} }

// Leak is the effective areas by which a chamber leaks [m²], for a flow as
// through an orifice; they do not depend on the shaft angle.
type Leak struct {
	Apex float64 // past each of the two apexes, to the neighbour chamber there
	Side float64 // past both side seals together, to the inside of the rotor
}

// Leak returns how t leaks with seals s, or an error that wraps ErrGeometry.
func (t *Trochoid) Leak(s Seals) (Leak, error) {
	for _, g := range []struct {
		name  string
		given float64
		unit  string
	}{{"Apex", s.Apex, "m"}, {"Corner", s.Corner, "m²"}, {"Side", s.Side, "m"}} {
		if !(g.given >= 0) || math.IsInf(g.given, 0) {
			return Leak{}, fmt.Errorf("chamber: Seals.%s = %g, want >= 0 %s: %w", g.name, g.given, g.unit, ErrGeometry)
		}
	}
	if !(s.Flow > 0 && s.Flow <= 1) {
		return Leak{}, fmt.Errorf("chamber: Seals.Flow = %g, want > 0 and at most 1: %w", s.Flow, ErrGeometry)
	}
	return Leak{Apex: s.Flow * (s.Apex*t.b + 2*s.Corner), Side: s.Flow * 2 * s.Side * t.flank}, nil
}

// Neighbours returns the angle [rad] at which each neighbour is in its own cycle
// when t is at theta: the one past the leading apex is a turn of the shaft ahead,
// the one past the trailing apex a turn behind. Both are from Strokes().Start to
// less than Strokes().End.
func (t *Trochoid) Neighbours(theta float64) (leading, trailing float64) {
	st := t.Strokes()
	wrap := func(x float64) float64 {
		if x -= st.Period() * math.Floor((x-st.Start)/st.Period()); x < st.End {
			return x
		}
		return st.Start // rounding
	}
	return wrap(theta + 2*math.Pi), wrap(theta - 2*math.Pi)
}

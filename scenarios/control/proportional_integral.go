package control

import "math"

var proportionalKind = Kind{Name: "proportional-integral", About: "moves by a share of each error, and of its change",
	Numbers: []Number{
		{"gain", "move over error", "deg/deg", 1, 0, 2, 0.1},
		{"proportional", "move over change of the error", "deg/deg", 1, 0, 1, 0.1},
		rate,
	},
	make: func(v values) Law {
		l := &proportionalIntegral{gain: v["gain"], proportional: v["proportional"], rate: v["rate_deg"]}
		l.Reset()
		return l
	}}

// proportionalIntegral is a PI law in increments, which needs no spark of its own,
//
//	s' = s + K·e + P·(e − e₋),  e = LPP − target,
//
// e₋ the last error that was read; there is no change at the first. With a plant of
// slope −a its error e goes as
//
//	e' = (1 − a·(K+P))·e + a·P·e₋,
//
// which dies out for a·P < 1 and a·(K+2P) < 2 (both roots of the quadratic in the unit
// circle). A plant that answers within a cycle gains nothing in speed that K could not
// give, and P lets more scatter through; it answers a plant that lags. A reading that
// declined moves nothing, and the last error stays.
type proportionalIntegral struct{ gain, proportional, rate, last float64 }

// Reset implements Law.
func (l *proportionalIntegral) Reset() { l.last = math.NaN() }

// Next implements Law.
func (l *proportionalIntegral) Next(s *Seen) Order {
	e := s.Reading.Angle - s.Target
	if !finite(e) {
		return together(s.Ordered.Leading)
	}
	move := l.gain*e + l.proportional*beyond(e-l.last, 0)
	l.last = e
	return together(s.Ordered.Leading + bounded(move, l.rate))
}

package control

import "math"

// Numbers that knock laws have. A cycle as loud as the threshold is a knock event;
// our own choice, over the scatter of cycles that do not knock.
var (
	knockThreshold = Number{"threshold", "a cycle so many times as loud as usual knocks", "-", 1, 1.1, 50, 3}
	knockMost      = Number{"most_deg", "never earlier than the base map by more", "deg", deg, 0, 40, 15}
)

// ahead is how far the spark of a knock law may go: no earlier than most [rad]
// before the base map, and not earlier than the last order where there is no base.
func ahead(s *Seen, most float64) float64 {
	if !finite(s.Base) {
		return s.Ordered.Leading
	}
	return s.Base + most
}

// capped is o, no earlier than at [rad]: the trailing plug moves as far as the leading
// one. A spark that is not a number stays none: a guard has to see it.
func capped(o Order, at float64) Order {
	if cut := o.Leading - at; cut > 0 {
		o.Leading, o.Trailing = at, o.Trailing-cut
	}
	return o
}

// unheard tells whether s says nothing about knock.
func unheard(s *Seen) bool { return math.IsNaN(s.Knock) }

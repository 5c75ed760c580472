package control

import "math"

// An order fires some cycles later, as many as the actuator takes. lagMost is the
// most that is looked for; lagKeep is what counts of the cycle before (our own
// choice: it forgets in 50 cycles).
const (
	lagMost = 20
	lagKeep = 0.98
)

// lag finds out how many cycles after its order a spark fires: where the moves of
// what fired are most like the moves of the orders. Without any move it is one cycle.
type lag struct {
	begun  bool
	orders [lagMost + 1]float64 // the latest first [rad]
	unlike [lagMost]float64     // sum of differences of moves [rad], by cycles less one
	fired  float64              // [rad]
	cycles int
}

// see takes the last order before a cycle and what the cycle fired with, and
// returns by how much a hand moved that from its order [rad]. While the lag is not
// known a hand that pushes towards advance seems the greater for a retard on its
// way: too late a spark, for no longer than the lag.
func (l *lag) see(ordered, fired float64) float64 {
	if !l.begun {
		l.begun, l.fired = true, fired
		for i := range l.orders {
			l.orders[i] = ordered
		}
	}
	copy(l.orders[1:], l.orders[:lagMost])
	l.orders[0] = ordered
	best := 0
	for i := range l.unlike {
		l.unlike[i] = lagKeep*l.unlike[i] + math.Abs(fired-l.fired-(l.orders[i]-l.orders[i+1]))
		if l.unlike[i] < l.unlike[best] {
			best = i
		}
	}
	l.fired, l.cycles = fired, best+1
	return fired - l.orders[best]
}

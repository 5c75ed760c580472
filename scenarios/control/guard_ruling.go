package control

import (
	"fmt"
	"math"
)

// ruling is what the rules of a guard find about one order.
type ruling struct {
	seen        *Seen
	want        Order
	last        Order   // that passed
	base, home  float64 // of the base map, as it is, and the order by which it fires within limits and no earlier than the believed range [rad]
	fired, hand float64 // what fired, and by how much a hand moved it from its order [rad]
	push        float64 // the hand, where it pushes towards advance; else 0 [rad]
	homeRate    float64 // [rad]
	angle       float64 // of the pressure peak by this cycle [rad]; NaN: no reading, or none that can be
	trusted     bool    // the reading of this cycle may be gone by

	taken           bool // a rule steers, not the law
	order           float64
	state           State
	why             reason
	low, high       float64 // bounds of order [rad]
	lowWhy, highWhy reason
}

// take lets a rule steer in place of the law. Of several the later spark wins.
func (c *ruling) take(order float64, state State, why reason) {
	if !c.taken || order < c.order {
		c.taken, c.order, c.state, c.why = true, order, state, why
	}
}

// goHome steers to the base map: at once where it is later, slowly where it is earlier.
func (c *ruling) goHome(why reason) {
	c.take(math.Min(c.home, c.last.Leading+c.homeRate), Fallback, why)
}

// atMost bounds the order from above; the format of why begins with the order.
func (c *ruling) atMost(v float64, why reason) {
	if v < c.high {
		c.high, c.highWhy = v, why
	}
}

// atLeast bounds the order from below; an upper bound wins over it.
func (c *ruling) atLeast(v float64, why reason) {
	if v > c.low {
		c.low, c.lowWhy = v, why
	}
}

// settle returns the order within bounds. A bound that cuts an order of the law
// gives the reason; where a rule steers, the rule does.
func (c *ruling) settle() (order float64, state State, why reason) {
	order, why = c.order, c.why
	low := math.Min(c.low, c.high)
	cut := reason{}
	switch {
	case order > c.high:
		order, cut = c.high, c.highWhy
	case order < low:
		order, cut = low, c.lowWhy
	default:
		return order, c.state, why
	}
	if c.state != Follow {
		return order, c.state, why
	}
	cut.numbers[0] = c.order / deg
	return order, Limit, cut
}

// reason is the text of a decision before it is written: a format and its numbers.
type reason struct {
	format  string
	numbers [3]float64 // in units that people read
	count   int
}

func because(format string, numbers ...float64) reason {
	r := reason{format: format, count: len(numbers)}
	copy(r.numbers[:], numbers)
	return r
}

// String writes r out.
func (r reason) String() string {
	var all [3]any
	for i, v := range r.numbers {
		all[i] = v
	}
	return fmt.Sprintf(r.format, all[:r.count]...)
}

package control

import "math"

// believed keeps what fires where readings can be believed. Where a hand pushed the
// spark out towards advance, the law is not heard and the spark goes to the base map at
// once, whatever the hand adds: what was read on the way there says nothing. From
// there the law goes on, and orders stay so much later while the hand is there. Out on
// the side of retard the spark comes back no earlier than the base map. Believed
// nowhere: to the base map.
func (g *Guard) believed(c *ruling) {
	if g.envelope == nil {
		return
	}
	r := g.envelope.At(c.seen.Speed, c.seen.MAP)
	if !(r.From <= r.To) {
		c.trusted = false
		c.goHome(because("readings cannot be believed at any spark here"))
		return
	}
	to := r.To - g.n.margin
	from := math.Min(r.From+g.n.margin, to)
	c.home = math.Max(g.n.least, math.Min(g.n.most, math.Min(to, c.base))) - c.push // a base later than the range needs no reading
	beyond := because("order %.1f deg is beyond the believed range, %.1f to %.1f", 0, r.From/deg, r.To/deg)
	if from-c.push > c.low {
		if g.n.authority > 0 {
			from = math.Min(from, c.base+g.n.authority)
		}
		c.atLeast(from-c.push, beyond)
	}
	c.atMost(to-c.push, beyond)
	why := because("spark %.1f deg is beyond the believed range, %.1f to %.1f", c.fired/deg, r.From/deg, r.To/deg)
	switch last := c.last.Leading; {
	case c.fired > r.To+rounding:
		c.trusted = false
		c.take(math.Min(c.home, last), Return, why)
	case c.fired < r.From-rounding:
		c.trusted = false
		c.take(math.Min(from-c.hand, math.Max(last, c.home)), Return, why)
	}
}

package control

import "math"

// limits keeps orders within absolute limits. Lower bounds, these and others, are of
// what fires: while a hand pushes the spark towards advance orders may be as much later.
func (g *Guard) limits(c *ruling) {
	why := because("order %.1f deg is beyond the limits, %.1f to %.1f", 0, g.n.least/deg, g.n.most/deg)
	c.atLeast(g.n.least-c.push, why)
	c.atMost(g.n.most, why)
}

// authority keeps orders near the base map.
func (g *Guard) authority(c *ruling) {
	if g.n.authority == 0 {
		return
	}
	why := because("order %.1f deg is more than %.1f from the base map, %.1f", 0, g.n.authority/deg, c.base/deg)
	c.atLeast(c.base-g.n.authority-c.push, why)
	c.atMost(c.base+g.n.authority, why)
}

// slew bounds the move towards advance. Towards retard any move passes.
func (g *Guard) slew(c *ruling) {
	if g.n.slew > 0 {
		c.atMost(c.last.Leading+g.n.slew, because("order %.1f deg is more than %.1f earlier than the last, %.1f", 0, g.n.slew/deg, c.last.Leading/deg))
	}
}

// ceiling is the earliest spark that may fire for some cycles.
type ceiling struct {
	at   float64 // [rad]
	left int     // cycles
	why  reason
}

// ceilings retards, at once, from a spark that fired with too high a peak or knocked,
// within authority, and lets nothing earlier pass until all was well for some cycles.
func (g *Guard) ceilings(c *ruling) {
	t := &g.ceiling
	high := g.n.peak > 0 && c.seen.Peak > g.n.peak
	loud := g.n.knock > 0 && c.seen.Knock > g.n.knock
	switch {
	case high || loud:
		at := c.fired - g.n.ceiling
		if t.left > 0 {
			at = math.Min(at, t.at)
		}
		t.at, t.left = at, g.n.recover
		if t.why = because("order %.1f deg is too early: peak pressure was %.1f bar, %.1f are allowed", 0, c.seen.Peak/1e5, g.n.peak/1e5); !high {
			t.why = because("order %.1f deg is too early: knock was %.2f times the usual, %.2f are allowed", 0, c.seen.Knock, g.n.knock)
		}
	case t.left > 0:
		t.left--
	}
	if t.left == 0 {
		return
	}
	at := t.at
	if g.n.authority > 0 {
		at = math.Max(at, c.base-g.n.authority)
	}
	at -= c.push
	c.atMost(at, t.why)
}

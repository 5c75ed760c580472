package control

import "math"

// A true peak comes 0.4 to 0.8 deg later for each deg of retard, and less far
// beyond MBT (literature, section 0); what only looks like one does not answer.
// slopeErrors is by how many standard errors the slope must be below 0: one-sided,
// a reading that does not answer passes a test with 2.3 %, and one of two with 4.5 %.
// condemned is for how long it is not heard then, in recover_cycles. Our own choice.
const (
	slopeErrors = 2
	condemned   = 4
)

// slopeTest is what is known from small probing moves of the spark.
type slopeTest struct {
	passed float64 // spark of the last passed test, ahead of the base map [rad]
	since  int     // cycles since the last test
	eager  int     // readings in a row upon which the law asked for no retard

	probing bool
	again   bool    // it is the repetition
	cycle   int     // of the probe
	cycles  int     // of it, with those that the last order takes to fire
	spot    float64 // about which it probes [rad]
	ahead   float64 // of the base map, what fired there [rad]
	fit     fit

	left int // cycles until the law has the spark again
	why  reason
}

// slopes probes, once the law has asked for no retard upon some readings: some cycles retarded, as many advanced. A reading whose angle does not fall
// with the spark that fired is false: to the base map, to try again later. A test that
// another rule interrupts counts for nothing. A passed one counts until what fires is
// no earlier than the base map.
func (g *Guard) slopes(c *ruling) {
	t := &g.slope
	if g.n.probeEvery == 0 && g.n.probeAfter == 0 {
		return
	}
	if t.left > 0 {
		t.left--
		c.goHome(t.why)
		return
	}
	t.since++
	if c.taken || !c.trusted {
		t.probing = false
		return
	}
	switch {
	case c.order < c.last.Leading:
		t.eager = 0
	case !math.IsNaN(c.angle):
		t.eager++
	}
	ahead := c.fired - c.base
	if ahead <= 0 {
		t.passed = 0
	}
	due := g.n.probeEvery > 0 && t.since >= g.n.probeEvery || g.n.probeAfter > 0 && ahead-t.passed > g.n.probeAfter
	switch {
	case t.probing:
		t.fit.add(c.fired, c.angle)
		t.cycle++
	case due && t.eager > g.n.patience:
		t.begin(g, c, ahead)
	default:
		return
	}
	if t.cycle == t.cycles {
		slope, se := t.fit.slope()
		switch {
		case slope+slopeErrors*se < 0:
			t.probing, t.passed, t.since = false, t.ahead, 0
			return
		case !t.again:
			t.begin(g, c, ahead)
			t.again = true
		default:
			*t = slopeTest{left: condemned * g.n.recover, why: because("a later spark makes no later peak: slope %.2f, standard error %.2f", slope, se)}
			if math.IsNaN(slope) {
				t.why = because("too few readings to tell whether a later spark makes a later peak")
			}
			c.goHome(t.why)
			return
		}
	}
	order := t.spot
	switch {
	case t.cycle < g.n.probeCycles:
		order -= g.n.probe
	case t.cycle < 2*g.n.probeCycles:
		order += g.n.probe
	}
	c.take(order, Hold, because("probing %.1f deg about %.1f", g.n.probe/deg, t.spot/deg))
}

// begin begins to probe, where bounds leave room for it.
func (t *slopeTest) begin(g *Guard, c *ruling, ahead float64) {
	t.probing, t.again, t.cycle, t.cycles = true, false, 0, 2*g.n.probeCycles+g.lag.cycles
	t.spot, t.ahead, t.fit = math.Min(c.last.Leading, c.high-g.n.probe), ahead, fit{}
}

// fit is the straight line of least squares through readings [rad] over sparks [rad]:
// with two sparks, through the means of both.
type fit struct {
	n, x, y    float64 // count and means
	xx, xy, yy float64 // sums of products of distances from them
}

// add takes a reading; NaN is none.
func (f *fit) add(x, y float64) {
	if math.IsNaN(y) {
		return
	}
	f.n++
	dx, dy := x-f.x, y-f.y
	f.x += dx / f.n
	f.y += dy / f.n
	f.xx += dx * (x - f.x)
	f.xy += dx * (y - f.y)
	f.yy += dy * (y - f.y)
}

// slope returns the slope and its standard error [rad/rad]; NaN where there are
// fewer than three readings or one spark.
func (f *fit) slope() (slope, se float64) {
	if !(f.n > 2 && f.xx > 0) {
		return math.NaN(), math.NaN()
	}
	slope = f.xy / f.xx
	rest := math.Max(0, f.yy-slope*f.xy)
	return slope, math.Sqrt(rest / (f.n - 2) / f.xx)
}

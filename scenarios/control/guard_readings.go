package control

import (
	"math"
	"math/bits"

	"phasebench/scenarios/reader"
)

// noSpark is the reason to hold o.
func noSpark(o Order) reason {
	v := o.Leading
	if spark(v) {
		v = o.Trailing
	}
	return because("order %.4g deg is no spark", v/deg)
}

// notUsable holds where the order is no spark, and goes to the base map when that
// lasts.
func (g *Guard) notUsable(c *ruling) {
	switch {
	case usable(c.want):
		g.unusable = 0
		return
	case g.unusable < g.n.patience:
		g.unusable++
		c.take(c.last.Leading, Hold, noSpark(c.want))
	default:
		c.goHome(noSpark(c.want))
	}
}

// lostWindow is how many cycles the share of missing readings is of.
const lostWindow = 32

// lost counts missing readings.
type lost struct {
	missing uint32 // of the last lostWindow cycles, the latest lowest
	row     int
	left    int // cycles until the law has the spark again
	why     reason
}

// emptyReadings goes to the base map where readings are missing, and stays until
// they are back for some cycles.
func (g *Guard) emptyReadings(c *ruling) {
	if g.n.lost == 0 && g.n.lostShare == 0 {
		return
	}
	t := &g.lost
	if c.trusted {
		t.left = max(0, t.left-1)
		t.missing <<= 1
		if math.IsNaN(c.angle) {
			t.missing |= 1
			t.row++
		} else {
			t.row = 0
		}
	}
	count := bits.OnesCount32(t.missing)
	switch {
	case g.n.lost > 0 && t.row > g.n.lost:
		t.left, t.why = g.n.recover, because("more than %.0f readings in a row are missing", float64(g.n.lost))
	case g.n.lostShare > 0 && float64(count) > g.n.lostShare*lostWindow:
		t.left, t.why = g.n.recover, because("more than %.0f %% of the last %.0f readings are missing", g.n.lostShare*100, lostWindow)
	}
	if t.left > 0 {
		c.goHome(t.why)
	}
}

// Our own choice: it takes time to look, so that is done once in some cycles; two
// tops in so many looks are no chance; a spark that moved by so
// much, 0.8 deg of LPP for each at most (literature, section 0), makes two crowds of
// true readings, and the window begins anew.
const (
	crowdsEvery = 4
	crowdsSure  = 2
	crowdsMove  = 6 * deg
)

// crowds looks for two crowds among the readings of the last cycles.
type crowds struct {
	all   reader.Combiner // nil: not looked for
	count int             // readings in it, with those that declined
	spot  float64         // spark at the first of them [rad]
	next  int             // cycles until it is looked again
	row   int             // looks with two crowds
	held  int             // cycles
	left  int             // cycles until the law has the spark again
}

// twoCrowds holds where readings lie in two crowds, one of which must be false, and
// goes to the base map when that lasts. A crowd has a top of its own in the density of
// readings, and so many readings that too few are left near the median: a few far
// away are none.
func (g *Guard) twoCrowds(c *ruling) {
	t := &g.crowds
	if t.all == nil {
		return
	}
	if c.trusted {
		t.left = max(0, t.left-1)
		if t.count == 0 || math.Abs(c.fired-t.spot) > crowdsMove {
			t.all.Reset()
			t.count, t.spot = 0, c.fired
		}
		t.all.Add(reader.Reading{Angle: c.angle})
		t.count = min(t.count+1, g.n.modes)
		if t.next--; t.next < 0 {
			t.look(g)
		}
	}
	why := because("readings lie in two crowds")
	switch {
	case t.row >= crowdsSure && t.held >= g.n.patience:
		t.left = g.n.recover
	case t.row >= crowdsSure && t.left == 0:
		t.held++
		c.take(c.last.Leading, Hold, why)
	}
	if t.left > 0 {
		c.goHome(why)
	}
}

// look looks for two crowds in a full window.
func (t *crowds) look(g *Guard) {
	t.next = crowdsEvery - 1
	if t.count == g.n.modes {
		r := t.all.Result()
		near := r.Confidence * float64(r.Count+r.Declined) / float64(r.Count) // NaN without a reading
		if r.Modes > 1 && near < g.n.modesShare {
			t.row++
			return
		}
	}
	t.row, t.held = 0, 0
}

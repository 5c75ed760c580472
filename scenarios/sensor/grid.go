package sensor

import (
	"math"

	"phasebench/scenarios/stream"
)

// grid holds the instants at which pressure and ion current are sampled in one
// cycle. In time base they go on across cycles without a gap.
type grid struct {
	theta []float64 // true angle [rad]; an offset may carry it beyond the cycle's ends
	time  []float64 // since the start of the cycle [s]
	step  []float64 // since the sample before, of the cycle before if need be [s], > 0
	place []place   // among the angles of the cycle

	start, pace float64 // first angle and distance of those of the cycle [rad]
	count       int     // of those
	period      float64 // time that the cycle takes [s]
	next        float64 // time base: first sample of the next cycle since its start [s]
	gap         float64 // from the last sample to the end of the cycle [s]
	tick        float64 // time base: from sample to sample [s]

	swing []float64 // angle base: what a ripple of 1/2 adds to speed times time [rad]
	swung swung     // what that is of
}

// swung is what the angles of samples, and their swing, depend on in angle base.
type swung struct {
	count                            int
	first, offset, begin, low, order float64
}

// place is where a sample lies among the angles of the cycle: between before and
// after, and how far on, 0 to 1. The ends of the cycle are neighbours.
type place struct {
	before, after int
	on            float64
}

// linear returns what y, given at the angles of the cycle, is there.
func (p place) linear(y []float64) float64 { return y[p.before] + p.on*(y[p.after]-y[p.before]) }

func (g *grid) reset() { g.next, g.gap = 0, math.NaN() }

// lay places the samples of c at rate [Hz], or at its angles if that is 0. What
// the encoder believes is the true angle plus offset [rad]. The cycle ends at
// end [rad].
func (g *grid) lay(c *stream.Cycle, rate, offset, end float64) {
	g.count, g.start = len(c.Theta), c.Theta[0]
	g.pace = (end - g.start) / float64(g.count)
	g.period = c.Clock.Time(end)
	n := g.count
	if rate > 0 {
		g.tick = 1 / rate
		n = max(0, int(math.Ceil((g.period-g.next)*rate)))
	}
	g.theta, g.time, g.step, g.place = fit(g.theta, n), fit(g.time, n), fit(g.step, n), fit(g.place, n)
	if rate > 0 {
		for i := range n {
			g.time[i] = g.next + float64(i)*g.tick
			g.theta[i] = c.Clock.Angle(g.time[i])
			g.place[i] = g.at(g.theta[i])
		}
	} else {
		g.angles(c, offset)
	}
	if n == 0 {
		return
	}
	for i := 1; i < n; i++ {
		g.step[i] = g.time[i] - g.time[i-1]
	}
	// An offset that begins may put the first sample before the last one.
	const least = 1e-9
	g.step[0] = least
	if before := g.gap + g.time[0]; before > least { // not with NaN
		g.step[0] = before
	}
}

// leave ends the cycle.
func (g *grid) leave() {
	n := len(g.time)
	if n == 0 {
		g.next -= g.period
		g.gap += g.period
		return
	}
	g.gap = g.period - g.time[n-1]
	g.next = g.tick - g.gap
}

// angles places the samples at the angles of c less offset [rad]. Time is the
// angle plus the ripple's share of a swing, over speed: the swing is kept while
// angles stay as they are.
func (g *grid) angles(c *stream.Cycle, offset float64) {
	k := &c.Clock
	if now := (swung{len(c.Theta), c.Theta[0], offset, k.Start, k.RippleAt, k.Order}); g.swung != now {
		g.swung, g.swing = now, fit(g.swing, now.count)
		half := stream.Clock{Speed: 1, Ripple: 0.5, RippleAt: k.RippleAt, Start: k.Start, Order: k.Order}
		for i, theta := range c.Theta {
			g.theta[i] = theta - offset
			g.place[i] = g.at(g.theta[i])
			g.swing[i] = half.Time(g.theta[i]) - (g.theta[i] - k.Start)
		}
	}
	for i, s := range g.swing {
		g.time[i] = (g.theta[i] - k.Start + 2*k.Ripple*s) / k.Speed
	}
}

// at finds theta [rad] among the angles of the cycle.
func (g *grid) at(theta float64) place {
	x := (theta - g.start) / g.pace
	f := math.Floor(x)
	on := x - f
	if on > 1-1e-9 {
		f, on = f+1, 0
	}
	if on < 1e-9 {
		on = 0
	}
	k := ((int(f) % g.count) + g.count) % g.count
	return place{k, (k + 1) % g.count, on}
}

// sample stores in dst what y, given at the angles of the cycle, is at those of
// the samples, on the cubic through four neighbours.
func (g *grid) sample(dst, y []float64) {
	n := g.count
	for i, p := range g.place {
		if p.on == 0 {
			dst[i] = y[p.before]
			continue
		}
		u, y0, y3 := p.on, y[(p.before+n-1)%n], y[(p.after+1)%n]
		dst[i] = -u*(u-1)*(u-2)/6*y0 + (u+1)*(u-1)*(u-2)/2*y[p.before] - (u+1)*u*(u-2)/2*y[p.after] + (u+1)*u*(u-1)/6*y3
	}
}

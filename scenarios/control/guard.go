package control

import (
	"math"

	"phasebench/scenarios/reader"
)

// State is what a guard does with an order.
type State string

// States of a guard, the least interference first.
const (
	Follow   State = "follow"   // the order passes
	Limit    State = "limit"    // the order passes up to a limit
	Hold     State = "hold"     // the last order stays
	Return   State = "return"   // on the way to the base map
	Fallback State = "fallback" // on the base map
)

// Decision is what a guard makes of one order.
type Decision struct {
	Order Order // what passes [rad]
	State State
	Why   string // the rule that decided; "" for Follow
}

// Range is one of spark advance [rad], both NaN: nowhere.
type Range struct{ From, To float64 }

// Envelope tells where readings can be believed.
type Envelope interface {
	At(speed, mapPa float64) Range // at a speed [rad/s] and manifold pressure [Pa]
}

// GuardSettings say what a guard watches.
type GuardSettings struct {
	Off      bool               // orders pass; one that is no spark is held
	Envelope bool               // stay where readings can be believed
	Numbers  map[string]float64 // of GuardNumbers, in units of their keys; those left out are usual
}

// Guard stands between a law and the coil. It goes through its rules once a cycle;
// where they disagree the later spark wins. It serves one run in one goroutine.
type Guard struct {
	off      bool
	envelope Envelope // nil: nobody asked
	n        guardNumbers

	begun    bool
	last     Order   // that passed
	base     float64 // the last that was a spark
	lag      lag
	unusable int // orders in a row
	lost     lost
	crowds   crowds
	slope    slopeTest
	ceiling  ceiling
	now      ruling
	said     reason // what why is the text of
	why      string
}

// NewGuard returns a guard; envelope may be nil. Errors are a *model.Problem.
func NewGuard(set GuardSettings, envelope Envelope) (*Guard, error) {
	n, err := newGuardNumbers(set.Numbers)
	if err != nil {
		return nil, err
	}
	g := &Guard{off: set.Off, n: n}
	if set.Envelope {
		g.envelope = envelope
	}
	if n.modes > 0 {
		if g.crowds.all, err = reader.NewCombiner("median", n.modes); err != nil {
			return nil, err
		}
	}
	g.Reset()
	return g, nil
}

// Reset forgets: the next cycle is the first.
func (g *Guard) Reset() {
	*g = Guard{off: g.off, envelope: g.envelope, n: g.n, crowds: crowds{all: g.crowds.all}}
	if g.crowds.all != nil {
		g.crowds.all.Reset()
	}
}

// guardRules in their order: bounds first, then what may be gone by, then who steers
// in place of the law. The slope test comes last: it probes only where all others
// are content.
var guardRules = []func(*Guard, *ruling){
	(*Guard).limits,
	(*Guard).authority,
	(*Guard).slew,
	(*Guard).ceilings,
	(*Guard).believed,
	(*Guard).notUsable,
	(*Guard).emptyReadings,
	(*Guard).twoCrowds,
	(*Guard).slopes,
}

// Decide decides about an order for the cycles after s. A Trailing order moves by as
// much as the leading one, and no earlier than the limit.
func (g *Guard) Decide(s *Seen, want Order) Decision {
	g.see(s)
	c := &g.now
	c.want = want
	if g.off {
		if usable(want) {
			g.last = want
			return Decision{want, Follow, ""}
		}
		c.take(c.last.Leading, Hold, noSpark(want))
		return g.decision(c.order, c.state, c.why)
	}
	c.order = want.Leading
	for _, rule := range guardRules {
		rule(g, c)
	}
	order, state, why := c.settle()
	order = math.Max(g.n.least-c.push, math.Min(g.n.most, order))
	if state == Fallback && order != c.home {
		state = Return
	}
	return g.decision(order, state, why)
}

// see prepares the ruling about the order after s.
func (g *Guard) see(s *Seen) {
	if spark(s.Base) {
		g.base = s.Base
	}
	switch {
	case usable(s.Ordered):
		g.last = s.Ordered
	case !g.begun:
		g.last = together(g.base)
	}
	g.begun = true
	fired := s.Fired.Leading
	if !spark(fired) {
		fired = g.last.Leading
	}
	angle := s.Single.Angle
	if !(math.Abs(angle) <= mostAngle) {
		angle = math.NaN()
	}
	g.now = ruling{
		seen: s, angle: angle, last: g.last, base: g.base, fired: fired, hand: g.lag.see(g.last.Leading, fired), trusted: true,
		state: Follow, low: math.Inf(-1), high: math.Inf(1), homeRate: g.n.home,
	}
	if g.now.hand > rounding {
		g.now.push = math.Min(g.now.hand, g.n.most-g.n.least)
	}
	g.now.home = math.Max(g.n.least, math.Min(g.n.most, g.base)) - g.now.push
}

// decision puts a decision together.
func (g *Guard) decision(leading float64, state State, why reason) Decision {
	d := Decision{Order: Order{leading, math.NaN()}, State: state}
	from := g.now.want
	if !usable(from) {
		from = g.now.last
	}
	if !math.IsNaN(from.Trailing) {
		d.Order.Trailing = from.Trailing + (leading - from.Leading)
		if !g.off {
			d.Order.Trailing = math.Min(g.n.most, d.Order.Trailing)
		}
	}
	g.last = d.Order
	if g.now.seen = nil; state == Follow {
		return d
	}
	if why != g.said {
		g.said, g.why = why, why.String()
	}
	d.Why = g.why
	return d
}

// rounding is by how much what fires may differ from its order for the steps of the
// actuator [rad]. Our own choice.
const rounding = 0.25 * deg

// mostAngle is beyond any reading [rad]: half of the cycle to either side.
const mostAngle = 360 * deg

// mostSpark is beyond any spark [rad]: there is no more of a turn to either side.
const mostSpark = 180 * deg

// spark tells whether v can be a spark; NaN cannot.
func spark(v float64) bool { return math.Abs(v) <= mostSpark }

// usable tells whether both sparks of o can be; a trailing one may be NaN.
func usable(o Order) bool {
	return spark(o.Leading) && (math.IsNaN(o.Trailing) || spark(o.Trailing))
}

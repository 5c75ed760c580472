package control

import "math"

// Driver is a Law that tells which of its laws drives: "phase" or "knock".
type Driver interface{ Driving() string }

// Driving tells which law drives where law is a Driver, or RetardOnly of one; "" else.
func Driving(law Law) string {
	if r, ok := law.(*retardOnly); ok {
		law = r.Law
	}
	if d, ok := law.(Driver); ok {
		return d.Driving()
	}
	return ""
}

// knockMargin is how far the limit of a knock law may lie from what passed [rad]. Our
// own choice: less than the usual retard at a knock event, so that the first one bites
// at once, and about what the spark of a phasing law scatters by.
const knockMargin = 1 * deg

// HandOver returns a law, a Driver, that orders the later of what two laws order: the
// phasing law drives unless the limit of the knock law is later. To keep to the base
// map as well, wrap the phasing law: HandOver(RetardOnly(phase), knock).
//
// Each goes on from an Ordered of its own, so that neither winds up and either takes
// over without a bump:
//
//   - the phasing law from what passed, whoever ordered it: it is always where the
//     spark is;
//   - the knock law from its own limit, but no farther than 1 deg from what passed.
//     Beyond that the limit is remembered, and moves by as much as the knock law
//     advances; one that retards does so from what it saw. So scatter of the phasing
//     law frees no limit that knock has lowered, a spark that was far away comes back
//     to it freely, and a limit that is far above bites at once. Before the first
//     retard there is none.
//
// So phasing advances by little more than 1 deg a cycle. A phasing law whose order is not
// a number orders none, for a guard to see; a knock law leaves its limit alone then.
// What the knock law orders for the trailing plug is not asked.
func HandOver(phase, knock Law) Law {
	return &handOver{phase: phase, knock: knock, limit: math.Inf(1)}
}

type handOver struct {
	phase, knock Law
	limit        float64 // of the knock law, as remembered [rad]
	limited      bool    // the knock law drives
	own          Seen    // as the knock law sees it
}

// Reset implements Law.
func (l *handOver) Reset() {
	l.phase.Reset()
	l.knock.Reset()
	l.limit, l.limited = math.Inf(1), false
}

// Driving implements Driver.
func (l *handOver) Driving() string {
	if l.limited {
		return "knock"
	}
	return "phase"
}

// Next implements Law.
func (l *handOver) Next(s *Seen) Order {
	at := s.Ordered.Leading
	from := at + bounded(l.limit-at, knockMargin)
	l.own = *s
	l.own.Ordered = Order{from, s.Ordered.Trailing + (from - at)}
	limit := capped(l.knock.Next(&l.own), math.Inf(1)).Leading
	if !finite(limit) {
		limit = from
	}
	if limit < from {
		l.limit = limit
	} else {
		l.limit += limit - from
	}
	want := l.phase.Next(s)
	l.limited = want.Leading > limit
	return capped(want, limit)
}

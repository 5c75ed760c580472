package control

import (
	"math"

	"phasebench/scenarios/reader"
)

// Numbers of an adviser.
const (
	// localSlope is by how much the pressure peak comes earlier for an earlier spark
	// [rad/rad]: 0.65 to 0.8 about MBT for a fixed shape of burn (recomputed from the
	// first law). It falls to 0.5 at 15 deg over-advance: there the advice asks for too
	// little retard.
	localSlope = 0.75

	// halfSure is the standard error of an advice that halves its confidence [rad]. Our
	// own choice.
	halfSure = 1 * deg
)

// Advise returns an Adviser that moves nothing: it orders the base map, or the last
// order where there is none. Out of the last cycles, 2 to 10000 (else it panics), it
// tells by how much the timing is from where the target asks for it,
//
//	off = mean(f + e/a) − f now,  e = LPP − target of single cycles,
//
// where a is the local slope of the plant, 0.75 deg/deg, and f how much earlier than
// the base map a cycle fired, so that the advice answers at once when a hand turns the
// distributor. Its confidence is a product:
//
//   - the share of all cycles that read near the mean: no more than are not declined,
//     and little between two crowds, see reader.Combined;
//   - the mean quality of the readings;
//   - 1/(1+(σ/1 deg)²) of the standard error σ of off, readings taken for independent;
//     0 with fewer than two.
func Advise(cycles int) Law {
	if cycles < 2 {
		panic("control: Advise needs 2 cycles or more")
	}
	recent, err := reader.NewCombiner("mean", cycles)
	if err != nil {
		panic(err)
	}
	return &advise{recent: recent, quality: newRing[float64](cycles)}
}

type advise struct {
	recent  reader.Combiner // of a·f + e [rad]
	quality ring[float64]   // of the same cycles; 0: declined
	set     float64         // f of the last cycle that told [rad]
}

// Reset implements Law.
func (l *advise) Reset() {
	l.recent.Reset()
	l.quality.clear()
	l.set = 0
}

// Next implements Law.
func (l *advise) Next(s *Seen) Order {
	if set := s.Fired.Leading - s.Base; finite(set) {
		l.set = set
	}
	r := s.Single
	r.Angle += localSlope*l.set - s.Target
	if !(math.Abs(r.Angle) <= 4*math.Pi) { // declined, or no angle of a cycle
		r.Angle, r.Quality = math.NaN(), 0
	}
	l.recent.Add(r)
	if !(r.Quality > 0) {
		r.Quality = 0
	}
	l.quality.add(math.Min(1, r.Quality))
	if !finite(s.Base) {
		return s.Ordered
	}
	return together(s.Base)
}

// Advice implements Adviser.
func (l *advise) Advice() Advice {
	c := l.recent.Result()
	out := Advice{Off: c.Angle/localSlope - l.set}
	if c.Count < 2 {
		return out
	}
	sum := 0.
	for _, q := range l.quality.all {
		sum += q
	}
	n := float64(c.Count)
	miss := c.Spread / math.Sqrt(n) / localSlope / halfSure
	out.Confidence = c.Confidence * sum / n / (1 + miss*miss)
	return out
}

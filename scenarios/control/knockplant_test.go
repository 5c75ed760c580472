package control

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// knockPlant is an invented engine: a cycle knocks with a probability that rises with
// the spark,
//
//	p = 1/(1+exp(−(s−half)/width)),
//
// each cycle for itself, ten times as loud as usual. It fires as ordered by the cycle
// before.
type knockPlant struct {
	half, width float64 // [rad]
	r           *rand.Rand
	seen        Seen
}

// knocking returns a plant of that width [rad] that knocks in half of the cycles at a
// spark of 30 deg, over a base map of 20 deg, with the spark at start [rad]. One of
// 1 deg knocks in 1 % of the cycles at 25.4 deg.
func knocking(seed uint64, start, width float64) *knockPlant {
	return &knockPlant{half: 30 * deg, width: width, r: rand.New(rand.NewPCG(seed, 1)),
		seen: Seen{Base: 20 * deg, Ordered: together(start)}}
}

// step runs one cycle under law.
func (p *knockPlant) step(law Law) (spark float64, knocked bool) {
	spark = p.seen.Ordered.Leading
	knocked = p.r.Float64() < 1/(1+math.Exp(-(spark-p.half)/p.width))
	p.seen.Knock = 1
	if knocked {
		p.seen.Knock = 10
	}
	p.seen.Ordered = law.Next(&p.seen)
	p.seen.Cycle++
	return spark, knocked
}

// held is how a law holds an engine: knock rate [-], mean and standard deviation of
// the spark [deg].
type held struct{ rate, mean, sd float64 }

// hold runs 40 plants under law, each for 40,000 cycles after it has settled, and
// returns what holds for all cycles, with the standard error of the mean spark
// between plants.
func hold(law Law, seed uint64, width float64) (all held, miss float64) {
	const plants, cycles = 40, 40_000
	var knocks int
	var sparks, means []float64
	for i := range uint64(plants) {
		p := knocking(100*seed+i, 25*deg, width)
		law.Reset()
		for range 5000 {
			p.step(law)
		}
		sum := 0.
		for range cycles {
			s, knocked := p.step(law)
			if knocked {
				knocks++
			}
			sparks = append(sparks, s/deg)
			sum += s / deg
		}
		means = append(means, sum/cycles)
	}
	mean, sd := stat.MeanStdDev(sparks, nil)
	return held{float64(knocks) / (plants * cycles), mean, sd}, stat.StdDev(means, nil) / math.Sqrt(plants)
}

// knockAnswer is how a law answers a spark that is wrong: cycles until it is right, and
// knock events in the first 300 cycles.
type knockAnswer struct{ mean, median, events float64 }

// reach returns how law brings plants of that width [rad] from start [deg], give or
// take 2 deg, to a spark [deg].
func reach(law Law, start, to, width float64) knockAnswer {
	const plants, counted, most = 1000, 300, 20_000
	var took []float64
	events := 0.
	for i := range uint64(plants) {
		from := start + 4*(float64(i)+0.5)/plants - 2
		p := knocking(5000+i, from*deg, width)
		law.Reset()
		done := -1
		for n := 0; n < most && (n < counted || done < 0); n++ {
			s, knocked := p.step(law)
			if knocked && n < counted {
				events++
			}
			if done < 0 && (from > to) != (s > to*deg) {
				done = n
			}
		}
		if done < 0 {
			done = most
		}
		took = append(took, float64(done))
	}
	slices.Sort(took)
	return knockAnswer{stat.Mean(took, nil), stat.Quantile(0.5, stat.Empirical, took, nil), events / plants}
}

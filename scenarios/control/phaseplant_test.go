package control

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/scenarios/reader"
)

// phasePlant is an invented engine whose pressure peak comes a·1 deg earlier for an
// earlier spark, LPP = late − a·s, and scatters, each cycle for itself. It fires as
// ordered by the cycle before, 18.3 cycles a second.
type phasePlant struct {
	late, a, sigma float64 // [rad], [-], [rad]
	r              *rand.Rand
	seen           Seen
	after          func(p *phasePlant, scatter float64) // fills in what else is measured; nil: nothing
}

// phasing returns one with a = 0.75 whose peak comes at 15 deg, the target, for a spark of 25 deg,
// and which begins at start [deg].
func phasing(seed uint64, sigma, start float64) *phasePlant {
	p := &phasePlant{late: (15 + 0.75*25) * deg, a: 0.75, sigma: sigma * deg, r: rand.New(rand.NewPCG(seed, 2)), seen: *blind(start * deg)}
	p.seen.Base, p.seen.Target, p.seen.Time = 20*deg, 15*deg, 0
	p.seen.Speed, p.seen.MAP = scheduledSpeed, 80e3
	return p
}

// step runs one cycle under law and returns the spark it fired with [rad].
func (p *phasePlant) step(law Law) float64 {
	s := &p.seen
	spark := s.Ordered.Leading
	s.Fired = s.Ordered
	s.Time += 4 * math.Pi / s.Speed
	scatter := p.sigma * p.r.NormFloat64()
	s.Reading = reader.Reading{Angle: p.late - p.a*spark + scatter, Quality: 1}
	s.Single = s.Reading
	if p.after != nil {
		p.after(p, scatter)
	}
	s.Ordered = law.Next(s)
	s.Cycle++
	return spark
}

// settled runs law on p and returns mean and standard deviation of the spark [deg]
// over count cycles after some to settle.
func (p *phasePlant) settled(law Law, settle, count int) (mean, sd float64) {
	for range settle {
		p.step(law)
	}
	sparks := make([]float64, count)
	for i := range sparks {
		sparks[i] = p.step(law) / deg
	}
	return stat.MeanStdDev(sparks, nil)
}

// errorsAfterStep returns how the mean error of law [deg] over 200 plants answers to a start
// 8 deg too late, cycle by cycle.
func errorsAfterStep(law Law, sigma float64, cycles int) []float64 {
	const plants = 200
	mean := make([]float64, cycles)
	for i := range uint64(plants) {
		p := phasing(1000+i, sigma, 17)
		law.Reset()
		for n := range mean {
			mean[n] += (25 - p.step(law)/deg) / plants
		}
	}
	return mean
}

// everyLaw calls f for each kind of law in the table, with usual numbers.
func everyLaw(t *testing.T, f func(t *testing.T, k Kind, law Law)) {
	for _, k := range Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			law, err := New(k.Name, nil)
			require.NoError(t, err)
			f(t, k, law)
		})
	}
}

package reader

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// place is where the pump set runs. MBT is that of its mean cycle there, rounded [deg].
type place struct{ rpm, kpa, mbt float64 }

// The corners of 1500 to 4000 rpm and 50 to 100 kPa, and the middle: the tracker
// was tuned about these, with seed 1. Idle was looked at then, too.
var (
	trained = []place{{1500, 50, 24}, {1500, 100, 20}, {2500, 75, 27}, {4000, 50, 37}, {4000, 100, 31}}
	idle    = place{900, 30, 25}
)

// drive asks for cycles of a stream: so many at each spark [deg] over MBT.
type drive struct {
	at    place
	seed  uint64
	each  int
	spark string // "-10 0 10", so that a drive is a key
}

// taken is what was taken of a cycle, and the truth about it.
type taken struct {
	in         Input // without values
	spark      float64
	ion, press []float64
	lpp        float64
	ca10, ca50 float64
}

// bench is a drive and the sensor that it is taken with.
type bench struct {
	drive  drive
	sensor string
}

var (
	driven = map[bench][]taken{}
	drives sync.Mutex
)

// sensors by name: usual, and others that the tracker was not tuned on.
var sensors = map[string]func(*sensor.Setup){
	"usual":       func(*sensor.Setup) {},
	"additive":    func(s *sensor.Setup) { s.Ion.Additive = 3; s.Ion.Ceiling = 300e-6 },
	"weak":        func(s *sensor.Setup) { s.Ion.Additive = 0.5 },
	"noisy":       func(s *sensor.Setup) { s.Ion.Noise *= 2; s.Ion.Scatter *= 1.5; s.Ion.Shift *= 1.5 },
	"fouled":      func(s *sensor.Setup) { s.Ion.Leak = 10e-6 },
	"slow":        func(s *sensor.Setup) { s.Ion.Lag = 60e-6 },
	"wheel 1 deg": func(s *sensor.Setup) { s.Faults = []sensor.Fault{{Name: "tdc-offset", To: -1, Severity: 1}} },
}

// cycles returns those of d taken by a sensor; tests share them.
func cycles(t testing.TB, d drive, with string, sparks ...float64) []taken {
	drives.Lock()
	defer drives.Unlock()
	if all, ok := driven[bench{d, with}]; ok {
		return all
	}
	all := run(t, pumpSet(t), d.at, d.seed, 720, d.each, with, sparks...)
	driven[bench{d, with}] = all
	return all
}

// run takes the cycles of a drive on e, so many samples each.
func run(t testing.TB, e *model.Engine, at place, seed uint64, samples, each int, with string, sparks ...float64) []taken {
	var schedule stream.Schedule
	for i, over := range sparks {
		op := e.Point
		op.Speed, op.MAP, op.Spark = at.rpm*math.Pi/30, at.kpa*1e3, (at.mbt+over)*deg
		schedule = append(schedule, stream.Knot{Cycle: i * each, Operating: op})
		if each > 1 {
			schedule = append(schedule, stream.Knot{Cycle: (i+1)*each - 1, Operating: op})
		}
	}
	s, err := stream.New(e, schedule, &stream.Settings{Seed: seed, Samples: samples})
	require.NoError(t, err)
	setup := sensor.Usual(e)
	sensors[with](&setup)
	rig, err := sensor.New(e, setup, seed)
	require.NoError(t, err)
	var rec sensor.Record
	var all []taken
	for c, err := range s.Cycles(t.Context(), 0, each*len(sparks)) {
		require.NoError(t, err)
		require.InDelta(t, at.mbt, c.MBT/deg, 1)
		require.NoError(t, rig.Take(c, &rec))
		x := taken{lpp: c.LPP / deg, ca10: c.CA10, ca50: c.CA50, spark: sparks[c.Number/each]}
		x.in = Input{Cycle: c.Number, Theta: append([]float64(nil), c.Theta...), Spark: c.Operating.Spark, Speed: c.Clock.Speed, MAP: c.Operating.MAP}
		for i := range c.Theta {
			x.press = append(x.press, float64(rec.Values[0][i])*1e5)
			x.ion = append(x.ion, float64(rec.Values[1][i])*1e-6)
		}
		all = append(all, x)
	}
	return all
}

// near is how the tracker is judged: 48 cycles each at MBT − 10 deg, MBT and MBT + 10 deg.
func near(t testing.TB, at place, seed uint64, with string) []taken {
	return cycles(t, drive{at, seed, 48, "-10 0 10"}, with, -10, 0, 10)
}

// score counts what a reader does.
type score struct {
	read, declined int
	wrong          int     // on the wrong side of 15 deg, by more than 3 deg
	lies           int     // wrong with quality 0.5 or more
	single         float64 // rms error [deg]
	bias           float64 // mean error [deg]
	averaged       float64 // rms error of the mean of the readings of 16 cycles against that of their truths [deg]
}

// judge reads all with r.
func judge(r Reader, s Signal, all []taken) score {
	var out score
	var sum, blocks, off float64
	n := 0
	for i := range all {
		in := all[i].in
		if in.Values = all[i].ion; s == Pressure {
			in.Values = all[i].press
		}
		got := r.Read(&in)
		if math.IsNaN(got.Angle) {
			out.declined++
		} else {
			d := got.Angle/deg - all[i].lpp
			out.read++
			out.bias += d
			sum += d * d
			off += d
			n++
			if math.Abs(d) > 3 && (got.Angle/deg-15)*(all[i].lpp-15) < 0 {
				out.wrong++
				if got.Quality >= 0.5 {
					out.lies++
				}
			}
		}
		if i%16 == 15 {
			if n > 0 {
				out.averaged += off / float64(n) * off / float64(n)
				blocks++
			}
			off, n = 0, 0
		}
	}
	out.bias /= float64(out.read)
	out.single = math.Sqrt(sum / float64(out.read))
	out.averaged = math.Sqrt(out.averaged / blocks)
	return out
}

package loop

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/model/accuracy"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// listening is the pump set at 2200 rpm and a load [Pa], with a knock sensor and a
// pressure transducer that is read the simplest way. Nothing here is about readers.
func listening(t *testing.T, mapPa, spark float64, cycles int) *Scenario {
	t.Helper()
	e, err := theEngine()
	require.NoError(t, err)
	s := Usual(e)
	s.Cycles = cycles
	s.Legs[0].Operating.MAP, s.Legs[0].Operating.Spark = mapPa, spark
	s.Sensing.Signal, s.Sensing.Reader, s.Sensing.Knock = reader.Pressure, "maximum", true
	s.Guard.Envelope = false
	return &s
}

// runs carries out s with the seeds from 0 up to but without n.
func runs(t *testing.T, s *Scenario, n int) []*Run {
	t.Helper()
	b := benchOf(t, s)
	all, errs := make([]*Run, n), make([]error, n)
	gate := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for seed := range n {
		wait.Go(func() {
			gate <- struct{}{}
			defer func() { <-gate }()
			all[seed], errs[seed] = b.Run(context.Background(), uint64(seed), nil)
		})
	}
	wait.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	return all
}

// ridden is what some cycles of several runs were like.
type ridden struct {
	heard, knocked float64 // share of cycles, heard over a threshold and true [-]
	spark, sd      float64 // of all cycles of all runs [deg]
	torque         float64 // true mean [N·m]
	loudness       float64 // mean, over the usual [-]
	sparks         []float64
}

// ride sums up the cycles from one up to but without another.
func ride(all []*Run, from, to int, threshold float64) ridden {
	var r ridden
	var sparks []float64
	for _, run := range all {
		begin := len(sparks)
		for i := from; i < to; i++ {
			s := &run.Steps[i]
			if s.Knock >= threshold {
				r.heard++
			}
			if s.Truth.Knocking {
				r.knocked++
			}
			r.torque += s.Truth.Torque
			r.loudness += s.Knock
			sparks = append(sparks, s.Fired.Leading/deg)
		}
		r.sparks = append(r.sparks, stat.Mean(sparks[begin:], nil))
	}
	n := float64(len(sparks))
	r.heard, r.knocked, r.torque, r.loudness = r.heard/n, r.knocked/n, r.torque/n, r.loudness/n
	r.spark, r.sd = stat.MeanStdDev(sparks, nil)
	return r
}

// At full load MBT of the pump set knocks hard in nearly every cycle, and the spark at
// which the mean cycle begins to knock lies 4 to 10 deg behind it. There both knock laws
// limit the integral law, with their usual numbers but for the rate of heard events: 0.1
// is asked of the likelihood law, so that few cycles hold many events, and the return
// of knock-retard is set by bisection until as many are heard, within 5 %. The guard is off.
//
// Then the likelihood law is more advanced on the mean, and holds the spark stiller:
// Peyton Jones and others, SAE 2009-01-1017 (seen in the abstract only; it gives no
// figures). Eight seeds here gave 0.23 deg and eight others 0.22 deg, with a standard
// error of 0.09 deg, and 0.5 to 0.6 deg of scatter against 1.1 deg: the bounds are nearly 2
// standard errors below the one, and well above the other.
func TestKnockLawsInLoop(t *testing.T) {
	const seeds, settled, cycles = 8, 500, 2500
	const retard, threshold, asked = 1.5, 3, 0.1
	s := listening(t, 95e3, 12.5*deg, cycles)
	s.Guard = control.GuardSettings{Off: true}

	ctx := context.Background()
	solver, err := solve.New(s.Engine, nil)
	require.NoError(t, err)
	best, err := sweep.MBT(ctx, solver, s.Legs[0].Operating)
	require.NoError(t, err)
	border, err := sweep.KnockLimit(ctx, solver, s.Legs[0].Operating)
	require.NoError(t, err)
	mbt := best.Operating.Spark
	behind := (mbt - border.Operating.Spark) / deg
	require.True(t, behind > 4 && behind < 10, "%g deg", behind)
	hard := 0
	for c, err := range benchOf(t, s).Stream().Steered(ctx, 0, 100, func(_ int, op *model.Operating) { op.Spark = mbt }) {
		require.NoError(t, err)
		if c.KnockIntensity > hardKnock {
			hard++
		}
	}
	require.Greater(t, hard, 80)
	t.Logf("MBT %.1f deg, of 100 cycles %d knock hard there; the mean cycle begins to knock %.1f deg later", mbt/deg, hard, behind)

	under := func(law string, numbers map[string]float64) ridden {
		with := *s
		with.Law.Knock, with.Law.KnockOf = law, numbers
		return ride(runs(t, &with, seeds), settled, cycles, threshold)
	}
	a := under("knock-likelihood", map[string]float64{"rate": asked})
	// Where knock-retard settles, see there, gives where to look.
	back := retard * a.heard / (1 - a.heard)
	low, high := back/1.25, back*1.25
	var b ridden
	for range 6 {
		back = math.Sqrt(low * high)
		if b = under("knock-retard", map[string]float64{"return_deg": back}); math.Abs(b.heard/a.heard-1) < 0.02 {
			break
		}
		if b.heard < a.heard {
			low = back
		} else {
			high = back
		}
	}
	var ahead []float64
	for i := range a.sparks {
		ahead = append(ahead, a.sparks[i]-b.sparks[i])
	}
	apart := stat.StdDev(ahead, nil)
	for _, x := range []struct {
		law string
		ridden
	}{{"knock-likelihood", a}, {"knock-retard", b}} {
		t.Logf("%-16s  heard %.4f, knocked %.4f, spark %.2f deg, sd %.2f deg, torque %.2f N·m, loudness %.2f; means %.2f", x.law, x.heard, x.knocked, x.spark, x.sd, x.torque, x.loudness, x.sparks)
	}
	t.Logf("return %.4f deg; more advanced by %.3f deg, which differs between seeds by %.2f deg", back, a.spark-b.spark, apart)

	require.InEpsilon(t, a.heard, b.heard, 0.05)
	require.InEpsilon(t, asked, a.heard, 0.25, "near what is asked for")
	accuracy.Find(t, "knock-loop-lead").Hold(t, a.spark-b.spark, "over all seeds")
	accuracy.Find(t, "knock-loop-spread").Hold(t, a.sd/b.sd, "over all seeds")
	require.Greater(t, a.torque, b.torque)
}

// hardKnock is intensity that nobody should miss [Pa]: some seven times the ordinary noise at full load.
const hardKnock = 0.5e5

// On good fuel the phasing law drives; poor fuel comes, and the knock law has the spark;
// good fuel comes back, and so does the phasing law. One cycle in 20 may knock, of either
// law, so that it need not take long; the guard is as usual. The bounds are our own choice:
// half as much knock again as is allowed once it is settled, a third of what it would be
// with no knock law, and a driver in nine of ten cycles.
func TestHandOverInLoop(t *testing.T) {
	const seeds, poor, settled, good, cycles, threshold, allowed = 2, 300, 350, 700, 1800, 3, 0.05
	s := listening(t, 60e3, 20*deg, cycles)
	for _, c := range []struct {
		cycle  int
		octane float64
	}{{poor, -12}, {good, 0}} {
		l := s.Legs[0]
		l.Cycle, l.Operating.OctaneShift = c.cycle, c.octane
		s.Legs = append(s.Legs, l)
	}
	none := runs(t, s, seeds)
	require.Empty(t, none[0].Steps[poor].Driving, "one law")
	alone := ride(none, poor, good, threshold)
	t.Logf("no knock law on poor fuel: heard %.3f, spark %.2f deg", alone.heard, alone.spark)
	for _, c := range []struct {
		law     string
		numbers map[string]float64
		mode    Mode
	}{
		{"knock-retard", map[string]float64{"return_deg": 1.5 * allowed / (1 - allowed)}, Free},
		{"knock-likelihood", map[string]float64{"rate": allowed}, Free},
		{"knock-retard", map[string]float64{"return_deg": 1.5 * allowed / (1 - allowed)}, RetardOnly},
	} {
		with := *s
		with.Law.Knock, with.Law.KnockOf, with.Law.Mode = c.law, c.numbers, c.mode
		all := runs(t, &with, seeds)
		during := func(from, to int) (ridden, float64) {
			n := 0.
			for _, r := range all {
				for i := range r.Steps[from:to] {
					switch driving := r.Steps[from+i].Driving; driving {
					case "knock":
						n++
					default:
						require.Equal(t, "phase", driving)
					}
				}
			}
			x := ride(all, from, to, threshold)
			t.Logf("%s, %s, cycles %d to %d: knock drives %.3f, heard %.4f, spark %.2f deg", c.law, c.mode, from, to, n/float64(seeds*(to-from)), x.heard, x.spark)
			return x, n / float64(seeds*(to-from))
		}
		before, byBefore := during(100, poor)
		first, _ := during(poor, settled)
		after, byAfter := during(settled, good)
		back, byBack := during(cycles-200, cycles)

		require.Less(t, byBefore, 0.1)
		require.Less(t, before.heard, allowed)
		require.Less(t, first.heard, alone.heard)
		require.Greater(t, byAfter, 0.9)
		require.Less(t, after.heard, 1.5*allowed)
		require.Less(t, after.heard, alone.heard/3)
		require.Less(t, after.spark, before.spark-3)
		require.Less(t, byBack, 0.1)
		require.InDelta(t, before.spark, back.spark, 0.5)
	}
}

// A threshold of 3 hears hard knock and next to nothing else, also where the load, and
// with it the ordinary noise, changes at once: with the base map, and with a hand that
// retards from it until there is little knock, or none. At most 1 in 100 hard cycles is
// missed, and 1 in 200 of the cycles that do not knock is taken for one: our own choice.
func TestEarInLoop(t *testing.T) {
	const threshold, leg, after = 3, 200, 25
	s := listening(t, 30e3, 15*deg, 4*leg)
	s.Law = Law{Name: "table", Mode: Free}
	s.Guard = control.GuardSettings{Off: true}
	for i, load := range []float64{100e3, 30e3, 100e3} {
		l := s.Legs[0]
		l.Cycle, l.Operating.MAP = leg*(i+1), load
		s.Legs = append(s.Legs, l)
	}
	type count struct{ cycles, loud int }
	var hard, soft, quiet, stepped count
	for _, hand := range []float64{0, -8, -13} {
		with := *s
		with.Legs = slices.Clone(s.Legs)
		for i := range with.Legs {
			with.Legs[i].Manual = hand * deg
		}
		for _, r := range runs(t, &with, 2) {
			for i := range r.Steps {
				x := &r.Steps[i]
				of := []*count{&quiet}
				switch {
				case x.Truth.Knocking && x.Truth.KnockIntensity > hardKnock:
					of[0] = &hard
				case x.Truth.Knocking:
					of[0] = &soft
				case i >= leg && i%leg < after:
					of = append(of, &stepped)
				}
				for _, c := range of {
					c.cycles++
					if x.Knock >= threshold {
						c.loud++
					}
				}
			}
		}
	}
	t.Logf("loud: hard %+v, softer knock %+v, none %+v, of which after a step %+v", hard, soft, quiet, stepped)
	require.Greater(t, hard.cycles, 300)
	require.LessOrEqual(t, hard.cycles-hard.loud, hard.cycles/100)
	require.Greater(t, quiet.cycles, 2000)
	require.LessOrEqual(t, quiet.loud, quiet.cycles/200)
	require.Greater(t, stepped.cycles, 200)
	require.LessOrEqual(t, stepped.loud, stepped.cycles/100)
}

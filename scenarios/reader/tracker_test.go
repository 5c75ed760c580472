package reader

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/model/accuracy"
)

// Hellring, Munther, Rognvaldsson and others, SAE 1999-01-1162 (seen in the abstract
// only): LPP from the ion current to about 2 deg in a single cycle, and 1 deg
// averaged. Those are the figures to reach, over all points, and in each of them
// for the single cycle. Tests that hold no row of the table go by these.
const (
	singleGoal   = 2.
	averagedGoal = 1.
)

// overall returns the root mean square of x.
func overall(x []float64) float64 { return math.Sqrt(squares(x) / float64(len(x))) }

// The tracker on the cycles it was tuned on.
func TestTracker(t *testing.T) {
	singles, means := accuracy.Find(t, "tracker-single"), accuracy.Find(t, "tracker-averaged")
	var single, averaged []float64
	for _, p := range trained {
		all := near(t, p, 1, "usual")
		r := made(t, "tracker", Ion, nil) // one reader through all sparks: it must follow
		for i := range 3 {
			part := all[48*i : 48*(i+1)]
			s := judge(r, Ion, part)
			t.Logf("%4.0f rpm %3.0f kPa, spark MBT%+3.0f: single %.2f, averaged %.2f, bias %+.2f deg, declined %d of %d, lies %d",
				p.rpm, p.kpa, part[0].spark, s.single, s.averaged, s.bias, s.declined, len(part), s.lies)
			singles.Hold(t, s.single, "%4.0f rpm %3.0f kPa, spark MBT%+3.0f", p.rpm, p.kpa, part[0].spark)
			single, averaged = append(single, s.single), append(averaged, s.averaged)
		}
	}
	t.Logf("overall: single %.2f, averaged %.2f deg", overall(single), overall(averaged))
	singles.Hold(t, overall(single), "overall")
	means.Hold(t, overall(averaged), "overall")
}

// And on what it was not: other seeds, speeds and loads, and sensors with another
// gain, more noise, a leak, a slow circuit or a wheel that reads 1 deg late. That
// last one moves the angles of samples, and so readings, by 1 deg: no reader can
// tell, and the goals hold for what is left.
func TestTrackerHeldOut(t *testing.T) {
	single, averaged := accuracy.Find(t, "tracker-other-single"), accuracy.Find(t, "tracker-other-averaged")
	for _, c := range []struct {
		at     place
		seed   uint64
		sensor string
		shift  float64
	}{
		{place{1500, 50, 24}, 101, "usual", 0},
		{place{4000, 100, 31}, 102, "usual", 0},
		{place{1800, 90, 22}, 103, "usual", 0},
		{place{3400, 60, 33}, 104, "usual", 0},
		{place{1800, 90, 22}, 103, "additive", 0},
		{place{3400, 60, 33}, 104, "weak", 0},
		{place{3400, 60, 33}, 104, "noisy", 0},
		{place{1800, 90, 22}, 103, "fouled", 0},
		{place{3400, 60, 33}, 104, "slow", 0},
		{place{1800, 90, 22}, 103, "wheel 1 deg", 1},
	} {
		t.Run(fmt.Sprintf("%.0f rpm %.0f kPa %s", c.at.rpm, c.at.kpa, c.sensor), func(t *testing.T) {
			all := append([]taken(nil), near(t, c.at, c.seed, c.sensor)...)
			for i := range all {
				all[i].lpp += c.shift
			}
			s := judge(made(t, "tracker", Ion, nil), Ion, all)
			t.Logf("single %.2f, averaged %.2f, bias %+.2f deg, declined %d of %d, lies %d",
				s.single, s.averaged, s.bias, s.declined, len(all), s.lies)
			single.Hold(t, s.single, "%s", t.Name())
			averaged.Hold(t, s.averaged, "%s", t.Name())
		})
	}
}

// On other engines it is the file that tells it what a burn takes: a smaller one
// and one of high compression, near MBT at the point in their files.
func TestTrackerOtherEngine(t *testing.T) {
	for name, mbt := range map[string]float64{"small-196": 28, "research-high-ratio": 16} {
		e, err := model.Load(name)
		require.NoError(t, err)
		all := run(t, e, place{e.Point.Speed * 30 / math.Pi, e.Point.MAP / 1e3, mbt}, 107, 720, 48, "usual", -10, 0, 10)
		r, err := New("tracker", Ion, e, nil)
		require.NoError(t, err)
		s := judge(r, Ion, all)
		t.Logf("%s: single %.2f, averaged %.2f, bias %+.2f deg, declined %d of %d, lies %d",
			name, s.single, s.averaged, s.bias, s.declined, len(all), s.lies)
		require.LessOrEqual(t, s.single, singleGoal)
		require.LessOrEqual(t, s.averaged, averagedGoal)
	}
}

// Finer samples, five to a point of its grid, and coarser ones, two deg apart, are
// read as well. Coarse: the noise of a point is not less for it.
func TestTrackerSamples(t *testing.T) {
	for _, samples := range []int{360, 3600} {
		all := run(t, pumpSet(t), place{4000, 100, 31}, 108, samples, 32, "usual", 0, 10)
		s := judge(made(t, "tracker", Ion, nil), Ion, all)
		t.Logf("%d samples: single %.2f, averaged %.2f, bias %+.2f deg, declined %d of %d, lies %d",
			samples, s.single, s.averaged, s.bias, s.declined, len(all), s.lies)
		require.LessOrEqual(t, s.single, singleGoal)
		require.LessOrEqual(t, s.averaged, averagedGoal)
	}
}

// The quality is honest: readings scatter about the truth by what it says, all
// together within a third.
func TestTrackerQuality(t *testing.T) {
	sum, n := 0., 0.
	for _, p := range trained {
		r := made(t, "tracker", Ion, nil)
		for _, x := range near(t, p, 1, "usual") {
			in := x.in
			in.Values = x.ion
			if got := r.Read(&in); got.Why == "" {
				sd := halfQuality / deg * math.Sqrt(1/got.Quality-1)
				sum += math.Pow((got.Angle/deg-x.lpp)/sd, 2)
				n++
			}
		}
	}
	t.Logf("errors are %.2f of the deviation told, over %.0f cycles", math.Sqrt(sum/n), n)
	require.InDelta(t, 1, math.Sqrt(sum/n), 1./3)
}

// At idle the thermal hump drowns in noise. The tracker declines rather than
// lies: wrong-side readings taken for good are under 1 % of cycles; the plain
// maximum's are not.
func TestTrackerIdle(t *testing.T) {
	for _, seed := range []uint64{1, 105} {
		all := cycles(t, drive{idle, seed, 100, "-10 0 10"}, "usual", -10, 0, 10)
		s := judge(made(t, "tracker", Ion, nil), Ion, all)
		plain := judge(made(t, "maximum", Ion, nil), Ion, all)
		t.Logf("seed %d: tracker declined %d of %d, wrong %d, lies %d; maximum wrong %d, lies %d",
			seed, s.declined, len(all), s.wrong, s.lies, plain.wrong, plain.lies)
		require.Less(t, float64(s.lies), 0.01*float64(len(all)))
		require.Greater(t, float64(plain.wrong), 0.2*float64(len(all)))
	}
}

// Far past MBT at light load the gas at the plug has cooled before the peak, and a
// plain maximum in a fixed window picks noise: it reads late on the side of a spark
// that is too late. The tracker has no more than 5 % on the wrong side at sparks 15
// deg and more beyond that flip.
func TestTrackerFlip(t *testing.T) {
	sparks := []float64{10, 15, 20, 25, 30, 35, 40, 45, 50}
	const each = 40
	all := cycles(t, drive{place{2000, 50, 28}, 106, each, "10 to 50"}, "usual", sparks...)
	plain, own := made(t, "maximum", Ion, nil), made(t, "tracker", Ion, nil)
	flip, beyond := math.NaN(), 0.
	for i, over := range sparks {
		part := all[each*i : each*(i+1)]
		p, o := judge(plain, Ion, part), judge(own, Ion, part)
		t.Logf("spark %.0f deg: maximum wrong %d, tracker wrong %d, declined %d of %d", 28+over, p.wrong, o.wrong, o.declined, each)
		if math.IsNaN(flip) && float64(p.wrong) > 0.05*each {
			flip = over
		}
		require.LessOrEqual(t, float64(o.wrong), 0.05*each)
		beyond = over - flip
	}
	t.Logf("maximum flips at %.0f deg before dead centre; the tracker not within %.0f deg more", 28+flip, beyond)
	require.GreaterOrEqual(t, beyond, 15.)
}

// What it sees of a misfire is the coil alone, and it declines; so it does with a
// dead sensor.
func TestTrackerMisfire(t *testing.T) {
	all := near(t, trained[2], 1, "usual")
	r := made(t, "tracker", Ion, nil)
	judge(r, Ion, all[:48])
	in := all[20].in
	in.Values = append([]float64(nil), all[20].ion...)
	for i, theta := range in.Theta {
		if theta > -in.Spark+1.5e-3*in.Speed {
			in.Values[i] = all[20].ion[len(in.Theta)-1-i%100] // the noise of the exhaust stroke
		}
	}
	require.Equal(t, whyNoHump, r.Read(&in).Why)
	for i := range in.Values {
		in.Values[i] = 0
	}
	require.Equal(t, whyBlanked, r.Read(&in).Why)
}

// Reset forgets: the same cycles are read alike again.
func TestTrackerReset(t *testing.T) {
	all := near(t, trained[2], 1, "usual")[:10]
	r := made(t, "tracker", Ion, nil)
	first := judge(r, Ion, all)
	again := judge(r, Ion, all)
	r.Reset()
	require.Equal(t, fmt.Sprint(first), fmt.Sprint(judge(r, Ion, all)))
	require.NotEqual(t, fmt.Sprint(first), fmt.Sprint(again)) // it had learned
}

// The slopes that the fit goes by are those of its residuals, see requireSlopes. No
// point of this cycle crosses lead or the end of the burn, where the model has small
// steps.
func TestTrackerSlopes(t *testing.T) {
	all := near(t, trained[2], 1, "usual")
	r := made(t, "tracker", Ion, nil).(*tracker)
	in := all[60].in
	in.Values = all[60].ion
	require.Empty(t, r.Read(&in).Why)
	requireSlopes(t, gridSize-r.trace.first+unknowns, r.fit.p[:unknowns], r.model)
}

func BenchmarkTracker(b *testing.B) {
	all := near(b, trained[2], 1, "usual")
	r := made(b, "tracker", Ion, nil)
	var in Input
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		in = all[i%len(all)].in
		in.Values = all[i%len(all)].ion
		r.Read(&in)
	}
}

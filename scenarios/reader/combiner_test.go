package reader

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// combined returns what the combiner of that name makes of x [deg].
func combined(t testing.TB, name string, x ...float64) Combined {
	c, err := NewCombiner(name, max(1, len(x)))
	require.NoError(t, err)
	for _, v := range x {
		c.Add(Reading{Angle: v * deg, Quality: 1})
	}
	return c.Result()
}

// Averaging hides misreadings. True readings are N(3, 2.5), misread ones N(60, 8)
// with probability f, 32 cycles: the mean is 8.7, 14.4 and 25.8 deg at f 0.1, 0.2 and
// 0.4, the median 3.4, 3.8 and 10.8 (our own recomputation, literature section 3).
// Over 4000 windows the means are good to 0.15 deg, two deviations; a
// median at 0.4 is that of the misread in the windows where they are most, and its
// mean is good to 0.6. The mean looks like MBT; modes and confidence show that it is not.
func TestMisread(t *testing.T) {
	mean, median, most := accuracy.Find(t, "misread-mean"), accuracy.Find(t, "misread-median"), accuracy.Find(t, "misread-median-most")
	const windows, cycles = 4000, 32
	z := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		f, mean, median float64
		row             *accuracy.Row
	}{{0.1, 8.7, 3.4, median}, {0.2, 14.4, 3.8, median}, {0.4, 25.8, 10.8, most}} {
		all := map[string]float64{}
		caught, sure, seen := 0, 0, 0
		for w := range windows {
			x := make([]float64, cycles)
			for i := range x {
				if x[i] = 3 + 2.5*z.NormFloat64(); z.Float64() < c.f {
					x[i] = 60 + 8*z.NormFloat64()
				}
			}
			for _, name := range []string{"mean", "median"} {
				all[name] += combined(t, name, x...).Angle / deg / windows
			}
			if w%4 != 0 {
				continue
			}
			r := combined(t, "mean", x...)
			seen++
			if r.Modes > 1 {
				caught++
			}
			if r.Confidence > 0.7 {
				sure++
			}
		}
		t.Logf("f %.1f: mean %.2f, median %.2f deg; more than one mode in %.3f, confidence over 0.7 in %.3f of windows",
			c.f, all["mean"], all["median"], float64(caught)/float64(seen), float64(sure)/float64(seen))
		mean.Near(t, c.mean, all["mean"], "f %g", c.f)
		c.row.Near(t, c.median, all["median"], "f %g", c.f)
		// At f 0.1 a window of 32 holds no misread reading or one in 15 % of cases, and
		// two that lie more than two kernels apart in 10 %: those are no mode. At 0.2 and
		// more that is 2 % and less.
		require.Greater(t, float64(caught)/float64(seen), map[float64]float64{0.1: 0.65, 0.2: 0.97, 0.4: 0.99}[c.f])
		require.Less(t, float64(sure)/float64(seen), map[float64]float64{0.1: 0.35, 0.2: 0.05, 0.4: 0.05}[c.f])
	}
}

// Readings that are normal make one mode, and 95 % of them lie about the mean.
func TestWellRead(t *testing.T) {
	z := rand.New(rand.NewPCG(2, 2))
	one, confidence := 0, 0.
	const windows = 2000
	for range windows {
		x := make([]float64, 32)
		for i := range x {
			x[i] = 15 + 2.5*z.NormFloat64()
		}
		r := combined(t, "mean", x...)
		if r.Modes == 1 {
			one++
		}
		confidence += r.Confidence / windows
	}
	require.Greater(t, float64(one)/windows, 0.97)
	require.InDelta(t, 0.95, confidence, 0.02) // scale is that of 32 readings, not of all
}

// Each combiner on numbers worked by hand.
func TestEstimates(t *testing.T) {
	for _, c := range []struct {
		name string
		x    []float64
		want float64
		tol  float64
	}{
		{"mean", []float64{1, 2, 6}, 3, 1e-12},
		{"median", []float64{6, 1, 2}, 2, 1e-12},
		{"median", []float64{6, 1, 2, 3}, 2.5, 1e-12},
		// Weights e⁻⁴, 1 of two: (1 + 9·e⁴)/(1 + e⁴) with e^(−4/2) a step.
		{"exponential", []float64{1, 9}, (1*math.Exp(-2) + 9) / (math.Exp(-2) + 1), 1e-12},
		// 90 is beyond 4.685 deviations of 1 deg from 10, and has no weight.
		{"robust", []float64{9, 10, 10, 10, 11, 90}, 10, 1e-6},
		// Two kernels at 10 stand above one at 40; 30 deg away adds nothing.
		{"mode", []float64{10, 40, 10}, 10, 0.01},
	} {
		require.InDelta(t, c.want, combined(t, c.name, c.x...).Angle/deg, c.tol, "%s %v", c.name, c.x)
	}
	for _, name := range CombinerNames() {
		one := combined(t, name, 7)
		require.InDelta(t, 7, one.Angle/deg, 1e-9, name)
		require.True(t, math.IsNaN(one.Spread))
		require.Equal(t, 1, one.Modes)
		none := combined(t, name)
		require.True(t, math.IsNaN(none.Angle))
		require.Zero(t, none.Confidence)
	}
}

// The biweight of the numbers below by a second way: its estimating equation
// Σ ψ((x−m)/s) = 0 holds at m, with s of the median distance by hand.
func TestRobustEquation(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8, 30}
	m := combined(t, "robust", x...).Angle / deg
	s := 1.4826 * 2 // distances from 5: 0 1 1 2 2 3 3 4 25
	sum := 0.
	for _, v := range x {
		if u := (v - m) / (4.685 * s); math.Abs(u) < 1 {
			sum += u * (1 - u*u) * (1 - u*u)
		}
	}
	require.InDelta(t, 0, sum, 1e-6)
	require.Less(t, m, 5.) // 30 weighs less than it does in the mean, 7.3
}

// A combiner holds the last cycles, and counts those that declined.
func TestRecent(t *testing.T) {
	c, err := NewCombiner("mean", 3)
	require.NoError(t, err)
	for _, v := range []float64{100, 1, 2} {
		c.Add(Reading{Angle: v * deg})
	}
	c.Add(decline("no peak"))
	r := c.Result()
	require.InDelta(t, 1.5, r.Angle/deg, 1e-12)
	require.Equal(t, []int{2, 1}, []int{r.Count, r.Declined})
	require.InDelta(t, math.Sqrt(0.5), r.Spread/deg, 1e-12)
	require.InDelta(t, 2./3, r.Confidence, 1e-12)
	c.Reset()
	require.Zero(t, c.Result().Count)
	c.Add(Reading{Angle: 4 * deg})
	require.InDelta(t, 4, c.Result().Angle/deg, 1e-12)
}

// The table of cycles needed for ±1 and ±0.5 deg at 95 % (literature section 4).
func TestNeeded(t *testing.T) {
	for _, c := range []struct {
		sd       float64
		one, two int
	}{{1.5, 9, 35}, {2.5, 25, 97}, {3.5, 48, 189}, {5, 97, 385}} {
		require.Equal(t, c.one, Needed(c.sd*deg, 1*deg))
		require.Equal(t, c.two, Needed(c.sd*deg, 0.5*deg))
	}
	require.Equal(t, 1, Needed(0, 1*deg))
}

func TestCombinerRefuses(t *testing.T) {
	_, err := NewCombiner("average", 16)
	require.EqualError(t, err, `combiner = average: want one of mean, median, exponential, mode, robust`)
	_, err = NewCombiner("mean", 0)
	require.EqualError(t, err, `cycles = 0: want 1 to 10000`)
}

func TestCombinerAllocates(t *testing.T) {
	for _, name := range CombinerNames() {
		c, err := NewCombiner(name, 16)
		require.NoError(t, err)
		k := 0.
		next := func() {
			k++
			c.Add(Reading{Angle: math.Sin(k)})
			c.Result()
		}
		for range 20 {
			next()
		}
		require.Zero(t, testing.AllocsPerRun(100, next), name)
	}
}

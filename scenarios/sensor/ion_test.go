package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model/accuracy"
	"phasebench/scenarios/stream"
)

// still is a plug without noise and scatter, and only what names: its thermal
// peak, its flame-front peak or neither.
func still(thermal, flame bool) *Ion {
	p := UsualIon()
	p.Noise, p.Scatter, p.Shift, p.Lag, p.Strike, p.Ringing = 0, 0, 0, 0, 0, 0
	if !thermal {
		p.Thermal = 0
	}
	if !flame {
		p.Flame = 0
	}
	return p
}

// At full load the thermal peak lies a few degrees before LPP, since the gas cools
// towards the plug, and is of the level it is set to.
func TestThermalPeakAtFullLoad(t *testing.T) {
	row := accuracy.Find(t, "ion-ahead")
	e := pumpSet(t)
	for _, a := range []at{fullLoad, {2000, 98, 1, 10}, {2000, 98, 1, 25}, {3600, 98, 1, 22}, {1200, 98, 1, 14}} {
		c := solved(t, e, a)
		where, top := crest(c.Theta, take(t, e, Setup{Ion: still(true, false)}, c)["ion_ua"], -30*deg, 100*deg)
		t.Logf("%v: thermal peak %.1f uA at %.1f deg, LPP %.1f", a, top, where/deg, c.LPP/deg)
		row.Hold(t, (c.LPP-where)/deg, "%v", a)
		require.True(t, top > 2 && top < 60, "%g uA", top)
	}
	_, top := crest(solved(t, e, fullLoad).Theta, take(t, e, Setup{Ion: still(true, false)}, solved(t, e, fullLoad))["ion_ua"], 0, 100*deg)
	require.InEpsilon(t, 20, top, 0.1) // the reference state is about that one
}

// Flames at idle and very lean leave gas too cold to ionise: what thermal current
// there is hides in the noise, and has no crest near LPP.
func TestNoThermalPeak(t *testing.T) {
	row := accuracy.Find(t, "ion-gone")
	e := pumpSet(t)
	for _, a := range []at{idle, {2000, 80, 1.6, 48}} {
		c := solved(t, e, a)
		require.True(t, c.Lit)
		i := take(t, e, Setup{Ion: still(true, false)}, c)["ion_ua"]
		_, top := crest(c.Theta, i, c.LPP-10*deg, c.LPP+40*deg)
		t.Logf("%v: %.2f uA left near LPP %.1f deg", a, top, c.LPP/deg)
		row.Hold(t, top/(UsualIon().Noise/uA), "%v", a)
	}
}

// Of a misfire only the coil is heard: charging, spark and ringing, and nothing
// from 8 ringing times after the spark's end on.
func TestMisfireIsCoilAlone(t *testing.T) {
	e := pumpSet(t)
	for _, how := range []func(*stream.Cycle){
		func(c *stream.Cycle) { c.Lit = false },
		func(c *stream.Cycle) { c.Misfire = true },
	} {
		c := solved(t, e, partLoad)
		how(c)
		p := still(true, true)
		p.Strike, p.Ringing = UsualIon().Strike, UsualIon().Ringing
		i := take(t, e, Setup{Ion: p}, c)["ion_ua"]
		fired := c.Clock.Time(-partLoad.spark * deg)
		for k, v := range i {
			now := c.Clock.Time(c.Theta[k]) - fired
			switch {
			case now < -dwell || now > p.Spark+coilSpans*p.RingTime:
				require.Zero(t, v)
			case now > 0 && now < p.Spark:
				require.Greater(t, v, 40.)
			}
		}
	}
}

// The front passes as the early burn does: its peak is at CA10 (half a
// sample), and is 5 to 15 deg wide at half height.
func TestFlameFront(t *testing.T) {
	e := pumpSet(t)
	for _, a := range []at{fullLoad, partLoad, idle, {2000, 98, 1, 40}} {
		c := solved(t, e, a)
		i := take(t, e, Setup{Ion: still(false, true)}, c)["ion_ua"]
		where, top := crest(c.Theta, i, -180*deg, 180*deg)
		require.InDelta(t, c.CA10/deg, where/deg, 0.5)
		wide := 0
		for _, v := range i {
			if v > top/2 {
				wide++
			}
		}
		require.True(t, wide >= 5 && wide <= 15, "%d deg", wide)
		require.True(t, top > 10 && top < 60, "%g uA", top)
	}
}

// A late spark merges the peaks: the thermal one drowns in the tail of the front,
// as literature has it of late burns. Near MBT a valley parts them, a quarter or
// more below the thermal peak.
func TestPeaksMergeWhenLate(t *testing.T) {
	e := pumpSet(t)
	valley := func(spark float64) float64 {
		c := solved(t, e, at{2000, 98, 1, spark})
		i := take(t, e, Setup{Ion: still(true, true)}, c)["ion_ua"]
		front, _ := crest(c.Theta, take(t, e, Setup{Ion: still(false, true)}, c)["ion_ua"], -180*deg, 180*deg)
		hot, top := crest(c.Theta, take(t, e, Setup{Ion: still(true, false)}, c)["ion_ua"], front+3*deg, 100*deg)
		low := math.Inf(1)
		for k, v := range i {
			if c.Theta[k] > front && c.Theta[k] < hot {
				low = math.Min(low, v)
			}
		}
		t.Logf("spark %g: front at %.1f deg, thermal peak %.1f uA at %.1f deg, valley %.2f of it", spark, front/deg, top, hot/deg, low/top)
		return low / top
	}
	require.Less(t, valley(18), 0.75)
	require.Less(t, valley(30), 0.75)
	require.Greater(t, valley(-5), 0.9)
}

// Both peaks are weaker lean and very rich than near lambda 1.
func TestMixture(t *testing.T) {
	e := pumpSet(t)
	tops := func(lambda, spark float64) (hot, front float64) {
		c := solved(t, e, at{2000, 80, lambda, spark})
		_, hot = crest(c.Theta, take(t, e, Setup{Ion: still(true, false)}, c)["ion_ua"], -10*deg, 60*deg)
		_, front = crest(c.Theta, take(t, e, Setup{Ion: still(false, true)}, c)["ion_ua"], -60*deg, 60*deg)
		return hot, front
	}
	hot, front := tops(1, 22)
	for lambda, spark := range map[float64]float64{0.75: 24, 1.25: 30, 1.4: 40} {
		h, f := tops(lambda, spark)
		t.Logf("lambda %g: %.2f of the thermal peak, %.2f of the front", lambda, h/hot, f/front)
		require.Less(t, h, 0.7*hot)
		require.Less(t, f, 0.7*front)
	}
	// Of gas as hot, lambda 1.3 leaves exp(-1) of the level at 1.05: by the law.
	c := solved(t, e, partLoad)
	level := func(lambda float64) float64 {
		c.Lambda = lambda
		_, top := crest(c.Theta, take(t, e, Setup{Ion: still(true, false)}, c)["ion_ua"], 0, 60*deg)
		return top
	}
	require.InEpsilon(t, math.Exp(-1), level(1.3)/level(1.05), 1e-5)
}

// While the spark burns the circuit reads nothing else: fired or not, it is the same.
func TestSparkHidesAll(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, at{2000, 98, 1, 5}) // hot gas early
	p := still(true, true)
	p.Strike, p.Spark = 80*uA, 4e-3 // long enough to cover the front
	lit := take(t, e, Setup{Ion: p}, c)["ion_ua"]
	c.Lit = false
	out := take(t, e, Setup{Ion: p}, c)["ion_ua"]
	fired, seen := c.Clock.Time(-5*deg), 0
	for i := range lit {
		if now := c.Clock.Time(c.Theta[i]) - fired; now > 0 && now < p.Spark {
			require.Equal(t, out[i], lit[i])
			seen++
		}
	}
	require.InDelta(t, 48, seen, 1) // 4 ms at 2000 rpm are 48 deg; the ends may round in or out
	require.NotEqual(t, out, lit)
}

// The trailing plug fires later and sees a front of its own, as much later.
func TestTrailing(t *testing.T) {
	e := pumpSet(t)
	_, err := New(e, Setup{Trailing: UsualIon()}, 1)
	require.ErrorContains(t, err, "trailing = fitted: want an engine with 2 plugs")
	c := solved(t, e, partLoad)
	two := *e
	two.Burn.Plugs = 2
	c.Operating.Split = 12 * deg
	x := take(t, &two, Setup{Ion: still(false, true), Trailing: still(false, true)}, c)
	a, _ := crest(c.Theta, x["ion_ua"], -180*deg, 180*deg)
	b, _ := crest(c.Theta, x["ion_trailing_ua"], -180*deg, 180*deg)
	require.InDelta(t, 12, (b-a)/deg, 0.1) // the parabola on a bell
}

// Levels scatter log-normally and the gas is early or late by its own sd. Of 400
// cycles: sd good to 3.5 %, of which four are allowed.
func TestScatter(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, fullLoad)
	p := still(true, false)
	p.Scatter, p.Shift = 0.25, 1*deg
	r, err := New(e, Setup{Ion: p}, 5)
	require.NoError(t, err)
	var where, loud []float64
	for k := range 400 {
		c.Number = k
		var rec Record
		require.NoError(t, r.Take(c, &rec))
		a, top := crest(c.Theta, named(r, &rec)["ion_ua"], -30*deg, 100*deg)
		where, loud = append(where, a/deg), append(loud, math.Log(top))
	}
	require.InEpsilon(t, 1, stat.StdDev(where, nil), 0.14)
	require.InEpsilon(t, 0.25, stat.StdDev(loud, nil), 0.14)
	require.InDelta(t, 0, stat.Correlation(where, loud, nil), 4/math.Sqrt(400))
}

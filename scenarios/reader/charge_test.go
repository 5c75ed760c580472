package reader

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// Given where 10 % and 50 % of a true cycle burned, the peak of the model is that
// of the pressure within 0.6 deg rms at MBT − 10 to MBT + 10 deg: one exponent and
// one heat for all points. Past that the model peaks late, 1 deg where the peak
// is at dead centre, since it loses no heat there.
func TestCharge(t *testing.T) {
	c, err := newCharge(pumpSet(t))
	require.NoError(t, err)
	for _, p := range trained {
		sum, off, n := 0., 0., 0.
		for _, x := range near(t, p, 1, "usual") {
			_, lpp := c.burn(x.ca10, x.ca50-x.ca10)
			d := lpp/deg - x.lpp
			sum, off, n = sum+d*d, off+d, n+1
		}
		t.Logf("%v: rms %.2f, mean %+.2f deg", p, math.Sqrt(sum/n), off/n)
		require.Less(t, math.Sqrt(sum/n), 0.6)
	}
}

// Without heat the peak is at dead centre and p·V^γ stays; with all of it released
// at once there, the peak is there too, and higher by 1 + q·(V/V₁)^(γ−1): closed forms.
func TestChargeLimits(t *testing.T) {
	c, err := newCharge(pumpSet(t))
	require.NoError(t, err)
	k, lpp := c.burn(200*deg, 10*deg)
	require.InDelta(t, 0, lpp, 1e-9)
	require.InDelta(t, 1, c.p[k], 1e-12)
	e := pumpSet(t)
	ch, err := e.Chamber()
	require.NoError(t, err)
	shut, _ := e.Sealed()
	first, _ := ch.Volume(shut)
	least, _ := ch.Volume(0)
	k, lpp = c.burn(-0.6*deg, 0.05*deg)
	require.InDelta(t, 0, lpp/deg, 0.6) // within the step in which it burns
	want := 1 + heatRise*math.Pow(least/first, burnExponent-1)
	require.InEpsilon(t, want, c.p[k], 1e-3) // volume changes that much within half a degree
}

// How the top answers is what central differences of 1e-5 rad give, to 1e-5.
func TestChargeSway(t *testing.T) {
	const ca10, early, step = 3 * deg, 11 * deg, 1e-5
	c, err := newCharge(pumpSet(t))
	require.NoError(t, err)
	top := func(late, slow float64) float64 {
		_, lpp := c.burn(ca10+late, early*math.Exp(slow))
		return lpp
	}
	byLate := (top(step, 0) - top(-step, 0)) / (2 * step)
	bySlow := (top(0, step) - top(0, -step)) / (2 * step)
	k, _ := c.burn(ca10, early)
	late, slow := c.sway(k)
	require.InDelta(t, byLate, late, 1e-5)
	require.InDelta(t, bySlow, slow, 1e-5)
}

// Where 10 %, 50 % and 90 % are burned, by Wiebe's function itself.
func TestBurnShares(t *testing.T) {
	for x, tau := range map[float64]float64{0.1: tenth, 0.5: half, 0.9: ninety} {
		require.InDelta(t, x, 1-math.Exp(-tau*tau*tau), 1e-12)
	}
}

// What is expected before the first look comes from the engine file: of a burn
// that is told by its angles, and of one told by a Wiebe stage that has the same.
func TestHabitFromFile(t *testing.T) {
	e := pumpSet(t)
	h := newHabit(e)
	require.InDelta(t, 18, h.way/deg, 1e-9)
	require.InDelta(t, 26*(half-tenth)/(ninety-tenth), h.early/deg, 1e-9)
	in := &Input{Speed: 8 * e.Burn.Base.Speed, MAP: e.Burn.Base.MAP}
	require.InDelta(t, 36, h.usual(in)/deg, 1e-9) // the cube root of 8
	span := 26 * deg / (ninety - tenth)
	e.Burn = model.Burn{Law: model.BurnWiebe, First: model.Stage{Delay: 18*deg - tenth*span, Span: span, A: 1, M: 2}}
	w := newHabit(e)
	require.InDelta(t, h.way, w.way, 1e-9)
	require.InDelta(t, h.early, w.early, 1e-9)
	require.Equal(t, e.Point.Speed, w.speed)
}

// The habit learns how much longer this engine takes, and doubts it elsewhere.
func TestHabitLearns(t *testing.T) {
	h := newHabit(pumpSet(t))
	var want [unknowns]belief
	in := &Input{Speed: 200, MAP: 80e3, Spark: 20 * deg}
	h.expect(in, &want)
	before := want[tenPct]
	for range 100 {
		h.expect(in, &want)
		h.learn(in, 1.2*h.usual(in)-in.Spark)
	}
	h.expect(in, &want)
	require.InEpsilon(t, 1.2, (want[tenPct].mean+in.Spark)/(before.mean+in.Spark), 0.01)
	sure := want[tenPct].sd / (want[tenPct].mean + in.Spark)
	require.InDelta(t, leastWay, sure, 1e-9)
	in.MAP = 40e3
	h.expect(in, &want)
	require.InDelta(t, firstWay, want[tenPct].sd/(want[tenPct].mean+in.Spark), 1e-9)
}

package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
	"phasebench/model/knock"
	"phasebench/scenarios/stream"
)

// knocking returns the cycle at full load with knock of 3 bar at 15 deg. With temp
// > 0 all its gas has that temperature [K].
func knocking(t testing.TB, temp float64) *stream.Cycle {
	c := solved(t, pumpSet(t), fullLoad)
	c.Knocking, c.KnockOnset, c.KnockIntensity = true, 15*deg, 3*bar
	if temp > 0 {
		for i := range c.Temp {
			c.Temp[i] = temp
		}
	}
	return c
}

// heard returns the ringing of c in 4 ms from onset on, at 400 kHz.
func heard(t testing.TB, c *stream.Cycle) []float64 {
	r, err := newRing(pumpSet(t).Geometry.Bore)
	require.NoError(t, err)
	r.strike(c)
	x, at := make([]float64, 1600), make([]float64, 1600)
	for i := range at {
		at[i] = r.onset + float64(i)/400e3
	}
	r.add(x, at, 1)
	return x
}

// In gas of one temperature the loudest line of the ringing, above and below
// halfway to the next mode, is α·c/(π·B) with α a zero of J'm: 1.8412, 3.0542 (from
// memory; recomputed by us). Lines are 250 Hz apart and decay widens them.
func TestRingIsOfTheBore(t *testing.T) {
	row := accuracy.Find(t, "ring-bore")
	sound := knock.SoundSpeed(knock.BurnedGamma, burnedR, 2400)
	x := heard(t, knocking(t, 2400))
	first, second := 1.8412*sound/(math.Pi*0.088), 3.0542*sound/(math.Pi*0.088)
	row.Relative(t, first, loudest(x, 400e3, 1000), "first")
	row.Relative(t, second, loudest(x, 400e3, (first+second)/2), "second")
}

// It begins with the knock intensity, which it never exceeds, and decays with 1 ms:
// the rms of each millisecond falls by e (5 %: the modes' products leave a little).
func TestRingDecays(t *testing.T) {
	x := heard(t, knocking(t, 2400))
	require.Equal(t, 3*bar, x[0])
	rms := func(from int) float64 {
		sq := 0.
		for _, v := range x[from : from+400] {
			require.LessOrEqual(t, math.Abs(v), 3*bar)
			sq += v * v
		}
		return math.Sqrt(sq / 400)
	}
	require.InEpsilon(t, math.E, rms(0)/rms(400), 0.05)
	require.InEpsilon(t, math.E, rms(400)/rms(800), 0.05)
}

// The tone falls as the root of the gas temperature does. Frequencies of two
// stretches of 1.5 ms against that of the temperature in the middle of each, where
// a Hann window is heaviest; lines are 670 Hz apart.
func TestChirp(t *testing.T) {
	row := accuracy.Find(t, "ring-chirp")
	c := knocking(t, 0)
	x := heard(t, c)
	onset := c.Clock.Time(c.KnockOnset)
	hz := func(from int) (got, want float64) {
		theta := c.Clock.Angle(onset + float64(from+300)/400e3)
		k := int((theta - c.Theta[0]) / deg)
		return loudest(x[from:from+600], 400e3, 2000), 1.8412 / (math.Pi * 0.088) * knock.SoundSpeed(knock.BurnedGamma, burnedR, c.Temp[k])
	}
	a, wantA := hz(0)
	b, wantB := hz(1000)
	t.Logf("%.0f Hz, later %.0f Hz", a, b)
	row.Relative(t, wantA, a, "at first")
	row.Relative(t, wantB, b, "later")
	row.Relative(t, wantB/wantA, b/a, "its fall")
	require.Less(t, b, 0.97*a)
}

// Pressure shows the ringing in time base fast enough for it, and not else.
func TestRingInPressure(t *testing.T) {
	e := pumpSet(t)
	loud, quiet := knocking(t, 0), knocking(t, 0)
	quiet.KnockIntensity = 0
	for rate, want := range map[float64]float64{0: 0, 20e3: 0, 200e3: 3} {
		set := bare(t)
		set.Sampling.RateHz = rate
		a, b := take(t, e, set, loud)["pressure_bar"], take(t, e, set, quiet)["pressure_bar"]
		most := 0.
		for i := range a {
			most = math.Max(most, a[i]-b[i])
		}
		if want == 0 {
			require.Zero(t, most)
		} else {
			require.InEpsilon(t, want, most, 0.2) // the crest falls between samples, 5 us apart
		}
	}
}

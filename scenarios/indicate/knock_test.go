package indicate

import (
	"context"
	"fmt"
	"math"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// atAngles puts y, at ascending angles x of any distance, to angles to, by the cubic
// through four neighbours.
func atAngles(x, y, to []float64) []float64 {
	out := make([]float64, len(to))
	for i, at := range to {
		k := min(max(sort.SearchFloat64s(x, at)-2, 0), len(x)-4)
		for a := k; a < k+4; a++ {
			term := y[a]
			for b := k; b < k+4; b++ {
				if b != a {
					term *= (at - x[b]) / (x[a] - x[b])
				}
			}
			out[i] += term
		}
	}
	return out
}

// heard calls with cycles of the pump set at full load as a transducer with noise of
// 0.05 bar hears them at 200 kHz, put to 7200 angles.
func heard(t testing.TB, e *model.Engine, cycles int, see func(c *stream.Cycle, theta, p []float64)) {
	t.Helper()
	s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 3, Samples: 720})
	require.NoError(t, err)
	set := sensor.Setup{Pressure: sensor.UsualTransducer(), Sampling: sensor.Sampling{RateHz: 200e3}}
	set.Pressure.Noise, set.Pressure.Shock = 0.05e5, 0
	rig, err := sensor.New(e, set, 3)
	require.NoError(t, err)
	theta := make([]float64, 7200)
	for i := range theta {
		theta[i] = -2*math.Pi + 4*math.Pi*float64(i)/7200
	}
	var took sensor.Record
	for c, err := range s.Cycles(context.Background(), 0, cycles) {
		require.NoError(t, err)
		require.NoError(t, rig.Take(c, &took))
		n := len(took.Values[0])
		at, p := make([]float64, n), make([]float64, n)
		for i := range n {
			at[i], p[i] = c.Clock.Angle(float64(took.Values[0][i])*1e-6), float64(took.Values[1][i])*1e5
		}
		see(c, theta, atAngles(at, p, theta))
	}
}

// Knock of streamed cycles is found where the label says: each within 2 deg, on the
// average 0.3 to 0.5 deg early: the ringing begins at its crest, and decays. In cycles
// without knock there is none, though they ring too; weak knock is missed where its MAPO
// is that of a burn without.
// MAPO is half of the label: the first mode has 0.65 of the amplitude, and what begins at
// once is smeared; 0.05: sd of 0.01, and bands of other gas.
func TestKnockAgainstLabels(t *testing.T) {
	knocking, silent := 0, 0
	for _, x := range []struct{ rpm, sparkDeg, mapPa float64 }{{1500, 28, 98e3}, {2200, 34, 98e3}, {3000, 40, 98e3}, {2200, 21, 98e3}, {2200, 17, 80e3}} {
		e, err := model.Load(model.Default)
		require.NoError(t, err)
		e.Point.MAP, e.Point.Spark, e.Point.Speed = x.mapPa, x.sparkDeg*deg, x.rpm*math.Pi/30
		ind, err := New(e, &e.Point, nil)
		require.NoError(t, err)
		var off, ratio, quiet []float64
		missed, falsely := 0, 0
		var k Knock
		heard(t, e, 30, func(c *stream.Cycle, theta, p []float64) {
			k, err = ind.Knock(theta, p, c.Clock.Speed)
			require.NoError(t, err)
			switch found := !math.IsNaN(k.Onset); {
			case c.Knocking && found:
				off, ratio = append(off, (k.Onset-c.KnockOnset)/deg), append(ratio, k.MAPO.Value/c.KnockIntensity)
			case c.Knocking:
				missed++
				require.Less(t, k.MAPO.Value, LeastKnock) // no louder than a burn without
			default:
				quiet = append(quiet, k.MAPO.Value/1e5)
				if found {
					falsely++
				}
			}
		})
		require.Zero(t, falsely)
		knocking, silent = knocking+len(off), silent+len(quiet)
		if len(off) > 0 {
			m, s := stat.MeanStdDev(off, nil)
			t.Logf("%.0f rpm: band %.2f to %.2f kHz, noise %.4f bar; onset off by %+.2f deg, sd %.2f (%d cycles, %d missed); MAPO %.2f of the label's amplitude, sd %.2f",
				x.rpm, k.Band[0]/1e3, k.Band[1]/1e3, k.MAPO.Error/1e5, m, s, len(off), missed, stat.Mean(ratio, nil), stat.StdDev(ratio, nil))
			for _, v := range off {
				require.InDelta(t, 0, v, 2)
			}
			require.InDelta(t, 0, m, 0.6)
			require.InDelta(t, 0.49, stat.Mean(ratio, nil), 0.05)
		}
		if len(quiet) > 0 {
			t.Logf("%.0f rpm: %d without knock, MAPO %.3f bar", x.rpm, len(quiet), stat.Mean(quiet, nil))
		}
	}
	require.Greater(t, knocking, 60)
	require.Greater(t, silent, 25)
}

// Angles too coarse are refused, and what the error asks for will do; a second cycle
// allocates nothing; the filter shifts nothing and falls to half at the ends of its band.
func TestKnockFilter(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	x, err := New(e, &e.Point, nil)
	require.NoError(t, err)
	rows := func(n int) (theta, p []float64) {
		for i := range n {
			theta, p = append(theta, -2*math.Pi+4*math.Pi*float64(i)/float64(n)), append(p, e.Point.MAP)
		}
		return
	}
	theta, p := rows(720)
	_, err = x.Knock(theta, p, e.Point.Speed)
	require.ErrorContains(t, err, "720 samples a cycle, want ")
	var want int
	_, err = fmt.Sscanf(err.Error(), "indicate: Knock: 720 samples a cycle, want %d", &want)
	require.NoError(t, err)
	theta, p = rows(want)
	k, err := x.Knock(theta, p, e.Point.Speed)
	require.NoError(t, err)
	require.True(t, math.IsNaN(k.Onset))
	theta, p = rows(want - 8)
	_, err = x.Knock(theta, p, e.Point.Speed)
	require.Error(t, err)
	_, err = x.Knock(theta, p, math.NaN())
	require.ErrorContains(t, err, "speed")

	theta, p = rows(7200)
	require.Zero(t, testing.AllocsPerRun(3, func() { _, err = x.Knock(theta, p, e.Point.Speed) }))
	for f, gain := range map[float64]float64{k.Band[0]: 0.5, (k.Band[0] + k.Band[1]) / 2: 1, k.Band[1]: 0.5} {
		lines := math.Round(f * 4 * math.Pi / e.Point.Speed) // whole periods in a row
		for i := range p {
			p[i] = math.Cos(lines * 2 * math.Pi * float64(i) / 7200)
		}
		x.bandPass(p, k.Band, e.Point.Speed/(theta[1]-theta[0]))
		for i := range p {
			require.InDelta(t, gain*p[i], real(x.ring.wave[i]), 0.01) // the nearest line
			require.InDelta(t, gain, abs(x.ring.wave[i]), 0.01)
		}
	}
}

package indicate

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/model/accuracy"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// recorded calls with cycles of the pump set as a transducer with noise of 0.05 bar
// records them.
func recorded(t testing.TB, cycles int, mapPa float64, see func(c *stream.Cycle, p []float64)) *model.Engine {
	t.Helper()
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	e.Point.MAP = mapPa
	s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 1})
	require.NoError(t, err)
	set := sensor.Setup{Pressure: sensor.UsualTransducer()}
	set.Pressure.Noise, set.Pressure.Shock = 0.05e5, 0 // thermal shock is a fault of its own: 0.1 bar of it takes 0.6 % of IMEP at 50 kPa
	rig, err := sensor.New(e, set, 1)
	require.NoError(t, err)
	var took sensor.Record
	for c, err := range s.Cycles(context.Background(), 0, cycles) {
		require.NoError(t, err)
		require.NoError(t, rig.Take(c, &took))
		p := make([]float64, len(c.Theta))
		for i, v := range took.Values[0] {
			p[i] = float64(v) * 1e5
		}
		see(c, p)
	}
	return e
}

// What traces are made of comes back: LPP within 0.1 deg, gross IMEP within 0.5 %, CA50
// within 0.7 deg in the mean of 100 cycles with sensor noise of 0.05 bar.
func TestRoundTrip(t *testing.T) {
	for _, mapPa := range []float64{50e3, 80e3, 98e3} {
		var x *Indicator
		var lpp, imep, ca50, ratio, z []float64
		e, err := model.Load(model.Default)
		require.NoError(t, err)
		e.Point.MAP = mapPa
		x, err = New(e, &e.Point, nil)
		require.NoError(t, err)
		recorded(t, 100, mapPa, func(c *stream.Cycle, p []float64) {
			n, err := x.Cycle(c.Theta, p)
			require.NoError(t, err)
			lpp = append(lpp, (n.LPP.Value-c.LPP)/deg)
			imep = append(imep, n.IMEPGross.Value/c.IMEPGross-1)
			ca50 = append(ca50, (n.Burn.CA50.Value-c.CA50)/deg)
			ratio = append(ratio, (n.Ratio.CA50.Value-c.CA50)/deg)
			z = append(z, (n.LPP.Value-c.LPP)/n.LPP.Error)
		})
		tell := func(name string, v []float64) {
			m, s := stat.MeanStdDev(v, nil)
			t.Logf("%3.0f kPa %s: mean %.4f, sd %.4f", mapPa/1e3, name, m, s)
		}
		tell("LPP, deg", lpp)
		tell("IMEP, relative", imep)
		tell("CA50 by the first law, deg", ca50)
		tell("CA50 by Rassweiler and Withrow, deg", ratio)
		tell("LPP over its error", z)
		require.Less(t, math.Abs(stat.Mean(lpp, nil)), 0.1)
		require.Less(t, math.Abs(stat.Mean(imep, nil)), 0.005)
		require.Less(t, math.Abs(stat.Mean(ca50, nil)), 0.7)
	}
}

// One degree of TDC error costs 3.65 % of gross IMEP at full load, 3.8 % at 60 and 3.9 % at
// 40 kPa by our recomputation of the published effect (literature section 7; published:
// up to 10 % of IMEP, Pipitone, Beccari and Beccari 2007, SAE 2007-24-0052), of an engine
// with ratio 10 fired at MBT; it moves LPP one for one; and a constant offset moves
// neither, but the heat.
func TestSensitivities(t *testing.T) {
	work, lpp := accuracy.Find(t, "tdc-work"), accuracy.Find(t, "tdc-lpp")
	for _, x := range []struct{ mapPa, percent float64 }{{98e3, 3.65}, {60e3, 3.8}, {40e3, 3.9}} {
		e, err := model.Load(model.Default)
		require.NoError(t, err)
		e.Point.MAP, e.Geometry.Ratio = x.mapPa, 10
		solver, err := solve.New(e, nil)
		require.NoError(t, err)
		best, err := sweep.MBT(context.Background(), solver, e.Point)
		require.NoError(t, err)
		e.Point.Spark = best.Operating.Spark
		s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 1, Scale: 1e-9})
		require.NoError(t, err)
		right, err := New(e, &e.Point, &Settings{Peg: None})
		require.NoError(t, err)
		late, err := New(e, &e.Point, &Settings{Peg: None, Shift: -1 * deg}) // volumes are taken 1 deg further on
		require.NoError(t, err)
		for c, err := range s.Cycles(context.Background(), 0, 1) {
			require.NoError(t, err)
			a, err := right.Cycle(c.Theta, c.Pressure)
			require.NoError(t, err)
			b, err := late.Cycle(c.Theta, c.Pressure)
			require.NoError(t, err)
			off := 100 * (b.IMEPGross.Value/a.IMEPGross.Value - 1)
			t.Logf("%.0f kPa: IMEP %+.2f %%, LPP %+.3f deg, CA50 %+.2f deg, heat %+.1f %%", x.mapPa/1e3, off, (b.LPP.Value-a.LPP.Value)/deg, (b.Burn.CA50.Value-a.Burn.CA50.Value)/deg, 100*(b.Heat.Value/a.Heat.Value-1))
			work.Near(t, x.percent, math.Abs(off), "%g kPa", x.mapPa/1e3)
			lpp.Near(t, 1, (b.LPP.Value-a.LPP.Value)/deg, "%g kPa", x.mapPa/1e3)
			lifted := make([]float64, len(c.Pressure))
			for i, p := range c.Pressure {
				lifted[i] = p + 0.1e5
			}
			l, err := right.Cycle(c.Theta, lifted)
			require.NoError(t, err)
			require.InEpsilon(t, a.IMEPGross.Value, l.IMEPGross.Value, 1e-6)
			require.InDelta(t, a.LPP.Value, l.LPP.Value, 1e-9)
			require.Greater(t, math.Abs(l.Heat.Value/a.Heat.Value-1), 0.002)
		}
	}
}

// Each peg finds what was added to the pressure, within three of its errors.
func TestPegs(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	for _, peg := range []Peg{AtInlet, Fixed, Free} {
		x, err := New(e, &e.Point, &Settings{Peg: peg})
		require.NoError(t, err)
		n := 0
		recorded(t, 5, e.Point.MAP, func(c *stream.Cycle, p []float64) {
			for i := range p {
				p[i] -= 1.7e5
			}
			m, err := x.Cycle(c.Theta, p)
			require.NoError(t, err)
			off := m.Zero.Value - 1.7e5
			t.Logf("%s: %.0f Pa off, error %.0f", peg, off, m.Zero.Error)
			require.InDelta(t, 0, off, 3*m.Zero.Error, "%s", peg)
			n++
		})
		require.Equal(t, 5, n)
	}
	_, err = ParsePeg("nonsense")
	require.ErrorContains(t, err, "peg")
}

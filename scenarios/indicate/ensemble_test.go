package indicate

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/scenarios/stream"
)

// neighbourly is a row of n normal numbers of sd 1, each rho times the one before and
// something new (an autoregression of first order, correlation rho^k).
func neighbourly(r *rand.Rand, n int, rho float64) []float64 {
	x := make([]float64, n)
	x[0] = r.NormFloat64()
	for i := 1; i < n; i++ {
		x[i] = rho*x[i-1] + math.Sqrt(1-rho*rho)*r.NormFloat64()
	}
	return x
}

// A series tells what gonum tells of the whole row; 1e-9: rounding, far from 0.
func TestSeries(t *testing.T) {
	x := neighbourly(rand.New(rand.NewPCG(1, 1)), 500, 0.5)
	var s series
	for i := range x {
		x[i] += 1e5
		s.add(x[i])
	}
	m, sd := stat.MeanStdDev(x, nil)
	require.InEpsilon(t, m, s.mean(), 1e-12)
	require.InEpsilon(t, sd, s.sd(), 1e-9)
	for lag := 1; lag <= lags; lag++ { // gonum's takes means of either end: 2 % of 500
		require.InDelta(t, stat.Correlation(x[lag:], x[:len(x)-lag], nil), s.correlation(lag), 0.02)
	}
	s.add(math.NaN())
	require.Equal(t, 1, s.missing)
	require.InEpsilon(t, sd, s.sd(), 1e-9)
	require.Zero(t, testing.AllocsPerRun(10, func() { s.add(1e5) }))
}

// The error of a mean is that which means of many rows of 400 have: of strangers 1/√400;
// of neighbours with correlation 0.5 more by √3 (1 + 2·Σρ^k, closed form), of which five
// lags have 2.94 of 3; and with -0.5 not less. 8 %: the scatter of 1000 rows (2 %), five
// correlations of 400 (0.05 each, on the safe side by the floor).
func TestErrorOfMean(t *testing.T) {
	for _, x := range []struct{ rho, want float64 }{{0, 1}, {0.5, math.Sqrt(3)}, {-0.5, 1}} {
		r := rand.New(rand.NewPCG(2, 2))
		var means []float64
		told := 0.
		const rows = 1000
		for range rows {
			var s series
			for _, v := range neighbourly(r, 400, x.rho) {
				s.add(v)
			}
			means, told = append(means, s.mean()), told+s.error()/rows
		}
		t.Logf("correlation %g: error %.4f, scatter of means %.4f, strangers %.4f", x.rho, told, stat.StdDev(means, nil), 1/math.Sqrt(400))
		require.InEpsilon(t, x.want/math.Sqrt(400), told, 0.08)
		if x.rho >= 0 {
			require.InEpsilon(t, stat.StdDev(means, nil), told, 0.08)
		} else {
			require.Less(t, stat.StdDev(means, nil), told)
		}
	}
}

// Of 200 streamed cycles, some of them misfires, the ensemble tells what the truth tells;
// misfires have no burn angles, and do not spoil their mean.
func TestEnsemble(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	e.Point.MAP = 60e3
	s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 5})
	require.NoError(t, err)
	knobs, err := s.Knobs()
	require.NoError(t, err)
	knobs[0].Misfire = 0.04
	s, err = stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 5, Knobs: &knobs[0]})
	require.NoError(t, err)
	x, err := New(e, &e.Point, nil)
	require.NoError(t, err)
	var sums Ensemble
	var net, gross, lpp, ca50 []float64
	misfires := 0
	r := rand.New(rand.NewPCG(3, 3))
	for c, err := range s.Cycles(context.Background(), 0, 200) {
		require.NoError(t, err)
		p := append([]float64(nil), c.Pressure...)
		for i := range p {
			p[i] += 0.05e5 * r.NormFloat64()
		}
		n, err := x.Cycle(c.Theta, p)
		require.NoError(t, err)
		sums.Add(&n)
		sums.Hear(&Knock{MAPO: Number{float64(c.Number%4) * 0.3e5, 0.01e5}, Onset: 20 * deg})
		net, gross, lpp = append(net, c.IMEPNet), append(gross, c.IMEPGross), append(lpp, n.LPP.Value)
		if c.Misfire {
			misfires++
		} else {
			ca50 = append(ca50, c.CA50)
		}
	}
	out := sums.Sum()
	t.Logf("gross IMEP %.4f bar, random %.4f, systematic %.4f, truth %.4f; COV net %.2f %%, LNV %.3f, neighbours %.3f; LPP %.2f deg, random %.3f, systematic %.3f; CA50 random %.3f, systematic %.3f deg",
		out.IMEPGross.Value/1e5, out.IMEPGross.Random/1e5, out.IMEPGross.Systematic/1e5, stat.Mean(gross, nil)/1e5, 100*out.COVNet, out.LNV, out.Neighbours,
		out.LPP.Value/deg, out.LPP.Random/deg, out.LPP.Systematic/deg, out.CA50.Random/deg, out.CA50.Systematic/deg)
	m, sd := stat.MeanStdDev(gross, nil)
	require.InDelta(t, m, out.IMEPGross.Value, 3*out.IMEPGross.Systematic) // the same cycles: their scatter is in both
	require.InEpsilon(t, sd/m, out.COVGross, 0.02)                         // noise of 0.05 bar adds 0.005 bar to an sd of 0.5
	require.InEpsilon(t, stat.StdDev(net, nil)/stat.Mean(net, nil), out.COVNet, 0.02)
	require.InDelta(t, stat.Correlation(net[1:], net[:len(net)-1], nil), out.Neighbours, 0.03)
	require.Less(t, out.LNV, 0.)
	require.Equal(t, misfires, out.CA50.Missing)
	require.InDelta(t, stat.Mean(ca50, nil), out.CA50.Value, 0.7*deg) // as in TestRoundTrip
	require.InDelta(t, 0.1, out.LPP.Systematic/deg, 1e-6)             // that of the shift, one for one
	require.Equal(t, misfires, out.Misfires)
	require.Positive(t, misfires)
	require.Equal(t, 200, out.Cycles)
	require.InEpsilon(t, quantile(0.5, sorted(lpp)), out.LPPAt[2], 1e-12)
	require.IsIncreasing(t, out.LPPAt[:])
	require.InDelta(t, 0.5, out.Knocking, 1e-12) // 0.6 and 0.9 bar of 0, 0.3, 0.6, 0.9
	require.InDelta(t, 20*deg, out.Onset.Value, 1e-12)
	require.Equal(t, 100, out.Onset.Cycles)
}

// More cycles make the random part smaller and leave the systematic one; nothing at all
// makes NaN.
func TestEnsembleSplitsErrors(t *testing.T) {
	var few, many Ensemble
	n := 0
	var x *Indicator
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	x, err = New(e, &e.Point, &Settings{ShiftError: 0.3 * deg})
	require.NoError(t, err)
	recorded(t, 160, e.Point.MAP, func(c *stream.Cycle, p []float64) {
		m, err := x.Cycle(c.Theta, p)
		require.NoError(t, err)
		if n++; n <= 10 {
			few.Add(&m)
		}
		many.Add(&m)
	})
	a, b := few.Sum(), many.Sum()
	for _, q := range [][2]Mean{{a.LPP, b.LPP}, {a.IMEPNet, b.IMEPNet}, {a.CA50, b.CA50}, {a.Heat, b.Heat}} {
		require.Less(t, q[1].Random, q[0].Random/2) // 4 by the number alone
		require.InEpsilon(t, q[0].Systematic, q[1].Systematic, 0.2)
		require.Greater(t, q[1].Error(), q[1].Systematic)
	}
	require.InDelta(t, 0.3, b.LPP.Systematic/deg, 1e-6)
	none := (&Ensemble{}).Sum()
	require.True(t, math.IsNaN(none.LPP.Value) && math.IsNaN(none.COVNet) && math.IsNaN(none.Knocking) && math.IsNaN(none.LPPAt[0]))
	require.Zero(t, none.Misfires)
}

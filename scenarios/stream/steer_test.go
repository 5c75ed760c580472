package stream

import (
	"context"
	"iter"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
)

// gathered keeps all cycles.
func gathered(t *testing.T, cycles iter.Seq2[*Cycle, error]) []Cycle {
	t.Helper()
	var all []Cycle
	for c, err := range cycles {
		require.NoError(t, err)
		all = append(all, kept(c))
	}
	return all
}

// A hand that does nothing changes nothing, whoever asks and how often.
func TestSteeredByNobody(t *testing.T) {
	e, op := at(t, 2200, 80, 1, 25)
	s := make1(t, e, Steadily(op), &Settings{Seed: 7})
	want := collect(t, s, 0, 60)
	steered := s.Steered(context.Background(), 7, 60, func(int, *model.Operating) {})
	for range 2 {
		for i, c := range gathered(t, steered) {
			require.True(t, same(&want[i], &c), "cycle %d", i)
		}
	}
	other := gathered(t, s.Steered(context.Background(), 8, 60, nil))
	require.False(t, same(&want[59], &other[59]), "another seed")
}

// Where a hand moves the spark from cycle to cycle, interpolated cycles are as near
// to directly solved ones as TestSurface asks of an over-advanced spark that stays.
func TestSteeredSurface(t *testing.T) {
	e, op := at(t, 2200, 80, 1, 25)
	hand := func(n int, op *model.Operating) { op.Spark += 13 * deg * math.Sin(0.37*float64(n)) } // never at a node
	of := func(exact bool) []Cycle {
		return gathered(t, make1(t, e, Steadily(op), &Settings{Exact: exact}).Steered(context.Background(), 1, 200, hand))
	}
	fast, slow := of(false), of(true)
	var lpp, imep, worst float64
	for i := range fast {
		a, b := &fast[i], &slow[i]
		lpp += math.Pow((a.LPP-b.LPP)/deg, 2) / 200
		imep += math.Pow(a.IMEPGross/b.IMEPGross-1, 2) / 200
		for k := range a.Pressure {
			worst = math.Max(worst, math.Abs(a.Pressure[k]-b.Pressure[k])/b.Peak)
		}
	}
	t.Logf("pressure %.2g of the peak; rms LPP %.3f deg, IMEP %.2g", worst, math.Sqrt(lpp), math.Sqrt(imep))
	require.Less(t, worst, 0.002)
	require.Less(t, math.Sqrt(lpp), 0.02)
	require.Less(t, math.Sqrt(imep), 0.001)
}

// A hand on the throttle is followed too: those cycles are solved directly.
func TestSteeredThrottle(t *testing.T) {
	e, op := at(t, 2200, 80, 1, 25)
	all := gathered(t, make1(t, e, Steadily(op), &Settings{Knobs: &Knobs{}}).Steered(context.Background(), 1, 30, func(n int, op *model.Operating) {
		if n >= 10 {
			op.MAP *= 0.9
		}
	}))
	// The charge is about proportional to manifold pressure, less where more residual stays.
	require.InDelta(t, 0.9, all[29].Charge/all[9].Charge, 0.02)
	require.Greater(t, all[29].Residual, all[9].Residual)
}

// Cycles differ as they do where the spark is, not as where the schedule has it: steered
// 25 deg earlier they are as ragged as those of a schedule there. The residual is that
// of the schedule's point, so the two are alike to 3 %.
func TestSteeredRaggedness(t *testing.T) {
	e, op := at(t, 1500, 50, 1, 25)
	far := op
	far.Spark = 50 * deg
	angles := func(all []Cycle) float64 {
		return stat.StdDev(column(all, func(c *Cycle) float64 { return c.CA10 }), nil)
	}
	steered := gathered(t, make1(t, e, Steadily(op), nil).Steered(context.Background(), 1, 400, func(_ int, op *model.Operating) { op.Spark = far.Spark }))
	there := gathered(t, make1(t, e, Steadily(far), nil).Steered(context.Background(), 1, 400, nil))
	stays := gathered(t, make1(t, e, Steadily(op), nil).Steered(context.Background(), 1, 400, nil))
	require.InDelta(t, 1, angles(steered)/angles(there), 0.03)
	require.Greater(t, angles(there)/angles(stays), 1.1, "else the test tells nothing")
}

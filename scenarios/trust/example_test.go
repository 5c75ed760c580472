package trust

import (
	"context"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/stream"
)

// observed is every observation of p at its first operating point that counts, by
// spark, and of which cycle it is.
func observed(t *testing.T, p *Plan) (seen [][]observation, cycles [][]int) {
	t.Helper()
	plan, err := p.ready()
	require.NoError(t, err)
	l, err := newLane(context.Background(), plan, plan.Readers[0], nil)
	require.NoError(t, err)
	seen, cycles = make([][]observation, len(p.Sparks)), make([][]int, len(p.Sparks))
	err = plan.walk(context.Background(), p.Speeds[0], p.MAPs[0], 0, len(p.Sparks), []*lane{l}, func(c *stream.Cycle, k, _ int, o observation) {
		seen[k], cycles[k] = append(seen[k], o), append(cycles[k], c.Number)
	})
	require.NoError(t, err)
	return seen, cycles
}

// The example is the worst of the very cycles that Run counted, though the stream
// begins but Lead cycles before them: the motored hump of a retarded spark in a
// pressure, and noise behind a peak that slid to dead centre in an ion current.
func TestWorst(t *testing.T) {
	for _, c := range []struct {
		signal reader.Signal
		sparks []float64 // [deg]
		k      int
	}{
		{reader.Pressure, []float64{-20, -10, 25, 30}, 1},
		{reader.Ion, []float64{30, 40, 80}, 2},
	} {
		t.Run(c.signal.String(), func(t *testing.T) {
			p := plan(t, c.signal, 2200, 70, 0, 0, 1, "maximum")
			p.Sparks = nil
			for _, s := range c.sparks {
				p.Sparks = append(p.Sparks, s*deg)
			}
			n := &run(t, p).Nodes[0][0]
			seen, cycles := observed(t, p)
			require.Equal(t, n.Cells, p.cells(seen), "those that Run counted")
			want, most := -1, 0.
			for i := range seen[c.k] {
				o := &seen[c.k][i]
				if e := math.Abs(o.read - o.truth); wrongSide(o, p.Target, n.Aim) && e > most {
					want, most = i, e
				}
			}
			require.GreaterOrEqual(t, want, 0)

			x, err := p.Worst(context.Background(), n.Speed, n.MAP, c.k, n.Aim)
			require.NoError(t, err)
			t.Logf("cycle %d: read %.2f deg, truth %.2f, LPP %.2f, aim %.2f; %g are wrong, rms error %.2f",
				x.Cycle, x.Read.Angle/deg, x.Truth/deg, x.LPP/deg, n.Aim/deg, n.Cells[c.k].Wrong, n.Cells[c.k].Error/deg)
			require.Equal(t, cycles[c.k][want], x.Cycle)
			require.InDelta(t, seen[c.k][want].read, x.Read.Angle, 1e-9)
			require.InDelta(t, seen[c.k][want].truth, x.Truth, 1e-3*deg) // 2e-10 deg was measured; rounding may move the steps of the solver
			require.True(t, x.Wrong)
			require.False(t, x.Misfire)
			require.Positive(t, n.Cells[c.k].Wrong)
			require.GreaterOrEqual(t, math.Abs(x.Read.Angle-x.Truth), n.Cells[c.k].Error)
			require.Equal(t, p.Sparks[c.k], x.Spark)
			if c.signal == reader.Pressure {
				require.InDelta(t, 0, x.LPP, 3*deg, "the motored hump is the highest")
				require.InDelta(t, x.LPP, x.Read.Angle, 3*deg, "and was read")
			}

			// Slices are copies: later cycles have not gone over them.
			require.Len(t, x.Theta, 720)
			again, err := reader.New("maximum", p.Signal, p.Engine, reader.Usual(p.Signal))
			require.NoError(t, err)
			require.Equal(t, x.Read, again.Read(&reader.Input{Theta: x.Theta, Values: x.Samples, Spark: x.Spark, Speed: n.Speed, MAP: n.MAP}))
			at := slices.Index(x.Pressure, slices.Max(x.Pressure))
			require.InDelta(t, x.LPP, x.Theta[at], x.Theta[1]-x.Theta[0], "a sample beside the peak")
			require.InEpsilon(t, x.Peak, x.Pressure[at], 5e-3) // half a degree beside the top of a hump some 10 deg wide: 0.05²/2
		})
	}
}

// Cycles made by hand, the next against the worst so far.
func TestWorse(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		read, truth float64
		wrong       bool
		want        bool
	}{
		"further off":               {19, 10, false, false}, // than the wrong one so far, but on the right side
		"less wrong":                {12, 10, true, false},
		"as wrong":                  {13, 10, true, false},
		"wrong by more":             {6, 10, true, true},
		"declined":                  {nan, 10, false, false},
		"a misfire that it read":    {40, nan, false, false},
		"a misfire that it did not": {nan, nan, false, false},
	} {
		o := observation{read: c.read, truth: c.truth}
		e := Example{Read: reader.Reading{Angle: 13}, Truth: 10, Wrong: true}
		require.Equal(t, c.want, worse(&o, c.wrong, &e), name)
		e.Wrong = false
		if c.wrong {
			require.True(t, worse(&o, true, &e), "%s: wrong beats right", name)
		}
		e.Read.Angle = nan
		require.Equal(t, !math.IsNaN(c.read-c.truth), worse(&o, c.wrong, &e), "%s: any error beats none", name)
	}
}

// Where all decline, as with a window that is blanked to its end, the example is the
// first cycle that counts, with the reason.
func TestWorstDeclined(t *testing.T) {
	p := plan(t, reader.Ion, 2200, 70, 20, 40, 10, "maximum")
	p.Settings = reader.Usual(reader.Ion)
	p.Settings.Blank = 20e-3 // 264 deg
	x, err := p.Worst(context.Background(), p.Speeds[0], p.MAPs[0], 1, p.Target)
	require.NoError(t, err)
	require.True(t, math.IsNaN(x.Read.Angle))
	require.NotEmpty(t, x.Read.Why)
	require.Equal(t, p.Cycles+2*settle, x.Cycle)
	require.False(t, x.Wrong)
}

func TestWorstRefused(t *testing.T) {
	p := plan(t, reader.Pressure, 2200, 70, 10, 30, 10, "maximum")
	worst := func(ctx context.Context, p *Plan, rpm float64, k int, aim float64) error {
		x, err := p.Worst(ctx, rpm*math.Pi/30, p.MAPs[0], k, aim)
		require.Nil(t, x)
		return err
	}
	few := *p
	few.Cycles = 5
	ctx := context.Background()
	for key, err := range map[string]error{
		"spark_index":  worst(ctx, p, 2200, 3, p.Target),
		"aim_deg_atdc": worst(ctx, p, 2200, 1, math.NaN()),
		"cycles":       worst(ctx, &few, 2200, 1, p.Target),
		"speed_rpm":    worst(ctx, p, -1, 1, p.Target),
	} {
		var problem *model.Problem
		require.ErrorAs(t, err, &problem)
		require.Equal(t, key, problem.Key)
	}
	var problem *model.Problem
	require.ErrorAs(t, worst(ctx, p, 2200, -1, p.Target), &problem)
	ctx, stop := context.WithCancel(ctx)
	stop()
	require.ErrorIs(t, worst(ctx, p, 2200, 1, p.Target), context.Canceled)
}

// One node with the sparks of a usual map, and the example at one of them.
func BenchmarkNode(b *testing.B) {
	for name, causes := range map[string]bool{"plain": false, "causes": true} {
		b.Run(name, func(b *testing.B) {
			p := plan(b, reader.Pressure, 2200, 70, -20, 60, 5, "maximum")
			p.Causes = causes
			b.ReportAllocs()
			for b.Loop() {
				run(b, p)
			}
		})
	}
	b.Run("worst", func(b *testing.B) {
		p := plan(b, reader.Pressure, 2200, 70, -20, 60, 5, "maximum")
		b.ReportAllocs()
		for b.Loop() {
			_, err := p.Worst(context.Background(), p.Speeds[0], p.MAPs[0], 2, p.Target)
			require.NoError(b, err)
		}
	})
}

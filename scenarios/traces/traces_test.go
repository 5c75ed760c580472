package traces

import (
	"context"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// table is rows by column.
type table struct {
	labels   map[string][]float64
	channels map[string][][]float32
	columns  []dataset.Column
}

func read(t testing.TB, b *Bench, first, last int) *table {
	t.Helper()
	s, err := b.Source(context.Background())
	require.NoError(t, err)
	x := &table{map[string][]float64{}, map[string][][]float32{}, s.Columns()}
	for r, err := range s.Rows(first, last) {
		require.NoError(t, err)
		require.Equal(t, len(x.columns), len(r.Labels)+len(r.Channels))
		for i, c := range x.columns {
			if i < len(r.Labels) {
				require.NotEqual(t, dataset.Samples, c.Kind)
				x.labels[c.Name] = append(x.labels[c.Name], r.Labels[i])
			} else {
				require.Equal(t, dataset.Samples, c.Kind)
				x.channels[c.Name] = append(x.channels[c.Name], slices.Clone(r.Channels[i-len(r.Labels)]))
			}
		}
	}
	return x
}

// Labels are what the samples of the true pressure say: peak, its place, work
// by Simpson's rule, to what float32 (6e-8) and the parabola about the peak leave.
func TestLabels(t *testing.T) {
	b := bench(t, stream.Settings{Seed: 3}, nil)
	b.Truth = true
	x := read(t, b, 0, 40)
	require.Len(t, x.labels["cycle"], 40)
	ch, err := b.Stream.Engine().Chamber()
	require.NoError(t, err)
	theta, work := make([]float64, 361), make([]float64, 361)
	for i, p := range x.channels["true_pressure_bar"] {
		require.Len(t, p, 720)
		best := 0
		for k := range p {
			if p[k] > p[best] {
				best = k
			}
		}
		require.InDelta(t, float64(best-360), x.labels["lpp_deg_atdc"][i], 0.5)
		require.InEpsilon(t, p[best], x.labels["pmax_bar"][i], 1e-3)
		for k := range theta {
			theta[k] = float64(k-180) * math.Pi / 180
			_, dv := ch.Volume(theta[k])
			work[k] = float64(p[k+180]) * dv
		}
		require.InEpsilon(t, integrate.Simpsons(theta, work)/ch.Swept(), x.labels["imep_gross_bar"][i], 1e-6)
		require.InDelta(t, x.labels["spark_deg_btdc"][i]-x.labels["mbt_deg_btdc"][i], x.labels["spark_from_mbt_deg"][i], 1e-9)
		require.Less(t, x.labels["ca10_deg_atdc"][i], x.labels["ca50_deg_atdc"][i])
		require.Less(t, x.labels["ca50_deg_atdc"][i], x.labels["ca90_deg_atdc"][i])
		require.Equal(t, 3., x.labels["seed"][i])
	}
}

// Samples come from instruments alone: the true pressure is there only if asked
// for, and no channel repeats it to the last bit.
func TestTruthApart(t *testing.T) {
	b := bench(t, stream.Settings{Seed: 3}, nil)
	x := read(t, b, 0, 3)
	require.NotContains(t, x.channels, truth)
	b.Truth = true
	y := read(t, b, 0, 3)
	for i := range 3 {
		require.Equal(t, x.channels["pressure_bar"][i], y.channels["pressure_bar"][i])
		require.NotEqual(t, y.channels["pressure_bar"][i], y.channels[truth][i])
	}
}

// A fault has a column of its own; two of one name have two.
func TestFaultColumns(t *testing.T) {
	b := bench(t, stream.Settings{Seed: 3}, func(s *sensor.Setup) {
		s.Faults = []sensor.Fault{{Name: "offset", From: 2, To: 4, Severity: 3}, {Name: "offset", From: 3, To: -1, Severity: 1}, {Name: "tdc-offset", To: -1, Severity: 1}}
	})
	x := read(t, b, 0, 6)
	require.Equal(t, []float64{0, 0, 3, 3, 0, 0}, x.labels["fault_offset"])
	require.Equal(t, []float64{0, 0, 0, 1, 1, 1}, x.labels["fault_offset_2"])
	require.Equal(t, []float64{1, 1, 1, 1, 1, 1}, x.labels["fault_tdc_offset"])
	clean := read(t, bench(t, stream.Settings{Seed: 3}, func(s *sensor.Setup) { s.Faults = []sensor.Fault{{Name: "tdc-offset", To: -1, Severity: 1}} }), 0, 6)
	for i, want := range []float64{0, 0, 3, 4, 1, 1} {
		mean := 0.
		for k, p := range x.channels["pressure_bar"][i] {
			mean += float64(p-clean.channels["pressure_bar"][i][k]) / 720
		}
		require.InDelta(t, want, mean, 0.01, "cycle %d", i) // an ADC step is 0.003 bar
	}
}

// A part is the same whatever parts were made before by the same source.
func TestPartsAlone(t *testing.T) {
	b := bench(t, stream.Settings{Seed: 4}, func(s *sensor.Setup) { s.Faults = []sensor.Fault{{Name: "amplifier-droop", To: -1, Severity: 5}} })
	alone := read(t, b, 20, 30)
	s, err := b.Source(context.Background())
	require.NoError(t, err)
	for range s.Rows(0, 20) { //nolint:revive // only to have made them
	}
	i := 0
	for r, err := range s.Rows(20, 30) {
		require.NoError(t, err)
		require.Equal(t, alone.channels["pressure_bar"][i], r.Channels[0])
		i++
	}
	require.Equal(t, 10, i)
}

// Two plugs have the split among the labels and a channel for the trailing one.
func TestTwin(t *testing.T) {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Burn.Plugs, e.Burn.SecondX, e.Point.Split = 2, -0.02, 0.1
	s, err := stream.New(e, stream.Steadily(e.Point), nil)
	require.NoError(t, err)
	b := &Bench{Stream: s, Setup: sensor.Setup{Ion: sensor.UsualIon(), Trailing: sensor.UsualIon()}}
	x := read(t, b, 0, 5)
	require.InDelta(t, 0.1*180/math.Pi, x.labels["trailing_split_deg"][0], 1e-9)
	require.Len(t, x.channels["ion_trailing_ua"][4], 720)
	require.NotEqual(t, x.channels["ion_trailing_ua"][4], x.channels["ion_ua"][4])
}

// The summary is that of the labels.
func TestSummarise(t *testing.T) {
	b := bench(t, stream.Settings{Seed: 5}, nil)
	s, err := b.Summarise(context.Background(), 120, 30)
	require.NoError(t, err)
	x := read(t, b, 0, 120)
	q := s.Named()["imep_gross_bar"]
	mean, sd := stat.MeanStdDev(x.labels["imep_gross_bar"], nil)
	require.InEpsilon(t, mean, *q.Mean, 1e-12)
	require.InEpsilon(t, sd, *q.SD, 1e-12)
	require.InEpsilon(t, sd/mean, *s.COV, 1e-12)
	require.InDelta(t, stat.Correlation(x.labels["imep_gross_bar"][:119], x.labels["imep_gross_bar"][1:], nil), *q.Lag, 1e-12)
	knocking := 0
	for _, k := range x.labels["knocking"] {
		knocking += int(k)
	}
	require.Equal(t, knocking, s.Knocking)
	require.InDelta(t, x.labels["lpp_deg_atdc"][41], s.Ragged.LPP[41]*180/math.Pi, 1e-12)
	o := &s.Overlaid // every fourth of 120
	require.Len(t, o.Pressure, 30)
	require.Len(t, o.Ion, 30)
	require.Len(t, o.LPP, 120)
	require.InDelta(t, float64(x.channels["ion_ua"][28][380]), o.Ion[7][380]*1e6, 1e-3)
	require.Equal(t, s.Ragged.LPP[28], o.LPP[7])
	require.Greater(t, slices.Max(o.Pressure[7]), 0.99*o.Peak[7])
	require.ElementsMatch(t, s.Ragged.IMEP, o.IMEP)

	one, err := b.Summarise(context.Background(), 1, 1)
	require.NoError(t, err)
	require.Nil(t, one.COV)
	require.Nil(t, one.Named()["lpp_deg_atdc"].SD)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = b.Summarise(ctx, 10, 1)
	require.ErrorIs(t, err, context.Canceled)
}

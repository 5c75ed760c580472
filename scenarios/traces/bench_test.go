package traces

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

func bench(t testing.TB, set stream.Settings, change func(*sensor.Setup)) *Bench {
	t.Helper()
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Point.Spark = 25 * math.Pi / 180
	s, err := stream.New(e, stream.Steadily(e.Point), &set)
	require.NoError(t, err)
	b := &Bench{Stream: s, Setup: sensor.Usual(e), Seed: set.Seed}
	b.Setup.Wheel = nil
	if change != nil {
		change(&b.Setup)
	}
	return b
}

// BenchmarkWrite writes labelled cycles of 720 samples with pressure and ion
// current, a part of 1,000 at a time: ns/op is per cycle.
func BenchmarkWrite(b *testing.B) {
	for _, format := range dataset.Formats() {
		b.Run(format, func(b *testing.B) {
			set := func(s *sensor.Setup) {}
			if format == "wav" {
				set = func(s *sensor.Setup) { s.Sampling.RateHz = 48000 }
			}
			x := bench(b, stream.Settings{Seed: 1}, set)
			for _, err := range x.Stream.Cycles(context.Background(), 0, 500) { // solve the nodes
				require.NoError(b, err)
			}
			b.ReportAllocs()
			b.ResetTimer()
			require.NoError(b, dataset.Write(context.Background(), &dataset.Plan{Dir: b.TempDir(), Formats: []string{format},
				Cycles: b.N, Part: 1000, Workers: 1, Rate: 48000,
				Source: func() (dataset.Source, error) { return x.Source(context.Background()) }}))
		})
	}
}

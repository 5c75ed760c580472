package loop

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/reader"
)

// BenchmarkRun is a run of 10,000 cycles at 3000 rpm, what it costs to make the bench
// ready included, one core; times-real is how many times faster than the engine it is.
func BenchmarkRun(b *testing.B) {
	e, err := theEngine()
	require.NoError(b, err)
	for _, x := range []struct {
		name   string
		signal reader.Signal
		reader string
	}{{"maximum", reader.Ion, "maximum"}, {"tracker", reader.Ion, "tracker"}, {"pressure", reader.Pressure, "smoothed"}} {
		b.Run(x.name, func(b *testing.B) {
			s := Usual(e)
			s.Cycles, s.Sensing.Signal, s.Sensing.Reader, s.Guard.Envelope = 10_000, x.signal, x.reader, false
			s.Legs[0].Operating.Speed = 3000 * rpm
			var took time.Duration
			var engine float64
			for b.Loop() {
				start := time.Now()
				bench, err := NewBench(context.Background(), &s)
				require.NoError(b, err)
				r, err := bench.Run(context.Background(), 1, nil)
				require.NoError(b, err)
				took += time.Since(start)
				engine += r.Steps[len(r.Steps)-1].Time
			}
			b.ReportMetric(engine/took.Seconds(), "times-real")
		})
	}
}

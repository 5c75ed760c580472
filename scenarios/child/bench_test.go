package child

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkRoundTrip is a question and its echo, by a program and by a peer: the mean
// in ns/op, and the median. It has the time of the echo in it.
func BenchmarkRoundTrip(b *testing.B) {
	line, sent, got := []byte("{\"cycle\":7}\n"), bytes.Repeat([]byte("\n"), 3000), make([]byte, 3000)
	for _, link := range []struct {
		name string
		make func() *Link
	}{
		{"pipe", func() *Link { return begun(b, b.Context(), "echo", patience) }},
		{"tcp", func() *Link {
			l, err := Dial(b.Context(), serve(b, echo), patience)
			require.NoError(b, err)
			b.Cleanup(func() { l.Close() })
			return l
		}},
	} {
		for _, turn := range []struct {
			name string
			take func(*Link) error
		}{
			{"line", func(l *Link) error { _, err := l.Ask(line); return err }},
			{"3kB", func(l *Link) error {
				if err := l.Begin(); err != nil {
					return err
				}
				if err := l.Send(sent); err != nil {
					return err
				}
				return l.Full(got)
			}},
		} {
			b.Run(link.name+"/"+turn.name, func(b *testing.B) {
				l := link.make()
				took := make([]time.Duration, 0, 1<<20)
				b.ReportAllocs()
				for b.Loop() {
					start := time.Now()
					if err := turn.take(l); err != nil {
						b.Fatal(err)
					}
					if len(took) < cap(took) {
						took = append(took, time.Since(start))
					}
				}
				slices.Sort(took)
				b.ReportMetric(float64(took[len(took)/2]), "median-ns")
			})
		}
	}
}

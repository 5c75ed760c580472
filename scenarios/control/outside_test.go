package control

import (
	"context"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/reader"
)

// What cannot be a law is refused with what it is.
func TestOutsideRefused(t *testing.T) {
	terms := Terms{Limit: 10 * time.Second}
	_, err := StartOutside(context.Background(), []string{"./no-such-program"}, terms)
	require.ErrorIs(t, err, ErrOutside)
	_, err = StartOutside(context.Background(), []string{"cat"}, terms)
	require.ErrorIs(t, err, ErrOutside)
	require.ErrorContains(t, err, "greeting: it said")
	_, err = DialOutside(context.Background(), "192.0.2.1:4000", terms) // TEST-NET-1 of RFC 5737
	require.ErrorIs(t, err, ErrOutside)
	require.ErrorContains(t, err, "192.0.2.1")
}

// BenchmarkOutside is one exchange with testdata/controllers/integral.c, its own time
// included: the mean in ns/op, and the median.
func BenchmarkOutside(b *testing.B) {
	cc, err := exec.LookPath("gcc")
	if err != nil {
		b.Skip("no gcc")
	}
	program := filepath.Join(b.TempDir(), "integral")
	out, err := exec.Command(cc, "-std=c99", "-O2", "-ffp-contract=off", "-o", program, "../../testdata/controllers/integral.c", "-lm").CombinedOutput()
	require.NoError(b, err, "%s", out)
	for _, binary := range []bool{true, false} {
		name := "json"
		if binary {
			name = "binary"
		}
		b.Run(name, func(b *testing.B) {
			o, err := StartOutside(context.Background(), []string{program}, Terms{Binary: binary, Limit: 10 * time.Second})
			require.NoError(b, err)
			s := Seen{Speed: 157, MAP: 60e3, Target: 15 * deg, Base: 20 * deg, Ordered: Order{18.3 * deg, math.NaN()},
				Fired: Order{18.3 * deg, math.NaN()}, Single: reader.Reading{Angle: 0.271, Quality: 0.8}, Reading: reader.Reading{Angle: 0.271, Quality: 0.8},
				Torque: 21.7, Airflow: 3.1e-3, Knock: math.NaN(), Peak: math.NaN(), IMEP: math.NaN()}
			took := make([]time.Duration, 0, 1<<20)
			b.ReportAllocs()
			for b.Loop() {
				start := time.Now()
				if o.Next(&s); o.Err() != nil {
					b.Fatal(o.Err())
				}
				if len(took) < cap(took) {
					took = append(took, time.Since(start))
				}
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2]), "median-ns")
			if err := o.Close(); err != nil {
				b.Fatal(err)
			}
		})
	}
}

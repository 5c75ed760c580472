package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/stream"
)

// The first draws are part of what a seed means: they are frozen here.
func TestFirstDraws(t *testing.T) {
	r := newRandom(1)
	require.Equal(t, []uint64{0x62f112c7bf42ac2f, 0xe4a816d4eddfcb64, 0x812caf682a65638c}, []uint64{
		r.of(0, stream.Pressing).Uint64(), r.of(1, stream.Pressing).Uint64(), r.of(0, stream.Listening).Uint64(),
	})
}

// First draws of neighbouring cycles, purposes and seeds go apart: of 20 000 the
// correlation is 0 to four times 1/√n.
func TestDrawsAreApart(t *testing.T) {
	const n = 20000
	a, b := newRandom(1), newRandom(2)
	sums := [3]float64{}
	for k := range n {
		z := a.of(k, stream.Pressing).NormFloat64()
		for i, other := range []float64{
			a.of(k+1, stream.Pressing).NormFloat64(), a.of(k, stream.Ionizing).NormFloat64(), b.of(k, stream.Pressing).NormFloat64(),
		} {
			sums[i] += z * other / n
		}
	}
	for _, s := range sums {
		require.InDelta(t, 0, s, 4/math.Sqrt(n))
	}
}

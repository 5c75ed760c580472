package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Levels lie range/2^bits apart, none is further off than half of that, and both
// ends hold.
func TestDigitise(t *testing.T) {
	const low, high, bits = -10., 150., 6
	q := (high - low) / 64 // by hand: 2.5
	var x, given []float64
	for v := low - 20; v < high+20; v += 0.01 {
		given, x = append(given, v), append(x, v)
	}
	digitise(x, low, high, bits)
	levels := map[float64]bool{}
	for i, v := range x {
		n := (v - low) / q
		require.Equal(t, math.Round(n), n)
		if given[i] >= low && given[i] <= high-q {
			require.InDelta(t, given[i], v, q/2*(1+1e-9))
		}
		levels[v] = true
	}
	require.Len(t, levels, 64)
	require.Equal(t, low, x[0])
	require.Equal(t, high-q, x[len(x)-1])
}

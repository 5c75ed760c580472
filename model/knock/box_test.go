package knock

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand, for a box of 160 by 80 mm at 960 m/s: 960/(2·0.16) = 3000 Hz a node along
// the length, 6000 Hz across.
func TestBoxModes(t *testing.T) {
	modes, err := BoxModes(0.16, 0.08, 960, 5)
	require.NoError(t, err)
	for i, w := range []struct {
		name string
		hz   float64
	}{{"(1,0)", 3000}, {"(0,1)", 6000}, {"(2,0)", 6000}, {"(1,1)", math.Hypot(3000, 6000)}, {"(2,1)", math.Hypot(6000, 6000)}} {
		require.Equal(t, w.name, modes[i].Name())
		require.InEpsilon(t, w.hz, modes[i].Frequency, 1e-14)
	}
	for _, bad := range [][3]float64{{0, 1, 1}, {1, math.NaN(), 1}, {1, 1, math.Inf(1)}} {
		_, err := BoxModes(bad[0], bad[1], bad[2], 1)
		require.ErrorIs(t, err, ErrRange)
	}
	for _, count := range []int{0, mostBox + 1} {
		_, err := BoxModes(1, 1, 1, count)
		require.ErrorIs(t, err, ErrRange)
	}
}

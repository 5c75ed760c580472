package friction

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The usual middle coefficients at 50 bar and 6 m/s, by hand in bar:
// 0.4 + 0.005·50 + 0.09·6 + 0.0009·36 = 1.2224.
func TestChenFlynn(t *testing.T) {
	f := ChenFlynn{Constant: 0.4e5, Peak: 0.005, Linear: 0.09e5, Square: 0.0009e5}
	require.InEpsilon(t, 1.2224e5, f.FMEP(50e5, 6), 1e-12)
}

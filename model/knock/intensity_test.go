package knock

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand: 0.2 · 0.25 · 1e-4 kg · 2.8e6 J/kg / 7e-5 m³ = 2e5 Pa, which is about
// a fifth of the charge of a 500 cc cylinder at full load.
func TestIntensity(t *testing.T) {
	require.InEpsilon(t, 2e5, Intensity(1e-4, 2.8e6, 7e-5, 1.25), 1e-12)
	require.Zero(t, Intensity(0, 2.8e6, 7e-5, 1.25))
}

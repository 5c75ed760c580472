package flame

import (
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/gas"
)

// Values recomputed from the published formulas by a separate script
// (literature digest 1.5), in cm/s, to the three or four digits given there.
func TestRecomputed(t *testing.T) {
	for _, c := range []struct {
		fuel                   string
		phi, temp, atm, dilute float64
		want, tol              float64 // [cm/s]
	}{
		{"iso-octane", 1, 298, 1, 0, 24.87, 0.005},
		{"iso-octane", 1, 700, 20, 0, 99.1, 0.05},
		{"iso-octane", 1, 700, 20, 0.10, 64.4, 0.05},
		{"iso-octane", 0.8, 700, 20, 0, 68.4, 0.05},
		{"gasoline", 1, 298, 1, 0, 28.08, 0.005},
		{"gasoline", 1, 700, 20, 0, 90.3, 0.05},
		{"gasoline", 1, 700, 20, 0.10, 58.7, 0.05},
		{"gasoline", 0.8, 700, 20, 0, 63.9, 0.05},
	} {
		law, err := ForFuel(c.fuel)
		require.NoError(t, err)
		require.InDelta(t, c.want, 100*law.Speed(c.phi, c.temp, c.atm*101325, c.dilute), c.tol, "%+v", c)
	}
}

// Stoichiometric speeds at room conditions: methane 36 to 42 cm/s, ethanol and
// methanol 35 to 48, propane 33 to 45, hydrogen 200 to 250 (common practice,
// no source).
func TestEveryFuelBurns(t *testing.T) {
	for _, fuel := range gas.Fuels() {
		law, err := ForFuel(fuel)
		require.NoError(t, err, fuel)
		low, high := 24., 48.
		if fuel == "hydrogen" {
			low, high = 200, 250
		}
		cold := 100 * law.Speed(1, 298, 101325, 0)
		require.True(t, cold > low && cold < high, "%s: %g cm/s", fuel, cold)
		require.Greater(t, law.Speed(1, 700, 20e5, 0), law.Speed(1, 700, 20e5, 0.15), "dilution slows %s", fuel)
		require.Greater(t, law.Speed(1, 750, 20e5, 0), law.Speed(1, 700, 20e5, 0), "heat speeds %s", fuel)
		require.Zero(t, law.Speed(1, 700, 20e5, 0.5), "half residual does not burn")
	}
	_, err := ForFuel("coal")
	require.ErrorIs(t, err, ErrUnknown)
}

package gas

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// fuels.csv prints 3 decimals of molar mass and 7 digits of the rest.
func TestFuels(t *testing.T) {
	for _, r := range readRows(t, "fuels.csv") {
		f := newFuel(r["fuel"], []Share{{r["fuel"], 1}})
		if name, ok := fuelOf[r["fuel"]]; ok {
			f = mustFuel(t, name)
		}
		require.Equal(t, []float64{r.num(t, "C"), r.num(t, "H"), r.num(t, "O")}, []float64{f.C, f.H, f.O}, f.Name)
		near(t, r.num(t, "molar_mass"), f.MolarMass*1e3, 5e-4, "%s molar mass [g/mol]", f.Name)
		near(t, r.num(t, "stoich_air_fuel_mass_ratio"), f.StoichAirFuel, 1e-6*f.StoichAirFuel, "%s air/fuel", f.Name)
		near(t, r.num(t, "LHV_p=-dH")*1e6, f.LHV, 2e-7*f.LHV, "%s LHV", f.Name)
	}
}

// The surrogate against what is usual for pump gasoline (H/C about 1.87,
// air/fuel 14.5-14.7, 43-44 MJ/kg; from memory).
func TestGasoline(t *testing.T) {
	f := mustFuel(t, "gasoline")
	var sum float64
	for _, s := range f.MakeUp {
		sum += s.X
	}
	near(t, 1, sum, 1e-15, "sum of mole fractions")
	near(t, 1.87, f.H/f.C, 0.01, "H/C")
	near(t, 14.6, f.StoichAirFuel, 0.1, "air/fuel")
	near(t, 43.5e6, f.LHV, 0.5e6, "LHV")
}

func TestUnknownFuel(t *testing.T) {
	for _, name := range []string{"", "petrol", "Methane"} {
		_, err := FuelByName(name)
		require.ErrorIs(t, err, ErrUnknownFuel)
		require.ErrorContains(t, err, strings.Join(Fuels(), ", "))
	}
	for _, name := range Fuels() {
		require.Equal(t, name, mustFuel(t, name).Name)
	}
}

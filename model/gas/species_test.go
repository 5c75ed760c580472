package gas

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The coefficients carried over are the digits of nasa7.csv.
func TestCoefficients(t *testing.T) {
	rows := readRows(t, "nasa7.csv")
	require.Len(t, rows, 2*nSpecies)
	for _, r := range rows {
		i := indexOf(strings.Fields(r["species"])[0])
		require.GreaterOrEqual(t, i, 0, r["species"])
		s := &catalogue[i]
		c := &s.lo
		if r["range"] == "high" {
			c = &s.hi
		}
		for k := range c {
			require.Equal(t, r.num(t, "a"+string(rune('1'+k))), c[k], "%s %s a%d", s.name, r["range"], k+1)
		}
		near(t, r.num(t, "molar_mass"), s.mass()*1e3, 5e-4, "%s molar mass [g/mol]; file has 3 decimals", s.name)
	}
}

// cp, h and s0 of species.csv, rows made with the same polynomials. cp is
// printed to 1e-6, s0 to 1e-5 and h to 9 digits: tolerance just over half a
// unit of the last place, and for small h 1e-5 J/mol.
// Rows from the other data set (gri30) are fitted separately; 0.5 % in cp is
// our own margin for "the same gas".
func TestSpecies(t *testing.T) {
	for _, r := range readRows(t, "species.csv") {
		s := &catalogue[indexOf(r["species"])]
		at := r.num(t, "T")
		cp, h, s0 := s.molar(at)
		want := r.num(t, "cp")
		if r["source_file"] != "nasa_gas" {
			near(t, want, cp, 5e-3*want, "%s cp at %g K, other data set", s.name, at)
			continue
		}
		near(t, want, cp, 6e-7, "%s cp at %g K", s.name, at)
		near(t, r.num(t, "h"), h, 1e-8*max(math.Abs(h), 1e3), "%s h at %g K", s.name, at)
		near(t, r.num(t, "s0"), s0, 6e-6, "%s s at %g K", s.name, at)
	}
}

// Where the two ranges meet, h may jump by what the fit left: less than
// 0.3 J/kg for any species (measured; H atoms are the worst).
func TestRangesMeet(t *testing.T) {
	for i := range catalogue {
		s := &catalogue[i]
		near(t, s.lo.h(tJoin)*RU/s.mass(), s.hi.h(tJoin)*RU/s.mass(), 0.3, "%s h at 1000 K [J/kg]", s.name)
		near(t, s.lo.cp(tJoin)*RU/s.mass(), s.hi.cp(tJoin)*RU/s.mass(), 1e-4, "%s cp at 1000 K [J/kg/K]", s.name)
	}
}

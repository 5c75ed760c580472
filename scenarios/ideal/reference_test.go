package ideal

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
	"phasebench/model/gas"
)

// readRows reads testdata/reference/name, whose README.md tells where the
// numbers come from. Columns are named by their header up to the first of "[( ".
func readRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var rows []map[string]string
	for _, line := range lines[1:] {
		r := map[string]string{}
		for k, head := range lines[0] {
			if i := strings.IndexAny(head, "[( "); i > 0 {
				head = head[:i]
			}
			r[head] = line[k]
		}
		rows = append(rows, r)
	}
	return rows
}

func num(t *testing.T, r map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	require.NoErrorf(t, err, "column %q of %v", column, r)
	return v
}

// The fuel-air cycle of otto.csv (Cantera 3.2.0; second solver to 6e-10). The
// file has 7 significant digits at worst, of which half a unit is up to 5e-7;
// 1e-3 was asked.
func TestFuelAirReference(t *testing.T) {
	row := accuracy.Find(t, "otto-fuel-air")
	rows := readRows(t, "otto.csv")
	require.Len(t, rows, 9)
	for _, r := range rows {
		require.Equal(t, "IC8H18", r["fuel"])
		c := with(Equilibrium, num(t, r, "r"), 300, 1e5)
		c.Fuel, c.Phi = "iso-octane", num(t, r, "phi")
		o, err := Otto{Charge: c}.Run()
		require.NoError(t, err)
		s := o.States
		for _, n := range []struct {
			column string
			got    float64
		}{
			{"v1", s[0].V}, {"M_unburned", s[1].MolarMass * 1e3},
			{"T2", s[1].T}, {"p2", s[1].P / bar},
			{"T3", s[2].T}, {"p3", s[2].P / bar}, {"M3", s[2].MolarMass * 1e3},
			{"T4", s[3].T}, {"p4", s[3].P / bar}, {"M4", s[3].MolarMass * 1e3},
			{"s3", s[2].S}, {"w_net", o.Work / kJ}, {"eta_indicated=w/", o.Efficiency}, {"imep", o.MEP / bar},
		} {
			row.Relative(t, num(t, r, n.column), n.got, "phi %s r %s: %s", r["phi"], r["r"], n.column)
		}
		require.Len(t, s[2].Composition, len(gas.ProductNames()))
		require.Nil(t, s[1].Composition)
	}
}

// The air-standard cycle of air_otto.csv (Cantera 3.2.0), r 8, 290 K, 100 kPa,
// 800 kJ/kg. The file has 6 significant digits at worst (efficiency), of
// which half a unit is up to 1e-6.
func TestAirReference(t *testing.T) {
	airs := map[string]gas.Air{
		"O2:N2=0.21:0.79 nasa_gas":               {N2: 0.79 / 0.21},
		"O2:N2=1:3.773 nasa_gas":                 gas.DefaultAir,
		"N2 0.7808 O2 0.2095 Ar 0.0097 nasa_gas": AirWithArgon,
	} // the rows left out are of other data sets
	row := accuracy.Find(t, "otto-air")
	seen := 0
	for _, r := range readRows(t, "air_otto.csv") {
		air, ok := airs[r["gas"]]
		if !ok {
			continue
		}
		seen++
		c := with(Air, 8, 290, 1e5)
		c.Air = air
		o, err := Otto{Charge: c, Heat: 800e3}.Run()
		require.NoError(t, err)
		s := o.States
		for _, n := range []struct {
			column string
			got    float64
		}{
			{"R", gas.RU / s[0].MolarMass}, {"v1", s[0].V}, {"T2", s[1].T}, {"p2", s[1].P / 1e3},
			{"T3", s[2].T}, {"p3", s[2].P / 1e3}, {"T4", s[3].T}, {"p4", s[3].P / 1e3},
			{"q_out", (o.Heat - o.Work) / kJ}, {"w_net", o.Work / kJ}, {"eta", o.Efficiency}, {"mep", o.MEP / 1e3},
		} {
			row.Relative(t, num(t, r, n.column), n.got, "%s: %s", r["gas"], n.column)
		}
	}
	require.Equal(t, len(airs), seen)
}

package gas

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// row is one line of a reference file; columns are named by their header up
// to the first of "[( ".
type row map[string]string

func (r row) num(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	require.NoErrorf(t, err, "column %q of %v", column, r)
	return v
}

// readRows reads testdata/reference/name; testdata/reference/README.md tells
// where the numbers come from.
func readRows(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var rows []row
	for _, line := range lines[1:] {
		r := row{}
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

// fuelOf translates the formulas of the reference files.
var fuelOf = map[string]string{
	"IC8H18": "iso-octane", "H2": "hydrogen", "CH4": "methane",
	"C3H8": "propane", "C2H5OH": "ethanol", "CH3OH": "methanol",
}

func mustFuel(t testing.TB, name string) Fuel {
	t.Helper()
	f, err := FuelByName(name)
	require.NoError(t, err)
	return f
}

func mustFresh(t testing.TB, name string, lambda float64, a Air) *Frozen {
	t.Helper()
	f, err := NewFresh(mustFuel(t, name), lambda, a)
	require.NoError(t, err)
	return f
}

func mustBurned(t testing.TB, name string, lambda float64, a Air) *Burned {
	t.Helper()
	b, err := NewBurned(mustFuel(t, name), lambda, a)
	require.NoError(t, err)
	return b
}

func mustTable(t testing.TB, b *Burned) *Table {
	t.Helper()
	g, err := NewTable(b, DefaultFreezeK)
	require.NoError(t, err)
	return g
}

func mustFreezing(t testing.TB, b *Burned) *Freezing {
	t.Helper()
	g, err := NewFreezing(b, DefaultFreezeK)
	require.NoError(t, err)
	return g
}

// near requires |got − want| <= tol, so that NaN fails.
func near(t *testing.T, want, got, tol float64, what string, args ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf(what+": got %.10g, want %.10g ± %.2g", append(args, got, want, tol)...)
	}
}

// everyGas is one of each model.
func everyGas(t testing.TB) map[string]Gas {
	b := mustBurned(t, "gasoline", 0.95, DefaultAir)
	return map[string]Gas{
		"fresh":    mustFresh(t, "gasoline", 0.95, DefaultAir),
		"perfect":  ColdAir,
		"burned":   b,
		"freezing": mustFreezing(t, b),
		"table":    mustTable(t, b),
	}
}

// slope5 is a five-point central difference. With step 3e-4 in ln T or ln p
// truncation is about (3e-4)⁴·30⁵/30 = 7e-9 of a term that goes like
// exp(−30·T₀/T), rounding about 1e-12.
func slope5(f func(z float64) float64) float64 {
	const h = 3e-4
	return (f(-2*h) - 8*f(-h) + 8*f(h) - f(2*h)) / (12 * h)
}

// Derivatives against differences, for every gas, at points that lie inside
// one cell of the table and away from 1000 K. Tolerance 1e-7 of the
// natural scale: see slope5.
func TestDerivatives(t *testing.T) {
	const tol = 1e-7
	for name, g := range everyGas(t) {
		for _, at := range []struct{ t, p float64 }{
			{330, 1.1e5}, {800, 21e5}, {1450, 5e5}, {1790, 1e5}, {2150, 7e5},
			{2150, 70e5}, {2670, 45e5}, {3190, 0.5e5}, {3190, 120e5},
		} {
			var d Props
			get := func(lnT, lnP float64) Props {
				var d Props
				g.Props(at.t*math.Exp(lnT), at.p*math.Exp(lnP), &d)
				return d
			}
			d = get(0, 0)
			r := at.p * d.V / at.t
			hT := slope5(func(z float64) float64 { return get(z, 0).H }) / at.t
			hP := slope5(func(z float64) float64 { return get(0, z).H }) / at.p
			vT := slope5(func(z float64) float64 { return math.Log(get(z, 0).V) })
			vP := slope5(func(z float64) float64 { return math.Log(get(0, z).V) })
			uT := slope5(func(z float64) float64 { return get(z, 0).U }) / at.t
			uP := slope5(func(z float64) float64 { return get(0, z).U }) / at.p
			near(t, hT, d.Cp, tol*d.Cp, "%s %v Cp", name, at)
			near(t, hP, d.HP, tol*d.V, "%s %v HP", name, at)
			near(t, vT, d.VT, tol, "%s %v VT", name, at)
			near(t, vP, d.VP, tol, "%s %v VP", name, at)
			near(t, uT, d.UT(at.t, at.p), tol*d.Cp, "%s %v UT", name, at)
			near(t, uP, d.UP(), tol*d.V, "%s %v UP", name, at)
			near(t, d.H-r*at.t, d.U, 1e-9*math.Abs(r*at.t), "%s %v u = h − pv", name, at)
		}
	}
}

// Gases in equilibrium and frozen gases obey dh − T·ds = v·dp in every
// direction, (∂h/∂p)T = v(1−VT) and (∂s/∂p)T = −(∂v/∂T)p.
func TestIdentities(t *testing.T) {
	const tol = 1e-7 // as TestDerivatives
	for name, g := range everyGas(t) {
		lowK := 0.
		switch name {
		case "freezing":
			lowK = DefaultFreezeK + 20*FreezeWidthK // below, see its doc
		case "table":
			continue // holds to the interpolation error only: TestTableError
		}
		for _, at := range []struct{ t, p float64 }{
			{400, 1e5}, {900, 20e5}, {1300, 5e5}, {1800, 1e5}, {2200, 70e5}, {2800, 50e5}, {3300, 0.3e5},
		} {
			if at.t < lowK {
				continue
			}
			var d Props
			g.Props(at.t, at.p, &d)
			for _, way := range [][2]float64{{1, 0}, {0, 1}, {1, 3.5}, {1, -2}} {
				along := func(pick func(*Props) float64) float64 {
					return slope5(func(z float64) float64 {
						var d Props
						g.Props(at.t*math.Exp(way[0]*z/4), at.p*math.Exp(way[1]*z/4), &d)
						return pick(&d)
					}) * 4
				}
				dh := along(func(d *Props) float64 { return d.H })
				ds := along(func(d *Props) float64 { return d.S })
				near(t, d.V*at.p*way[1], dh-at.t*ds, tol*d.Cp*at.t, "%s %v along %v", name, at, way)
			}
			near(t, d.V*(1-d.VT), d.HP, 1e-12*d.V, "%s %v HP", name, at)
			sP := slope5(func(z float64) float64 {
				var d Props
				g.Props(at.t, at.p*math.Exp(z), &d)
				return d.S
			}) / at.p
			near(t, -d.V*d.VT/at.t, sP, tol*d.V/at.t, "%s %v Maxwell", name, at)
			// By hand from the Gibbs relation; rounding only.
			near(t, d.Cp+at.p*d.V/at.t*d.VT*d.VT/d.VP, d.Cv(at.t, at.p), 1e-11*d.Cp, "%s %v Cv", name, at)
			near(t, -d.Cp/(d.Cv(at.t, at.p)*d.VP), d.Gamma(at.t, at.p), 1e-11, "%s %v Gamma", name, at)
		}
	}
}

func TestNoAnswer(t *testing.T) {
	gases := everyGas(t)
	gases["perfect, zero"] = Perfect{}
	for name, g := range gases {
		for _, at := range [][2]float64{
			{math.NaN(), 1e5}, {300, math.NaN()}, {0, 1e5}, {-1, 1e5}, {300, 0},
			{300, -1}, {math.Inf(1), 1e5}, {300, math.Inf(1)},
		} {
			var d Props
			g.Props(at[0], at[1], &d)
			for _, v := range []float64{d.V, d.U, d.H, d.S, d.Cp, d.HP, d.VT, d.VP} {
				require.Truef(t, math.IsNaN(v), "%s at %v: %+v", name, at, d)
			}
			g.Props(2000, 1e5, &d) // and it recovers
			require.Equalf(t, name == "perfect, zero", math.IsNaN(d.V), name)
		}
	}
}

func TestNoAllocs(t *testing.T) {
	for name, g := range everyGas(t) {
		var d Props
		k := 0
		require.Zerof(t, testing.AllocsPerRun(100, func() {
			k++
			g.Props(1400+float64(k%100)*10, 2e6, &d)
		}), name)
	}
}

func BenchmarkProps(b *testing.B) {
	gases := everyGas(b)
	for _, c := range []struct {
		name string
		t    float64 // middle of a span of 100 K
	}{{"perfect", 800}, {"fresh", 800}, {"burned", 2500}, {"freezing", 2500}, {"freezing", 1400}, {"table", 2500}, {"table", 1400}} {
		b.Run(c.name+"-"+strconv.Itoa(int(c.t))+"K", func(b *testing.B) {
			g := gases[c.name]
			b.ReportAllocs()
			var d Props
			i := 0
			for b.Loop() {
				i++
				z := float64(i%64-32) / 32 // steps of 1.6 K and 1 % in p
				g.Props(c.t+50*z, 2e6*(1+0.3*z), &d)
			}
		})
	}
}

func BenchmarkNewTable(b *testing.B) {
	burned := mustBurned(b, "gasoline", 1, DefaultAir)
	b.ReportAllocs()
	for b.Loop() {
		mustTable(b, burned)
	}
}

package gas

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// Flame temperatures of flame.csv (Cantera 3.2.0; second solver to 3e-9 K).
// 0.5 K was asked; with the same data the 9 digits of the file hold.
func TestFlameReference(t *testing.T) {
	temperature, pressure, fractions := accuracy.Find(t, "flame-temperature"), accuracy.Find(t, "flame-pressure"), accuracy.Find(t, "flame-fractions")
	for _, r := range readRows(t, "flame.csv") {
		phi, t0, p0 := r.num(t, "phi"), r.num(t, "T_initial"), r.num(t, "p_initial")
		name := fuelOf[r["fuel"]]
		fresh, b := mustFresh(t, name, 1/phi, DefaultAir), mustBurned(t, name, 1/phi, DefaultAir)
		var at, p float64
		var err error
		if strings.HasPrefix(r["mode"], "HP") {
			p = p0
			at, err = FlameHP(fresh, b, t0, p0)
		} else {
			at, p, err = FlameUV(fresh, b, t0, p0)
		}
		require.NoError(t, err)
		temperature.Near(t, r.num(t, "T_ad"), at, "%v T", r)
		pressure.Relative(t, r.num(t, "p_final"), p, "%v p", r)
		x, err := b.Composition(at, p)
		require.NoError(t, err)
		for i, n := range ProductNames() {
			fractions.Hold(t, math.Abs(x[i]-r.num(t, "x_"+n))/(1e-6*x[i]+1e-12), "%v x_%s", r, n)
		}
	}
}

// sensitivity.csv (second solver): three airs. Printed to 0.01 K; rows with
// another OH enthalpy are left out, as the data cannot be changed here.
func TestFlameAir(t *testing.T) {
	airs := map[string]Air{
		"O2+3.773N2":          DefaultAir,
		"O2+3.76N2":           {N2: 3.76},
		"20.95-78.09-0.96 Ar": {N2: 78.09 / 20.95, Ar: 0.96 / 20.95},
	}
	temperature, pressure := accuracy.Find(t, "flame-air"), accuracy.Find(t, "flame-air-pressure")
	seen := 0
	for _, r := range readRows(t, "sensitivity.csv") {
		if r["hf298"] != "39.35" {
			continue
		}
		seen++
		a, ok := airs[r["air"]]
		require.True(t, ok, r["air"])
		fresh, b := mustFresh(t, fuelOf[r["fuel"]], 1, a), mustBurned(t, fuelOf[r["fuel"]], 1, a)
		at, err := FlameHP(fresh, b, 298.15, 101325)
		require.NoError(t, err)
		temperature.Near(t, r.num(t, "T_ad_const_p_298.15K_1atm_phi1"), at, "%v HP", r)
		at, p, err := FlameUV(fresh, b, 298.15, 101325)
		require.NoError(t, err)
		temperature.Near(t, r.num(t, "T_ad_const_v"), at, "%v UV", r)
		pressure.Near(t, r.num(t, "p_final/p_initial_const_v"), p/101325, "%v p", r)
	}
	require.Equal(t, 9, seen)
}

// The ideal fuel-air cycle of otto.csv (Cantera 3.2.0): frozen compression
// from 300 K and 1 bar, equilibrium at constant u and v, shifting expansion.
// The file has 8 digits.
func TestOtto(t *testing.T) {
	const tol = 2e-7
	for _, r := range readRows(t, "otto.csv") {
		name, lambda, ratio := fuelOf[r["fuel"]], 1/r.num(t, "phi"), r.num(t, "r")
		fresh, b := mustFresh(t, name, lambda, DefaultAir), mustBurned(t, name, lambda, DefaultAir)
		var d1, d2, d3, d4 Props
		fresh.Props(300, 1e5, &d1)
		near(t, r.num(t, "v1"), d1.V, tol*d1.V, "v1")
		near(t, r.num(t, "u1"), d1.U, 1e-3, "u1")
		near(t, r.num(t, "s1"), d1.S, tol*d1.S, "s1")
		t2, p2, err := TPFromSV(fresh, d1.S, d1.V/ratio, 600, 15e5)
		require.NoError(t, err)
		fresh.Props(t2, p2, &d2)
		t3, p3, err := TPFromUV(b, d2.U, d2.V, 2800, 80e5)
		require.NoError(t, err)
		b.Props(t3, p3, &d3)
		t4, p4, err := TPFromSV(b, d3.S, d1.V, 1700, 6e5)
		require.NoError(t, err)
		b.Props(t4, p4, &d4)
		for _, c := range []struct {
			column string
			got    float64
		}{{"T2", t2}, {"p2", p2 / 1e5}, {"T3", t3}, {"p3", p3 / 1e5}, {"T4", t4}, {"p4", p4 / 1e5}, {"w_net", (d1.U - d4.U) / 1e3}} {
			near(t, r.num(t, c.column), c.got, tol*c.got, "r %g lambda %g %s", ratio, lambda, c.column)
		}
	}
}

// The air-standard cycle of air_otto.csv: r 8, 290 K, 100 kPa, 800 kJ/kg.
// The file has 7 digits.
func TestAirOtto(t *testing.T) {
	rows := readRows(t, "air_otto.csv")
	airs := map[string]Air{
		"O2:N2=0.21:0.79 nasa_gas":               {N2: 0.79 / 0.21},
		"O2:N2=1:3.773 nasa_gas":                 DefaultAir,
		"N2 0.7808 O2 0.2095 Ar 0.0097 nasa_gas": {N2: 0.7808 / 0.2095, Ar: 0.0097 / 0.2095},
	}
	seen := 0
	for _, r := range rows {
		a, ok := airs[r["gas"]]
		if !ok {
			t.Logf("left out: %s", r["gas"]) // another data set
			continue
		}
		seen++
		g := NewAirStandard(a)
		var d1, d2, d4 Props
		g.Props(290, 1e5, &d1)
		t2, p2, err := TPFromSV(g, d1.S, d1.V/8, 650, 18e5)
		require.NoError(t, err)
		g.Props(t2, p2, &d2)
		t3, p3, err := TPFromUV(g, d2.U+800e3, d2.V, 1500, 40e5)
		require.NoError(t, err)
		g.Props(t3, p3, &d2)
		t4, p4, err := TPFromSV(g, d2.S, d1.V, 800, 3e5)
		require.NoError(t, err)
		g.Props(t4, p4, &d4)
		for _, c := range []struct {
			column string
			got    float64
		}{{"T2", t2}, {"p2", p2 / 1e3}, {"T3", t3}, {"p3", p3 / 1e3}, {"T4", t4}, {"p4", p4 / 1e3}, {"w_net", 800 - (d4.U-d1.U)/1e3}} {
			near(t, r.num(t, c.column), c.got, 1e-6*c.got, "%s %s", r["gas"], c.column)
		}
	}
	require.Equal(t, len(airs), seen)
}

// There and back from poor guesses, for every gas: 1e-9 relative in T and p,
// looser than the search's 1e-12 by the rounding of u over cv·T.
func TestThereAndBack(t *testing.T) {
	for name, g := range everyGas(t) {
		for _, at := range [][2]float64{{250, 0.5e5}, {990, 40e5}, {1010, 40e5}, {1699, 3e5}, {1701, 3e5}, {2900, 90e5}, {3500, 0.5e5}} {
			var d Props
			g.Props(at[0], at[1], &d)
			for _, guess := range [][2]float64{{300, 1e5}, {3300, 100e5}, {1700, 1e3}} {
				t1, p1, err := TPFromUV(g, d.U, d.V, guess[0], guess[1])
				require.NoErrorf(t, err, "%s %v from %v", name, at, guess)
				near(t, at[0], t1, 1e-9*at[0], "%s UV T", name)
				near(t, at[1], p1, 1e-9*at[1], "%s UV p", name)
				t1, p1, err = TPFromSV(g, d.S, d.V, guess[0], guess[1])
				require.NoErrorf(t, err, "%s %v from %v", name, at, guess)
				near(t, at[0], t1, 1e-9*at[0], "%s SV T", name)
				near(t, at[1], p1, 1e-9*at[1], "%s SV p", name)
			}
		}
	}
}

func TestNoState(t *testing.T) {
	air := NewAirStandard(DefaultAir)
	for _, u := range []float64{-1e9, 1e9, math.NaN()} {
		_, _, err := TPFromUV(air, u, 1, 300, 1e5)
		require.ErrorIs(t, err, ErrNoState)
	}
	_, _, err := TPFromSV(air, 7000, -1, 300, 1e5)
	require.ErrorIs(t, err, ErrNoState)
	_, _, err = TPFromSV(air, 7000, 1, math.NaN(), 1e5)
	require.ErrorIs(t, err, ErrNoState)
	_, err = FlameHP(air, air, math.NaN(), 1e5)
	require.ErrorIs(t, err, ErrNoState)
	_, _, err = FlameUV(air, air, -5, 1e5)
	require.ErrorIs(t, err, ErrNoState)
}

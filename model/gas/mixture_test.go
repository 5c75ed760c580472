package gas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A mixture against the sum over its species with entropy of mixing, to
// rounding.
func TestFrozenSum(t *testing.T) {
	f := mustFresh(t, "gasoline", 0.9, Air{N2: 3.7, Ar: 0.05})
	for _, at := range [][2]float64{{150, 1e4}, {298.15, 1e5}, {999, 2e6}, {1001, 2e6}, {3000, 1e7}} {
		var d Props
		f.Props(at[0], at[1], &d)
		var cp, h, s, m float64
		for i, x := range f.x {
			if x == 0 {
				continue
			}
			c, e, z := catalogue[i].molar(at[0])
			cp, h, m = cp+x*c, h+x*e, m+x*catalogue[i].mass()
			s += x * (z - RU*math.Log(x*at[1]/P0))
		}
		near(t, cp/m, d.Cp, 1e-12*d.Cp, "cp at %v", at)
		near(t, h/m, d.H, 1e-12*math.Abs(h/m)+1e-6, "h at %v", at)
		near(t, s/m, d.S, 1e-12*d.S, "s at %v", at)
		near(t, RU/m*at[0]/at[1], d.V, 1e-14*d.V, "v at %v", at)
	}
}

func TestFresh(t *testing.T) {
	f := mustFresh(t, "iso-octane", 1, DefaultAir)
	// otto.csv, phi 1.
	near(t, 30.25621e-3, f.MolarMass(), 1e-8, "molar mass; 7 digits")
	near(t, 0.062237618, f.FuelFraction(), 1e-8, "fuel fraction; 8 digits")
	// By hand: C8H18 + 12.5 (O2 + 3.773 N2).
	near(t, 1/(1+12.5*4.773), f.MoleFraction("IC8H18"), 1e-15, "x fuel")
	near(t, 12.5/(1+12.5*4.773), f.MoleFraction("O2"), 1e-15, "x O2")
	require.Zero(t, f.MoleFraction("CO2"))
	require.Zero(t, f.MoleFraction("XYZ"))
	near(t, RU/f.MolarMass(), f.R(), 1e-12, "R")

	air := NewAirStandard(DefaultAir)
	near(t, 288.2093, air.R(), 1e-4, "R of air, air_otto.csv; 7 digits")
	require.Zero(t, air.FuelFraction())
}

// Mass, elements and energy add up in a mixture; burning changes no element.
func TestMix(t *testing.T) {
	fresh := mustFresh(t, "ethanol", 1.1, DefaultAir)
	rest, err := mustBurned(t, "ethanol", 1.1, DefaultAir).Freeze(1700, 3e5)
	require.NoError(t, err)
	require.Zero(t, rest.FuelFraction())
	mix, err := Mix(fresh, 0.9, rest)
	require.NoError(t, err)
	near(t, 0.9*fresh.FuelFraction(), mix.FuelFraction(), 1e-15, "fuel fraction")
	var a, b, c Props
	fresh.Props(700, 2e5, &a)
	rest.Props(700, 2e5, &b)
	mix.Props(700, 2e5, &c)
	near(t, 0.9*a.H+0.1*b.H, c.H, 1e-6, "h")
	near(t, 0.9*a.V+0.1*b.V, c.V, 1e-14, "v")
	for _, pick := range elements {
		near(t, elementOf(fresh, pick), elementOf(mix, pick), 1e-13*1e2, "element [mol/kg]")
	}
	for _, y := range []float64{-0.1, 1.1, math.NaN()} {
		_, err := Mix(fresh, y, rest)
		require.ErrorContains(t, err, "y1")
	}
}

var elements = map[string]func(*species) float64{
	"C":  func(s *species) float64 { return s.c },
	"H":  func(s *species) float64 { return s.h },
	"O":  func(s *species) float64 { return s.o },
	"N":  func(s *species) float64 { return s.n },
	"Ar": func(s *species) float64 { return s.a },
}

// elementOf is the moles of an element per kilogram of f.
func elementOf(f *Frozen, pick func(*species) float64) (b float64) {
	for i, x := range f.x {
		b += x / f.m * pick(&catalogue[i])
	}
	return b
}

func TestMixtureErrors(t *testing.T) {
	f := mustFuel(t, "methane")
	for _, l := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := NewFresh(f, l, DefaultAir)
		require.ErrorContains(t, err, "lambda")
	}
	for _, a := range []Air{{N2: -1}, {N2: math.NaN()}, {Ar: -1}, {Ar: math.Inf(1)}} {
		_, err := NewFresh(f, 1, a)
		require.ErrorContains(t, err, "Air")
		require.Panics(t, func() { NewAirStandard(a) })
	}
	_, err := NewFresh(Fuel{Name: "none"}, 1, DefaultAir)
	require.Error(t, err)
	f.MakeUp = []Share{{"nonsense", 1}}
	_, err = NewFresh(f, 1, DefaultAir)
	require.ErrorContains(t, err, "nonsense")
}

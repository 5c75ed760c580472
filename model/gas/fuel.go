package gas

import (
	"errors"
	"fmt"
	"strings"
)

// ErrUnknownFuel is wrapped by FuelByName.
var ErrUnknownFuel = errors.New("unknown fuel")

// Fuel is a fuel vapour, a pure species or a mixture of several.
type Fuel struct {
	Name          string
	MakeUp        []Share // species and mole fractions, summing to 1
	C, H, O       float64 // atoms per mole of fuel [-]
	MolarMass     float64 // [kg/mol]
	StoichAirFuel float64 // kg of DefaultAir per kg of fuel at λ = 1 [-]
	LHV           float64 // lower heating value: constant pressure, gaseous fuel, water vapour, 298.15 K [J/kg]
}

// Share is one species of a fuel.
type Share struct {
	Species string
	X       float64 // mole fraction [-]
}

// recipes lists the fuels. Gasoline is a surrogate whose make-up is our own
// choice: three hydrocarbons in such shares that H/C = 1.87, as in
// ordinary pump gasoline (from memory).
var recipes = []struct {
	name   string
	shares []Share
}{
	{"iso-octane", []Share{{"IC8H18", 1}}},
	{"gasoline", []Share{{"IC8H18", 0.48}, {"NC7H16", 0.15}, {"C7H8", 0.37}}},
	{"methane", []Share{{"CH4", 1}}},
	{"propane", []Share{{"C3H8", 1}}},
	{"ethanol", []Share{{"C2H5OH", 1}}},
	{"methanol", []Share{{"CH3OH", 1}}},
	{"hydrogen", []Share{{"H2", 1}}},
}

// Fuels lists the names FuelByName takes.
func Fuels() []string {
	names := make([]string, len(recipes))
	for i := range recipes {
		names[i] = recipes[i].name
	}
	return names
}

// FuelByName returns the fuel of that name, one of Fuels.
func FuelByName(name string) (Fuel, error) {
	for i := range recipes {
		if recipes[i].name == name {
			return newFuel(name, recipes[i].shares), nil
		}
	}
	return Fuel{}, fmt.Errorf("gas: FuelByName(%q): %w, want one of %s",
		name, ErrUnknownFuel, strings.Join(Fuels(), ", "))
}

func newFuel(name string, shares []Share) Fuel {
	f := Fuel{Name: name, MakeUp: append([]Share(nil), shares...)}
	var hf float64 // enthalpy of formation [J/mol]
	for _, m := range f.MakeUp {
		s := &catalogue[indexOf(m.Species)]
		f.C += m.X * s.c
		f.H += m.X * s.h
		f.O += m.X * s.o
		f.MolarMass += m.X * s.mass()
		_, h, _ := s.molar(tRef)
		hf += m.X * h
	}
	_, hO2, _ := catalogue[iO2].molar(tRef)
	_, hCO2, _ := catalogue[iCO2].molar(tRef)
	_, hH2O, _ := catalogue[iH2O].molar(tRef)
	f.LHV = (hf + f.oxygen()*hO2 - f.C*hCO2 - f.H/2*hH2O) / f.MolarMass
	f.StoichAirFuel = f.StoichWith(DefaultAir)
	return f
}

// oxygen is the moles of O2 that burn one mole of fuel completely.
func (f *Fuel) oxygen() float64 { return f.C + f.H/4 - f.O/2 }

// StoichWith is the mass of air a per mass of fuel at λ = 1 [-].
func (f *Fuel) StoichWith(a Air) float64 { return f.oxygen() * a.massPerO2() / f.MolarMass }

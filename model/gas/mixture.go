package gas

import (
	"fmt"
	"math"
)

// Air is the make-up of air, in moles per mole of O2.
type Air struct {
	N2 float64 // [-], >= 0
	Ar float64 // [-], >= 0
}

// DefaultAir counts the argon of real air as nitrogen (Heywood 1988 uses
// 3.773, from memory).
var DefaultAir = Air{N2: 3.773}

func (a Air) check() error {
	if !(a.N2 >= 0) || !(a.Ar >= 0) || math.IsInf(a.N2, 1) || math.IsInf(a.Ar, 1) {
		return fmt.Errorf("gas: Air = %+v mol per mol O2, want finite and >= 0", a)
	}
	return nil
}

func (a Air) massPerO2() float64 {
	return catalogue[iO2].mass() + a.N2*catalogue[iN2].mass() + a.Ar*catalogue[iAR].mass()
}

// Frozen is an ideal mixture of fixed composition. It has no mutable state:
// many goroutines may share it.
type Frozen struct {
	x     [nSpecies]float64 // mole fractions
	m     float64           // molar mass [kg/mol]
	r     float64           // gas constant [J/kg/K]
	yFuel float64
	c     nasa7 // of the mixture, times r; a₇ includes the entropy of mixing
}

// newFrozen makes the mixture of n moles of each species.
func newFrozen(n *[nSpecies]float64, yFuel float64) *Frozen {
	f := &Frozen{yFuel: yFuel}
	var total float64
	for _, ni := range n {
		total += ni
	}
	for i, ni := range n {
		f.x[i] = ni / total
		f.m += f.x[i] * catalogue[i].mass()
	}
	f.r = RU / f.m
	for i, x := range f.x {
		if x == 0 {
			continue
		}
		f.c.lo.add(f.r*x, &catalogue[i].lo)
		f.c.hi.add(f.r*x, &catalogue[i].hi)
		f.c.lo[6] -= f.r * x * math.Log(x)
		f.c.hi[6] -= f.r * x * math.Log(x)
	}
	return f
}

// NewFresh is fuel vapour in air at air-fuel ratio lambda times the
// stoichiometric one (0 < lambda < ∞).
func NewFresh(f Fuel, lambda float64, a Air) (*Frozen, error) {
	if err := a.check(); err != nil {
		return nil, err
	}
	if !(lambda > 0) || math.IsInf(lambda, 1) {
		return nil, fmt.Errorf("gas: NewFresh: lambda = %g, want > 0 and finite", lambda)
	}
	if !(f.oxygen() > 0) {
		return nil, fmt.Errorf("gas: NewFresh: fuel %q takes %g mol O2, want > 0", f.Name, f.oxygen())
	}
	n := [nSpecies]float64{iO2: 1, iN2: a.N2, iAR: a.Ar}
	moles := 1 / (lambda * f.oxygen()) // of fuel, to one mole of O2
	for _, s := range f.MakeUp {
		i := indexOf(s.Species)
		if i < 0 {
			return nil, fmt.Errorf("gas: NewFresh: fuel %q holds unknown species %q", f.Name, s.Species)
		}
		n[i] += moles * s.X
	}
	return newFrozen(&n, 1/(1+lambda*f.StoichWith(a))), nil
}

// NewAirStandard is air alone. It panics if a is not legal.
func NewAirStandard(a Air) *Frozen {
	if err := a.check(); err != nil {
		panic(err)
	}
	return newFrozen(&[nSpecies]float64{iO2: 1, iN2: a.N2, iAR: a.Ar}, 0)
}

// Mix is a frozen mixture of mass fraction y1 of f1 and 1-y1 of f2
// (0 <= y1 <= 1).
func Mix(f1 *Frozen, y1 float64, f2 *Frozen) (*Frozen, error) {
	if !(y1 >= 0 && y1 <= 1) {
		return nil, fmt.Errorf("gas: Mix: mass fraction y1 = %g, want 0 to 1", y1)
	}
	var n [nSpecies]float64
	for i := range n {
		n[i] = y1*f1.x[i]/f1.m + (1-y1)*f2.x[i]/f2.m
	}
	return newFrozen(&n, y1*f1.yFuel+(1-y1)*f2.yFuel), nil
}

// R is the gas constant [J/kg/K].
func (f *Frozen) R() float64 { return f.r }

// MolarMass is the mean molar mass [kg/mol].
func (f *Frozen) MolarMass() float64 { return f.m }

// FuelFraction is the mass fraction of unburned fuel [-]. H2 and CO in burned
// gas do not count.
func (f *Frozen) FuelFraction() float64 { return f.yFuel }

// MoleFraction is the mole fraction [-] of a species such as "CO2" or
// "IC8H18"; 0 for any species not in the mixture.
func (f *Frozen) MoleFraction(species string) float64 {
	if i := indexOf(species); i >= 0 {
		return f.x[i]
	}
	return 0
}

// Props implements Gas.
func (f *Frozen) Props(t, p float64, dst *Props) {
	if !legal(t, p) {
		dst.noAnswer()
		return
	}
	c := f.c.at(t)
	h := c.h(t)
	*dst = Props{
		V: f.r * t / p, U: h - f.r*t, H: h,
		S:  c.s(t, math.Log(t)) - f.r*math.Log(p/P0),
		Cp: c.cp(t), VT: 1, VP: -1,
	}
}

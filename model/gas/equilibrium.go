package gas

import (
	"errors"
	"fmt"
	"math"
)

// ErrNoEquilibrium is wrapped where the equilibrium solver finds no answer,
// which happens only below 200 K, above 6000 K or for a state that is not legal.
var ErrNoEquilibrium = errors.New("no equilibrium found")

// Legal range of lambda for burned gas. Richer, soot would form, which the
// species set cannot hold.
const (
	MinBurnedLambda = 0.6
	MaxBurnedLambda = 5
)

// Burned is combustion gas at chemical equilibrium among the product species.
// It keeps a warm start: one goroutine at a time, Clone for another.
type Burned struct {
	in   intake
	now  equilibrium // the last solution
	t, p float64     // where it was found; t = 0: none yet
}

// intake is what the elements of one kilogram of gas allow, in moles per kg.
// e is the excess oxygen O − 2C − H/2: negative when rich.
type intake struct{ c, h, n, e, ar float64 }

// NewBurned is the burned gas of fuel f and air a at air-fuel ratio lambda
// times the stoichiometric one, in [MinBurnedLambda, MaxBurnedLambda].
func NewBurned(f Fuel, lambda float64, a Air) (*Burned, error) {
	if !(lambda >= MinBurnedLambda && lambda <= MaxBurnedLambda) {
		return nil, fmt.Errorf("gas: NewBurned: lambda = %g, want %g to %g", lambda, float64(MinBurnedLambda), float64(MaxBurnedLambda))
	}
	if !(a.N2 > 0) {
		return nil, fmt.Errorf("gas: NewBurned: Air.N2 = %g mol per mol O2, want > 0", a.N2)
	}
	if !(f.H > 0) {
		return nil, fmt.Errorf("gas: NewBurned: fuel %q has %g H atoms, want > 0", f.Name, f.H)
	}
	fresh, err := NewFresh(f, lambda, a)
	if err != nil {
		return nil, err
	}
	// The excess oxygen comes from lambda, not from a difference of nearly
	// equal sums over the species.
	fuel := fresh.yFuel / f.MolarMass // [mol/kg]
	o2 := lambda * f.oxygen() * fuel
	return &Burned{in: intake{
		c: f.C * fuel, h: f.H * fuel, n: 2 * a.N2 * o2,
		e: 2 * (lambda - 1) * f.oxygen() * fuel, ar: a.Ar * o2,
	}}, nil
}

// Clone is a copy without a past, for another goroutine: what it gives does
// not depend on what b was asked before.
func (b *Burned) Clone() *Burned { return &Burned{in: b.in} }

// Composition gives the mole fractions at t [K] and p [Pa] in the order of
// ProductNames.
func (b *Burned) Composition(t, p float64) ([nProducts]float64, error) {
	if !b.solve(t, p) {
		return [nProducts]float64{}, fmt.Errorf("gas: burned gas at %g K, %g Pa: %w", t, p, ErrNoEquilibrium)
	}
	return b.now.x, nil
}

// Freeze is the gas with the composition it has at t [K] and p [Pa], frozen.
func (b *Burned) Freeze(t, p float64) (*Frozen, error) {
	x, err := b.Composition(t, p)
	if err != nil {
		return nil, err
	}
	var n [nSpecies]float64
	copy(n[:], x[:])
	return newFrozen(&n, 0), nil
}

// Props implements Gas.
func (b *Burned) Props(t, p float64, dst *Props) {
	if !b.solve(t, p) {
		dst.noAnswer()
		return
	}
	q := &b.now
	var sh, ss, scp float64 // Σ x·h/RT, Σ x·s/R and dh/dT over nR
	lnP := math.Log(p / P0)
	for i, x := range q.x {
		if x == 0 {
			continue
		}
		sh += x * q.hRT[i]
		ss += x * (q.sR[i] - q.lnx[i] - lnP)
		scp += x * (q.cpR[i] + q.hRT[i]*q.dT[i])
	}
	r := RU * q.n // [J/kg/K]
	v := r * t / p
	*dst = Props{
		V: v, H: r * t * sh, U: r * t * (sh - 1), S: r * ss, Cp: r * scp,
		VT: 1 + q.nT, VP: -1 + q.nP, HP: -v * q.nT, // (∂h/∂p)T = v(1−VT)
	}
}

// solve brings b.now to t and p.
func (b *Burned) solve(t, p float64) bool {
	if !legal(t, p) {
		return false
	}
	if b.t == t && b.p == p {
		return true
	}
	q := &b.now
	q.species(t)
	lnK := q.constants(p)
	ok := false
	if b.t > 0 {
		q.predict(1-b.t/t, math.Log(p/b.p))
		ok = q.newton(&b.in, &lnK)
	}
	if !ok {
		q.guess(&b.in, &lnK)
		ok = q.newton(&b.in, &lnK)
	}
	if !ok {
		b.t, b.p = 0, 0
		return false
	}
	q.slopes(&b.in)
	b.t, b.p = t, p
	return true
}

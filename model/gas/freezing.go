package gas

import (
	"fmt"
	"math"
)

// DefaultFreezeK is the temperature [K] below which the composition of burned
// gas is taken to stand still: 1700 K is common practice (Heywood 1988, from
// memory).
const DefaultFreezeK = 1700

// FreezeWidthK is over how many kelvin the freezing is spread (our own choice).
// A sudden stop would put a jump into Cp, on which an integrator stumbles.
const FreezeWidthK = 40

// Legal range of the freezing temperature [K].
const (
	MinFreezeK = 1000
	MaxFreezeK = 3000
)

// Freezing is burned gas whose composition is that of equilibrium at p and
//
//	Tc = Tf + w·ln(1 + exp((T − Tf)/w)),  w = FreezeWidthK,
//
// which is T far above the freezing temperature Tf and Tf far below it (within
// 0.3 K at Tf ± 200 K). So it is a smooth function of T and p alone. Where Tc
// differs from T the gas is out of equilibrium: h, v and s are exact for the
// composition, but dh − T·ds = v·dp does not hold along a change of p there.
//
// It keeps a warm start: one goroutine at a time.
type Freezing struct {
	b     *Burned
	frozK float64
}

// NewFreezing makes a Freezing from b, which it clones. freezeK [K] is in
// [MinFreezeK, MaxFreezeK].
func NewFreezing(b *Burned, freezeK float64) (*Freezing, error) {
	if !(freezeK >= MinFreezeK && freezeK <= MaxFreezeK) {
		return nil, fmt.Errorf("gas: freezing temperature %g K, want %g to %g K", freezeK, float64(MinFreezeK), float64(MaxFreezeK))
	}
	return &Freezing{b: b.Clone(), frozK: freezeK}, nil
}

// composed returns Tc [K] and dTc/dT at t.
func (f *Freezing) composed(t float64) (tc, slope float64) {
	z := (t - f.frozK) / FreezeWidthK
	e := math.Exp(-math.Abs(z))
	tc = f.frozK + FreezeWidthK*(math.Max(z, 0)+math.Log1p(e))
	if z > 0 {
		return tc, 1 / (1 + e)
	}
	return tc, e / (1 + e)
}

// corner is a quantity with its derivatives by T and by ln p.
type corner struct{ f, t, p float64 }

// corners returns h [J/kg], r = pv/T and s [J/kg/K]; ok is false where there
// is no equilibrium.
func (f *Freezing) corners(t, p float64) (h, r, s corner, ok bool) {
	tc, slope := f.composed(t)
	if !f.b.solve(tc, p) {
		return h, r, s, false
	}
	q := &f.b.now
	slope /= tc // ∂ln Tc/∂T
	lnT, lnP := math.Log(t), math.Log(p/P0)
	for i, x := range q.x {
		if x == 0 {
			continue
		}
		c := catalogue[i].at(t)
		m := RU * q.n * x // R times moles
		hi, si := c.h(t), c.s(t, lnT)-q.lnx[i]-lnP
		h.f += m * hi
		h.t += m * (c.cp(t) + hi*q.dT[i]*slope)
		h.p += m * hi * q.dP[i]
		s.f += m * si
		s.t += m * (c.cp(t)/t + (si*q.dT[i]-(q.dT[i]-q.nT))*slope)
		s.p += m * (si*q.dP[i] - (q.dP[i] - q.nP) - 1)
	}
	r.f = RU * q.n
	r.t, r.p = r.f*q.nT*slope, r.f*q.nP
	return h, r, s, true
}

// Props implements Gas.
func (f *Freezing) Props(t, p float64, dst *Props) {
	if !legal(t, p) {
		dst.noAnswer()
		return
	}
	h, r, s, ok := f.corners(t, p)
	if !ok {
		dst.noAnswer()
		return
	}
	dst.fromCorners(t, p, &h, &r, &s)
}

func (g *Props) fromCorners(t, p float64, h, r, s *corner) {
	*g = Props{
		V: r.f * t / p, U: h.f - r.f*t, H: h.f, S: s.f, Cp: h.t, HP: h.p / p,
		VT: 1 + r.t*t/r.f, VP: -1 + r.p/r.f,
	}
}

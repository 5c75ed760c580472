package gas

import "math"

const (
	// RU is the universal gas constant [J/mol/K].
	RU = 8.31446261815324
	// P0 is the standard pressure of every entropy [Pa].
	P0 = 1e5

	tJoin = 1000 // where the two ranges of every species meet [K]
	tRef  = 298.15
)

// poly holds the seven coefficients a₁…a₇ of one temperature range:
//
//	cp/R = a₁ + a₂T + a₃T² + a₄T³ + a₅T⁴
//	h/R  = a₆ + a₁T + a₂T²/2 + a₃T³/3 + a₄T⁴/4 + a₅T⁵/5
//	s/R  = a₇ + a₁ln T + a₂T + a₃T²/2 + a₄T³/3 + a₅T⁴/4
//
// All three are linear in the coefficients, so a mixture of fixed composition
// is one poly too.
type poly [7]float64

func (c *poly) cp(t float64) float64 {
	return c[0] + t*(c[1]+t*(c[2]+t*(c[3]+t*c[4])))
}

func (c *poly) h(t float64) float64 {
	return c[5] + t*(c[0]+t*(c[1]*(1./2)+t*(c[2]*(1./3)+t*(c[3]*(1./4)+t*c[4]*(1./5)))))
}

func (c *poly) s(t, lnT float64) float64 {
	return c[6] + c[0]*lnT + t*(c[1]+t*(c[2]*(1./2)+t*(c[3]*(1./3)+t*c[4]*(1./4))))
}

// add adds f times d to c.
func (c *poly) add(f float64, d *poly) {
	for k := range c {
		c[k] += f * d[k]
	}
}

// nasa7 is a species or mixture over both ranges. Below 200 K and above
// 6000 K the nearer range is carried on.
type nasa7 struct{ lo, hi poly }

func (n *nasa7) at(t float64) *poly {
	if lowRange(t) {
		return &n.lo
	}
	return &n.hi
}

// lowRange reports whether the low range holds at t [K]; the join belongs to
// it, as in the library the reference numbers come from.
func lowRange(t float64) bool { return t <= tJoin }

// molar returns cp [J/mol/K], h [J/mol] and s at P0 [J/mol/K].
func (n *nasa7) molar(t float64) (cp, h, s float64) {
	c := n.at(t)
	return RU * c.cp(t), RU * c.h(t), RU * c.s(t, math.Log(t))
}

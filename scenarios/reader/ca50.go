package reader

import (
	"math"
	"sort"
)

// ca50 reads the heat release of a pressure, by the first law with one exponent n
// (that of compression, which holds the heat given to the walls),
//
//	dQ = (n·p·dV + V·dp) / (n−1),
//
// from the spark on; where 10 % and half of it are released gives the peak of a
// burn that releases as much there, see charge. It needs no peak: it reads through
// a flat or a motored top. It declines where too little heat is released. The
// pressure must be pegged.
type ca50 struct {
	window  window
	motored motored
	charge  *charge
	heat    []float64
}

// burnedBy is until when heat is looked for. Our own choice.
const burnedBy = 100 * deg

func newCA50(b *base) (Reader, error) {
	ch, err := b.engine.Chamber()
	if err != nil {
		return nil, err
	}
	c, err := newCharge(b.engine)
	return &ca50{window: b.window, motored: motored{chamber: ch, exponent: b.window.set.Exponent}, charge: c}, err
}

// Reset implements Reader.
func (*ca50) Reset() {}

// Read implements Reader.
func (c *ca50) Read(in *Input) Reading {
	w := &c.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	level := c.motored.lay(in)
	w.lo, w.hi = max(1, sort.SearchFloat64s(in.Theta, -in.Spark-5*deg)), sort.SearchFloat64s(in.Theta, burnedBy)
	if w.hi-w.lo < 8 {
		return decline(whyBlanked)
	}
	w.filter(in)
	if cap(c.heat) < len(in.Theta) {
		c.heat = make([]float64, len(in.Theta))
	}
	c.heat = c.heat[:len(in.Theta)]
	// p·V^n rises by (n−1)·V^(n−1)·dQ.
	p, n := w.smooth, c.motored.exponent
	v := c.motored.volume
	c.heat[w.lo] = 0
	most := 0.
	for i := w.lo + 1; i < w.hi; i++ {
		pm, vm := (p[i]+p[i-1])/2, (v[i]+v[i-1])/2
		c.heat[i] = c.heat[i-1] + (n*pm*(v[i]-v[i-1])+vm*(p[i]-p[i-1]))/(n-1)
		most = math.Max(most, c.heat[i])
	}
	least, _ := c.motored.chamber.Volume(0)
	// What heat would raise the motored pressure at dead centre by the least share.
	if !(most >= leastCombustion*level*least/(n-1)) {
		return decline("no combustion above the compression")
	}
	ca10, at50 := c.reached(in, 0.1*most), c.reached(in, 0.5*most)
	_, lpp := c.charge.burn(ca10, math.Max(at50-ca10, 1*deg))
	noise := w.noise * math.Abs(v[w.hi-1]) / (n - 1)
	return Reading{Angle: lpp, Quality: most / (most + w.set.Least*noise)}
}

// reached returns where the heat last was less than q [rad].
func (c *ca50) reached(in *Input, q float64) float64 {
	i := c.window.hi - 1
	for i > c.window.lo && !(c.heat[i] >= q) { // losses at the end may take it below
		i--
	}
	for i > c.window.lo && c.heat[i-1] >= q {
		i--
	}
	if i == c.window.lo {
		return in.Theta[i]
	}
	u := (q - c.heat[i-1]) / (c.heat[i] - c.heat[i-1])
	return in.Theta[i-1] + u*(in.Theta[i]-in.Theta[i-1])
}

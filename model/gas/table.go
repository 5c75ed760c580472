package gas

import (
	"fmt"
	"math"
)

// The grid. A denser one costs memory and build time; TestTableError measures
// what this one gives.
const (
	tableLowK   = 200
	tableTopK   = 3700
	tableStepK  = 25
	tableRows   = (tableTopK-tableLowK)/tableStepK + 1
	tableLowP   = 0.05e5
	tableHighP  = 400e5
	tablePoints = 49 // over ln p
)

// Table is an interpolation of Freezing, for speed. It has no mutable state:
// many goroutines may share it.
//
// h, pv/T and s are bicubic Hermite polynomials over T and ln p. All returned
// derivatives are those of the interpolant itself, and u = h − pv: u, v and
// their partials belong together to rounding, and all are continuous. Identities
// between h, s and v hold only as closely as the interpolation.
//
// Against Freezing over 300-3300 K and 0.2-200 bar the error is at most 1.2e-7 in v
// (relative), 3.2 J/kg in u, 1.1e-3 J/kg/K in s, 0.08 J/kg/K in Cp (hydrogen;
// gasoline 5e-8, 0.8 J/kg, 8e-4 and 0.03): TestTableError.
//
// Above 3700 and below 200 K it goes on in a straight line in T, outside
// 0.05-400 bar in a straight line in ln p. Only t or p that is NaN, infinite or
// not positive gives NaN.
type Table struct {
	lnP0, stepP float64
	nodes       []tableNode // over T, then ln p
}

// tableNode is Hermite data: value, ∂T, ∂ln p and the cross derivative, each
// times its steps.
type tableNode struct{ h, r, s [4]float64 }

// NewTable tabulates NewFreezing(b, freezeK).
func NewTable(b *Burned, freezeK float64) (*Table, error) {
	f, err := NewFreezing(b, freezeK)
	if err != nil {
		return nil, err
	}
	g := &Table{
		lnP0: math.Log(tableLowP), stepP: math.Log(tableHighP/tableLowP) / (tablePoints - 1),
		nodes: make([]tableNode, tableRows*tablePoints),
	}
	for i := range tableRows {
		if err := g.fillRow(f, i); err != nil {
			return nil, err
		}
	}
	return g, nil
}

// fillRow fills the nodes of one temperature. Cross derivatives come from
// fourth-order differences of ∂/∂T over ln p, which needs two more points at
// either end.
func (g *Table) fillRow(f *Freezing, i int) error {
	const pad = 2
	t := tableLowK + float64(i)*tableStepK
	var q [tablePoints + 2*pad]tableNode
	for j := range q {
		p := math.Exp(g.lnP0 + float64(j-pad)*g.stepP)
		h, r, s, ok := f.corners(t, p)
		if !ok {
			return fmt.Errorf("gas: NewTable: at %g K, %g Pa: %w", t, p, ErrNoEquilibrium)
		}
		node := func(c corner) [4]float64 { return [4]float64{c.f, c.t * tableStepK, c.p * g.stepP} }
		q[j] = tableNode{node(h), node(r), node(s)}
	}
	for j := range tablePoints {
		k := j + pad
		n := &g.nodes[i*tablePoints+j]
		*n = q[k]
		n.h[3] = slope4(q[k-2].h[1], q[k-1].h[1], q[k+1].h[1], q[k+2].h[1])
		n.r[3] = slope4(q[k-2].r[1], q[k-1].r[1], q[k+1].r[1], q[k+2].r[1])
		n.s[3] = slope4(q[k-2].s[1], q[k-1].s[1], q[k+1].s[1], q[k+2].s[1])
	}
	return nil
}

// slope4 is the fourth-order central difference per step.
func slope4(a, b, d, e float64) float64 { return (a - 8*b + 8*d - e) / 12 }

// hermite holds the four cubic Hermite functions (value and slope at 0, value
// and slope at 1) and their derivatives.
type hermite struct{ f, d [4]float64 }

// newHermite evaluates them at z; outside 0 to 1 they go on in straight lines,
// and with them every interpolant.
func newHermite(z float64) hermite {
	in := min(max(z, 0), 1)
	a := 1 - in
	b := hermite{
		f: [4]float64{a * a * (1 + 2*in), in * a * a, in * in * (3 - 2*in), -in * in * a},
		d: [4]float64{-6 * in * a, a * (1 - 3*in), 6 * in * a, in * (3*in - 2)},
	}
	if z != in {
		for k := range b.f {
			b.f[k] += b.d[k] * (z - in)
		}
	}
	return b
}

// cell finds the cell of z among n nodes and the place in it.
func cell(z float64, n int) (int, float64) {
	i := int(min(max(z, 0), float64(n-2)))
	return i, z - float64(i)
}

// Props implements Gas.
func (g *Table) Props(t, p float64, dst *Props) {
	if !legal(t, p) {
		dst.noAnswer()
		return
	}
	j, z := cell((math.Log(p)-g.lnP0)/g.stepP, tablePoints)
	w := newHermite(z)
	i, y := cell((t-tableLowK)/tableStepK, tableRows)
	k := newHermite(y)
	a, b := i*tablePoints+j, (i+1)*tablePoints+j
	n00, n01, n10, n11 := &g.nodes[a], &g.nodes[a+1], &g.nodes[b], &g.nodes[b+1]
	h := bicubic(&n00.h, &n01.h, &n10.h, &n11.h, &k, &w)
	r := bicubic(&n00.r, &n01.r, &n10.r, &n11.r, &k, &w)
	s := bicubic(&n00.s, &n01.s, &n10.s, &n11.s, &k, &w)
	h.t, r.t = h.t/tableStepK, r.t/tableStepK
	h.p, r.p = h.p/g.stepP, r.p/g.stepP
	dst.fromCorners(t, p, &h, &r, &s)
}

// bicubic gives the value and both derivatives, per step, of the interpolant
// with functions k over T and w over ln p.
func bicubic(n00, n01, n10, n11 *[4]float64, k, w *hermite) (c corner) {
	v0, v1 := along(n00, n01, 0, &w.f), along(n10, n11, 0, &w.f)
	d0, d1 := along(n00, n01, 1, &w.f), along(n10, n11, 1, &w.f)
	c.f = k.f[0]*v0 + k.f[1]*d0 + k.f[2]*v1 + k.f[3]*d1
	c.t = k.d[0]*v0 + k.d[1]*d0 + k.d[2]*v1 + k.d[3]*d1
	v0, v1 = along(n00, n01, 0, &w.d), along(n10, n11, 0, &w.d)
	d0, d1 = along(n00, n01, 1, &w.d), along(n10, n11, 1, &w.d)
	c.p = k.f[0]*v0 + k.f[1]*d0 + k.f[2]*v1 + k.f[3]*d1
	return c
}

// along contracts over ln p the value (m = 0) or ∂/∂T (m = 1) of two nodes.
func along(a, b *[4]float64, m int, w *[4]float64) float64 {
	return w[0]*a[m] + w[1]*a[m+2] + w[2]*b[m] + w[3]*b[m+2]
}

package stream

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/solve"
)

// The lattice of a surface: distance of nodes.
const (
	sparkStep  = 3 * math.Pi / 180 // of the spark [rad]
	angleStep  = 0.15              // of the logarithms of both burn angles
	burnedStep = 0.25              // of the share that burns
	apart      = 2                 // steps of spark and burn angles between nodes that know what other charges change
)

// Where a surface is not asked: a cycle is solved directly there.
const mostAngle = 1.5 // |ln| of a burn angle over that of the mean cycle

// stretch is how far beyond its outermost offset a charge may be, over that
// offset: in mass, temperature, residual and lambda.
var stretch = [4]float64{3, 4, 4, 1.5}

// surface is the response of one cycle at one operating point: what solve.Next
// makes of a charge, interpolated. The node of a lattice over spark, both burn
// angles and the share that burns holds a directly solved cycle of the mean
// charge there; between nodes it is cubic. A charge that differs counts by its
// effect on the burn angles, which is exact, and linearly in pieces for the
// rest. Nodes are solved when first asked for; many goroutines may share a
// surface.
type surface struct {
	op    model.Operating // its spark is that of a node
	mean  solve.Carry
	shape shape

	mu    sync.Mutex
	nodes map[place]*node
}

// place is a node of the lattice, in steps from the mean cycle; burned counts
// down from 1. unlit is the place of the cycle that does not light.
type place struct{ spark, development, rapid, burned int }

const unlit = math.MinInt32

// node is one directly solved cycle.
type node struct {
	once, more sync.Once
	ok         bool        // it is solved
	value      []float64   // see shape
	change     [4][]offset // by other charges, see offsets
}

// The scalars at the end of a node's values.
const (
	outMass = iota
	outTemp
	outResidual
	outBurned // burned fraction at the end of the sealed part
	outCA10
	outCA50
	outCA90
	outKnock // ln of the knock integral
	nOut
)

// shape tells where things are in the values of a node: the samples of pressure
// and of mean temperature from intake closing on and, of the sealed part alone,
// those of the burned zone's temperature and of the knock integral; then scalars.
type shape struct{ begin, count, sealed int }

func (s shape) pressure(v []float64) []float64 { return v[:s.count] }
func (s shape) temp(v []float64) []float64     { return v[s.count : 2*s.count] }
func (s shape) hot(v []float64) []float64      { return v[2*s.count : 2*s.count+s.sealed] }
func (s shape) knock(v []float64) []float64    { return v[2*s.count+s.sealed : 2*s.count+2*s.sealed] }
func (s shape) out(v []float64) []float64      { return v[2*s.count+2*s.sealed:] }
func (s shape) length() int                    { return 2*s.count + 2*s.sealed + nOut }

// shapeOf is the shape for e with count samples.
func shapeOf(e *model.Engine, count int, c chamber.Chamber) shape {
	st := c.Strokes()
	from, to := e.Sealed()
	s := shape{count: count, begin: count}
	for k := range count {
		if theta := st.Start + st.Period()*float64(k)/float64(count); theta >= from && theta <= to {
			s.begin = min(s.begin, k)
			s.sealed++
		}
	}
	return s
}

// fill stores in v what c and the charge next that it hands on are.
func (s shape) fill(v []float64, c *solve.Cycle, next *solve.Carry) {
	around := func(dst, src []float64) {
		n := copy(dst, src[s.begin:s.count])
		copy(dst[n:], src[:s.begin])
	}
	around(s.pressure(v), c.Pressure)
	around(s.temp(v), c.Temp)
	hot, first := s.hot(v), -1
	for k, t := range c.Hot[s.begin : s.begin+s.sealed] {
		hot[k] = t
		if first < 0 && !math.IsNaN(t) {
			first = k
		}
	}
	for k := range max(first, 0) { // goes on as it begins, so that it can be interpolated
		hot[k] = hot[first]
	}
	copy(s.knock(v), c.Knock[s.begin:s.begin+s.sealed])
	o := s.out(v)
	o[outMass], o[outTemp], o[outResidual] = next.Charge()
	o[outBurned] = c.Burned[s.begin+s.sealed-1]
	o[outCA10], o[outCA50], o[outCA90] = c.CA10, c.CA50, c.CA90
	o[outKnock] = math.Log(c.KnockIntegral)
}

// at returns the node at k, solved by s.
func (f *surface) at(s *direct, k place) *node {
	f.mu.Lock()
	n := f.nodes[k]
	if n == nil {
		n = &node{}
		f.nodes[k] = n
	}
	f.mu.Unlock()
	n.once.Do(func() {
		n.value = make([]float64, f.shape.length())
		n.ok = f.solve(s, k, &f.mean, f.op.Lambda, n.value)
	})
	return n
}

// point returns the operating point of k at lambda.
func (f *surface) point(k place, lambda float64) model.Operating {
	op := f.op
	op.Lambda = lambda
	if k.spark != unlit {
		op.Spark += float64(k.spark) * sparkStep
	}
	return op
}

// solve stores in v the cycle of charge x with the burn angles of k.
func (f *surface) solve(s *direct, k place, x *solve.Carry, lambda float64, v []float64) bool {
	op := f.point(k, lambda)
	vary := solve.Variation{Development: 1, Rapid: 1}
	if k.spark != unlit {
		base := f.point(k, f.op.Lambda)
		mean, err := s.solver.Look(&base, &f.mean, &solve.Steady)
		if err != nil {
			return false
		}
		own, err := s.solver.Look(&op, x, &solve.Steady)
		if err != nil || !own.Lit {
			return false
		}
		vary = solve.Variation{
			Development: math.Exp(float64(k.development)*angleStep) * mean.Development / own.Development,
			Rapid:       math.Exp(float64(k.rapid)*angleStep) * mean.Rapid / own.Rapid,
			Burned:      1 - float64(k.burned)*burnedStep,
		}
	}
	next, err := s.solver.Next(&op, x, &vary, &s.cycle)
	if err != nil || s.cycle.Lit != (k.spark != unlit) {
		return false
	}
	f.shape.fill(v, &s.cycle, &next)
	return true
}

// offset is a charge that differs from the mean one in one thing, by by.
type offset struct {
	by     float64
	change []float64 // what that changes in the values of a node
}

// offsets lists, for mass over that of the mean charge, temperature [K],
// residual and lambda, by how much they differ, on either side, the least first. At lambda of 1
// there is a bend, and both sides of it are curved.
func (f *surface) offsets() [4][]float64 {
	_, _, b := f.mean.Charge()
	few := math.Min(0.02, b/2)
	return [4][]float64{{-0.04, 0.04}, {-10, 10}, {-few, few}, {-0.02, 0.02, -0.06, 0.06, -0.15, 0.15}}
}

// changes returns what n at k has beside its value, without what cannot be had.
func (f *surface) changes(s *direct, k place, n *node) [4][]offset {
	n.more.Do(func() {
		m, t, b := f.mean.Charge()
		for i, all := range f.offsets() {
			var side []offset
			for _, by := range all {
				x, lambda := f.mean, f.op.Lambda
				switch i {
				case 0:
					x.SetCharge(m*(1+by), t, b)
				case 1:
					x.SetCharge(m, t+by, b)
				case 2:
					x.SetCharge(m, t, b+by)
				default:
					lambda += by
				}
				d := make([]float64, f.shape.length())
				if f.solve(s, k, &x, lambda, d) {
					floats.Sub(d, n.value)
					side = append(side, offset{by, d})
				}
			}
			n.change[i] = side
		}
	})
	return n.change
}

// bend adds to v, times w, the change by z in one thing: linear between all and
// no change at 0, and beyond the last by stretch times that; false beyond it.
func bend(v []float64, w, z float64, all []offset, stretch float64) bool {
	if z == 0 {
		return true
	}
	var a, b *offset // z is between them, or beyond b
	for i := range all {
		if all[i].by*z > 0 && (b == nil || math.Abs(z) > math.Abs(b.by)) {
			a, b = b, &all[i]
		}
	}
	if b == nil || !(math.Abs(z) <= stretch*math.Abs(b.by)) {
		return false
	}
	if a == nil {
		floats.AddScaled(v, w*z/b.by, b.change)
		return true
	}
	u := (z - a.by) / (b.by - a.by)
	floats.AddScaled(v, w*(1-u), a.change)
	floats.AddScaled(v, w*u, b.change)
	return true
}

// stencil returns the first of the nodes about z, in steps, and their weights:
// four of a cubic, or one where z is a node; linear for two.
func stencil(z float64, points int) (first int, w [4]float64, count int) {
	i := math.Floor(z)
	u := z - i
	const near = 1e-9
	switch {
	case u < near:
		return int(i), [4]float64{1}, 1
	case u > 1-near:
		return int(i) + 1, [4]float64{1}, 1
	case points == 2:
		return int(i), [4]float64{1 - u, u}, 2
	}
	return int(i) - 1, [4]float64{
		-u * (u - 1) * (u - 2) / 6, (u + 1) * (u - 1) * (u - 2) / 2,
		-(u + 1) * u * (u - 2) / 2, (u + 1) * u * (u - 1) / 6,
	}, 4
}

// eval stores in v the cycle of charge x at op, which differs from that of f in
// spark and lambda alone, with prospect look; whether it could.
func (f *surface) eval(s *direct, op *model.Operating, x *solve.Carry, look *solve.Prospect, burned float64, v []float64) bool {
	m0, t0, b0 := f.mean.Charge()
	m, t, b := x.Charge()
	by := [4]float64{m/m0 - 1, t - t0, b - b0, op.Lambda - f.op.Lambda}
	for i := range v {
		v[i] = 0
	}
	add := func(k place, w float64) bool {
		n := f.at(s, k)
		if !n.ok {
			return false
		}
		floats.AddScaled(v, w, n.value)
		return true
	}
	lean := func(k place, w float64) bool {
		n := f.at(s, k)
		if !n.ok {
			return false
		}
		all := f.changes(s, k, n)
		for i := range by {
			if !bend(v, w, by[i], all[i], stretch[i]) {
				return false
			}
		}
		return true
	}
	if !look.Lit || burned == 0 {
		k := place{spark: unlit}
		return add(k, 1) && lean(k, 1)
	}
	own := f.op
	own.Spark = op.Spark
	mean, err := s.mean(f, &own)
	if err != nil || !mean.Lit {
		return false
	}
	d, r := math.Log(look.Development/mean.Development), math.Log(look.Rapid/mean.Rapid)
	if !(math.Abs(d) <= mostAngle && math.Abs(r) <= mostAngle) {
		return false
	}
	zs, zb := (op.Spark-f.op.Spark)/sparkStep, (1-burned)/burnedStep
	is, ws, ns := stencil(zs, 4)
	id, wd, nd := stencil(d/angleStep, 4)
	ir, wr, nr := stencil(r/angleStep, 4)
	ib, wb, nb := stencil(zb, 4)
	if most := int(1 / burnedStep); ib < 0 || ib+nb > most { // no share is above 1, and that of 0 is another cycle
		if ib, wb, nb = stencil(zb, 2); ib+nb > most {
			return false
		}
	}
	for i := range ns {
		for j := range nd {
			for k := range nr {
				for l := range nb {
					if !add(place{is + i, id + j, ir + k, ib + l}, ws[i]*wd[j]*wr[k]*wb[l]) {
						return false
					}
				}
			}
		}
	}
	is, ws, ns = stencil(zs/apart, 2)
	id, wd, nd = stencil(d/(apart*angleStep), 2)
	ir, wr, nr = stencil(r/(apart*angleStep), 2)
	for i := range ns {
		for j := range nd {
			for k := range nr {
				if !lean(place{apart * (is + i), apart * (id + j), apart * (ir + k), int(math.Round(zb))}, ws[i]*wd[j]*wr[k]) {
					return false
				}
			}
		}
	}
	return true
}

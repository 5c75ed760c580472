package solve

import (
	"fmt"
	"math"

	"phasebench/model"
)

// Carry is what one cycle hands on to the next at intake closing: the charge,
// and the gas that waits in ports and crevice.
type Carry [nCarried]float64

// Charge returns the mass in the chamber [kg], its temperature [K] and its
// burned fraction by mass [-].
func (c *Carry) Charge() (mass, temp, burned float64) { return c[carryM], c[carryT], c[carryB] }

// SetCharge replaces what Charge returns; ports and crevice stay.
func (c *Carry) SetCharge(mass, temp, burned float64) {
	c[carryM], c[carryT], c[carryB] = mass, temp, burned
}

// The components of Carry.
const (
	carryM     = iota // mass in the chamber [kg]
	carryT            // temperature [K]
	carryB            // burned mass fraction [-]
	carryRing         // burned mass in the crevice [kg]
	carryPortM        // as onePortM and so on
	carryPortB
	carryPortH
	carryPortT
	carryExitH
	carryExitB
	carryExitT
	carryLambda // of the gas that the enthalpies are those of
	nCarried
)

// memory is how many earlier cycles take part in the acceleration.
const memory = 3

// accelerator finds the state that a cycle returns unchanged, by Anderson's
// method (D.G. Anderson, J. ACM 12:547, 1965): the next state is that
// combination of the last few that would have changed least, were a cycle
// linear.
type accelerator struct {
	scale  Carry
	x, g   [memory + 1]Carry // states before and after a cycle, latest first
	stored int
}

// next takes that a cycle turned x into g and returns what to try now.
func (a *accelerator) next(x, g *Carry) Carry {
	for k := memory; k > 0; k-- {
		a.x[k], a.g[k] = a.x[k-1], a.g[k-1]
	}
	a.x[0], a.g[0] = *x, *g
	a.stored = min(a.stored+1, memory+1)
	n := a.stored - 1
	// Least squares for the weights of the differences of residuals.
	var m [memory][memory + 1]float64
	residual := func(k, i int) float64 { return (a.g[k][i] - a.x[k][i]) / a.scale[i] }
	for i := range nCarried {
		for p := range n {
			dp := residual(0, i) - residual(p+1, i)
			for q := range n {
				m[p][q] += dp * (residual(0, i) - residual(q+1, i))
			}
			m[p][memory] += dp * residual(0, i)
		}
	}
	for p := range n {
		m[p][p] *= 1 + 1e-10 // keeps equal cycles from making it singular
	}
	w, ok := weights(&m, n)
	if !ok {
		a.stored = 1
		return *g
	}
	out := *g
	for i := range out {
		for p := range n {
			out[i] -= w[p] * (a.g[0][i] - a.g[p+1][i])
		}
	}
	for _, i := range []int{carryM, carryT, carryExitT} {
		if !(out[i] > 0.3*g[i] && out[i] < 3*g[i]) {
			a.stored = 1
			return *g
		}
	}
	out[carryB] = math.Max(0, math.Min(1, out[carryB]))
	out[carryRing] = math.Max(0, out[carryRing])
	// What tells of one gas in several numbers is taken over whole or not at all.
	if !(out[carryPortM] >= 0 && out[carryPortT] >= 0 && out[carryPortB] >= 0) {
		copy(out[carryPortM:carryExitH], g[carryPortM:carryExitH])
	}
	if !(out[carryExitB] >= 0 && out[carryExitB] <= 1) {
		copy(out[carryExitH:], g[carryExitH:])
	}
	return out
}

// weights solves the n equations of m by elimination with pivots.
func weights(m *[memory][memory + 1]float64, n int) (w [memory]float64, ok bool) {
	for k := range n {
		best := k
		for r := k + 1; r < n; r++ {
			if math.Abs(m[r][k]) > math.Abs(m[best][k]) {
				best = r
			}
		}
		m[k], m[best] = m[best], m[k]
		if !(math.Abs(m[k][k]) > 0) {
			return w, false
		}
		for r := k + 1; r < n; r++ {
			f := m[r][k] / m[k][k]
			for c := k; c <= memory; c++ {
				m[r][c] -= f * m[k][c]
			}
		}
	}
	for k := n - 1; k >= 0; k-- {
		w[k] = m[k][memory]
		for c := k + 1; c < n; c++ {
			w[k] -= m[k][c] * w[c]
		}
		w[k] /= m[k][k]
		if math.IsNaN(w[k]) || math.Abs(w[k]) > 1e3 {
			return w, false
		}
	}
	return w, true
}

// change is the greatest change of what matters between x and g, relative.
func change(x, g *Carry) float64 {
	worst := math.Abs(g[carryM]-x[carryM]) / x[carryM]
	worst = math.Max(worst, math.Abs(g[carryT]-x[carryT])/x[carryT])
	return math.Max(worst, math.Abs(g[carryB]-x[carryB]))
}

// guess is a first Carry.
func (s *Solver) guess() Carry {
	vol, _ := s.chamber.Volume(s.from)
	o := &s.one
	left := math.Min(0.3, 0.08*o.pOut/o.pIn)
	b, t := o.bIn+(1-o.bIn)*left, o.tIn+300*left
	var mix, out state
	o.at(t, o.pIn, b, &mix)
	o.pure(1100, o.pOut, &out)
	ring, _ := o.ring(o.pIn)
	return Carry{carryM: vol / mix.v, carryT: t, carryB: b, carryRing: o.bIn * ring * o.pIn, carryExitH: out.h, carryExitB: 1, carryExitT: 1100, carryLambda: s.lambda}
}

// charge returns what c is at intake closing.
func (s *Solver) charge(c *Carry) charge {
	vol, _ := s.chamber.Volume(s.from)
	v, p := vol/c[carryM], s.one.pIn
	var mix state
	for range 20 { // Newton's steps; one does unless the gas dissociates
		s.one.at(c[carryT], p, c[carryB], &mix)
		step := math.Log(v/mix.v) * mix.v / (p * mix.vP) // in ln p
		p *= math.Exp(step)
		if math.Abs(step) < 1e-14 {
			break
		}
	}
	return charge{p: p, t: c[carryT], volume: vol, residual: c[carryB]}
}

// settle repeats cycles at op until they are periodic. It returns the state
// that repeats, and how its charge burns.
func (s *Solver) settle(op *model.Operating) (Carry, ignition, error) {
	if err := s.prepare(op); err != nil {
		return Carry{}, ignition{}, err
	}
	s.sampler.cycle = nil
	x := s.guess()
	a := accelerator{scale: x}
	mass := x[carryM]
	a.scale[carryB], a.scale[carryExitB] = 1, 1
	a.scale[carryRing] = mass
	a.scale[carryPortM], a.scale[carryPortB] = mass, mass
	a.scale[carryPortH], a.scale[carryPortT] = mass*1e6, mass*300
	a.scale[carryExitH] = 1e6
	s.step = &s.coarse
	for n := range mostCycles {
		if n == patience {
			s.step = &s.fine
		}
		g, ign, err := s.cycle(op, &x)
		if err != nil {
			return x, ign, err
		}
		c := change(&x, &g)
		if c < periodic {
			s.cycles = n + 1
			if g[carryB] > mostResidual {
				return x, ign, fmt.Errorf("solve: at %.4g kPa in the manifold and %.4g kPa in the exhaust %w", op.MAP/1e3, op.Exhaust/1e3, ErrNoCharge)
			}
			return g, ign, nil
		}
		if c < noisy {
			x = g // too near for the acceleration, which would follow rounding
		} else {
			x = a.next(&x, &g)
		}
	}
	return x, ignition{}, fmt.Errorf("solve: after %d cycles at %.4g kPa, %.4g rpm: %w", mostCycles, op.MAP/1e3, op.Speed*30/math.Pi, ErrNotPeriodic)
}

// cycle runs one cycle from x at intake closing to the next intake closing.
func (s *Solver) cycle(op *model.Operating, x *Carry) (Carry, ignition, error) {
	ch := s.charge(x)
	ign, err := s.ignite(op, &ch)
	if err != nil {
		return *x, ign, err
	}
	y := s.begin(x)
	if err := s.sealed(y, ign); err != nil {
		return *x, ign, err
	}
	if err := s.exchange(y); err != nil {
		return *x, ign, err
	}
	return Carry{carryM: y[oneM], carryT: y[oneT], carryB: y[oneB], carryRing: y[oneRingB],
		carryPortM: y[onePortM], carryPortB: y[onePortB], carryPortH: y[onePortH], carryPortT: y[onePortT],
		carryExitH: y[oneExitH], carryExitB: y[oneExitB], carryExitT: y[oneExitT],
		carryLambda: s.lambda}, ign, nil
}

// exchange integrates the part in which valves are open. Where a flow turns,
// what it carries changes at once: the integration starts afresh there.
func (s *Solver) exchange(y []float64) error {
	end := s.from + s.strokes.Period()
	for at := s.to; at < end; {
		r, err := s.step.open.Integrate(&s.one, at, end, y, &s.openRun)
		if err != nil {
			return fmt.Errorf("solve: gas exchange: %w", err)
		}
		at = r.X
	}
	return nil
}

// begin puts c into the state of the one zone, all sums nil, and returns it.
func (s *Solver) begin(c *Carry) []float64 {
	y := s.y1
	for i := range y {
		y[i] = 0
	}
	ch := s.charge(c)
	y[oneP], y[oneT], y[oneM], y[oneB] = ch.p, ch.t, c[carryM], c[carryB]
	y[oneRingB] = c[carryRing]
	y[onePortM], y[onePortB], y[onePortH], y[onePortT] = c[carryPortM], c[carryPortB], c[carryPortH], c[carryPortT]
	y[oneExitH], y[oneExitB], y[oneExitT] = c[carryExitH], c[carryExitB], c[carryExitT]
	s.one.refer(s.from, ch.p, ch.t)
	s.two.refer(s.from, ch.p, ch.t)
	nan := math.NaN()
	s.peak, s.peakAt = math.Inf(-1), nan
	s.reached = [3]float64{nan, nan, nan}
	s.onset, s.onsetMass, s.integral = nan, 0, 0
	s.workAt, s.markAt = [2]float64{}, [2]float64{s.strokes.Compression, s.strokes.Exhaust}
	if s.strokes.Compression < s.from {
		s.markAt[0] += s.strokes.Period()
	}
	s.inTwo = false
	return y
}

package solve

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/flame"
	"phasebench/model/gas"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// ErrNotPeriodic is wrapped when repeated cycles do not approach each other.
var ErrNotPeriodic = errors.New("the cycle does not become periodic")

// Settings controls a Solver; nil or a zero field means the default.
type Settings struct {
	Step    float64 // between samples [rad]; default 0.5 deg
	RelTol  float64 // relative local error of the integration [-], 1e-12 to 1e-3; default 4e-9
	Exact   bool    // solve the burned gas's equilibrium each time instead of reading it from a table
	Motored bool    // also run every charge without a spark
}

const (
	defaultStep   = math.Pi / 360
	defaultRelTol = 4e-9

	// The cycle counts as periodic when the mass left over changes by less
	// than this share of the charge from one cycle to the next.
	periodic   = 1e-10
	mostCycles = 60

	// Two cycles that take their steps differently differ by the tolerance of
	// the integration, and may take turns for ever. After so many cycles a
	// finer tolerance ends that.
	patience = 15

	// mostResidual is the largest burned mass fraction of a charge that counts
	// as one (our own choice; engines run with less than half of it).
	mostResidual = 0.7
)

// Solver runs cycles of one engine. It keeps its buffers: one Solver serves
// any number of cycles, one at a time.
type Solver struct {
	engine  model.Engine
	set     Settings
	chamber chamber.Chamber
	strokes chamber.Strokes
	fuel    gas.Fuel
	lambda  float64 // of the gases below; 0: none yet
	air     breathing
	closed  Closed

	calibrating bool
	laminar     flame.Laminar
	base        wiebe.Base

	coarse, fine   *ode.Solver
	integrator     *ode.Solver // one of both
	run            ode.Run
	peak, peakAt   float64   // greatest located maximum of the pressure
	slope          []float64 // scratch for dp/dθ
	sampler        sampler
	nodes, weights []float64 // Gauss-Legendre on 0..1
	workAt         [2]float64
	y              []float64
}

// New returns a solver for e. The error is a *model.Problem if e is not in order.
func New(e *model.Engine, set *Settings) (*Solver, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	s := &Solver{engine: *e}
	if set != nil {
		s.set = *set
	}
	if s.set.Step == 0 {
		s.set.Step = defaultStep
	}
	if s.set.RelTol == 0 {
		s.set.RelTol = defaultRelTol
	}
	var err error
	if s.chamber, err = e.Chamber(); err != nil {
		return nil, err
	}
	s.strokes = s.chamber.Strokes()
	if !(s.set.Step > 0 && s.set.Step <= s.strokes.Period()/8) {
		return nil, fmt.Errorf("solve: Settings.Step = %g rad, want more than 0 and at most an eighth of the cycle", s.set.Step)
	}
	if !(s.set.RelTol >= 1e-12 && s.set.RelTol <= 1e-3) {
		return nil, fmt.Errorf("solve: Settings.RelTol = %g, want 1e-12 to 1e-3", s.set.RelTol)
	}
	if s.fuel, err = gas.FuelByName(e.Fuel); err != nil {
		return nil, err
	}
	s.closed = Closed{Chamber: s.chamber, Efficiency: e.Burn.Efficiency, WallFactor: e.Wall.Factor,
		HeadTemp: e.Wall.Head, PistonTemp: e.Wall.Piston, LinerTemp: e.Wall.Liner}
	if e.Wall.Law != "none" {
		if s.closed.Wall, err = wall.ByName(e.Wall.Law); err != nil {
			return nil, err
		}
	}
	s.air.clearance, _ = s.chamber.Volume(s.strokes.Start)
	s.air.sealed, _ = s.chamber.Volume(e.Timing.IntakeClosing)

	s.coarse, s.fine = integrator(s.set.RelTol), integrator(s.set.RelTol/30)
	s.slope = make([]float64, nUnknowns)
	s.y = make([]float64, nUnknowns)
	s.run = ode.Run{
		Breaks:  make([]float64, 0, 4),
		Events:  []ode.Event{{G: s.pressureRise, Direction: -1}},
		OnStep:  s.onStep,
		OnEvent: s.onPeak,
	}
	const points = 24
	s.nodes, s.weights = make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(s.nodes, s.weights, 0, 1)
	return s, s.calibrate()
}

func integrator(rtol float64) *ode.Solver {
	return ode.New(nUnknowns, &ode.Settings{RelTol: rtol, MaxStep: 6 * math.Pi / 180,
		AbsTol: []float64{rtol * 1e5, rtol * 300, rtol * 100, rtol * 100}})
}

// Engine is the engine that s runs.
func (s *Solver) Engine() *model.Engine { return &s.engine }

// Chamber is the chamber of that engine.
func (s *Solver) Chamber() chamber.Chamber { return s.chamber }

// gases makes the gases for lambda ready.
func (s *Solver) gases(lambda float64) error {
	if lambda == s.lambda {
		return nil
	}
	fresh, err := gas.NewFresh(s.fuel, lambda, gas.DefaultAir)
	if err != nil {
		return err
	}
	burned, err := gas.NewBurned(s.fuel, lambda, gas.DefaultAir)
	if err != nil {
		return err
	}
	s.air.fresh = fresh
	if s.set.Exact {
		s.air.burned, err = gas.NewFreezing(burned, gas.DefaultFreezeK)
	} else {
		s.air.burned, err = gas.NewTable(burned, gas.DefaultFreezeK)
	}
	if err != nil {
		return err
	}
	s.closed.Fresh, s.closed.Burned = s.air.fresh, s.air.burned
	s.lambda = lambda
	return nil
}

// pressureRise is dp/dθ, whose fall through zero is a peak of the pressure.
func (s *Solver) pressureRise(theta float64, y []float64) float64 {
	s.closed.Derive(s.slope, theta, y)
	return s.slope[Pressure]
}

func (s *Solver) onPeak(h ode.Hit) error {
	if p := h.Y[Pressure]; p > s.peak {
		s.peak, s.peakAt = p, h.X
	}
	return nil
}

// onStep keeps the work done up to the two greatest volumes, and samples.
func (s *Solver) onStep(st *ode.Step) error {
	for i, at := range [2]float64{s.strokes.Compression, s.strokes.Exhaust} {
		if at >= st.From() && at <= st.To() {
			st.At(at, s.slope)
			s.workAt[i] = s.slope[Work]
		}
	}
	s.sampler.take(st, &s.closed)
	return nil
}

// seal integrates the sealed part from charge ch; with lit false nothing
// burns. The end state is in s.y.
func (s *Solver) seal(op *model.Operating, ch *charge, lit bool) error {
	c := &s.closed
	c.Mass, c.Residual, c.Speed = ch.mass, ch.residual, op.Speed
	from, to := s.engine.Timing.IntakeClosing, s.engine.Timing.ExhaustOpening
	if !lit {
		c.Burn = c.Burn[:0]
	}
	s.run.Breaks = c.Burn.Breaks(s.run.Breaks[:0])
	c.Begin(from, ch.p, ch.t)
	s.y[Pressure], s.y[Temp], s.y[Work], s.y[WallHeat] = ch.p, ch.t, 0, 0
	s.peak, s.peakAt = math.Inf(-1), math.NaN()
	s.workAt = [2]float64{}
	if _, err := s.integrator.Integrate(c, from, to, s.y, &s.run); err != nil {
		return fmt.Errorf("solve: sealed part: %w", err)
	}
	return nil
}

// settle repeats cycles at op until they are periodic. It returns the charge
// and whether it lights; the burn is in s.closed.
func (s *Solver) settle(op *model.Operating) (charge, bool, error) {
	if err := s.gases(op.Lambda); err != nil {
		return charge{}, false, err
	}
	speed := s.chamber.MeanSpeed(op.Speed)
	s.sampler.cycle = nil
	left := leftover{t: 1200, burned: 1}
	s.air.set(&s.engine, op, speed, left.t)
	left.mass = s.air.exhaust * s.air.clearance / (287 * left.t)
	moved := 0.
	s.integrator = s.coarse
	for n := range mostCycles {
		if n == patience {
			s.integrator = s.fine
		}
		ch, err := s.air.fill(left)
		if err != nil {
			return ch, false, err
		}
		lit, err := s.burn(op, &ch)
		if err != nil {
			return ch, false, err
		}
		if err := s.seal(op, &ch, lit); err != nil {
			return ch, false, err
		}
		y, _ := s.closed.burned(s.engine.Timing.ExhaustOpening)
		s.air.set(&s.engine, op, speed, left.t)
		next, err := s.air.empty(s.y[Pressure], s.y[Temp], y)
		if err != nil {
			return ch, false, err
		}
		if next.distance(&left) < periodic*ch.mass {
			if ch.residual > mostResidual {
				return ch, lit, s.air.noCharge()
			}
			return ch, lit, nil
		}
		left = next.ahead(&left, &moved)
	}
	return charge{}, false, fmt.Errorf("solve: after %d cycles at %.4g kPa, %.4g rad/s: %w", mostCycles, op.MAP/1e3, op.Speed, ErrNotPeriodic)
}

// Run solves the periodic cycle at op into dst. The error is a *model.Problem
// if op is not in order.
func (s *Solver) Run(op *model.Operating, dst *Cycle) error {
	if err := op.Check(&s.engine); err != nil {
		return err
	}
	ch, lit, err := s.settle(op)
	if err != nil {
		return err
	}
	s.sampler.begin(dst, s)
	if err := s.seal(op, &ch, lit); err != nil {
		return err
	}
	s.sampler.cycle = nil
	dst.Operating, dst.Lit = *op, lit
	if err := s.indicate(op, &ch, dst); err != nil {
		return err
	}
	s.openPart(dst)
	if s.set.Motored {
		return s.motor(op, &ch, dst)
	}
	return nil
}

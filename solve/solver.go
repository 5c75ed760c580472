package solve

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/flame"
	"phasebench/model/friction"
	"phasebench/model/gas"
	"phasebench/model/knock"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// Errors of a point that is in order but at which no engine runs.
var (
	ErrNotPeriodic = errors.New("the cycle does not become periodic")
	ErrNoCharge    = errors.New("the chamber takes in no fresh charge to speak of")
)

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

	// The cycle counts as periodic when mass, temperature and burned fraction
	// at intake closing change by less than this from one cycle to the next.
	periodic   = 8e-7
	noisy      = 5e-6
	mostCycles = 40

	// mostMixtures bounds the memory of gas tables, some 0.7 MB each.
	mostMixtures = 64

	// Two cycles that take their steps differently differ by the tolerance of
	// the integration, and may take turns for ever. After so many cycles a
	// finer tolerance ends that.
	patience = 8

	// mostResidual is the largest burned mass fraction of a charge that counts
	// as one (our own choice; engines run with less than half of it).
	mostResidual = 0.7

	// Of the swept volume (our own choice): the gas waiting in the intake port
	// with which fresh charge begins to mix, and the volume of the exhaust port.
	waiting  = 0.01
	exitPort = 0.3

	// wiebeKernel is the burned fraction with which the two zones begin under a
	// burn that is given.
	wiebeKernel = 1e-4
)

// Solver runs cycles of one engine. It keeps its buffers: one Solver serves
// any number of cycles, one at a time.
type Solver struct {
	engine   model.Engine
	set      Settings
	chamber  chamber.Chamber
	strokes  chamber.Strokes
	bore     float64 // area [m²]
	friction friction.Law
	fuel     gas.Fuel
	lambda   float64 // of gas; 0: none yet
	mixtures map[float64]mixture
	gas      mixture
	from, to float64 // the sealed part [rad]
	events   []float64

	plugs       int
	shares      []float64
	meeting     [mostPlugs]float64 // those of a rotary chamber at hand
	fronts      []*flame.Front
	flames      flame.Entrainment
	kernel      float64 // share of the charge of a front that counts as burned at its spark [-]
	laminar     flame.Laminar
	base        wiebe.Base
	calibrating bool

	one            oneZone
	two            twoZone
	coarse, fine   steppers
	step           *steppers // one of both
	oneRun         ode.Run
	openRun        ode.Run
	twoRun         ode.Run
	y1, y2         []float64
	slope1, slope2 []float64
	power          []float64 // p·dV/dθ of the samples [W s/rad]

	vary       Variation  // of the cycle at hand
	burnAngles [2]float64 // of the plug placed last, see Prospect

	// What it has come to.
	inTwo        bool
	peak, peakAt float64    // greatest maximum of the pressure so far
	reached      [3]float64 // where 10, 50 and 90 % are burned, by fronts
	onset        float64    // of knock [rad]
	onsetMass    float64    // unburned then [kg]
	onsetVolume  float64
	integral     float64
	workAt       [2]float64
	markAt       [2]float64
	sampler      sampler
	cycles       int // that the last settle took
}

// steppers integrates the one zone while sealed, the one zone with valves open,
// and the two zones.
type steppers struct{ one, open, two *ode.Solver }

// New returns a solver for e. The error is a *model.Problem if e is not in order.
func New(e *model.Engine, set *Settings) (*Solver, error) {
	return build(e, set, map[float64]mixture{})
}

// For returns a solver for e with the settings of s. It takes over the gases that s has
// made, which cost most of what a new solver costs, if e burns the same fuel.
func (s *Solver) For(e *model.Engine) (*Solver, error) {
	mixtures := map[float64]mixture{}
	if e.Fuel == s.engine.Fuel {
		mixtures = maps.Clone(s.mixtures)
	}
	return build(e, &s.set, mixtures)
}

func build(e *model.Engine, set *Settings, mixtures map[float64]mixture) (*Solver, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	s := &Solver{engine: *e, mixtures: mixtures, vary: Steady}
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
	if s.laminar, err = flame.ForFuel(e.Fuel); err != nil {
		return nil, err
	}
	if s.friction, err = e.FrictionLaw(); err != nil {
		return nil, err
	}
	if err := s.parts(); err != nil {
		return nil, err
	}
	s.integrators()
	return s, s.calibrate()
}

// parts sets up valves or ports, leaks, walls, plugs and fronts.
func (s *Solver) parts() (err error) {
	e, period := &s.engine, s.strokes.Period()
	p := place{chamber: s.chamber, factor: e.Wall.Factor}
	if p.areas, err = e.Leaks(); err != nil {
		return err
	}
	if e.Wall.Law == "none" {
		p.linerTemp = 450 // what the crevice keeps its gas at
	} else if p.law, err = wall.ByName(e.Wall.Law); err != nil {
		return err
	}
	s.one.place, s.two.place = p, p
	if s.one.intake, err = e.Intake.Opening(period); err != nil {
		return err
	}
	if s.one.exhaust, err = e.Exhaust.Opening(period); err != nil {
		return err
	}
	s.from, s.to = e.Sealed()
	intakeOpen, _ := e.Intake.Event()
	_, exhaustClose := e.Exhaust.Event()
	s.events = []float64{exhaustClose, intakeOpen + period}
	slices.Sort(s.events)

	bore := s.chamber.Bore()
	s.bore = math.Pi * bore * bore / 4
	s.two.area = s.bore
	s.flames = flame.Usual()
	s.flames.Transition = 0.5
	s.kernel = flame.KernelShare
	s.plugs = int(e.Burn.Plugs)
	s.shares = []float64{1}
	if (s.plugs == 2 || e.Burn.Law == model.BurnFlame) && !e.Rotary() {
		plugs := []flame.Plug{{X: e.Burn.PlugX, Y: e.Burn.PlugY}, {X: e.Burn.SecondX, Y: e.Burn.SecondY}}[:s.plugs]
		if s.fronts, err = flame.NewFronts(bore, plugs); err != nil {
			return err
		}
		s.shares = s.shares[:0]
		for _, f := range s.fronts {
			s.shares = append(s.shares, f.Share)
		}
	}
	return nil
}

// integrators sets up the two integrations.
func (s *Solver) integrators() {
	rtol := s.set.RelTol
	v := s.chamber.Swept()
	mass, energy := v*1.2, v*1e5 // of a charge
	one := make([]float64, nOne)
	for i := range one {
		one[i] = rtol * mass
	}
	one[oneP], one[oneT], one[oneB] = rtol*1e5, rtol*300, rtol
	one[oneWork], one[oneHeat], one[oneFlow], one[oneRing], one[onePortH] = rtol*energy, rtol*energy, 10*rtol*energy, rtol*energy, 10*rtol*energy
	one[onePortT] = rtol * mass * 300
	one[oneExitH], one[oneExitB], one[oneExitT] = rtol*1e6, rtol, rtol*300
	two := make([]float64, nTwo)
	for i := range two {
		two[i] = rtol * mass
	}
	two[twoP], two[twoTu], two[twoTb] = rtol*1e5, rtol*300, rtol*1000
	two[twoWork], two[twoHeat], two[twoRing], two[twoKnock] = rtol*energy, rtol*energy, rtol*energy, 100*rtol
	const longest = 6 * math.Pi / 180
	stepper := func(abs []float64, factor float64) *ode.Solver {
		abs = slices.Clone(abs)
		for i := range abs {
			abs[i] *= factor
		}
		return ode.New(len(abs), &ode.Settings{RelTol: math.Max(1e-13, rtol*factor), MaxStep: longest, AbsTol: abs})
	}
	s.coarse = steppers{stepper(one, 1), stepper(one, 3), stepper(two, 1)}
	s.fine = steppers{stepper(one, 0.05), stepper(one, 0.05), stepper(two, 0.05)}
	s.step = &s.coarse
	s.y1, s.y2 = make([]float64, nOne), make([]float64, nTwo)
	s.slope1, s.slope2 = make([]float64, nOne), make([]float64, nTwo)

	rise := func(sys ode.System, slope []float64, i int) ode.Event {
		return ode.Event{Direction: -1, G: func(theta float64, y []float64) float64 {
			sys.Derive(slope, theta, y)
			return slope[i]
		}}
	}
	burned := func(x float64) ode.Event {
		return ode.Event{Direction: 1, G: func(_ float64, y []float64) float64 {
			sum := -x * s.two.total
			for k := range mostPlugs {
				sum += y[twoFront+k]
			}
			return sum
		}}
	}
	s.oneRun = ode.Run{OnStep: s.onStep, OnEvent: s.onEvent, Events: []ode.Event{rise(&s.one, s.slope1, oneP)}}
	turns := func(at *float64) ode.Event {
		return ode.Event{Terminal: true, G: func(_ float64, y []float64) float64 { return y[oneP] - *at }}
	}
	s.openRun = ode.Run{OnStep: s.onStep, Breaks: s.events, Events: []ode.Event{turns(&s.one.pIn), turns(&s.one.pOut)}}
	s.twoRun = ode.Run{OnStep: s.onStep, OnEvent: s.onEvent, Breaks: make([]float64, 0, 16),
		Events: []ode.Event{
			rise(&s.two, s.slope2, twoP),
			{Direction: 1, G: func(_ float64, y []float64) float64 { return y[twoKnock] - 1 }},
			burned(0.1), burned(0.5), burned(0.9),
		}}
}

// Engine is the engine that s runs.
func (s *Solver) Engine() *model.Engine { return &s.engine }

// Chamber is the chamber of that engine.
func (s *Solver) Chamber() chamber.Chamber { return s.chamber }

// Cycles is how many cycles the last Run took to become periodic.
func (s *Solver) Cycles() int { return s.cycles }

// prepare makes everything ready that belongs to op.
func (s *Solver) prepare(op *model.Operating) error {
	if op.Lambda != s.lambda {
		mix, err := s.mix(op.Lambda)
		if err != nil {
			return err
		}
		s.gas = mix
		s.one.mixture, s.two.mixture = mix, mix
		s.lambda = op.Lambda
	}
	o := &s.one
	o.pIn, o.tIn, o.pOut = op.MAP, op.Intake+s.engine.Intake.Heating, op.Exhaust
	o.bIn = s.moist(op)
	o.set(&s.engine, op, o.bIn)
	s.two.set(&s.engine, op, o.bIn)
	s.two.knock = knock.DouaudEyzat{Octane: s.engine.Octane + op.OctaneShift}
	var in, out state
	o.at(o.tIn, o.pIn, o.bIn, &in)
	o.hIn, o.rIn, o.gammaIn = in.h, o.pIn*in.v/o.tIn, in.gamma(o.pIn)
	const exitT = 1000 // [K]; only the gas constant and gamma are taken from it
	o.pure(exitT, o.pOut, &out)
	o.rOut, o.gammaOut = o.pOut*out.v/exitT, out.gamma(o.pOut)
	swept := s.chamber.Swept()
	o.least = waiting * swept / in.v
	o.exit = exitPort * swept / out.v
	s.two.laminar = func(t, p float64) float64 { return s.laminarAt(op, s.two.residual, t, p) }
	return nil
}

// mix returns the gases of a relative air-fuel ratio; it keeps those of late.
func (s *Solver) mix(lambda float64) (mixture, error) {
	if m, ok := s.mixtures[lambda]; ok {
		return m, nil
	}
	fresh, err := gas.NewFresh(s.fuel, lambda, gas.DefaultAir)
	if err != nil {
		return mixture{}, err
	}
	burned, err := gas.NewBurned(s.fuel, lambda, gas.DefaultAir)
	if err != nil {
		return mixture{}, err
	}
	m := mixture{fresh: fresh}
	if s.set.Exact {
		m.burned, err = gas.NewFreezing(burned, gas.DefaultFreezeK)
	} else {
		m.burned, err = gas.NewTable(burned, gas.DefaultFreezeK)
	}
	if err != nil {
		return mixture{}, err
	}
	if len(s.mixtures) >= mostMixtures {
		clear(s.mixtures)
	}
	s.mixtures[lambda] = m
	return m, nil
}

// onEvent keeps peaks, the fractions that fronts have burned, and the onset of
// knock.
func (s *Solver) onEvent(h ode.Hit) error {
	switch {
	case h.Event == 0:
		s.crest(h.X, h.Y[0]) // oneP and twoP are both 0
	case h.Event == 1:
		s.onset, s.onsetMass = h.X, h.Y[twoMu]
		s.onsetVolume, _ = s.chamber.Volume(h.X)
	default:
		s.reached[h.Event-2] = h.X
	}
	return nil
}

// crest takes p [Pa] at theta [rad] as the peak pressure if it is the greatest so far.
func (s *Solver) crest(theta, p float64) {
	if p > s.peak {
		s.peak, s.peakAt = p, theta
	}
}

// onStep keeps the work done up to the greatest volumes, and samples.
func (s *Solver) onStep(st *ode.Step) error {
	y, i := s.slope1, oneWork
	if s.inTwo {
		y, i = s.slope2, twoWork
	}
	for k, at := range s.markAt {
		if at >= st.From() && at <= st.To() {
			st.At(at, y)
			s.workAt[k] = y[i]
		}
	}
	s.sampler.take(st, s)
	return nil
}

// into runs one cycle from x into dst.
func (s *Solver) into(op *model.Operating, x *Carry, dst *Cycle) (Carry, error) {
	s.sampler.begin(dst, s)
	g, ign, err := s.cycle(op, x)
	s.sampler.cycle = nil
	if err != nil {
		return g, err
	}
	dst.Operating, dst.Lit, dst.Unlit = *op, ign.lit, ign.why
	s.indicate(op, x, &g, dst)
	return g, nil
}

// Run solves the periodic cycle at op into dst. The error is a *model.Problem
// if op is not in order.
func (s *Solver) Run(op *model.Operating, dst *Cycle) error {
	x, err := s.Settle(op)
	if err != nil {
		return err
	}
	if _, err := s.into(op, &x, dst); err != nil {
		return err
	}
	if s.set.Motored {
		return s.motor(&x, dst)
	}
	return nil
}

package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/scenarios/indicate"
	"phasebench/solve"
)

// vector holds the parameters in their order, SI.
type vector [ZeroMotored + 1]float64

// about are names, units and bounds; bounds of 0 hang on the engine.
var about = [...]struct {
	name, unit string
	by         float64
	low, high  float64
}{
	Shift:       {"TDC offset", "deg", deg, -15 * deg, 15 * deg},
	Ratio:       {"compression ratio", "", 1, 0, 0},
	Wall:        {"wall-heat factor", "", 1, 0.02, 6},
	Charge:      {"charge over the given engine's", "", 1, 0.6, 1.6},
	Development: {"spark to 10 % burned", "deg", deg, 2 * deg, 120 * deg},
	Rapid:       {"10 to 90 % burned", "deg", deg, 3 * deg, 160 * deg},
	ZeroFired:   {"zero of fired cycles", "bar", 1e5, 0, 0},
	ZeroMotored: {"zero of motored cycles", "bar", 1e5, 0, 0},
}

// set is fired or motored cycles, summed up.
type set struct {
	count  int
	mean   []float64   // [Pa]
	weight []float64   // count over the variance of a cycle [1/Pa²]; 0: does not take part
	blocks [][]float64 // means of stretches of cycles
	share  []float64   // of all cycles, of each block
}

// problem is the least-squares problem.
type problem struct {
	given    *model.Engine
	engine   *model.Engine // as forward made it
	op       model.Operating
	solver   *solve.Solver
	theta    []float64
	step     float64
	shuts    float64
	wide     float64 // a stroke over that of a piston [-]
	count    int     // of parameters
	sets     [2]set
	data     *Data
	bounds   [2]vector
	start    vector
	burnDev  float64 // what a Variation of 1 makes of engine: spark to 10 % [rad]
	burnFast float64
	scatter  mat.SymDense // covariance of ln development and ln rapid burn, from cycle to cycle

	carry  [2]solve.Carry // of fired and motored cycles, of the engine with ratio0
	volume float64        // at intake closing, of that engine
	mass0  float64        // of the fired charge of the engine given [kg]
	scale  float64        // the mass of carry over mass0
	bow    []float64      // mean of scattered fired cycles less the cycle of mean parameters [Pa]

	cycle solve.Cycle
}

// clear is how far inside of where the chamber is sealed samples take part.
const clear = 8 * deg

// tolerance is that of the model's integration. Our own choice: far below any noise, and
// twice as fast as the usual one.
const tolerance = 1e-7

func newProblem(e *model.Engine, d *Data) (*problem, error) {
	f, err := forward(e)
	if err != nil {
		return nil, err
	}
	p := &problem{given: e, engine: f, op: f.Point, theta: d.Theta, step: d.Theta[1] - d.Theta[0], data: d}
	if p.solver, err = solve.New(f, &solve.Settings{Step: p.step / 2, RelTol: tolerance}); err != nil {
		return nil, err
	}
	if err := p.solver.Run(&p.op, &p.cycle); err != nil {
		return nil, err
	}
	p.burnDev, p.burnFast = p.cycle.Development, p.cycle.Rapid
	p.mass0 = p.cycle.Charge
	var opens float64
	p.shuts, opens = f.Sealed()
	p.count = ZeroFired + 1
	p.wide = p.solver.Chamber().Strokes().Period() / (4 * math.Pi)
	counts := func(theta float64) bool {
		return theta > p.shuts+clear*p.wide && theta < opens-clear*p.wide || p.atInlet(theta)
	}
	p.sets[0] = sum(d.Fired, d.Theta, counts)
	if len(d.Motored) > 0 {
		p.sets[1] = sum(d.Motored, d.Theta, counts)
		p.count++
	}
	for i, a := range about {
		p.bounds[0][i], p.bounds[1][i] = a.low, a.high
	}
	r := *e.Ratio()
	p.bounds[0][Ratio], p.bounds[1][Ratio] = math.Max(1.5, 0.6*r), math.Min(29, 1.7*r)
	return p, p.begin()
}

// atInlet tells an angle about the dead centre before compression.
func (p *problem) atInlet(theta float64) bool {
	return theta > indicate.InletFrom*p.wide && theta < indicate.InletTo*p.wide
}

// sum makes a set of cycles.
func sum(cycles [][]float64, theta []float64, counts func(float64) bool) set {
	n := len(theta)
	s := set{count: len(cycles), mean: make([]float64, n), weight: make([]float64, n)}
	total := float64(len(cycles))
	square := make([]float64, n)
	for _, p := range cycles {
		for i, v := range p {
			s.mean[i] += v / total
		}
	}
	for _, p := range cycles {
		for i, v := range p {
			square[i] += (v - s.mean[i]) * (v - s.mean[i]) / (total - 1)
		}
	}
	// The variance is smoothed over a few samples, and not let below half its median, so
	// that chance makes no sample count for many.
	const around = 4
	smooth := make([]float64, n)
	var all []float64
	for i := range smooth {
		for k := -around; k <= around; k++ {
			smooth[i] += square[(i+k+n)%n] / (2*around + 1)
		}
		if counts(theta[i]) {
			all = append(all, smooth[i])
		}
	}
	floor := math.Max(quantile(all, 0.25)/2, 1) // 1 Pa²: a recording without noise
	for i, t := range theta {
		if counts(t) {
			s.weight[i] = total / math.Max(smooth[i], floor)
		}
	}
	blocks := min(len(cycles), mostBlocks)
	for b := range blocks {
		from, to := b*len(cycles)/blocks, (b+1)*len(cycles)/blocks
		mean := make([]float64, n)
		for _, p := range cycles[from:to] {
			for i, v := range p {
				mean[i] += v / float64(to-from)
			}
		}
		s.blocks, s.share = append(s.blocks, mean), append(s.share, float64(to-from)/total)
	}
	return s
}

// mostBlocks are those that the scatter is told from. Our own choice.
const mostBlocks = 20

// begin indicates the fired cycles for where to start, and how their burns scatter.
func (p *problem) begin() error {
	e := p.engine
	mean := func(s *set) float64 {
		total, n := 0., 0.
		for i, t := range p.theta {
			if p.atInlet(t) {
				total, n = total+s.mean[i], n+1
			}
		}
		return total / n
	}
	p.start = vector{Shift: 0, Ratio: *e.Ratio(), Wall: math.Max(0.05, e.Wall.Factor), Charge: 1, Development: p.burnDev, Rapid: p.burnFast}
	for i := range p.sets {
		if s := &p.sets[i]; s.count > 0 {
			zero := p.op.MAP - mean(s)
			p.start[ZeroFired+i] = zero
			p.bounds[0][ZeroFired+i], p.bounds[1][ZeroFired+i] = zero-1e5, zero+1e5
		}
	}
	x, err := indicate.New(e, &p.op, nil)
	if err != nil {
		return err
	}
	var development, rapid []float64
	const most = 200 // cycles, for the scatter of burns
	step := max(1, len(p.data.Fired)/most)
	for i := 0; i < len(p.data.Fired); i += step {
		n, err := x.Cycle(p.theta, p.data.Fired[i])
		if err != nil {
			continue
		}
		d, r := n.Burn.CA10.Value+p.op.Spark, n.Burn.CA90.Value-n.Burn.CA10.Value
		if d > 2*deg && r > 3*deg { // not with NaN
			development, rapid = append(development, math.Log(d)), append(rapid, math.Log(r))
		}
	}
	if len(development) < 2 {
		return &model.Problem{Key: "cycles", Given: "fired cycles that do not burn", Want: "burns that the first law can see: is the spark right?"}
	}
	within := func(v float64, i int) float64 { return math.Min(math.Max(v, 1.2*p.bounds[0][i]), 0.9*p.bounds[1][i]) }
	p.start[Development] = within(math.Exp(quantile(development, 0.5)), Development)
	p.start[Rapid] = within(math.Exp(quantile(rapid, 0.5)), Rapid)
	if e.Burn.Law == model.BurnWiebe { // delay and span are moved by factors, see vary
		p.start[Development], p.start[Rapid] = p.burnDev, p.burnFast
	}
	rows := mat.NewDense(len(development), kinds, nil)
	rows.SetCol(0, development)
	rows.SetCol(1, rapid)
	stat.CovarianceMatrix(&p.scatter, rows, nil)
	return nil
}

// at returns a solver for the engine of x.
func (p *problem) at(x vector) (*solve.Solver, error) {
	f := *p.engine
	*f.Ratio(), f.Wall.Factor = x[Ratio], x[Wall]
	return p.solver.For(&f)
}

// charge settles what the fired and the motored charge are, for the engine of x. The
// mass that a charge of x has is that; a factor stands for another temperature at equal
// pressure.
func (p *problem) charge(x vector) error {
	if p.scale > 0 { // warmer by as much as makes that mass, nearly
		warm := (p.op.Intake+p.engine.Intake.Heating)*p.scale/x[Charge] - p.op.Intake
		p.engine.Intake.Heating = math.Min(math.Max(warm, 0), mostHeating)
	}
	s, err := p.at(x)
	if err != nil {
		return err
	}
	v, _ := s.Chamber().Volume(p.shuts)
	s, err = s.For(p.burning(s.Engine(), x))
	if err != nil {
		return err
	}
	if p.carry[0], err = s.Settle(&p.op); err != nil {
		return err
	}
	p.carry[1] = p.carry[0]
	for range motoredCycles {
		if p.carry[1], err = s.Next(&p.op, &p.carry[1], &solve.Variation{Development: 1, Rapid: 1}, &p.cycle); err != nil {
			return err
		}
	}
	mass, _, _ := p.carry[0].Charge()
	p.volume, p.scale = v, mass/p.mass0
	return nil
}

// motoredCycles wash the burned gas out of a motored engine. Our own choice.
const motoredCycles = 10

// burning is e with the burn angles of x.
func (p *problem) burning(e *model.Engine, x vector) *model.Engine {
	f := *e
	d, r := x[Development]/p.burnDev, x[Rapid]/p.burnFast
	f.Burn.Development *= d
	f.Burn.Rapid *= r
	f.Burn.First.Delay, f.Burn.Second.Delay = f.Burn.First.Delay*d, f.Burn.Second.Delay*d
	f.Burn.First.Span, f.Burn.Second.Span = f.Burn.First.Span*r, f.Burn.Second.Span*r
	return &f
}

// vary is the burn of x as a Variation of p.engine.
func (p *problem) vary(x vector) solve.Variation {
	return solve.Variation{Development: x[Development] / p.burnDev, Rapid: x[Rapid] / p.burnFast, Burned: 1}
}

// run puts into dst what the model has of set k for x, at the angles of the recording,
// and its slope over the angle into slope.
func (p *problem) run(s *solve.Solver, x vector, k int, dst, slope []float64) error {
	carry := p.carry[k]
	mass, temp, burned := carry.Charge()
	v, _ := s.Chamber().Volume(p.shuts)
	c := x[Charge] / p.scale // over that of carry
	carry.SetCharge(mass*c*v/p.volume, temp/c, burned)
	vary := p.vary(x)
	if k == 1 {
		vary.Burned = 0
	}
	if _, err := s.Next(&p.op, &carry, &vary, &p.cycle); err != nil {
		return err
	}
	if k == 0 && !p.cycle.Lit {
		return fmt.Errorf("fit: the model's charge does not light: %s", p.cycle.Unlit)
	}
	var a interp.AkimaSpline
	if err := a.Fit(p.cycle.Theta, p.cycle.Pressure); err != nil {
		return err
	}
	lo, hi := p.cycle.Theta[0], p.cycle.Theta[len(p.cycle.Theta)-1]
	for i, theta := range p.theta {
		t := math.Min(math.Max(theta-x[Shift], lo), hi)
		dst[i], slope[i] = a.Predict(t), a.PredictDerivative(t)
	}
	return nil
}

// kinds are the burn angles that scatter.
const kinds = 2

// bend settles by how much the mean of scattered cycles differs from the cycle of mean
// parameters: of four cycles whose burn angles have the scatter (a cubature rule of third
// degree: Stroud 1957, from memory).
func (p *problem) bend(x vector) error {
	s, err := p.at(x)
	if err != nil {
		return err
	}
	n := len(p.theta)
	one, slope, plain := make([]float64, n), make([]float64, n), make([]float64, n)
	p.bow = make([]float64, n)
	if err := p.run(s, x, 0, plain, slope); err != nil {
		return err
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(&p.scatter, true) {
		return fmt.Errorf("fit: the scatter of the burns has no axes")
	}
	var axes mat.Dense
	eigen.VectorsTo(&axes)
	values := eigen.Values(nil)
	for k := range kinds {
		for _, way := range []float64{-1, 1} {
			far := way * math.Sqrt(kinds*math.Max(0, values[k]))
			y := x
			y[Development] *= math.Exp(far * axes.At(0, k))
			y[Rapid] *= math.Exp(far * axes.At(1, k))
			if err := p.run(s, y, 0, one, slope); err != nil {
				return err
			}
			for i := range one {
				p.bow[i] += (one[i] - plain[i]) / (2 * kinds)
			}
		}
	}
	return nil
}

// predicted puts into dst what the recording should read for x, set after set.
func (p *problem) predicted(x vector, dst, slope [2][]float64) error {
	return p.predict(x, len(p.sets), dst, slope)
}

// predict is predicted for the first so many sets.
func (p *problem) predict(x vector, sets int, dst, slope [2][]float64) error {
	s, err := p.at(x)
	if err != nil {
		return err
	}
	for k := range sets {
		if p.sets[k].count == 0 {
			continue
		}
		if err := p.run(s, x, k, dst[k], slope[k]); err != nil {
			return err
		}
		for i := range dst[k] {
			if dst[k][i] -= x[ZeroFired+k]; k == 0 {
				dst[k][i] += p.bow[i]
			}
		}
	}
	return nil
}

func (p *problem) buffers() [2][]float64 {
	return [2][]float64{make([]float64, len(p.theta)), make([]float64, len(p.theta))}
}

// jacobian returns what predicted is and its slopes over the parameters.
func (p *problem) jacobian(x vector) (at [2][]float64, slopes [][2][]float64, err error) {
	at, slope := p.buffers(), p.buffers()
	if err := p.predicted(x, at, slope); err != nil {
		return at, nil, err
	}
	moved, unused := p.buffers(), p.buffers()
	for i := range p.count {
		d := p.buffers()
		switch {
		case i == Shift:
			for k := range d {
				for j := range d[k] {
					d[k][j] = -slope[k][j]
				}
			}
		case i >= ZeroFired:
			for j := range d[i-ZeroFired] {
				d[i-ZeroFired][j] = -1
			}
		default:
			y, sets := x, len(p.sets)
			if i == Development || i == Rapid {
				sets = 1 // a motored cycle has no burn
			}
			h := 1e-3 * x[i]
			y[i] += h
			if err := p.predict(y, sets, moved, unused); err != nil {
				return at, nil, err
			}
			for k := range sets {
				for j := range d[k] {
					d[k][j] = (moved[k][j] - at[k][j]) / h
				}
			}
		}
		slopes = append(slopes, d)
	}
	return at, slopes, nil
}

package ideal

import (
	"fmt"
	"math"

	"phasebench/model/chamber"
	"phasebench/model/gas"
	"phasebench/solve"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

const deg = math.Pi / 180

// Finite is the cycle of heat released over a finite angle: a sealed chamber
// from bottom to bottom dead centre with a piston that moves as a cosine, gas
// of constant γ, no heat loss, and
//
//	dp/dθ = ((γ−1)·Q·dx/dθ − γ·p·dV/dθ)/V
//
// with p = V = 1 at the start. The burn x goes on beyond its span, as
// everywhere in wiebe: with a = 5 the last 0.67 % of the heat come after it.
// That is what reproduces the published efficiencies; cut off at the end of
// the span, they would be 0.6 % lower. Heat that would come after the end
// of the cycle is lost, and counts in the efficiency.
// Source: C. R. Ferguson and A. T. Kirkpatrick, Internal Combustion Engines,
// chapter 2 (from memory). The form exponent n there is m + 1 here.
type Finite struct {
	Ratio float64     // compression ratio [-], 1.001 to 50
	Gamma float64     // ratio of specific heats [-], 1.05 to 1.67
	Heat  float64     // Q/(p1·V1) [-], 0 to 1000
	Burn  wiebe.Stage // Start -π to π, Span 0.01 deg to 2π, A 0.1 to 50, M 0 to 10
}

// Release is a Finite solved. Pressures are over p1, volumes over V1.
type Release struct {
	Peak       float64 // greatest pressure [-]
	LPP        float64 // where it is [rad]
	Work       float64 // net, over p1·V1 [-]
	Efficiency float64 // Work/Heat [-]; NaN without heat
	OverOtto   float64 // Efficiency over that of all heat at dead centre [-]

	// The curves, every half degree.
	Theta, Volume, Pressure, Burned []float64
}

var (
	finiteHeatLimits = limits{"heat", "", 1, 0, 1000}
	startLimits      = limits{"start_deg_atdc", "deg", deg, -180, 180}
	durationLimits   = limits{"duration_deg", "deg", deg, 0.01, 360}
	aLimits          = limits{"wiebe_a", "", 1, 0.1, 50}
	mLimits          = limits{"wiebe_m", "", 1, 0, 10}
)

func (f *Finite) check() error {
	return firstOf(ratioLimits.check(f.Ratio), gammaLimits.check(f.Gamma), finiteHeatLimits.check(f.Heat),
		startLimits.check(f.Burn.Start), durationLimits.check(f.Burn.Span), aLimits.check(f.Burn.A), mLimits.check(f.Burn.M))
}

// Run solves the cycle.
func (f Finite) Run() (*Release, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	// One kilogram with R = 1 at 1 K is p = V = 1.
	swept := 1 - 1/f.Ratio
	crank, err := chamber.NewSliderCrank(chamber.Crank{
		Bore: 2 / math.Sqrt(math.Pi), Stroke: swept, Rod: math.Inf(1), Ratio: f.Ratio})
	if err != nil {
		return nil, fmt.Errorf("ideal: %w", err)
	}
	stage := f.Burn
	stage.Start = 0
	closed := &solve.Closed{
		Chamber: turned{crank, f.Burn.Start}, Speed: 1, Mass: 1, Efficiency: 1,
		Fresh:  gas.Perfect{R: 1, Gamma: f.Gamma},
		Burned: gas.Perfect{R: 1, Gamma: f.Gamma, U0: -f.Heat},
		Burn:   wiebe.Single(stage),
	}
	y := make([]float64, 4)
	y[solve.Pressure], y[solve.Temp] = 1, 1
	r, err := release(closed, f.Burn.Start, y)
	if err != nil {
		return nil, fmt.Errorf("ideal: finite heat release: %w", err)
	}
	r.Work = y[solve.Work]
	r.Efficiency, r.OverOtto = math.NaN(), math.NaN()
	if f.Heat > 0 {
		r.Efficiency = r.Work / f.Heat
		r.OverOtto = r.Efficiency / (1 - math.Pow(f.Ratio, 1-f.Gamma))
	}
	return r, nil
}

// turned is a chamber whose volume, not its Strokes, counts angles from by
// [rad]. Counted from the start of the burn they are exact where steps are
// tiny.
type turned struct {
	chamber.Chamber
	by float64
}

func (c turned) Volume(theta float64) (v, dv float64) { return c.Chamber.Volume(theta + c.by) }

// release integrates the cycle from y, fills the curves and finds the peak.
// Angles of closed count from start [rad].
func release(closed *solve.Closed, start float64, y []float64) (*Release, error) {
	const intervals = 720
	from, to := -math.Pi-start, math.Pi-start
	grid, rows := make([]float64, intervals+1), make([][]float64, intervals+1)
	for i := range grid {
		grid[i] = from + (to-from)*float64(i)/intervals
		rows[i] = make([]float64, len(y))
	}
	grid[intervals] = to
	sampler, err := ode.NewSampler(grid, rows)
	if err != nil {
		return nil, err
	}
	// Steps end on the way through the burn, lest one pass over a short burn
	// without seeing it.
	var breaks []float64
	for _, x := range []float64{0, 0.001, 0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 0.999, 0.999999} {
		breaks = append(breaks, closed.Burn.Angle(x))
	}
	r := &Release{Peak: math.Inf(-1)}
	peak := func(theta, p float64) {
		if p > r.Peak {
			r.Peak, r.LPP = p, theta+start
		}
	}
	slope, now := make([]float64, len(y)), make([]float64, len(y))
	run := &ode.Run{
		Breaks: breaks,
		Events: []ode.Event{{Direction: -1, G: func(theta float64, y []float64) float64 {
			closed.Derive(slope, theta, y)
			return slope[solve.Pressure]
		}}},
		OnEvent: func(h ode.Hit) error {
			peak(h.X, h.Y[solve.Pressure])
			return nil
		},
		OnStep: func(s *ode.Step) error {
			if s.To() == to { // the pressure may be greatest at the end
				s.At(to, now)
				peak(to, now[solve.Pressure])
			}
			return sampler.Observe(s)
		},
	}
	closed.Begin(from, 1, 1)
	solver := ode.New(len(y), &ode.Settings{RelTol: 1e-11, MaxStep: 3 * deg})
	if _, err := solver.Integrate(closed, from, to, y, run); err != nil {
		return nil, err
	}
	for i, theta := range grid {
		r.Theta = append(r.Theta, math.Pi*(2*float64(i)/intervals-1))
		v, _ := closed.Chamber.Volume(theta)
		x, _ := closed.Burn.At(theta)
		r.Volume, r.Burned = append(r.Volume, v), append(r.Burned, x)
		r.Pressure = append(r.Pressure, rows[i][solve.Pressure])
	}
	return r, nil
}

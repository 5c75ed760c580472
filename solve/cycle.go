package solve

import (
	"math"

	"phasebench/model"
	"phasebench/solve/ode"
)

// Cycle is one solved cycle: samples over the whole of it and the numbers
// that sum it up. The slices belong to the Cycle; Solver.Run uses them again.
type Cycle struct {
	Operating model.Operating
	Lit       bool   // the spark set the charge on fire
	Unlit     string // why not
	Begin     int    // Theta[Begin:End] are the samples of the sealed part
	End       int

	Theta       []float64 // [rad], from the start to the end of the cycle
	Volume      []float64 // [m³]
	Pressure    []float64 // [Pa]
	Temp        []float64 // mean gas temperature [K]
	Unburned    []float64 // temperature of the unburned zone [K]; NaN without one
	Hot         []float64 // temperature of the burned zone [K]; NaN without one
	Mass        []float64 // in the chamber [kg]
	Intake      []float64 // flow through the intake valves into the chamber [kg/rad]
	Exhaust     []float64 // flow through the exhaust valves out of it [kg/rad]
	Composition []float64 // burned mass fraction of what is in the chamber [-]; the air's water counts as burned gas
	Burned      []float64 // burned fraction of the charge that burns [-]
	Release     []float64 // heat-release rate: fuel burned times its heating value [J/rad]
	WallHeat    []float64 // given to the walls since intake closing [J]
	Knock       []float64 // autoignition integral so far [-]; 0 outside the sealed part
	Motored     []float64 // pressure of the same charge without a spark [Pa]; empty unless asked for

	Indicators
}

// Indicators are the numbers of a cycle, SI; NaN where the cycle has none.
type Indicators struct {
	LPP  float64 // location of peak pressure [rad]
	Peak float64 // peak pressure [Pa]

	CA10, CA50, CA90 float64 // angles at which the burned fraction is reached [rad]
	Development      float64 // spark to CA10 [rad]
	Rapid            float64 // CA10 to CA90 [rad]

	IMEPGross float64 // work between the two greatest volumes around firing, over swept volume [Pa]
	IMEPNet   float64 // work of the whole cycle over swept volume [Pa]
	PMEP      float64 // IMEPNet − IMEPGross [Pa]; negative while the engine pumps
	FMEP      float64 // [Pa]
	BMEP      float64 // IMEPNet − FMEP [Pa]

	Torque float64 // at the brake, mean over the cycle, of all chambers [N·m]
	Power  float64 // at the brake, of all chambers [W]

	Efficiency float64 // gross indicated work over fuel energy [-]
	HeatLoss   float64 // wall heat of the whole cycle over fuel energy [-]
	Residual   float64 // burned gas left over, over charge at intake closing, by mass [-]; the air's water does not count, a charge being as moist as Operating says
	Volumetric float64 // dry air taken in over dry air that would fill the swept volume at manifold pressure and temperature [-]
	Airflow    float64 // dry air, of all chambers [kg/s]
	FuelHeat   float64 // fuel energy taken in, lower heating value [J]
	Charge     float64 // mass at intake closing [kg]
	Blowby     float64 // mass past rings or seals over charge [-]

	PeakTemp     float64 // greatest mean gas temperature [K]
	PeakUnburned float64 // greatest temperature of the unburned zone [K]
	PeakBurned   float64 // greatest temperature of the burned zone [K]

	KnockIntegral  float64 // autoignition integral until 98 % are burned [-]; 1 is knock
	KnockOnset     float64 // [rad]
	KnockUnburned  float64 // unburned fraction of the charge at onset [-]
	KnockIntensity float64 // see knock.Intensity [Pa]

	EnergyResidual float64 // |ΔU + W + Q − H| of the cycle over the greater of fuel energy and p·V at intake closing [-]
	MassResidual   float64 // |Δm − in + out + blow-by| of the cycle over charge, the crevice included [-]
	SampledWork    float64 // IMEPNet by Simpson's rule on the samples alone, less IMEPNet, over peak pressure [-]: how coarse they are
	PeriodicChange float64 // greatest relative change of mass, temperature and composition from this cycle to the next [-]
}

// columns lists the slices of samples.
func (c *Cycle) columns() []*[]float64 {
	return []*[]float64{&c.Theta, &c.Volume, &c.Pressure, &c.Temp, &c.Unburned, &c.Hot, &c.Mass, &c.Intake, &c.Exhaust,
		&c.Composition, &c.Burned, &c.Release, &c.WallHeat, &c.Knock}
}

// resize gives every slice the length n.
func (c *Cycle) resize(n int) {
	if len(c.Theta) == n {
		return
	}
	columns := c.columns()
	all := make([]float64, len(columns)*n)
	for i, s := range columns {
		*s = all[i*n : (i+1)*n : (i+1)*n]
	}
	c.Motored = nil
}

// blank makes every indicator NaN.
func (i *Indicators) blank() {
	n := math.NaN()
	*i = Indicators{n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n}
}

// sampler stores the samples of a Cycle as the steps pass them. The cycle is
// solved from one intake closing to the next, its samples run from the
// gas-exchange dead centre: next counts on past the last and begins again.
type sampler struct {
	cycle   *Cycle // nil: none wanted
	first   int    // sample from which the solution starts
	next    int    // samples stored
	motored bool
	scale   float64 // fuel energy per mass of fresh charge [J/kg]
	y       [max(nOne, nTwo)]float64
	dy      [max(nOne, nTwo)]float64
}

// begin lays the grid of dst.
func (k *sampler) begin(dst *Cycle, s *Solver) {
	n := int(math.Round(s.strokes.Period()/s.set.Step)) + 1
	dst.resize(n)
	dst.Begin, dst.End = n, 0
	for i := range dst.Theta {
		theta := s.strokes.Start + s.strokes.Period()*float64(i)/float64(n-1)
		dst.Theta[i] = theta
		dst.Volume[i], _ = s.chamber.Volume(theta)
		if theta >= s.from && theta <= s.to {
			dst.Begin = min(dst.Begin, i)
			dst.End = i + 1
		}
	}
	stoich := s.lambda * s.fuel.StoichAirFuel
	*k = sampler{cycle: dst, first: dst.Begin, scale: s.fuel.LHV / (1 + stoich)}
}

// take stores the samples within st.
func (k *sampler) take(st *ode.Step, s *Solver) {
	c := k.cycle
	if c == nil {
		return
	}
	n := len(c.Theta)
	for ; k.next < n; k.next++ {
		i, theta := k.first+k.next, 0.
		if i < n {
			theta = c.Theta[i]
		} else {
			i -= n
			theta = c.Theta[i] + s.strokes.Period()
		}
		if theta > st.To() {
			return
		}
		if s.inTwo {
			y, dy := k.y[:nTwo], k.dy[:nTwo]
			st.At(theta, y)
			st.Slope(theta, dy)
			k.two(c, i, theta, y, s)
		} else {
			y, dy := k.y[:nOne], k.dy[:nOne]
			st.At(theta, y)
			st.Slope(theta, dy)
			k.one(c, i, y, dy)
		}
	}
}

func (k *sampler) one(c *Cycle, i int, y, dy []float64) {
	if k.motored {
		c.Motored[i] = y[oneP]
		return
	}
	c.Pressure[i], c.Temp[i], c.Mass[i], c.Composition[i] = y[oneP], y[oneT], y[oneM], y[oneB]
	c.Unburned[i], c.Hot[i] = math.NaN(), math.NaN()
	if i >= c.Begin && i < c.End { // before the two zones begin
		c.Unburned[i] = y[oneT]
	}
	c.Intake[i], c.Exhaust[i], c.WallHeat[i] = dy[oneIn], dy[oneOut], y[oneHeat]
	c.Burned[i], c.Release[i], c.Knock[i] = 0, 0, 0
	if i >= c.End && c.End > 0 {
		c.Burned[i] = c.Burned[c.End-1]
	}
}

func (k *sampler) two(c *Cycle, i int, theta float64, y []float64, s *Solver) {
	two := &s.two
	m := y[twoMu] + y[twoMb]
	c.Pressure[i], c.Unburned[i], c.Hot[i], c.Mass[i] = y[twoP], y[twoTu], y[twoTb], m
	c.Temp[i] = (y[twoMu]*y[twoTu] + y[twoMb]*y[twoTb]) / m
	c.Composition[i] = (y[twoMb] + two.residual*y[twoMu]) / m
	c.Intake[i], c.Exhaust[i], c.WallHeat[i], c.Knock[i] = 0, 0, y[twoHeat], y[twoKnock]
	x, dx := 0., 0.
	if len(two.fronts) > 0 {
		two.Derive(s.slope2, theta, y)
		for f := range mostPlugs {
			x += y[twoFront+f] / two.total
			dx += s.slope2[twoFront+f] / two.total
		}
	} else {
		x, dx = two.burn.At(theta)
	}
	c.Burned[i], c.Release[i] = math.Min(x, 1), 0
	if x < burnedOut {
		c.Release[i] = y[twoMu] * two.share * dx / (1 - two.share*x) * (1 - two.residual) * k.scale
	}
}

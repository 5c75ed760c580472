package solve

import (
	"math"

	"gonum.org/v1/gonum/integrate"

	"phasebench/model"
	"phasebench/model/friction"
	"phasebench/model/gas"
	"phasebench/model/knock"
)

// indicate fills the indicators of dst from the cycle that just turned x into
// g; its sums are in s.y1.
func (s *Solver) indicate(op *model.Operating, x, g *Carry, dst *Cycle) {
	i, y := &dst.Indicators, s.y1
	i.blank()
	swept, period := s.chamber.Swept(), s.strokes.Period()

	i.LPP, i.Peak = s.peakAt, s.peak
	if dst.Lit {
		i.CA10, i.CA50, i.CA90 = s.reached[0], s.reached[1], s.reached[2]
		if len(s.two.fronts) == 0 {
			i.CA10, i.CA50, i.CA90 = s.two.burn.Angle(0.1), s.two.burn.Angle(0.5), s.two.burn.Angle(0.9)
		}
		i.Development, i.Rapid = i.CA10+op.Spark, i.CA90-i.CA10
	}

	net := y[oneWork]
	gross := s.workAt[1] - s.workAt[0]
	if s.markAt[0] > s.markAt[1] { // the greatest volume before firing is passed last
		gross += net
	}
	i.IMEPGross, i.IMEPNet = gross/swept, net/swept
	i.PMEP = i.IMEPNet - i.IMEPGross
	i.FMEP, i.Torque = s.Brake(op, i.Peak, i.IMEPNet)
	i.BMEP = i.IMEPNet - i.FMEP
	i.Power = i.Torque * op.Speed

	stoich := op.Lambda * s.fuel.StoichAirFuel
	taken := y[oneIn] * (1 - s.one.bIn) // without the water
	air := taken * stoich / (1 + stoich)
	var in gas.Props
	s.gas.fresh.Props(op.Intake, op.MAP, &in)
	i.FuelHeat = taken / (1 + stoich) * s.fuel.LHV
	i.Efficiency = gross / i.FuelHeat
	i.HeatLoss = y[oneHeat] / i.FuelHeat
	i.Residual = math.Max(0, (x[carryB]-s.one.bIn)/(1-s.one.bIn))
	i.Volumetric = taken * in.V / swept
	i.Airflow = air * op.Speed / period * s.engine.Chambers()
	i.Charge = x[carryM]
	i.Blowby = y[oneLeak] / i.Charge
	i.PeakTemp = x[carryT]
	for k := dst.Begin; k < dst.End; k++ {
		i.PeakTemp = math.Max(i.PeakTemp, dst.Temp[k])
	}
	if dst.Lit {
		i.PeakUnburned, i.PeakBurned = x[carryT], 0
		for k := dst.Begin; k < dst.End; k++ {
			if dst.Burned[k] < lastBurned {
				i.PeakUnburned = math.Max(i.PeakUnburned, dst.Unburned[k])
			}
			if !math.IsNaN(dst.Hot[k]) {
				i.PeakBurned = math.Max(i.PeakBurned, dst.Hot[k])
			}
		}
		i.KnockIntegral, i.KnockOnset = s.integral, s.onset
		i.KnockUnburned, i.KnockIntensity = 0, 0
		if !math.IsNaN(s.onset) {
			i.KnockUnburned = s.onsetMass / i.Charge
			heat := (1 - s.two.residual) * s.Heat(op.Lambda)
			i.KnockIntensity = knock.Intensity(s.onsetMass, heat, s.onsetVolume, knock.BurnedGamma)
		}
	}

	// The crevice keeps its gas at one temperature: its mass follows from p.
	ch, next := s.charge(x), s.charge(g)
	before := x[carryM] * s.energy(&ch)
	after := g[carryM] * s.energy(&next)
	total := math.Max(i.FuelHeat, ch.p*ch.volume)
	i.EnergyResidual = math.Abs(after-before+y[oneWork]+y[oneHeat]+y[oneRing]-y[oneFlow]) / total
	perPressure, _ := s.one.ring(ch.p)
	i.MassResidual = math.Abs(g[carryM]-x[carryM]+perPressure*(next.p-ch.p)-y[oneIn]+y[oneOut]+y[oneLeak]) / i.Charge
	i.PeriodicChange = change(x, g)

	s.power = s.power[:0]
	for k, theta := range dst.Theta {
		_, dv := s.chamber.Volume(theta)
		s.power = append(s.power, dst.Pressure[k]*dv)
	}
	i.SampledWork = (integrate.Simpsons(dst.Theta, s.power)/swept - i.IMEPNet) / i.Peak
}

// Heat is the lower heating value of fresh charge at lambda [J/kg], all its fuel counted.
func (s *Solver) Heat(lambda float64) float64 { return s.fuel.LHV / (1 + lambda*s.fuel.StoichAirFuel) }

// Brake returns the friction mean effective pressure [Pa] and the mean brake
// torque [N·m] of a cycle at op with peak pressure peak [Pa] and net indicated mean
// effective pressure net [Pa]. The torque is what a dynamometer reads: of all
// chambers that drive the shaft.
func (s *Solver) Brake(op *model.Operating, peak, net float64) (fmep, torque float64) {
	fmep = s.friction.MEP(&friction.Conditions{Peak: peak, Speed: s.chamber.MeanSpeed(op.Speed), Omega: op.Speed,
		Intake: op.MAP, Ambient: 101325})
	return fmep, (net - fmep) * s.chamber.Swept() / s.strokes.Period() * s.engine.Chambers()
}

// energy is the specific internal energy of ch [J/kg].
func (s *Solver) energy(ch *charge) float64 {
	var mix state
	s.gas.at(ch.t, ch.p, ch.residual, &mix)
	return mix.u(ch.p)
}

// motor runs the sealed part from x once more without a spark into
// dst.Motored; outside it repeats the pressure of the fired cycle.
func (s *Solver) motor(x *Carry, dst *Cycle) error {
	if len(dst.Motored) != len(dst.Theta) {
		dst.Motored = make([]float64, len(dst.Theta))
	}
	copy(dst.Motored, dst.Pressure)
	s.sampler = sampler{cycle: dst, first: dst.Begin, motored: true}
	err := s.sealed(s.begin(x), ignition{})
	s.sampler.cycle = nil
	return err
}

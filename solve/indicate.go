package solve

import (
	"math"

	"phasebench/model"
	"phasebench/solve/ode"
)

// indicate fills the indicators of dst from the sealed part that just ended
// in s.y.
func (s *Solver) indicate(op *model.Operating, ch *charge, dst *Cycle) error {
	c, t := &s.closed, &s.engine.Timing
	i := &dst.Indicators
	i.blank()
	swept, period := s.chamber.Swept(), s.strokes.Period()

	i.LPP, i.Peak = s.peakAt, s.peak
	if dst.Lit {
		i.CA10, i.CA50, i.CA90 = c.Burn.Angle(0.1), c.Burn.Angle(0.5), c.Burn.Angle(0.9)
		i.Development, i.Rapid = i.CA10+op.Spark, i.CA90-i.CA10
	}

	net := s.y[Work]
	gross := net
	if s.workAt[1] != 0 { // the exhaust opens after the greatest volume
		gross = s.workAt[1]
	} else {
		gross += s.openWork(t.ExhaustOpening, s.strokes.Exhaust)
	}
	if t.IntakeClosing < s.strokes.Compression {
		gross -= s.workAt[0]
	} else {
		gross += s.openWork(s.strokes.Compression, t.IntakeClosing)
	}
	net += s.openWork(s.strokes.Start, s.strokes.Start+crossover) +
		s.openWork(s.strokes.Start+crossover, t.IntakeClosing) +
		s.openWork(t.ExhaustOpening, math.Max(s.strokes.Exhaust, t.ExhaustOpening)) +
		s.openWork(math.Max(s.strokes.Exhaust, t.ExhaustOpening), s.strokes.End-crossover) +
		s.openWork(s.strokes.End-crossover, s.strokes.End)
	i.IMEPGross, i.IMEPNet = gross/swept, net/swept
	i.PMEP = i.IMEPNet - i.IMEPGross
	i.FMEP = s.engine.Friction.FMEP(i.Peak, s.chamber.MeanSpeed(op.Speed))
	i.BMEP = i.IMEPNet - i.FMEP
	i.Torque = i.BMEP * swept / period
	i.Power = i.Torque * op.Speed

	stoich := op.Lambda * s.fuel.StoichAirFuel
	taken := ch.mass - ch.kept
	air := taken * stoich / (1 + stoich)
	s.air.fresh.Props(op.Intake, op.MAP, &s.air.a)
	charge := s.air.a.V * (1 + stoich) / stoich // of the fresh charge, per kg of air
	i.FuelHeat = taken / (1 + stoich) * s.fuel.LHV
	i.Efficiency = gross / i.FuelHeat
	i.HeatLoss = s.y[WallHeat] / i.FuelHeat
	i.Residual = ch.residual
	i.Volumetric = air * charge / swept
	i.Airflow = air * op.Speed / period
	i.Charge = ch.mass
	i.PeakTemp = ch.t
	for k := dst.Begin; k < dst.End; k++ {
		i.PeakTemp = math.Max(i.PeakTemp, dst.Temp[k])
	}

	before := c.Energy(t.IntakeClosing, ch.p, ch.t)
	after := c.Energy(t.ExhaustOpening, s.y[Pressure], s.y[Temp])
	total := math.Max(i.FuelHeat, ch.p*s.air.sealed)
	i.EnergyResidual = math.Abs(after-before+s.y[Work]+s.y[WallHeat]) / total

	y, _ := c.burned(t.ExhaustOpening)
	left, err := s.air.empty(s.y[Pressure], s.y[Temp], y)
	if err != nil {
		return err
	}
	i.MassResidual = math.Abs((ch.mass-left.mass)-taken) / ch.mass
	return nil
}

// openWork is ∫p dV from a to b [rad] while a valve is open [J]; 0 if b <= a.
func (s *Solver) openWork(a, b float64) (w float64) {
	if !(b > a) {
		return 0
	}
	for k, x := range s.nodes {
		theta := a + (b-a)*x
		_, dv := s.chamber.Volume(theta)
		w += s.weights[k] * (b - a) * s.openPressure(theta) * dv
	}
	return w
}

// openPressure is the pressure while a valve is open, s.y being the state at
// exhaust opening.
func (s *Solver) openPressure(theta float64) float64 {
	return s.air.pressure(theta, s.strokes.Start, s.strokes.End, s.engine.Timing.ExhaustOpening,
		math.Max(s.strokes.Exhaust, s.engine.Timing.ExhaustOpening), s.y[Pressure])
}

// openPart fills the samples outside the sealed part.
func (s *Solver) openPart(dst *Cycle) {
	last := 0.
	if dst.End > dst.Begin {
		last = dst.Burned[dst.End-1]
	}
	for k, theta := range dst.Theta {
		if k >= dst.Begin && k < dst.End {
			continue
		}
		dst.Pressure[k] = s.openPressure(theta)
		dst.Temp[k], dst.WallHeat[k], dst.Release[k] = math.NaN(), math.NaN(), 0
		dst.Burned[k] = 0
		if k >= dst.End {
			dst.Burned[k] = last
		}
	}
}

// motor runs charge ch once more without a spark into dst.Motored; outside
// the sealed part it repeats the pressure of the fired cycle.
func (s *Solver) motor(op *model.Operating, ch *charge, dst *Cycle) error {
	if len(dst.Motored) != len(dst.Theta) {
		dst.Motored = make([]float64, len(dst.Theta))
	}
	copy(dst.Motored, dst.Pressure)
	s.sampler = sampler{cycle: dst, next: dst.Begin, motored: true}
	err := s.seal(op, ch, false)
	s.sampler.cycle = nil
	return err
}

// sampler stores the samples of a Cycle as the steps pass them.
type sampler struct {
	cycle   *Cycle // nil: none wanted
	next    int
	motored bool
	scale   float64 // fuel energy that the burn sets free [J]
	y       [nUnknowns]float64
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
		if theta >= s.engine.Timing.IntakeClosing && theta <= s.engine.Timing.ExhaustOpening {
			dst.Begin = min(dst.Begin, i)
			dst.End = i + 1
		}
	}
	stoich := s.lambda * s.fuel.StoichAirFuel
	*k = sampler{cycle: dst, next: dst.Begin, scale: s.fuel.LHV / (1 + stoich)}
}

// take stores the samples within st.
func (k *sampler) take(st *ode.Step, c *Closed) {
	if k.cycle == nil {
		return
	}
	for ; k.next < k.cycle.End && k.cycle.Theta[k.next] <= st.To(); k.next++ {
		i, theta := k.next, k.cycle.Theta[k.next]
		st.At(theta, k.y[:])
		if k.motored {
			k.cycle.Motored[i] = k.y[Pressure]
			continue
		}
		k.cycle.Pressure[i], k.cycle.Temp[i], k.cycle.WallHeat[i] = k.y[Pressure], k.y[Temp], k.y[WallHeat]
		x, _ := c.Burn.At(theta)
		_, db := c.burned(theta)
		k.cycle.Burned[i] = x
		k.cycle.Release[i] = db * c.Mass * k.scale
	}
}

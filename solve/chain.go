package solve

import (
	"fmt"
	"math"

	"phasebench/model"
)

// Variation is how one cycle differs from the mean cycle of its operating
// point. Under the law flame the factors hold roughly, and a faster burn also
// develops sooner. Its zero value is a cycle without a spark.
type Variation struct {
	Development float64 // factor on the angle from spark to 10 % burned [-], > 0; of the delay under the law wiebe
	Rapid       float64 // factor on the angle from 10 to 90 % burned [-], > 0; of the duration under the law wiebe
	Burned      float64 // factor on the share of the fresh charge that ever burns [-], 0 to 1; 0: no spark
}

// Steady is the mean cycle.
var Steady = Variation{1, 1, 1}

// noSpark is why a charge does not light whose Variation says so.
const noSpark = "not lit: no spark"

func (v *Variation) check() error {
	for _, f := range []struct {
		name      string
		v         float64
		low, high float64
	}{{"Development", v.Development, 0.05, 20}, {"Rapid", v.Rapid, 0.05, 20}, {"Burned", v.Burned, 0, 1}} {
		if !(f.v >= f.low && f.v <= f.high) {
			return fmt.Errorf("solve: Variation.%s = %g, want %g to %g", f.name, f.v, f.low, f.high)
		}
	}
	return nil
}

// Settle returns what the periodic cycle at op hands on to itself. The error
// is a *model.Problem if op is not in order.
func (s *Solver) Settle(op *model.Operating) (Carry, error) {
	if err := op.Check(&s.engine); err != nil {
		return Carry{}, err
	}
	s.vary = Steady
	x, _, err := s.settle(op)
	return x, err
}

// Next runs the cycle that follows upon x at op into dst and returns what it
// hands on. The samples of dst before intake closing are those after the cycle:
// the intake stroke of the charge that it hands on. The residual keeps its
// burned fraction if op has another lambda than the cycle before, and the charge
// of x the water it came with if op has another humidity. What comes
// out depends on op, x and v alone.
func (s *Solver) Next(op *model.Operating, x *Carry, v *Variation, dst *Cycle) (Carry, error) {
	if err := s.ready(op, x, v); err != nil {
		return *x, err
	}
	defer func() { s.vary = Steady }()
	y := s.remixed(*x)
	return s.into(op, &y, dst)
}

// remixed returns x for gas of the lambda at hand: temperatures and burned
// fractions in the ports stay, enthalpies become those of this gas.
func (s *Solver) remixed(x Carry) Carry {
	if x[carryLambda] == s.lambda {
		return x
	}
	var mix state
	if m := x[carryPortM]; m > 0 {
		s.one.at(x[carryPortT]/m, s.one.pIn, x[carryPortB]/m, &mix)
		x[carryPortH] = m * mix.h
	}
	s.one.at(x[carryExitT], s.one.pOut, x[carryExitB], &mix)
	x[carryExitH], x[carryLambda] = mix.h, s.lambda
	return x
}

// Prospect is what a charge will do, as far as it is known before its spark.
type Prospect struct {
	Flame float64 // laminar flame speed at the (leading) spark [m/s]
	Lit   bool
	Start float64 // where burning begins [rad]; NaN if it does not

	// Two prospects compare by the ratio of these. Under the laws fixed and scaled
	// they are the burn angles [rad], from spark to 10 and from 10 to 90 % burned;
	// under the law wiebe the factors of the Variation [-]; under the law flame the
	// same times the flame speed [m/s] to the power of −2/3, which is about how
	// its angles answer.
	Development, Rapid float64
}

// Look tells what the charge of x will do at op under v.
func (s *Solver) Look(op *model.Operating, x *Carry, v *Variation) (Prospect, error) {
	p := Prospect{Flame: math.NaN(), Start: math.NaN()}
	if err := s.ready(op, x, v); err != nil {
		return p, err
	}
	defer func() { s.vary = Steady }()
	s.burnAngles = [2]float64{v.Development, v.Rapid}
	ch := s.charge(x)
	p.Flame, _ = s.flame(op, &ch, -op.Spark)
	ign, err := s.ignite(op, &ch)
	if err == nil && ign.lit {
		p.Lit, p.Start = true, ign.start
	}
	p.Development, p.Rapid = s.burnAngles[0], s.burnAngles[1]
	if s.engine.Burn.Law == model.BurnFlame {
		answer := math.Pow(p.Flame, -2./3)
		p.Development, p.Rapid = p.Development*answer, p.Rapid*answer
	}
	return p, err
}

// ready prepares for one cycle.
func (s *Solver) ready(op *model.Operating, x *Carry, v *Variation) error {
	if err := op.Check(&s.engine); err != nil {
		return err
	}
	if err := v.check(); err != nil {
		return err
	}
	if m, t, b := x.Charge(); !(m > 0 && t > 0 && b >= 0 && b <= 1) {
		return fmt.Errorf("solve: a charge of %g kg at %g K, burned fraction %g: want the first two > 0 and the last 0 to 1", m, t, b)
	}
	if err := s.prepare(op); err != nil {
		return err
	}
	s.step, s.vary = &s.coarse, *v
	return nil
}

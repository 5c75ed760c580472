package solve

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

func settled(t *testing.T, law string) (*Solver, model.Operating, Carry) {
	t.Helper()
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Burn.Law = law
	if law == model.BurnWiebe {
		e.Burn.First = model.Stage{Delay: 0.1, Span: 1, A: 6.9, M: 2}
	}
	s, err := New(e, nil)
	require.NoError(t, err)
	op := e.Point
	x, err := s.Settle(&op)
	require.NoError(t, err)
	return s, op, x
}

// The mean cycle hands on what it began with, and is the one that Run gives.
func TestNextRepeats(t *testing.T) {
	s, op, x := settled(t, model.BurnScaled)
	var one, run Cycle
	y, err := s.Next(&op, &x, &Steady, &one)
	require.NoError(t, err)
	require.Less(t, change(&x, &y), 2*periodic)
	require.NoError(t, s.Run(&op, &run))
	require.InDelta(t, run.LPP, one.LPP, 1e-6)
	require.InEpsilon(t, run.IMEPNet, one.IMEPNet, 1e-6)
}

// A factor on a burn angle is one on that angle: exactly where the law is of two
// angles, within half of the change where a flame burns; Look tells the same.
func TestVariation(t *testing.T) {
	for law, within := range map[string]float64{model.BurnFixed: 1e-6, model.BurnScaled: 1e-6, model.BurnFlame: 0.5} {
		s, op, x := settled(t, law)
		var mean, other Cycle
		_, err := s.Next(&op, &x, &Steady, &mean)
		require.NoError(t, err)
		v := Variation{Development: 1.3, Rapid: 0.8, Burned: 1}
		look, err := s.Look(&op, &x, &v)
		require.NoError(t, err)
		base, err := s.Look(&op, &x, &Steady)
		require.NoError(t, err)
		require.InEpsilon(t, 1.3, look.Development/base.Development, 1e-9, law)
		require.InEpsilon(t, 0.8, look.Rapid/base.Rapid, 1e-9, law)
		_, err = s.Next(&op, &x, &Variation{Development: 1.3, Rapid: 1, Burned: 1}, &other)
		require.NoError(t, err)
		require.InEpsilon(t, 0.3, other.Development/mean.Development-1, within, law)
		_, err = s.Next(&op, &x, &Variation{Development: 1, Rapid: 0.8, Burned: 1}, &other)
		require.NoError(t, err)
		require.InEpsilon(t, 0.2, 1-other.Rapid/mean.Rapid, within, law)
		require.Equal(t, Steady, s.vary, "the next cycle is steady again")
	}
	s, op, x := settled(t, model.BurnWiebe)
	var mean, other Cycle
	_, err := s.Next(&op, &x, &Steady, &mean)
	require.NoError(t, err)
	_, err = s.Next(&op, &x, &Variation{Development: 1, Rapid: 1.2, Burned: 1}, &other)
	require.NoError(t, err)
	require.InEpsilon(t, 1.2, other.Rapid/mean.Rapid, 1e-9)
}

// Whatever varies, mixture, humidity and walls included, a cycle keeps energy and mass.
func TestNextBalances(t *testing.T) {
	s, op, x := settled(t, model.BurnScaled)
	r := rand.New(rand.NewPCG(1, 2))
	var c Cycle
	unlit := 0
	for range 60 {
		at := op
		at.Lambda = math.Round(400*(1+0.05*r.NormFloat64())) / 400
		at.MAP *= 1 + 0.1*r.NormFloat64()
		at.Humidity, at.WallShift, at.OctaneShift = 0.05*r.Float64(), -100+300*r.Float64(), 40*r.Float64()-20
		v := Variation{Development: math.Exp(0.2 * r.NormFloat64()), Rapid: math.Exp(0.2 * r.NormFloat64()), Burned: 1}
		switch r.IntN(5) {
		case 0:
			v.Burned = 0
		case 1:
			v.Burned = r.Float64()
		}
		y, err := s.Next(&at, &x, &v, &c)
		require.NoError(t, err)
		require.Equal(t, v.Burned > 0, c.Lit)
		if !c.Lit {
			unlit++
			require.Equal(t, noSpark, c.Unlit)
		}
		require.Less(t, c.EnergyResidual, 1e-6)
		require.Less(t, c.MassResidual, 1e-9)
		x = y
	}
	require.Positive(t, unlit)
}

// After a cycle without a spark the burned fraction of the charge is what flows
// back from the exhaust, and the next cycle has more fresh charge to burn.
func TestCarry(t *testing.T) {
	s, op, x := settled(t, model.BurnScaled)
	var dead, strong, mean Cycle
	_, err := s.Next(&op, &x, &Steady, &mean)
	require.NoError(t, err)
	y, err := s.Next(&op, &x, &Variation{Development: 1, Rapid: 1}, &dead)
	require.NoError(t, err)
	_, _, before := x.Charge()
	_, _, after := y.Charge()
	require.Less(t, after, before/2)
	_, err = s.Next(&op, &y, &Steady, &strong)
	require.NoError(t, err)
	require.Greater(t, strong.IMEPGross, mean.IMEPGross)
}

func TestNextRefuses(t *testing.T) {
	s, op, x := settled(t, model.BurnFixed)
	var c Cycle
	for _, v := range []Variation{{0, 1, 1}, {1, math.NaN(), 1}, {1, 1, 1.01}, {1, 1, -0.1}} {
		_, err := s.Next(&op, &x, &v, &c)
		require.ErrorContains(t, err, "Variation")
	}
	bad := x
	bad.SetCharge(-1, 400, 0)
	_, err := s.Next(&op, &bad, &Steady, &c)
	require.Error(t, err)
	op.MAP = 0
	_, err = s.Next(&op, &x, &Steady, &c)
	var p *model.Problem
	require.ErrorAs(t, err, &p)
}

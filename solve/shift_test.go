package solve

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// A shift of the point is a change of the engine, to the last bit: as text, because
// NaN is not equal to itself. The burn is fixed, lest the engine's change move
// the base point of the burn too.
func TestShiftIsAnotherEngine(t *testing.T) {
	for name, of := range map[string]struct {
		shift  func(*model.Operating)
		change func(*model.Engine)
	}{
		"none": {func(*model.Operating) {}, func(*model.Engine) {}},
		"octane": {func(o *model.Operating) { o.OctaneShift = -16 },
			func(e *model.Engine) { e.Octane -= 16 }},
		"walls": {func(o *model.Operating) { o.WallShift = 50 },
			func(e *model.Engine) { e.Wall.Head += 50; e.Wall.Piston += 50; e.Wall.Liner += 50 }},
		"no walls": {func(o *model.Operating) { o.WallShift = 50 }, func(*model.Engine) {}},
	} {
		e := load(t, "pump-set")
		e.Burn.Law, e.Point.MAP = model.BurnFixed, 95e3
		if name == "no walls" {
			e.Wall.Law = "none"
		}
		s, err := New(e, nil)
		require.NoError(t, err)
		op := e.Point
		of.shift(&op)
		plain := runAt(t, s, e.Point)
		got := fmt.Sprintf("%x %x", runAt(t, s, op).Indicators, runAt(t, s, op).Pressure)
		again := runAt(t, s, e.Point)
		require.Equal(t, fmt.Sprintf("%x", plain.Indicators), fmt.Sprintf("%x", again.Indicators), "%s: a shift stays behind", name)
		other := *e
		of.change(&other)
		c := cycle(t, &other, nil)
		require.Equal(t, fmt.Sprintf("%x %x", c.Indicators, c.Pressure), got, name)
		if name == "octane" || name == "walls" {
			require.NotEqual(t, plain.KnockIntegral, c.KnockIntegral, name)
		}
	}
}

// Walls 50 K warmer take less heat from the gas, warm the charge on its way in, so
// less of it, and bring it nearer to knock (common practice, no source).
func TestWarmWalls(t *testing.T) {
	e := load(t, "pump-set")
	s, err := New(e, nil)
	require.NoError(t, err)
	op := at(e, 2200, 95)
	cool := runAt(t, s, op)
	op.WallShift = 50
	warm := runAt(t, s, op)
	require.Less(t, warm.HeatLoss, 0.99*cool.HeatLoss)
	require.Less(t, warm.Volumetric, 0.998*cool.Volumetric)
	require.Greater(t, warm.KnockIntegral, 1.01*cool.KnockIntegral)
	require.LessOrEqual(t, warm.EnergyResidual, 1e-6)
	require.LessOrEqual(t, warm.MassResidual, 1e-9)
}

// Of the octane number ON the delay goes as ON^3.402 (Douaud and Eyzat, SAE 780080,
// from memory) and the pressure does not depend on it, so the integral goes as the
// inverse. Both integrals within 1e-6: the integration is finer than usual for it.
func TestOctaneShift(t *testing.T) {
	e := load(t, "pump-set")
	s, err := New(e, &Settings{RelTol: 1e-10})
	require.NoError(t, err)
	op := at(e, 2200, 95)
	base := runAt(t, s, op).KnockIntegral
	op.OctaneShift = -5
	require.InEpsilon(t, math.Pow(e.Octane/(e.Octane-5), 3.402), runAt(t, s, op).KnockIntegral/base, 1e-6)
}

package stream

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// Humidity, walls and octane number are columns like the others, and lie on straight
// lines between their knots.
func TestScheduleOfDisturbances(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	base := e.Point
	base.WallShift = 5
	s, err := ReadSchedule(strings.NewReader("cycle,humidity_g_kg,octane_shift\n0,4,0\n100,24,-6\n"), "s.csv", base)
	require.NoError(t, err)
	require.NoError(t, s.Check(e))
	mid, steady := s.At(25)
	require.False(t, steady)
	require.InEpsilon(t, 0.009, mid.Humidity, 1e-12)
	require.InEpsilon(t, -1.5, mid.OctaneShift, 1e-12)
	require.Equal(t, 5., mid.WallShift, "as in base")

	s, err = ReadSchedule(strings.NewReader("cycle,wall_shift_k\n0,-60\n10,40\n"), "s.csv", base)
	require.NoError(t, err)
	mid, _ = s.At(5)
	require.InDelta(t, -10, mid.WallShift, 1e-12)

	s, err = ReadSchedule(strings.NewReader("cycle,humidity_g_kg\n0,60\n"), "s.csv", base)
	require.NoError(t, err)
	var p *model.Problem
	require.ErrorAs(t, s.Check(e), &p)
	require.Equal(t, model.Problem{Key: "humidity_g_kg", Given: "60", Want: "0 to 50 g/kg"}, *p)
}

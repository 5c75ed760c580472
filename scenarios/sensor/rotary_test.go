package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// Ports make no blow, and the chamber of a rotor rings along its flank: by hand, one
// node along √3 · 94.5 mm is 1/(2·0.16368 m) per m/s. A piston's valves and modes stay.
func TestSoundOfRotor(t *testing.T) {
	e, err := model.Load("rotary-set")
	require.NoError(t, err)
	r, err := New(e, Usual(e), 1)
	require.NoError(t, err)
	require.Empty(t, r.listen.blows)
	require.InEpsilon(t, 1/(2*math.Sqrt(3)*94.5e-3), r.ring.modes[0].Frequency, 1e-12)

	e = pumpSet(t)
	r, err = New(e, Usual(e), 1)
	require.NoError(t, err)
	require.InDeltaSlice(t, []float64{-135 * deg, (380 - 720) * deg}, r.listen.blows, 1e-12)
	disc, err := newRing(88e-3)
	require.NoError(t, err)
	require.Equal(t, disc.modes, r.ring.modes)
}

// Without faults or noise the edges of the wheel over three turns tell the angles of
// the shaft, at a ripple as at none.
func TestWheelOfRotor(t *testing.T) {
	e, err := model.Load("rotary-set")
	require.NoError(t, err)
	set := Usual(e)
	require.NotNil(t, set.Wheel)
	wheel := *set.Wheel
	wheel.Jitter = 0
	r, err := New(e, Setup{Wheel: &wheel}, 1)
	require.NoError(t, err)
	c := solved(t, e, at{3000, 80, 0.95, 25})
	c.Clock.Order, c.Clock.Ripple = 1, 0.03
	var record Record
	require.NoError(t, r.Take(c, &record))
	edges := record.Values[0]
	require.Len(t, edges, 3*(wheel.Teeth-wheel.Missing))
	for k := 1; k < len(edges); k++ {
		turned := c.Clock.Angle(float64(edges[k])*usec) - c.Clock.Angle(float64(edges[k-1])*usec)
		pitches := turned / wheel.pitch()
		require.InDelta(t, math.Round(pitches), pitches, 1e-2)
	}
}

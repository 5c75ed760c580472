package stream

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// The clock of a rotor ripples once a turn and closes after three, whatever the
// ripple: three chambers drive the shaft. That of a single keeps its half order.
func TestClockOfRotor(t *testing.T) {
	c := Clock{Speed: 300, Ripple: 0.07, RippleAt: slowest, Order: 1, Start: -3 * math.Pi}
	require.InEpsilon(t, 2*math.Pi/300, c.Time(-math.Pi), 1e-13)
	require.InEpsilon(t, 6*math.Pi/300, c.Time(3*math.Pi), 1e-13)
	for theta := -9.; theta < 9; theta += 0.37 {
		require.InDelta(t, theta, c.Angle(c.Time(theta)), 1e-12)
		require.InDelta(t, c.Rate(theta), c.Rate(theta+2*math.Pi), 1e-9)
		const h = 1e-4
		require.InEpsilon(t, 2*h/(c.Time(theta+h)-c.Time(theta-h)), c.Rate(theta), 1e-8)
	}
	half := Clock{Speed: 200, Ripple: 0.07, RippleAt: slowest, Start: -2 * math.Pi}
	same := half
	same.Order = 0.5
	require.Equal(t, half.Time(1.3), same.Time(1.3))
}

// Cycles of the rotary engine follow each other over 1080 degrees, a sample each, a
// ripple a turn; peak, work and torque of one are those of its samples, as of a piston.
func TestStreamOfRotor(t *testing.T) {
	e, err := model.Load("rotary-set")
	require.NoError(t, err)
	s, err := New(e, Steadily(e.Point), &Settings{Seed: 1})
	require.NoError(t, err)
	ch, err := e.Chamber()
	require.NoError(t, err)
	n, lit := 0, 0
	for c, err := range s.Cycles(t.Context(), 0, 30) {
		require.NoError(t, err)
		require.Len(t, c.Theta, 1080)
		require.InDelta(t, -3*math.Pi, c.Theta[0], 1e-12)
		require.Equal(t, 1., c.Clock.Order)
		step := c.Theta[1] - c.Theta[0]
		net, peak := 0., 0
		for k, p := range c.Pressure {
			_, dv := ch.Volume(c.Theta[k])
			net += p * dv * step
			if p > c.Pressure[peak] {
				peak = k
			}
		}
		// The row is periodic but for the step from one cycle to the next: 1e-3 of the
		// peak pressure, as the deviations of cycles are.
		require.InDelta(t, net/ch.Swept(), c.IMEPNet, 1e-3*c.Peak)
		if c.Lit {
			lit++
			require.InDelta(t, c.LPP, c.Theta[peak], step)
		}
		want := c.BMEP * ch.Swept() * 3 / (6 * math.Pi)
		require.InEpsilon(t, want, c.Torque, 1e-12)
		n++
	}
	require.Equal(t, 30, n)
	require.Greater(t, lit, 25)
}

package solve

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model"
	"phasebench/wiebe"
)

// Two flames between plugs a distance 1 apart, the leading one at 1/reach: worked
// by hand for a leading share of 0.6 and a tail of 0.1.
func TestFlamesMeet(t *testing.T) {
	e := load(t, "rotary-set")
	s, err := New(e, nil)
	require.NoError(t, err)
	op := e.Point
	for _, c := range []struct {
		split, pace       float64 // [deg], [-]
		leading, trailing float64
		corner            float64 // begins [deg] after the leading spark
	}{
		{0, 1, 0.54, 0.36, 40},
		{18, 1, 0.9 * 0.8, 0.9 * 0.2, 18 + 40},
		{36, 1, 0.9, 0, 36 + 40},
		{60, 1, 0.9, 0, 36 + 40}, // the flame is there first
		{36, 2, 0.9 * 0.8, 0.9 * 0.2, 36 + 80},
		{-36, 1, 0.9 * 0.2, 0.9 * 0.8, -36 + 40},
		{-90, 1, 0, 0.9, -90 + 40},
	} {
		op.Split = c.split * deg
		tail, shares := s.meet(&op, c.pace)
		require.InDeltaSlice(t, []float64{c.leading, c.trailing}, shares, 1e-12, "split %g", c.split)
		require.Len(t, tail, 1)
		require.InDelta(t, 0.1, tail[0].Share, 1e-15)
		require.InDelta(t, (c.corner-25)*deg, tail[0].Stage.Start, 1e-12, "split %g", c.split)
		require.InDelta(t, c.pace*120*deg, tail[0].Stage.Span, 1e-12)
	}
}

// Whatever the split, what burns adds up to the charge, and the burn neither falls
// nor leaps: a split 0.01 deg later moves CA50 by less than 0.02 deg.
func TestAnySplit(t *testing.T) {
	e := load(t, "rotary-set")
	e.Burn.Law = model.BurnFixed
	s, err := New(e, nil)
	require.NoError(t, err)
	require.NoError(t, s.prepare(&e.Point))
	x := s.guess()
	ch := s.charge(&x)
	half := func(split float64) float64 {
		op := e.Point
		op.Split = split
		ign, err := s.ignite(&op, &ch)
		require.NoError(t, err)
		require.True(t, ign.lit)
		require.NoError(t, s.two.burn.Check())
		return s.two.burn.Angle(0.5)
	}
	rapid.Check(t, func(r *rapid.T) {
		split := rapid.Float64Range(-80, 60).Draw(r, "split") * deg
		require.InDelta(t, half(split), half(split+0.01*deg), 0.02*deg)
	})
}

// With one plug and no tail the law is that of a piston: one stage.
func TestOnePlugNoTail(t *testing.T) {
	e := load(t, "rotary-set")
	e.Burn.Law, e.Burn.Plugs, e.Burn.Flank.Tail = model.BurnFixed, 1, 0
	c := cycle(t, e, nil)
	want, err := wiebe.FromAngles(-e.Point.Spark, e.Burn.Development, e.Burn.Rapid)
	require.NoError(t, err)
	require.InDelta(t, want.Angle(0.5), c.CA50, 1e-12)
	require.InDelta(t, e.Burn.Rapid, c.Rapid, 1e-12)
}

package friction

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The usual middle coefficients at 50 bar and 6 m/s, by hand in bar:
// 0.4 + 0.005·50 + 0.09·6 + 0.0009·36 = 1.2224.
func TestChenFlynn(t *testing.T) {
	f := ChenFlynn{Constant: 0.4e5, Peak: 0.005, Linear: 0.09e5, Square: 0.0009e5}
	require.InEpsilon(t, 1.2224e5, f.FMEP(50e5, 6), 1e-12)
	require.Equal(t, f.FMEP(50e5, 6), f.MEP(&Conditions{Peak: 50e5, Speed: 6}))
}

func TestChenFlynnCheck(t *testing.T) {
	require.NoError(t, ChenFlynn{}.Check())
	for want, f := range map[string]ChenFlynn{
		"friction: ChenFlynn.Constant = -1 Pa, want >= 0 and finite": {Constant: -1},
		"ChenFlynn.Peak = NaN, want":                                 {Peak: math.NaN()},
		"ChenFlynn.Linear = +Inf Pa/(m/s), want":                     {Linear: math.Inf(1)},
		"ChenFlynn.Square = -1 Pa/(m/s)², want":                      {Square: -1},
	} {
		require.ErrorIs(t, f.Check(), ErrRange)
		require.ErrorContains(t, f.Check(), want)
	}
}

// Both laws, behind the interface, leave the heap alone.
func TestAllocates(t *testing.T) {
	c := at(3000, 0.086)
	for _, l := range []Law{ChenFlynn{Constant: 1}, single(t)} {
		require.Zero(t, testing.AllocsPerRun(100, func() { l.MEP(&c) }))
	}
}

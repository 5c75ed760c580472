package knock

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// The lowest zeros of J'm in 16 digits, recomputed apart from this package in
// 25 digits; the first four decimals of six of them are in print (literature
// digest 1.7). Rounding leaves some 1e-15.
func TestZeros(t *testing.T) {
	row := accuracy.Find(t, "modes-zeros")
	modes, err := Modes(0.086, 950, 9)
	require.NoError(t, err)
	for i, w := range []struct {
		name string
		zero float64
	}{
		{"(1,0)", 1.841183781340659},
		{"(2,0)", 3.054236928227140},
		{"(0,1)", 3.831705970207512},
		{"(3,0)", 4.201188941210528},
		{"(4,0)", 5.317553126083994},
		{"(1,1)", 5.331442773525033},
		{"(5,0)", 6.415616375700240},
		{"(2,1)", 6.706133194158459},
		{"(0,2)", 7.015586669815619},
	} {
		require.Equal(t, w.name, modes[i].Name())
		row.Near(t, w.zero, modes[i].Zero, "%s", w.name)
	}
}

// Frequencies as the literature digest 1.7 gives them, which has the sound speed only
// as "about 950 m/s" (its 10.8 kHz takes 952).
func TestFrequencies(t *testing.T) {
	row := accuracy.Find(t, "modes-frequency")
	for _, c := range []struct {
		bore float64
		khz  []float64
	}{{0.086, []float64{6.5, 10.8, 13.5, 14.8}}, {0.060, []float64{9.3, 15.4}}} {
		modes, err := Modes(c.bore, 950, len(c.khz))
		require.NoError(t, err)
		require.Len(t, modes, len(c.khz))
		for i, khz := range c.khz {
			row.Relative(t, 1e3*khz, modes[i].Frequency, "%g m %s", c.bore, modes[i].Name())
		}
	}
	// By hand: 1.84118 · 950 / (π · 0.086 m) = 6474.0 Hz.
	modes, err := Modes(0.086, 950, 1)
	require.NoError(t, err)
	require.InDelta(t, 6474.0, modes[0].Frequency, 0.1)
}

// The integral J'm(x) = ∫ sin τ sin(mτ − x sin τ) dτ / π over 0 to π knows
// nothing of the Bessel functions of the standard library; the trapezoids
// converge faster than any power, the integrand being smooth and periodic.
// Each zero must stand where it vanishes (Newton's step), and the list must ascend
// without a mode named twice.
func TestZerosByIntegral(t *testing.T) {
	row := accuracy.Find(t, "modes-integral")
	modes, err := Modes(1, math.Pi, 300)
	require.NoError(t, err)
	seen := map[string]bool{}
	for i, m := range modes {
		const n = 400
		slope, bend := 0., 0.
		for k := range n {
			tau := 2 * math.Pi * float64(k) / n
			s, c := math.Sincos(float64(m.Circumferential)*tau - m.Zero*math.Sin(tau))
			slope += math.Sin(tau) * s / n
			bend -= math.Sin(tau) * math.Sin(tau) * c / n
		}
		row.Near(t, 0, slope/bend, "%s", m.Name())
		require.False(t, seen[m.Name()], m.Name())
		seen[m.Name()] = true
		if i > 0 {
			require.Greater(t, m.Zero, modes[i-1].Zero)
		}
		require.InEpsilon(t, m.Zero, m.Frequency, 1e-15) // c/(πB) is 1 here
	}
	// No gaps: below (m,n) stand all (m,k) with k < n, and a short list is the
	// head of a long one.
	for _, m := range modes {
		if m.Radial > 1 || m.Radial == 1 && m.Circumferential > 0 {
			below := Mode{Circumferential: m.Circumferential, Radial: m.Radial - 1}
			require.True(t, seen[below.Name()], below.Name())
		}
	}
	for _, n := range []int{1, 2, 17, 100} {
		head, err := Modes(1, math.Pi, n)
		require.NoError(t, err)
		require.Equal(t, modes[:n], head)
	}
}

func TestModesErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		bore, sound float64
		count       int
		want        string
	}{
		{0, 950, 1, "bore = 0 m, want > 0"},
		{nan, 950, 1, "bore = NaN m, want > 0"},
		{inf, 950, 1, "bore = +Inf m, want > 0"},
		{0.086, -1, 1, "sound = -1 m/s, want > 0"},
		{0.086, nan, 1, "sound = NaN m/s, want > 0"},
		{0.086, 950, 0, "count = 0, want 1 to 1000"},
		{0.086, 950, 1001, "count = 1001, want 1 to 1000"},
	} {
		_, err := Modes(c.bore, c.sound, c.count)
		require.ErrorIs(t, err, ErrRange)
		require.ErrorContains(t, err, c.want)
	}
}

// Air at 20 °C: 343.2 m/s (any handbook); 0.1 %. Burned gas at 2500 K: about
// 950 m/s (literature digest 1.7), with γ 1.25 and 290 J/kg/K; 1 %.
func TestSoundSpeed(t *testing.T) {
	require.InEpsilon(t, 343.2, SoundSpeed(1.4, 287.05, 293.15), 1e-3)
	require.InEpsilon(t, 950, SoundSpeed(1.25, 290, 2500), 1e-2)
}

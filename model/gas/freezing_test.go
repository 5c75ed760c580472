package gas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Far above the freezing temperature it is Burned, far below the frozen mixture
// of (freezing temperature, p). The composition temperature is off by
// 40·exp(−|T−1700|/40): 6e-10 K at 2700 and 700 K; h moves by up to 500 J/kg a
// kelvin of it.
func TestFreezing(t *testing.T) {
	for _, name := range []string{"gasoline", "hydrogen"} {
		b := mustBurned(t, name, 1.02, DefaultAir)
		g := mustFreezing(t, b)
		for _, p := range []float64{0.3e5, 4e5, 90e5} {
			var d, want Props
			g.Props(2700, p, &d)
			b.Clone().Props(2700, p, &want)
			near(t, want.H, d.H, 1e-5, "hot h")
			near(t, want.S, d.S, 1e-8, "hot s")
			near(t, want.V, d.V, 1e-12*want.V, "hot v")
			near(t, want.Cp, d.Cp, 1e-6, "hot Cp")
			near(t, want.HP, d.HP, 1e-10*want.V, "hot HP")

			still, err := b.Freeze(DefaultFreezeK, p)
			require.NoError(t, err)
			for _, at := range []float64{300, 699} {
				g.Props(at, p, &d)
				still.Props(at, p, &want)
				near(t, want.H, d.H, 1e-6, "h at %g K", at)
				near(t, want.S, d.S, 1e-9, "s at %g K", at)
				near(t, want.V, d.V, 1e-12*want.V, "v at %g K", at)
				near(t, want.Cp, d.Cp, 1e-7, "cp at %g K", at)
			}
		}
	}
}

// All derivatives of h, pv/T and s through the freezing, against differences.
// Tolerance as TestDerivatives.
func TestFreezingDerivatives(t *testing.T) {
	g := mustFreezing(t, mustBurned(t, "gasoline", 0.99, DefaultAir))
	for _, at := range []float64{1500, 1690, 1700, 1750, 1900} {
		h, r, s, ok := g.corners(at, 3e5)
		require.True(t, ok)
		pick := func(which int, t, p float64) float64 {
			a, b, c, _ := g.corners(t, p)
			return [3]float64{a.f, b.f, c.f}[which]
		}
		for k, c := range []corner{h, r, s} {
			byT := slope5(func(z float64) float64 { return pick(k, at*math.Exp(z), 3e5) })
			byP := slope5(func(z float64) float64 { return pick(k, at, 3e5*math.Exp(z)) })
			near(t, byT, c.t*at, 1e-7*math.Abs(c.f), "%d by T at %g K", k, at)
			near(t, byP, c.p, 1e-7*math.Abs(c.f), "%d by ln p at %g K", k, at)
		}
	}
}

func TestFreezingErrors(t *testing.T) {
	b := mustBurned(t, "gasoline", 1, DefaultAir)
	for _, k := range []float64{999, 3001, math.NaN()} {
		_, err := NewFreezing(b, k)
		require.ErrorContains(t, err, "freezing temperature")
		_, err = NewTable(b, k)
		require.ErrorContains(t, err, "freezing temperature")
	}
}

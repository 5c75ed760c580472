package wiebe

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

const deg = math.Pi / 180

// Shares of the span at 10, 50 and 90 % recomputed from the formula by a
// separate script (literature digest 1.3), three digits given there.
func TestBurnAngleTable(t *testing.T) {
	for _, c := range []struct{ a, m, ca10, ca50, ca90 float64 }{
		{6.908, 1, .123, .317, .577}, {6.908, 1.5, .188, .399, .644}, {6.908, 2, .248, .465, .693},
		{6.908, 2.5, .303, .518, .731}, {6.908, 3, .351, .563, .760},
		{5, 2, .276, .518, .772}, {5, 3, .381, .610, .824},
	} {
		b := Single(Stage{Start: 0, Span: 1, A: c.a, M: c.m})
		require.InDelta(t, c.ca10, b.Angle(.1), 6e-4)
		require.InDelta(t, c.ca50, b.Angle(.5), 6e-4)
		require.InDelta(t, c.ca90, b.Angle(.9), 6e-4)
	}
}

func TestFraction(t *testing.T) {
	for _, c := range []struct {
		name, source     string
		theta, want, tol float64
	}{
		{"before the start", "by definition", -0.1, 0, 0},
		{"start", "by definition", 0, 0, 0},
		{"end of span", "1−e⁻⁵ by hand; 4 ulp", 0.6, 0.99326205300091453, 4.5e-16},
		{"half of span", "1−exp(−5/8) by hand; 4 ulp", 0.3, 0.46473857148100974, 4.5e-16},
		{"far beyond", "tends to 1", 60, 1, 0},
	} {
		got := Stage{Start: 0, Span: 0.6, A: 5, M: 2}.Fraction(c.theta)
		require.InDelta(t, c.want, got, c.tol, "%s (%s)", c.name, c.source)
	}
}

// Identities of every burn: the rate integrates to the fraction, Angle inverts
// Fraction, x rises from 0 to 1, and two burn angles give back the stage.
func TestIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Stage {
			return Stage{
				Start: rapid.Float64Range(-1, 1).Draw(t, name+" start"),
				Span:  rapid.Float64Range(0.1, 2).Draw(t, name+" span"),
				A:     rapid.Float64Range(2, 8).Draw(t, name+" a"),
				M:     rapid.Float64Range(1, 4).Draw(t, name+" m"), // below 1 the rate is too rough for the quadrature
			}
		}
		first := draw("first")
		b := Single(first)
		if rapid.Bool().Draw(t, "double") {
			b = Double(first, draw("second"), rapid.Float64Range(0.05, 0.95).Draw(t, "share"))
		}
		require.NoError(t, b.Check())
		f := rapid.Float64Range(0.001, 0.999).Draw(t, "fraction")
		x, _ := b.At(b.Angle(f))
		require.InDelta(t, f, x, 1e-10)

		// 200-point Gauss-Legendre on each side of the kinks.
		theta := b.Angle(f)
		area := 0.
		for _, p := range b {
			if theta > p.Stage.Start {
				area += p.Share * quad.Fixed(func(th float64) float64 { _, r := p.Stage.At(th); return r },
					p.Stage.Start, theta, 200, nil, 0)
			}
		}
		require.InDelta(t, x, area, 1e-7)

		again, err := FromAngles(first.Start, first.Angle(.1)-first.Start, first.Angle(.9)-first.Angle(.1))
		require.NoError(t, err)
		require.InDelta(t, first.M, again.M, 1e-9)
		require.InDelta(t, first.Fraction(theta), again.Fraction(theta), 1e-9)
	})
}

func TestImpossible(t *testing.T) {
	good := Stage{Start: 0, Span: 1, A: 5, M: 2}
	require.NoError(t, Single(good).Check())
	require.NoError(t, Burn{}.Check())
	for _, s := range []Stage{{}, {0, -1, 5, 2}, {0, 1, 0, 2}, {0, 1, 5, -1}, {math.NaN(), 1, 5, 2}, {0, math.NaN(), 5, 2}} {
		require.ErrorIs(t, s.Check(), ErrShape, "%+v", s)
		require.ErrorIs(t, Single(s).Check(), ErrShape, "%+v", s)
	}
	require.ErrorIs(t, Double(good, good, 1.5).Check(), ErrShape)
	require.ErrorIs(t, Burn{{0.4, good}, {0.4, good}}.Check(), ErrShape)
	_, err := FromAngles(0, math.NaN(), 1)
	require.ErrorIs(t, err, ErrShape)
	_, err = FromAngles(0, 1, 0)
	require.ErrorIs(t, err, ErrShape)
	require.True(t, math.IsNaN(Burn{}.Angle(.5)))
	require.True(t, math.IsNaN(Single(good).Angle(1)))
}

// Degrees grow as the cube root of speed; half the flame speed gives 2^(2/3)
// times the angle (Hires et al. 1978, by hand).
func TestScale(t *testing.T) {
	c := Climate{Speed: 200, Flame: 0.8, Viscosity: 4e-6}
	b := Base{Climate: c, Growth: 15.5 * deg, Rapid: 25 * deg}
	still := func(v float64) func(float64) float64 { return func(float64) float64 { return v } }
	require.InDelta(t, 15.5, b.Development(c, -0.4, 1, still(0.8))/deg, 1e-12, "the base gives itself back")
	require.InDelta(t, 25, b.RapidBurn(c)/deg, 1e-12)
	fast, weak := c, c
	fast.Speed *= 8
	weak.Flame /= 2
	require.InDelta(t, 31, b.Development(fast, -0.4, 1, still(0.8))/deg, 1e-12)
	require.InDelta(t, 25*math.Pow(2, 2./3), b.RapidBurn(weak)/deg, 1e-12)
	require.True(t, math.IsNaN(b.Development(fast, -0.4, -0.4+29.5*deg, still(0.8))), "not reached")
}

// A flame speed θ+1 along the way: the growth is the integral of (θ+1)^(1/4),
// 4/5·((θ+1)^(5/4) − (θ₀+1)^(5/4)) by hand. The steps are 1 deg: 1e-4 of it.
func TestGrowth(t *testing.T) {
	flame := func(theta float64) float64 { return theta + 1 }
	from, to := -0.6, -0.1
	want := 0.8 * (math.Pow(to+1, 1.25) - math.Pow(from+1, 1.25))
	require.InEpsilon(t, want, Grown(from, to, 1, flame), 1e-4)
	c := Climate{Speed: 200, Flame: 1, Viscosity: 4e-6}
	b := Base{Climate: c, Growth: want}
	require.InDelta(t, to-from, b.Development(c, from, 1, flame), 1e-4)
}

func ExampleFromAngles() {
	s, _ := FromAngles(-20*deg, 15*deg, 25*deg)
	fmt.Printf("m %.2f, CA50 %.1f deg\n", s.M, s.Angle(.5)/deg)
	// Output: m 2.14, CA50 7.3 deg
}

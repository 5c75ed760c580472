package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// Along an isentrope the shape is the reduced form of Saitzkoff et al. 1996 (from
// memory), I/Im = (p/pm)^(−1/2+(3/4)(γ−1)/γ)·exp[−(E₁/2kTm)((p/pm)^(−(γ−1)/γ) − 1)].
// The same law written twice: rounding.
func TestSahaOnIsentrope(t *testing.T) {
	row := accuracy.Find(t, "saha-isentrope")
	const gamma, pm, tm = 1.25, 40 * bar, 2700.
	kappa := (gamma - 1) / gamma
	for _, ratio := range []float64{0.1, 0.3, 0.7, 1, 1.5} {
		want := math.Pow(ratio, -0.5+0.75*kappa) * math.Exp(-9.26*1.602176634e-19/(2*1.380649e-23*tm)*(math.Pow(ratio, -kappa)-1))
		got := saha(ratio*pm, tm*math.Pow(ratio, kappa)) / saha(pm, tm)
		row.Relative(t, want, got, "p/pm %g", ratio)
	}
	require.Equal(t, 1., saha(refPressure, refTemp))
}

// Saha's equation itself, with NO as the only donor: the electron share is the
// root of x² = φ·S/n as long as little is ionised. The shape is that of
// U·e²·n·x/(n·σ·mₑ·√(8kT/πmₑ)) ∝ x/√T.
func TestSahaEquation(t *testing.T) {
	row := accuracy.Find(t, "saha-equation")
	const k, me, h = 1.380649e-23, 9.1093837e-31, 6.62607015e-34
	current := func(p, temp float64) float64 {
		s := 2 * math.Pow(2*math.Pi*me*k*temp/(h*h), 1.5) * math.Exp(-9.26*1.602176634e-19/(k*temp))
		n := p / (k * temp)
		return math.Sqrt(0.01*s/n) / math.Sqrt(temp)
	}
	for _, s := range [][2]float64{{10 * bar, 2200}, {45 * bar, 2600}, {70 * bar, 3200}} {
		row.Relative(t, current(s[0], s[1])/current(refPressure, refTemp), saha(s[0], s[1]), "%g Pa, %g K", s[0], s[1])
	}
}

package wall

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// typical is a firing state in an 86 mm bore.
func typical() Conditions {
	return Conditions{Bore: 0.086, Speed: 5.7, Volume: 7e-5, Pressure: 40e5, Temp: 2300, TempWall: 450, Density: 6,
		Firing: true, Motored: 17e5, Swept: 5e-4, Reference: 350 / (0.6e5 * 5e-4)}
}

// The formula in bar is in print as well, with 129.8 for 3.26·100^0.8
// (literature digest 1.1); both agree to the digits printed. Motored, so the
// gas velocity is C1·Sp by hand.
func TestWoschniInBar(t *testing.T) {
	c := typical()
	c.Firing = false
	want := 129.8 * math.Pow(0.086, -0.2) * math.Pow(40, 0.8) * math.Pow(2300, -0.55) * math.Pow(2.28*5.7, 0.8)
	require.InEpsilon(t, want, Woschni{6.18, 2.28, 3.24e-3}.Coefficient(&c), 2e-4)
}

// While firing the velocity gains 3.24e-3·Vd·Tr/(pr·Vr)·(p − pm), by hand.
func TestWoschniFiring(t *testing.T) {
	c := typical()
	law := Woschni{6.18, 2.28, 3.24e-3}
	hot := law.Coefficient(&c)
	c.Firing = false
	gain := 1 + 3.24e-3*5e-4*350/(0.6e5*5e-4)*23e5/(2.28*5.7)
	require.InEpsilon(t, math.Pow(gain, 0.8), hot/law.Coefficient(&c), 1e-12)
}

// With a valve open the constant is 6.18 instead of 2.28.
func TestWoschniExchange(t *testing.T) {
	c := typical()
	c.Firing = false
	law := Woschni{6.18, 2.28, 3.24e-3}
	shut := law.Coefficient(&c)
	c.Exchange = true
	require.InEpsilon(t, math.Pow(6.18/2.28, 0.8), law.Coefficient(&c)/shut, 1e-12)
}

// Hohenberg by hand, the powers taken one by one.
func TestHohenberg(t *testing.T) {
	c := typical()
	want := 130 * math.Pow(7e-5, -0.06) * math.Pow(40, 0.8) * math.Pow(2300, -0.4) * math.Pow(7.1, 0.8)
	require.InEpsilon(t, want, Hohenberg{130, 1.4}.Coefficient(&c), 1e-12)
}

// Annand: the radiant part times (T − Tw) is c (T⁴ − Tw⁴).
func TestAnnandRadiation(t *testing.T) {
	c := typical()
	law := Annand{0.5, 4.3e-9}
	hot := law.Coefficient(&c)
	c.Firing = false
	require.InEpsilon(t, 4.3e-9*(math.Pow(2300, 4)-math.Pow(450, 4)), (hot-law.Coefficient(&c))*(2300-450), 1e-9)
}

// Eichelberg by hand: 7.67 · 8^(1/3) · (4 · 2500)^(1/2) = 7.67 · 2 · 100.
func TestEichelberg(t *testing.T) {
	c := Conditions{Speed: 8, Pressure: 4e6, Temp: 2500}
	require.InEpsilon(t, 1534, Eichelberg{7.67}.Coefficient(&c), 1e-12)
}

// The formula is quoted with 2.1 for kcal/m²/h/K and kp/cm² as well (from
// memory), which is 7.80 for W/m²/K and MPa: 1.7 % apart, as the constants are
// rounded. With p in bar it would be 2.47.
func TestEichelbergInCalories(t *testing.T) {
	c := typical()
	want := 2.1 * 4186.8 / 3600 * math.Cbrt(5.7) * math.Sqrt(40e5/98066.5*2300)
	h := laws["eichelberg"].Coefficient(&c)
	require.InEpsilon(t, want, h, 0.02)
}

// Dry air at 300 K has 1.846e-5 Pa·s (any handbook of air properties);
// the power law is good to 5 %.
func TestViscosity(t *testing.T) { require.InEpsilon(t, 1.846e-5, Viscosity(300), 0.05) }

// Near the peak of a small engine all laws give coefficients of one order, 500
// to 6000 W/m²/K, and within a factor of 2 of Woschni's (common practice, no
// source): a wrong unit of pressure is a factor of 3 at the least.
func TestOrderOfMagnitude(t *testing.T) {
	c := typical()
	woschni := laws["woschni"].Coefficient(&c)
	for _, n := range Names() {
		law, err := ByName(n)
		require.NoError(t, err)
		h := law.Coefficient(&c)
		require.True(t, h > 500 && h < 6000, "%s: %g", n, h)
		require.True(t, h > woschni/2 && h < woschni*2, "%s: %g, woschni: %g", n, h, woschni)
	}
}

func TestByName(t *testing.T) {
	_, err := ByName("none")
	require.ErrorIs(t, err, ErrUnknown)
	require.ErrorContains(t, err, strings.Join(Names(), ", "))
}

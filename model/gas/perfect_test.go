package gas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand from the formulas; tolerances are rounding.
func TestPerfect(t *testing.T) {
	var a, b Props
	ColdAir.Props(300, 1e5, &a)
	near(t, 717.5*300, a.U, 1e-9, "u")
	near(t, 1004.5*300, a.H, 1e-9, "h")
	near(t, 0.861, a.V, 1e-15, "v")
	near(t, 1.4, a.Gamma(300, 1e5), 1e-14, "gamma")
	near(t, 717.5, a.Cv(300, 1e5), 1e-10, "cv")

	// p·v^γ constant: r = 8 gives T2 = 300·8^0.4, same s.
	t2 := 300 * math.Pow(8, 0.4)
	ColdAir.Props(t2, 1e5*8*t2/300, &b)
	near(t, a.S, b.S, 1e-11, "isentropic s")
	near(t, a.V/8, b.V, 1e-15, "isentropic v")

	hot := ColdAir
	hot.U0 = -1e6 // burning releases 1 MJ/kg: T rises by q/cv
	t3, p3, err := FlameUV(ColdAir, hot, 300, 1e5)
	require.NoError(t, err)
	near(t, 300+1e6/717.5, t3, 1e-8, "T after heat")
	near(t, 1e5*t3/300, p3, 1e-6, "p after heat")
}

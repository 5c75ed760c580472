package gas

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// The error against Freezing over 300-3300 K and 0.2-200 bar. Wanted: 1e-6 in
// v and 20 J/kg in u. The limits here are those of Table's doc comment:
// measured (rich hydrogen is worst) and rounded up.
func TestTableError(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	for _, c := range []struct {
		fuel   string
		lambda float64
	}{{"gasoline", 0.6}, {"gasoline", 0.9}, {"gasoline", 1}, {"gasoline", 1.0001}, {"gasoline", 1.5}, {"hydrogen", 0.6}, {"hydrogen", 0.7}, {"hydrogen", 1}, {"methanol", 1}} {
		b := mustBurned(t, c.fuel, c.lambda, DefaultAir)
		table, exact := mustTable(t, b), mustFreezing(t, b)
		var v, u, s, cp, hp, vt, vp float64
		for range 10000 {
			at, p := 300+3000*rnd.Float64(), 0.2e5*math.Pow(1000, rnd.Float64())
			var a, e Props
			table.Props(at, p, &a)
			exact.Props(at, p, &e)
			v = max(v, math.Abs(a.V/e.V-1))
			u = max(u, math.Abs(a.U-e.U))
			s = max(s, math.Abs(a.S-e.S))
			cp = max(cp, math.Abs(a.Cp-e.Cp))
			hp = max(hp, math.Abs(a.HP-e.HP)*p)
			vt = max(vt, math.Abs(a.VT-e.VT))
			vp = max(vp, math.Abs(a.VP-e.VP))
		}
		t.Logf("%s lambda %g: v %.1e u %.2g J/kg s %.1e J/kg/K cp %.2g p·HP %.2g J/kg VT %.1e VP %.1e", c.fuel, c.lambda, v, u, s, cp, hp, vt, vp)
		near(t, 0, v, 1.2e-7, "%v v", c)
		near(t, 0, u, 3.2, "%v u", c)
		near(t, 0, s, 1.1e-3, "%v s", c)
		near(t, 0, cp, 0.08, "%v cp", c)
		near(t, 0, hp, 60, "%v p·HP", c)
		near(t, 0, vt, 9e-6, "%v VT", c)
		near(t, 0, vp, 2e-6, "%v VP", c)
	}
}

// Values are continuous across cells and
// beyond the grid too. A jump could only be rounding: 1e-12 of the scale.
func TestTableContinuous(t *testing.T) {
	g := mustTable(t, mustBurned(t, "gasoline", 0.97, DefaultAir))
	same := func(t1, p1, t2, p2 float64) {
		t.Helper()
		var a, b Props
		g.Props(t1, p1, &a)
		g.Props(t2, p2, &b)
		near(t, a.H, b.H, 1e-5, "h across %g K %g Pa", t1, p1)
		near(t, a.V, b.V, 1e-12*a.V, "v across %g K %g Pa", t1, p1)
		near(t, a.S, b.S, 1e-8, "s across %g K %g Pa", t1, p1)
	}
	const eps = 1e-13
	for _, p := range []float64{0.01e5, 0.05e5, 3.3e5, 77e5, 400e5, 600e5} {
		for i := 1; i < tableRows; i++ {
			at := tableLowK + float64(i)*tableStepK
			same(at*(1-eps), p, at*(1+eps), p)
		}
	}
	for _, at := range []float64{150, 700, 1400, 1900, 3300, 4000} {
		for j := range tablePoints {
			p := math.Exp(g.lnP0 + float64(j)*g.stepP)
			same(at, p*(1-eps), at, p*(1+eps))
		}
	}
}

// Outside the grid the answers stay sane, and their derivatives their own.
// Tolerance as TestDerivatives.
func TestTableOutside(t *testing.T) {
	g := mustTable(t, mustBurned(t, "gasoline", 1, DefaultAir))
	for _, at := range [][2]float64{{5000, 1e5}, {4000, 500e5}, {2500, 900e5}, {2500, 0.01e5}, {120, 1e5}, {800, 0.01e5}, {4500, 0.02e5}} {
		var d Props
		g.Props(at[0], at[1], &d)
		require.Truef(t, d.Cp > 900 && d.V > 0 && d.VT > 0.9 && d.VP < -0.8 && d.Gamma(at[0], at[1]) > 1, "%v: %+v", at, d)
		hT := slope5(func(z float64) float64 { var e Props; g.Props(at[0]*math.Exp(z), at[1], &e); return e.H })
		vP := slope5(func(z float64) float64 { var e Props; g.Props(at[0], at[1]*math.Exp(z), &e); return math.Log(e.V) })
		near(t, hT, d.Cp*at[0], 1e-7*hT, "%v Cp", at)
		near(t, vP, d.VP, 1e-7, "%v VP", at)
	}
}

// A closed loop in (T, ln p) returns u and v: ∮ du = 0 when du comes from the
// returned partials. Simpson's rule on each side inside one cell: a side is a
// cubic in ln p or T times at most T, so 200 panels leave rounding, 1e-9 J/kg
// per J/kg.
func TestTableLoop(t *testing.T) {
	g := mustTable(t, mustBurned(t, "gasoline", 1, DefaultAir))
	for _, c := range [][4]float64{{2101, 2139, 2.2e6, 2.5e6}, {3031, 3059, 1e5, 1.05e5}, {1101, 1650, 4e5, 4.2e5}, {300, 990, 30e5, 31e5}} {
		side := func(t0, p0, t1, p1 float64) (sum float64) {
			const n = 200
			for i := range n + 1 {
				w := 2. + 2*float64(i%2)
				if i == 0 || i == n {
					w = 1
				}
				z := float64(i) / n
				at, p := t0+z*(t1-t0), p0+z*(p1-p0)
				var d Props
				g.Props(at, p, &d)
				sum += w / (3 * n) * (d.UT(at, p)*(t1-t0) + d.UP()*(p1-p0))
			}
			return sum
		}
		up := side(c[0], c[2], c[1], c[2])
		sum := up + side(c[1], c[2], c[1], c[3]) + side(c[1], c[3], c[0], c[3]) + side(c[0], c[3], c[0], c[2])
		near(t, 0, sum, 1e-9*up, "loop %v", c)
	}
}

// The same table comes out whatever b was asked before, and many may read it.
func TestTableShared(t *testing.T) {
	b := mustBurned(t, "propane", 1.1, DefaultAir)
	first := mustTable(t, b)
	_, err := b.Composition(2777, 3e5)
	require.NoError(t, err)
	require.Equal(t, first, mustTable(t, b))
	var wg sync.WaitGroup
	for k := range 4 {
		wg.Go(func() {
			var d Props
			for i := range 1000 {
				first.Props(300+float64(3*i+k), 1e5, &d)
			}
		})
	}
	wg.Wait()
}

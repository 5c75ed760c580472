package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"phasebench/model/accuracy"
)

var _ Chamber = (*Trochoid)(nil)

// published is the geometry of literature digest section 2, swept 654.7 cm³;
// the ratio is our own.
func published() Rotor {
	return Rotor{Eccentricity: 15e-3, Radius: 105e-3, Width: 80e-3, Ratio: 9.4}
}

func rotary(t interface {
	require.TestingT
	Helper()
}, r Rotor) *Trochoid {
	t.Helper()
	c, err := NewTrochoid(r)
	require.NoError(t, err)
	return c
}

func TestSwept(t *testing.T) {
	r := published()
	c := rotary(t, r)
	// Yamamoto, Rotary Engine, as quoted: 654.7 cm³, to its last digit.
	accuracy.Find(t, "rotor-swept").Near(t, 654.7, c.Swept()*1e6, "swept")
	// Ratio between dead centres to rounding; they are 270 degrees apart.
	low, dLow := c.Volume(0)
	high, dHigh := c.Volume(1.5 * math.Pi)
	require.InEpsilon(t, r.Ratio, high/low, 1e-14)
	require.InDelta(t, 0, dLow, 1e-18)
	require.InDelta(t, 0, dHigh, 1e-18)
	require.InEpsilon(t, c.Swept()/(r.Ratio-1), c.Clearance(), 1e-14)
	st := c.Strokes()
	require.Equal(t, 6*math.Pi, st.Period(), "three turns")
	require.Equal(t, Strokes{-3 * math.Pi, -1.5 * math.Pi, 1.5 * math.Pi, 3 * math.Pi}, st)
}

// sight returns the distance from the middle of a rotor turned by rho to the
// housing at psi seen from the rotor, by Newton's method.
func sight(r *Rotor, rho, psi float64) float64 {
	e, R := r.Eccentricity, r.Radius
	sin, cos := math.Sincos(psi + rho)
	point := func(a float64) (x, y float64) { // relative to the middle
		return e*(math.Cos(3*a)-math.Cos(3*rho)) + R*math.Cos(a), e*(math.Sin(3*a)-math.Sin(3*rho)) + R*math.Sin(a)
	}
	a := psi + rho
	for range 50 {
		x, y := point(a)
		off := cos*y - sin*x
		slope := cos*(3*e*math.Cos(3*a)+R*math.Cos(a)) + sin*(3*e*math.Sin(3*a)+R*math.Sin(a))
		a -= off / slope
		if math.Abs(off) < 1e-15*R {
			break
		}
	}
	x, y := point(a)
	if math.Abs(cos*y-sin*x) > 1e-13*R {
		return math.NaN()
	}
	return cos*x + sin*y
}

// nearest returns the least sight over all places of the rotor: how far a flank
// may reach at psi. By a scan and golden sections.
func nearest(r *Rotor, psi float64) float64 {
	const scan = 90
	best, at := math.Inf(1), 0.
	for i := range scan { // the housing looks the same after half a turn
		rho := math.Pi * float64(i) / scan
		if d := sight(r, rho, psi); d < best {
			best, at = d, rho
		}
	}
	low, high := at-math.Pi/scan, at+math.Pi/scan
	const g = 0.6180339887498949
	for range 45 {
		a, b := high-g*(high-low), low+g*(high-low)
		if sight(r, a, psi) < sight(r, b, psi) {
			high = b
		} else {
			low = a
		}
	}
	return sight(r, (low+high)/2, psi)
}

// The volume against width times the area between housing and flank, seen from
// the middle of the rotor: both found from the formula of the housing alone, the
// flank as what every place of the housing leaves of the rotor.
func TestVolumeIsBetweenFlankAndHousing(t *testing.T) {
	row := accuracy.Find(t, "rotor-volume")
	for _, k := range []float64{4, 5.5, 7, 9} {
		r := Rotor{Eccentricity: 0.015, Radius: 0.015 * k, Width: 0.08, Ratio: 8}
		c := rotary(t, r)
		const third = 2 * math.Pi / 3
		flank := quad.Fixed(func(psi float64) float64 { d := nearest(&r, psi); return d * d / 2 }, 0, third, 64, quad.Legendre{}, 0)
		for _, deg := range []float64{0, 40, 135, 200, 270, 400, -75} {
			theta := deg * math.Pi / 180
			rho, _ := c.Apexes(theta)
			whole := quad.Fixed(func(psi float64) float64 { d := sight(&r, rho, psi); return d * d / 2 }, 0, third, 100, quad.Legendre{}, 0)
			v, _ := c.Volume(theta)
			row.Relative(t, v, r.Width*(whole-flank)+c.Recess(), "R/e %g at %g deg", k, deg)
			// Side plates: twice that area, whatever the recess.
			require.InEpsilon(t, 2*(whole-flank), c.Walls(theta).Head, 1e-8, "R/e %g at %g deg", k, deg)
		}
	}
}

// Without a recess the volume at dead centre is all between flank and waist, and
// no higher ratio is to be had.
func TestMostRatio(t *testing.T) {
	r := published()
	r.Ratio = r.MostRatio()
	c := rotary(t, r)
	require.InDelta(t, 0, c.Recess(), 1e-15*c.Swept())
	require.InEpsilon(t, r.waist(), c.Clearance(), 1e-13)
	require.InDelta(t, 18.3, r.Ratio, 0.05) // by hand, from the formula of waist
	r.Ratio *= 1.001
	_, err := NewTrochoid(r)
	require.ErrorIs(t, err, ErrGeometry)
	require.ErrorContains(t, err, "at most that without a recess, 18.")
}

// Identities that hold for every rotor: dV/dθ against central differences, V and
// walls even about dead centre and periodic after 540 degrees, V between its
// limits; the three chambers together are always as large, as are their walls.
func TestAnyRotor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := rapid.Float64Range(1e-3, 0.05).Draw(t, "e")
		r := Rotor{
			Eccentricity: e, Radius: e * rapid.Float64Range(4, 12).Draw(t, "R/e"),
			Width: rapid.Float64Range(0.01, 0.3).Draw(t, "width"), Ratio: 2,
		}
		r.Ratio = 1 + (r.MostRatio()-1)*rapid.Float64Range(0.1, 1).Draw(t, "ratio")
		c := rotary(t, r)
		theta := rapid.Float64Range(-3*math.Pi, 3*math.Pi).Draw(t, "theta")
		v, dv := c.Volume(theta)
		require.True(t, v >= c.Clearance() && v <= (c.Clearance()+c.Swept())*(1+1e-15))
		const h = 1e-4 // central difference: h²/6·V''' is below 1e-9 of the swept volume
		up, _ := c.Volume(theta + h)
		down, _ := c.Volume(theta - h)
		require.InDelta(t, (up-down)/(2*h), dv, 1e-9*c.Swept())

		w := c.Walls(theta)
		for _, other := range []float64{-theta, theta + 3*math.Pi, theta - 6*math.Pi} {
			same, _ := c.Volume(other)
			require.InEpsilon(t, v, same, 1e-12)
			o := c.Walls(other)
			require.InEpsilon(t, w.Head, o.Head, 1e-11) // the recess is taken off
			require.Equal(t, w.Piston, o.Piston)
			require.InEpsilon(t, w.Liner, o.Liner, 1e-12)
		}
		ahead, behind := c.Neighbours(theta)
		sum, liner := v, w.Liner
		for _, n := range []float64{ahead, behind} {
			require.True(t, n >= -3*math.Pi && n < 3*math.Pi)
			nv, _ := c.Volume(n)
			sum += nv
			liner += c.Walls(n).Liner
		}
		require.InEpsilon(t, 3*c.Clearance()+1.5*c.Swept(), sum, 1e-12)
		require.InEpsilon(t, c.apex*r.Width, liner, 1e-12)
	})
}

func TestImpossibleRotor(t *testing.T) {
	nan := math.NaN()
	for name, change := range map[string]func(*Rotor){
		"no eccentricity":       func(r *Rotor) { r.Eccentricity = 0 },
		"negative eccentricity": func(r *Rotor) { r.Eccentricity = -1 },
		"NaN eccentricity":      func(r *Rotor) { r.Eccentricity = nan },
		"no envelope":           func(r *Rotor) { r.Radius = 2.9 * r.Eccentricity },
		"radius below 4 e":      func(r *Rotor) { r.Radius = 3.99 * r.Eccentricity },
		"NaN radius":            func(r *Rotor) { r.Radius = nan },
		"infinite radius":       func(r *Rotor) { r.Radius = math.Inf(1) },
		"negative width":        func(r *Rotor) { r.Width = -1 },
		"NaN width":             func(r *Rotor) { r.Width = nan },
		"ratio one":             func(r *Rotor) { r.Ratio = 1 },
		"NaN ratio":             func(r *Rotor) { r.Ratio = nan },
		"ratio beyond a flank":  func(r *Rotor) { r.Ratio = 25 },
	} {
		r := published()
		change(&r)
		_, err := NewTrochoid(r)
		require.ErrorIs(t, err, ErrGeometry, name)
	}
	r := published()
	r.Radius = 50e-3
	_, err := NewTrochoid(r)
	require.ErrorContains(t, err, "chamber: Rotor.Radius = 0.05, want >= 4 Eccentricity = 0.06 m")
}

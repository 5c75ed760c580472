package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var _ Chamber = (*SliderCrank)(nil)

// square is the geometry of literature digest section 2: 86 x 86 mm, rod 143 mm.
func square() Crank {
	return Crank{Bore: 0.086, Stroke: 0.086, Rod: 0.143, Ratio: 10}
}

func crank(t interface {
	require.TestingT
	Helper()
}, c Crank) *SliderCrank {
	t.Helper()
	s, err := NewSliderCrank(c)
	require.NoError(t, err)
	return s
}

func TestDeadCentres(t *testing.T) {
	s := crank(t, square())
	// Swept volume pi/4 B² S by hand: 499.5563 cm³; tolerance 4 ulp.
	require.InEpsilon(t, math.Pi/4*0.086*0.086*0.086, s.Swept(), 1e-15)
	top, _ := s.Volume(0)
	bottom, _ := s.Volume(math.Pi)
	require.InEpsilon(t, 10, bottom/top, 1e-13, "compression ratio")
	require.InEpsilon(t, 10, Ratio(s.Swept(), s.Clearance()), 1e-14)
	// Heywood 1988 eq. 2.9: mean piston speed 2 L N, here at 3000 rpm.
	require.InEpsilon(t, 2*0.086*50, s.MeanSpeed(2*math.Pi*50), 1e-14)
	require.InDelta(t, 4*math.Pi, s.Strokes().Period(), 0)
}

// Heywood 1988 eq. 2.4-2.6, the centred slider-crank written another way
// (R = l/a); the same formula to rounding.
func TestCentredFormula(t *testing.T) {
	s := crank(t, square())
	R := 0.143 / 0.043
	for deg := -360.0; deg <= 360; deg += 7 {
		th := deg * math.Pi / 180
		want := s.Clearance() * (1 + 0.5*(10-1)*(R+1-math.Cos(th)-math.Sqrt(R*R-math.Sin(th)*math.Sin(th))))
		v, _ := s.Volume(th)
		require.InEpsilon(t, want, v, 1e-13, "at %g deg", deg)
	}
}

// Walls at both dead centres by hand: two discs and a cylinder.
func TestWalls(t *testing.T) {
	c := square()
	c.PistonArea = 1.2
	s := crank(t, c)
	disc := math.Pi * 0.086 * 0.086 / 4
	w := s.Walls(math.Pi)
	require.InEpsilon(t, disc, w.Head, 1e-14)
	require.InEpsilon(t, 1.2*disc, w.Piston, 1e-14)
	require.InEpsilon(t, math.Pi*0.086*(0.086+0.086/9), w.Liner, 1e-13)
	require.InEpsilon(t, math.Pi*0.086*0.086/9, s.Walls(0).Liner, 1e-13)
}

// A rod of 10 km is a pure cosine to the order r/(4 l).
func TestLongRodTendsToCosine(t *testing.T) {
	c := square()
	c.Rod = math.Inf(1)
	pure := crank(t, c)
	c.Rod = 1e4
	long := crank(t, c)
	for th := -6.0; th < 6; th += 0.1 {
		a, da := pure.Volume(th)
		b, db := long.Volume(th)
		require.InEpsilon(t, a, b, 2e-5)
		require.InDelta(t, da, db, 2e-5*c.Bore*c.Bore*c.Stroke)
	}
}

// Identities that hold for every geometry: dV/dθ against central differences,
// zero slope at the dead centres that Strokes names, V between its limits.
func TestAnyGeometry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stroke := rapid.Float64Range(0.02, 0.3).Draw(t, "stroke")
		offset := rapid.Float64Range(-0.2, 0.2).Draw(t, "offset/stroke") * stroke
		c := Crank{
			Bore: rapid.Float64Range(0.02, 0.3).Draw(t, "bore"), Stroke: stroke, Offset: offset,
			Rod:   (stroke/2 + math.Abs(offset)) * rapid.Float64Range(1.05, 8).Draw(t, "rod"),
			Ratio: rapid.Float64Range(1.5, 25).Draw(t, "ratio"),
		}
		s := crank(t, c)
		st := s.Strokes()
		top, dTop := s.Volume(0)
		bottom, dBottom := s.Volume(st.Exhaust)
		require.InEpsilon(t, c.Ratio, bottom/top, 1e-9)
		require.InDelta(t, 0, dTop/s.Swept(), 1e-9)
		require.InDelta(t, 0, dBottom/s.Swept(), 1e-7)
		before, _ := s.Volume(st.Compression)
		require.InEpsilon(t, bottom, before, 1e-12)

		th := rapid.Float64Range(st.Start, st.End).Draw(t, "theta")
		v, dv := s.Volume(th)
		require.True(t, v >= top*(1-1e-12) && v <= bottom*(1+1e-12))
		const h = 1e-5 // central difference: error about h²|V'''| plus ulp/h
		hi, _ := s.Volume(th + h)
		lo, _ := s.Volume(th - h)
		require.InDelta(t, (hi-lo)/(2*h), dv, 2e-6*bottom)
	})
}

func TestImpossible(t *testing.T) {
	nan := math.NaN()
	for name, change := range map[string]func(*Crank){
		"negative bore":           func(c *Crank) { c.Bore = -1 },
		"NaN stroke":              func(c *Crank) { c.Stroke = nan },
		"rod within crank radius": func(c *Crank) { c.Rod = 0.04 },
		"rod within offset":       func(c *Crank) { c.Offset = 0.1 },
		"NaN offset":              func(c *Crank) { c.Offset = nan },
		"ratio one":               func(c *Crank) { c.Ratio = 1 },
		"negative head":           func(c *Crank) { c.HeadArea = -1 },
		"NaN crown":               func(c *Crank) { c.PistonArea = nan },
	} {
		c := square()
		change(&c)
		_, err := NewSliderCrank(c)
		require.ErrorIs(t, err, ErrGeometry, name)
	}
}

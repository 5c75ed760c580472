package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mathext"
)

// polyline is the length of a curve from a to b [m] by its chords, their error
// in h² taken off by two step widths; what stays is of order h⁴.
func polyline(at func(float64) (x, y float64), a, b float64) float64 {
	chords := func(n int) (sum float64) {
		x, y := at(a)
		for i := 1; i <= n; i++ {
			nx, ny := at(a + (b-a)*float64(i)/float64(n))
			sum += math.Hypot(nx-x, ny-y)
			x, y = nx, ny
		}
		return sum
	}
	const n = 1000
	return (4*chords(2*n) - chords(n)) / 3
}

// Rotor and housing against lengths from points alone; 1e-10.
func TestTrochoidWalls(t *testing.T) {
	for _, k := range []float64{4, 7, 12} {
		r := Rotor{Eccentricity: 0.015, Radius: 0.015 * k, Width: 0.08, Ratio: 9}
		c := rotary(t, r)
		ball := math.Cbrt(c.Recess() * 3 / (2 * math.Pi))
		require.InEpsilon(t, 0.08*polyline(c.Flank, 0, 2*math.Pi/3)+math.Pi*ball*ball, c.Walls(0).Piston, 1e-10, "R/e %g", k)
		for deg := -540.; deg <= 540; deg += 37 {
			theta := deg * math.Pi / 180
			from, to := c.Apexes(theta)
			require.InEpsilon(t, 0.08*polyline(c.Housing, from, to), c.Walls(theta).Liner, 1e-10, "R/e %g at %g deg", k, deg)
		}
	}
}

// The housing is as long as an ellipse with half axes R ± 3e: with z the point,
// |dz/dα|² = (R+3e)² cos²α + (R−3e)² sin²α. Rounding.
func TestApexSpeed(t *testing.T) {
	r := published()
	c := rotary(t, r)
	a, b := r.Radius+3*r.Eccentricity, r.Radius-3*r.Eccentricity
	round := 4 * a * mathext.CompleteE(1-b*b/(a*a))
	require.InEpsilon(t, round/3*100, c.MeanSpeed(2*math.Pi*100), 1e-13, "at 6000 rpm, a third of a round each turn")
	t.Logf("apex %.2f m/s at 6000 rpm, %.2f times 3e in 270 degrees", c.MeanSpeed(2*math.Pi*100), c.MeanSpeed(1)/(c.Travel()/(1.5*math.Pi)))
	// Bore area times Travel is the swept volume.
	require.InEpsilon(t, c.Swept(), math.Pi/4*c.Bore()*c.Bore()*c.Travel(), 1e-14)
}

// The flank is the envelope: it reaches just as far as every place of the
// housing allows, starts and ends in apexes and is R − 2e from the middle
// halfway, by hand.
func TestFlank(t *testing.T) {
	for _, k := range []float64{4, 7} {
		r := Rotor{Eccentricity: 0.015, Radius: 0.015 * k, Width: 0.08, Ratio: 9}
		c := rotary(t, r)
		for v := 0.05; v < 2; v += 0.1 {
			x, y := c.Flank(v)
			require.InEpsilon(t, nearest(&r, math.Atan2(y, x)), math.Hypot(x, y), 1e-12, "R/e %g at %g", k, v)
		}
		for _, p := range []struct{ v, want float64 }{{0, k}, {math.Pi / 3, k - 2}, {2 * math.Pi / 3, k}} {
			x, y := c.Flank(p.v)
			require.InEpsilon(t, 0.015*p.want, math.Hypot(x, y), 1e-14)
			require.InDelta(t, p.v, math.Atan2(y, x), 1e-14)
		}
	}
}

// A rotor has far more wall for its volume than a piston of the same swept
// volume and ratio (common practice, no source); both at dead centre.
func TestSurfaceToVolume(t *testing.T) {
	c := rotary(t, published())
	d := math.Cbrt(4 / math.Pi * c.Swept())
	p := crank(t, Crank{Bore: d, Stroke: d, Rod: 1.7 * d, Ratio: 9.4})
	// By hand: two discs and a rim as high as the clearance.
	x := d / 8.4
	require.InEpsilon(t, (math.Pi/2*d*d+math.Pi*d*x)/(math.Pi/4*d*d*x), SurfaceToVolume(p, 0), 1e-13)
	ratio := SurfaceToVolume(c, 0) / SurfaceToVolume(p, 0)
	t.Logf("rotor %.0f /m, piston %.0f /m: %.2f times", SurfaceToVolume(c, 0), SurfaceToVolume(p, 0), ratio)
	require.Greater(t, ratio, 1.3)
}

var sink float64

func TestTrochoidNoAllocation(t *testing.T) {
	c := rotary(t, published())
	theta := -9.
	require.Zero(t, testing.AllocsPerRun(100, func() {
		theta += 0.1
		v, dv := c.Volume(theta)
		w := c.Walls(theta)
		sink = v + dv + w.Head + w.Piston + w.Liner
	}))
}

func BenchmarkTrochoidWalls(b *testing.B) {
	c := rotary(b, published())
	b.ReportAllocs()
	theta := 0.
	for b.Loop() {
		sink += c.Walls(theta).Liner
		theta += 0.01
	}
}

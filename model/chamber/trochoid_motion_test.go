package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Both apexes are on the housing, R from the middle of the rotor, which stands
// at three times their angle, √3 R apart; in the waist at dead centre.
func TestApexes(t *testing.T) {
	r := published()
	c := rotary(t, r)
	for theta := -9.4; theta < 9.4; theta += 0.3 {
		trailing, leading := c.Apexes(theta)
		ax, ay := c.Housing(trailing)
		bx, by := c.Housing(leading)
		require.InEpsilon(t, math.Sqrt(3)*r.Radius, math.Hypot(bx-ax, by-ay), 1e-13)
		mx, my := r.Eccentricity*math.Cos(3*trailing), r.Eccentricity*math.Sin(3*trailing)
		require.InEpsilon(t, r.Radius, math.Hypot(ax-mx, ay-my), 1e-13)
		require.InEpsilon(t, r.Radius, math.Hypot(bx-mx, by-my), 1e-13)
		// The neighbour ahead begins where this chamber ends, a round later at most.
		ahead, behind := c.Neighbours(theta)
		next, _ := c.Apexes(ahead)
		_, last := c.Apexes(behind)
		require.InDelta(t, 1, math.Cos(next-leading), 1e-12)
		require.InDelta(t, 1, math.Cos(last-trailing), 1e-12)
	}
	trailing, leading := c.Apexes(0)
	require.InDelta(t, math.Pi, trailing+leading, 1e-14, "about the y axis")
	x, y := c.Housing(math.Pi / 2)
	require.InDelta(t, 0, x, 1e-16)
	require.InEpsilon(t, r.Radius-r.Eccentricity, y, 1e-14)
}

// Against the normal of the housing by central differences, step 1e-5, error
// about 1e-10; the greatest is asin(3e/R) (literature digest section 2, from
// memory), reached where cos 2α = −3e/R.
func TestLeaning(t *testing.T) {
	r := published()
	c := rotary(t, r)
	most := math.Asin(3 * r.Eccentricity / r.Radius)
	for alpha := 0.; alpha < 2*math.Pi; alpha += 0.1 {
		const h = 1e-5
		ax, ay := c.Housing(alpha - h)
		bx, by := c.Housing(alpha + h)
		lean := math.Atan2(by-ay, bx-ax) - math.Pi/2 - alpha
		lean -= 2 * math.Pi * math.Round(lean/(2*math.Pi))
		require.InDelta(t, lean, c.Leaning(alpha), 1e-9, "at %g", alpha)
		require.LessOrEqual(t, math.Abs(c.Leaning(alpha)), most+1e-15)
	}
	require.InEpsilon(t, most, c.Leaning(math.Acos(-3*r.Eccentricity/r.Radius)/2), 1e-13)
}

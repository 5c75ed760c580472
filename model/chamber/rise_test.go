package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Literature digest section 2: a piston with rod over crank 3.5 at 8 to 20
// degrees stands where a rotor does at these; to their last digit.
func TestSameRise(t *testing.T) {
	const deg = math.Pi / 180
	p := crank(t, Crank{Bore: 0.08, Stroke: 0.08, Rod: 0.14, Ratio: 9})
	c := rotary(t, published())
	for _, x := range []struct{ piston, rotor float64 }{
		{8, 13.6}, {10, 17}, {12, 20.4}, {14, 23.8}, {15, 25.5}, {16, 27.2}, {18, 30.6}, {20, 34},
	} {
		at := SameRise(p, c, x.piston*deg)
		require.InDelta(t, x.rotor, at/deg, 0.05, "at %g deg", x.piston)
		require.InDelta(t, Risen(p, x.piston*deg), Risen(c, at), 1e-14)
		require.InDelta(t, -at, SameRise(p, c, -x.piston*deg), 1e-9, "before dead centre")
		require.InDelta(t, x.piston*deg, SameRise(c, p, at), 1e-9, "and back")
	}
	// A piston that moves as a cosine: three halves of its angle, by hand.
	pure := crank(t, Crank{Bore: 0.08, Stroke: 0.08, Rod: math.Inf(1), Ratio: 9})
	require.InDelta(t, 22.5, SameRise(pure, c, 15*deg)/deg, 1e-8)
	require.InDelta(t, 270, SameRise(pure, c, math.Pi)/deg, 1e-5) // the top is flat
	require.Zero(t, math.Round(1e6*SameRise(pure, c, 0)))
	for _, beyond := range []float64{-3.2, 3.2, math.NaN()} {
		require.True(t, math.IsNaN(SameRise(p, c, beyond)))
	}
}

// Of a piston it is the mean piston speed, of a rotor that of a piston of stroke
// Travel in 270 degrees; both by hand, to rounding.
func TestDepthSpeed(t *testing.T) {
	crank, err := NewSliderCrank(Crank{Bore: 0.088, Stroke: 0.082, Rod: 0.136, Ratio: 8.8})
	require.NoError(t, err)
	require.InEpsilon(t, crank.MeanSpeed(230), DepthSpeed(crank, 230), 1e-13)
	c := rotary(t, published())
	require.InEpsilon(t, 3*15e-3*230/(1.5*math.Pi), DepthSpeed(c, 230), 1e-13)
}

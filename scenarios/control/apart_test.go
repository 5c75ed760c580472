package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The leading plug moves as integral's, the trailing one does not; where there is no
// trailing plug nothing is ordered for it. By hand.
func TestFixedTrailing(t *testing.T) {
	law := usual(t, fixedTrailingKind, map[string]float64{"gain": 0.5, "trailing_deg": 8})
	s := blind(20 * deg)
	s.Target, s.Reading.Angle = 15*deg, 19*deg
	o := law.Next(s)
	require.InDelta(t, 22, o.Leading/deg, 1e-9)
	require.True(t, math.IsNaN(o.Trailing))
	s.Fired.Trailing = 10 * deg
	o = law.Next(s)
	require.InDelta(t, 22, o.Leading/deg, 1e-9)
	require.InDelta(t, 8, o.Trailing/deg, 1e-9)
}

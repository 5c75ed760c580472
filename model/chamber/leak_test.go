package chamber

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand: 0.7·(5 µm · 80 mm + 2 · 0.2 mm²) = 0.56 mm². The flank is at least as
// long as its chord √3 R and, being convex and within the sector of its apexes,
// shorter than the two lines from apex to middle, 2 R.
func TestLeak(t *testing.T) {
	c := rotary(t, published())
	l, err := c.Leak(UsualSeals())
	require.NoError(t, err)
	require.InEpsilon(t, 0.56e-6, l.Apex, 1e-13)
	side := 0.7 * 2 * 0.5e-6 * 105e-3
	require.True(t, l.Side > side*math.Sqrt(3) && l.Side < side*2, "%g", l.Side)
	tight, err := c.Leak(Seals{Flow: 1})
	require.NoError(t, err)
	require.Equal(t, Leak{}, tight)
}

func TestLeakRefuses(t *testing.T) {
	c := rotary(t, published())
	nan := math.NaN()
	for name, change := range map[string]func(*Seals){
		"Seals.Apex = -1":    func(s *Seals) { s.Apex = -1 },
		"Seals.Apex = NaN":   func(s *Seals) { s.Apex = nan },
		"Seals.Corner = NaN": func(s *Seals) { s.Corner = nan },
		"Seals.Side = +Inf":  func(s *Seals) { s.Side = math.Inf(1) },
		"Seals.Flow = 0":     func(s *Seals) { s.Flow = 0 },
		"Seals.Flow = 1.1":   func(s *Seals) { s.Flow = 1.1 },
	} {
		s := UsualSeals()
		change(&s)
		_, err := c.Leak(s)
		require.ErrorIs(t, err, ErrGeometry)
		require.ErrorContains(t, err, name)
	}
}

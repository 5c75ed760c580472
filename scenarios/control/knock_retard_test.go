package control

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// One event retards by 1.5 deg at once, any other cycle returns 0.015 deg: worked by
// hand; rounding.
func TestKnockRetardMoves(t *testing.T) {
	law := usual(t, retardKind, map[string]float64{"threshold": 2, "retard_deg": 1.5, "return_deg": 0.015})
	s := Seen{Base: 20 * deg, Ordered: together(25 * deg)}
	for _, c := range []struct{ knock, want float64 }{{1, 25.015}, {1.999, 25.015}, {2, 23.5}, {50, 23.5}} {
		s.Knock = c.knock
		require.InDelta(t, c.want, law.Next(&s).Leading/deg, 1e-12, "loudness %g", c.knock)
	}
}

// It settles at the knock rate r/(r+R) whatever the engine: the balance of its moves,
// which the spark's travel of a few deg in all changes by less than 1 %.
func TestKnockRetardRate(t *testing.T) {
	for _, back := range []float64{0.005, 0.015, 0.05} {
		got, _ := hold(usual(t, retardKind, map[string]float64{"return_deg": back}), 4, 1*deg)
		require.InEpsilon(t, back/(back+1.5), got.rate, 0.01)
	}
}

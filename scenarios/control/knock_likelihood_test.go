package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// The ratio is that of two binomial probabilities, whose coefficients cancel; gonum
// computes them by logarithms of gamma functions, right to 1e-9.
func TestLikelihoodRatio(t *testing.T) {
	for _, c := range []struct {
		n, k int
		p    float64
	}{{1, 0, 0.01}, {1, 1, 0.01}, {30, 1, 0.01}, {100, 1, 0.01}, {100, 7, 0.02}, {2000, 9, 0.01}, {50, 50, 0.2}} {
		at := func(p float64) float64 {
			if p == 0 || p == 1 { // certain: distuv has 0·log 0 there
				return 0
			}
			return distuv.Binomial{N: float64(c.n), P: p}.LogProb(float64(c.k))
		}
		require.InDelta(t, at(c.p)-at(float64(c.k)/float64(c.n)), logLikelihood(c.n, c.k, c.p), 1e-9, "%+v", c)
	}
	require.InDelta(t, 0, logLikelihood(100, 1, 0.01), 1e-12, "as asked for: as likely as can be")
}

// When it moves, by hand: with no event Λ = 0.99^n falls below 0.2 at n = 161
// (ln 0.2/ln 0.99 = 160.1); an event in the first cycle has Λ = 0.01 and moves by
// ln 0.01/ln 0.2 = 2.861 steps; one in the 50th, Λ = 0.5·(0.99·50/49)^49 = 0.823, leaves
// the spark alone. Rounding.
func TestKnockLikelihoodMoves(t *testing.T) {
	law := usual(t, likelihoodKind, map[string]float64{"rate": 0.01, "ratio": 0.2, "retard_deg": 1, "advance_deg": 0.5})
	s := Seen{Base: 20 * deg, Ordered: together(25 * deg)}
	next := func(knock float64) float64 {
		s.Knock = knock
		return law.Next(&s).Leading / deg
	}
	for range 2 { // counting begins anew
		for n := 1; n <= 160; n++ {
			require.Equal(t, 25*deg/deg, next(1), "cycle %d", n)
		}
		require.InDelta(t, 25+0.5*161*math.Log(0.99)/math.Log(0.2), next(1), 1e-12)
	}
	require.InDelta(t, 25-math.Log(0.01)/math.Log(0.2), next(10), 1e-12)
	for range 49 {
		next(1)
	}
	require.Equal(t, 25*deg/deg, next(10))
	require.Equal(t, 25*deg/deg, next(10), "two: Λ = 0.255²·(0.99·51/49)^49 = 0.282")
	require.Less(t, next(10), 25-1., "three: Λ = 0.173³·(0.99·52/49)^49 = 0.059")
}

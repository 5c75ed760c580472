package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// It follows a step about as fast as the law integral with its most gain, and rests
// nearly as quiet as with its least. The bounds are our own choice.
func TestAdaptiveFastAndQuiet(t *testing.T) {
	within := func(mean []float64) int { // cycles until the mean error stays below a tenth
		n := len(mean)
		for n > 0 && math.Abs(mean[n-1]) < 0.8 {
			n--
		}
		return n
	}
	law := usual(t, adaptiveKind, nil)
	fast, slow := usual(t, integralKind, map[string]float64{"gain": 0.2}), usual(t, integralKind, map[string]float64{"gain": 0.02})
	a, f, s := within(errorsAfterStep(law, 2, 400)), within(errorsAfterStep(fast, 2, 400)), within(errorsAfterStep(slow, 2, 400))
	law.Reset()
	mean, sd := phasing(5, 2, 25).settled(law, 500, 50_000)
	_, sdFast := phasing(5, 2, 25).settled(fast, 500, 50_000)
	_, sdSlow := phasing(5, 2, 25).settled(slow, 500, 50_000)
	t.Logf("cycles to a tenth %d, fast %d, slow %d; spark sd %.3f, fast %.3f, slow %.3f deg", a, f, s, sd, sdFast, sdSlow)
	require.Less(t, a, s/4)
	require.Less(t, sd, sdFast/2)
	require.InDelta(t, 25, mean, 0.1)
}

// The gain by hand: errors 1, 2, 3, 4 deg have mean 2.5 and variance 5/3, so that
// 1 − 4·(5/3)/4/2.5² = 0.7333; −1, 1, −1, 1 stand out by nothing; equal ones without end.
func TestAdaptiveGain(t *testing.T) {
	for _, c := range []struct {
		errors []float64
		want   float64
	}{{[]float64{1, 2, 3}, 0.02}, {[]float64{1, 2, 3, 4}, 0.02 + 0.18*0.733333333333}, {[]float64{-1, 1, -1, 1}, 0.02}, {[]float64{2, 2, 2, 2}, 0.2}, {[]float64{0, 0, 0, 0}, 0.02},
		{[]float64{50, 1, 2, 3, 4}, 0.02 + 0.18*0.733333333333}} {
		law := usual(t, adaptiveKind, map[string]float64{"cycles": 4}).(*adaptive)
		for _, e := range c.errors {
			law.recent.add(e * deg)
		}
		require.InDelta(t, c.want, law.gain(), 1e-9, "%v", c.errors)
	}
}

// A ring holds the last ones.
func TestRing(t *testing.T) {
	r := newRing[float64](3)
	for i := range 7 {
		r.add(float64(i))
	}
	require.ElementsMatch(t, []float64{4, 5, 6}, r.all)
	require.Equal(t, 5., stat.Mean(r.all, nil))
	r.clear()
	r.add(9)
	require.Equal(t, []float64{9}, r.all)
}

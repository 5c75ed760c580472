package valve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const (
	deg    = math.Pi / 180
	period = 4 * math.Pi
)

// intake and exhaust are cams of an 86 mm bore; both run over an end of the
// cycle from −360 to 360 degrees.
func intake(t testing.TB) *Cam {
	c, err := NewCam(-375*deg, -135*deg, 9e-3, period)
	require.NoError(t, err)
	return c
}

func exhaust(t testing.TB) *Cam {
	c, err := NewCam(130*deg, 375*deg, 8.5e-3, period)
	require.NoError(t, err)
	return c
}

// By hand: at a quarter of the event x = −1/2 and L = peak·(3/4)³·(5/4).
// 4 ulp of the peak.
func TestCamByHand(t *testing.T) {
	c, err := NewCam(-1, 1, 9e-3, period)
	require.NoError(t, err)
	for _, p := range []struct{ theta, want float64 }{
		{-1, 0}, {-0.5, 9e-3 * 27 / 64 * 1.25}, {0, 9e-3}, {0.5, 9e-3 * 27 / 64 * 1.25}, {1, 0}, {1.5, 0}, {-2, 0},
	} {
		require.InDelta(t, p.want, c.At(p.theta), 8e-18, "at %g rad", p.theta)
	}
	require.Equal(t, []float64{-1, 1, 9e-3}, []float64{c.Opens(), c.Closes(), c.Peak()})
}

// Lift, slope and acceleration vanish at both ends: close inside, by the
// factored form, they are 16, −48 and 96 times x′³, x′², x′ of the peak, x′
// the way from the end. Differences of step h/100 at h; 2 %.
func TestCamEnds(t *testing.T) {
	c, err := NewCam(-1, 1, 1, period)
	require.NoError(t, err)
	const h = 1e-3
	const d = h / 100
	for _, side := range []float64{-1, 1} {
		at := func(in float64) float64 { return c.At(side * (1 - in)) }
		require.InEpsilon(t, 16*h*h*h, at(h), 0.02)
		require.InEpsilon(t, 48*h*h, (at(h+d)-at(h-d))/(2*d), 0.02)
		require.InEpsilon(t, 96*h, (at(h+d)-2*at(h)+at(h-d))/(d*d), 0.02)
		require.Zero(t, at(-d))
	}
}

// Mean by the midpoint rule, 4000 points, error of the order of 1e-7; CamMean
// by hand from the powers.
func TestCamMean(t *testing.T) {
	c := intake(t)
	sum, n := 0., 4000
	for i := range n {
		sum += c.At(c.Opens() + (c.Closes()-c.Opens())*(float64(i)+0.5)/float64(n))
	}
	require.InDelta(t, CamMean, sum/float64(n)/c.Peak(), 1e-7)
}

// The event shows in the cycle from −360 to 360 degrees at both ends.
func TestWrap(t *testing.T) {
	in, ex := intake(t), exhaust(t)
	for _, p := range []struct {
		cam      *Cam
		at, same float64 // [deg]
	}{{in, -370, 350}, {in, -361, 359}, {ex, 370, -350}, {ex, 250, 250 - 7200}} {
		require.Greater(t, p.cam.At(p.at*deg), 0.)
		require.InDelta(t, p.cam.At(p.at*deg), p.cam.At(p.same*deg), 1e-12, "%+v", p) // angles are rounded
	}
	require.Zero(t, in.At(340*deg))
	require.Zero(t, ex.At(-340*deg))
	require.InDelta(t, in.At(360*deg), in.At(-360*deg), 1e-15) // one state, two names
}

// For any cam: never negative nor above its peak, symmetric, periodic, 0
// outside. Tolerances: 1e-9 of the peak for rounded angles.
func TestCamProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		open := rapid.Float64Range(-10, 10).Draw(t, "open")
		span := rapid.Float64Range(0.1, 12).Draw(t, "span")
		c, err := NewCam(open, open+span, 0.01, period)
		require.NoError(t, err)
		x := rapid.Float64Range(0, period/2).Draw(t, "x")
		turns := period * float64(rapid.IntRange(-5, 5).Draw(t, "turns"))
		mid := open + span/2
		l := c.At(mid + x)
		require.True(t, l >= 0 && l <= 0.01, "%g", l)
		require.InDelta(t, l, c.At(mid-x), 1e-11)
		require.InDelta(t, l, c.At(mid+x+turns), 1e-11)
		if x > span/2+1e-9 {
			require.Zero(t, l)
		}
	})
}

func TestCamRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		open, close, peak, period float64
		want                      string
	}{
		{1, 0.5, 1e-3, period, "valve: closing = 0.5 rad, want > opening = 1 rad"},
		{1, nan, 1e-3, period, "closing = NaN"},
		{0, inf, 1e-3, period, "closing = +Inf"},
		{nan, 1, 1e-3, period, "opening = NaN"},
		{-inf, 1, 1e-3, period, "opening = -Inf"},
		{0, 13, 1e-3, period, "duration = 13 rad, want < period = 12.5"},
		{0, 1, 0, period, "peak lift = 0 m, want > 0 m"},
		{0, 1, nan, period, "peak lift = NaN"},
		{0, 1, inf, period, "peak lift = +Inf"},
		{0, 1, 1e-3, 0, "period = 0 rad"},
		{0, 1, 1e-3, nan, "period = NaN"},
	} {
		_, err := NewCam(c.open, c.close, c.peak, c.period)
		require.ErrorIs(t, err, ErrLift)
		require.ErrorContains(t, err, c.want)
	}
	require.True(t, math.IsNaN(intake(t).At(nan)), "a bad angle shows")
}

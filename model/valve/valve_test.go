package valve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

const seat = 34e-3 // [m]

func twin(t testing.TB, cd ...Discharge) *Valve {
	v, err := NewValve(intake(t), 2, seat, cd)
	require.NoError(t, err)
	return v
}

// By hand: curtain and port outside the blend to rounding; in its middle, where
// they are equal, 1 − 0.4·(1/2)³·(3/4) = 0.9625 of both.
func TestGeometric(t *testing.T) {
	v := twin(t)
	port := 2 * math.Pi / 4 * seat * seat
	for _, p := range []struct{ ratio, want float64 }{
		{0.05, 0.2}, {0.1, 0.4}, {0.2, 0.8}, {0.25, 0.9625}, {0.3, 1}, {0.4, 1},
	} {
		require.InEpsilon(t, p.want, v.Geometric(p.ratio*seat)/port, 1e-14, "at L/D %g", p.ratio)
	}
}

// Area, slope and curvature go on at both ends of the blend: differences of
// step h on both sides agree to the next derivative (6/0.4² = 38) times h.
func TestGeometricSmooth(t *testing.T) {
	v, err := NewValve(intake(t), 1, seat, nil)
	require.NoError(t, err)
	a := func(r float64) float64 { return v.Geometric(r*seat/4) / v.port }
	const h = 1e-3
	for _, r := range []float64{0.8, 1.2} {
		curve := func(m float64) float64 { return (a(m+h) - 2*a(m) + a(m-h)) / (h * h) }
		require.InDelta(t, curve(r-h), curve(r+h), 38*2*h)
		require.InDelta(t, a(r+h)-a(r), a(r)-a(r-h), 38*h*h*h+1e-15)
	}
	for r := 0.; r < 1.5; r += h {
		require.GreaterOrEqual(t, a(r+h), a(r))
		require.LessOrEqual(t, a(r), math.Min(r, 1)+1e-15)
		require.GreaterOrEqual(t, a(r), 0.9625*math.Min(r, 1)-1e-15)
	}
}

// One point makes the coefficient constant; the usual one goes through its
// points and stays beyond them.
func TestCoefficient(t *testing.T) {
	require.Equal(t, 0.6, twin(t, Discharge{0, 0.6}).Coefficient(5e-3))
	v := twin(t)
	for _, p := range Poppet() {
		require.InDelta(t, p.Cd, v.Coefficient(p.Ratio*seat), 1e-12)
	}
	require.Equal(t, 0.55, v.Coefficient(seat))
	uneven := twin(t, Discharge{0.1, 0.5}, Discharge{0.2, 0.7})
	require.Equal(t, 0.5, uneven.Coefficient(0))
	require.InDelta(t, 0.6, uneven.Coefficient(0.15*seat), 1e-15)
}

// The mean coefficient of the cycle, effective area over port area averaged
// over the event, is 0.35 to 0.6 for usual cams (literature digest 1.8, from
// memory). This cam, L/D 0.265, is timed from seat to seat, ramps included,
// and has 0.32; so from 0.3 here.
func TestMeanCoefficient(t *testing.T) {
	v := twin(t)
	sum, n := 0., 1000
	for i := range n {
		sum += v.Area(v.Opens() + (v.Closes()-v.Opens())*(float64(i)+0.5)/float64(n))
	}
	mean := sum / float64(n) / v.port
	t.Logf("mean flow coefficient %.3f", mean)
	require.True(t, mean > 0.3 && mean < 0.6, "%g", mean)
	require.Zero(t, v.Area(0))
	require.Equal(t, v.Coefficient(9e-3)*v.Geometric(9e-3), v.Area(-255*deg))
}

func TestValveRefuses(t *testing.T) {
	nan := math.NaN()
	cam := intake(t)
	for _, c := range []struct {
		lift     Lift
		count    int
		diameter float64
		cd       []Discharge
		want     string
	}{
		{nil, 1, seat, nil, "valve: no lift"},
		{cam, 0, seat, nil, "count = 0, want >= 1"},
		{cam, 1, 0, nil, "inner seat diameter = 0 m, want > 0 m"},
		{cam, 1, nan, nil, "inner seat diameter = NaN m"},
		{cam, 1, 8e-3, nil, "peak lift = 0.009 m, want at most the inner seat diameter = 0.008 m"},
		{cam, 1, seat, []Discharge{{-1, 0.5}}, "discharge row 1: lift over diameter = -1, want >= 0"},
		{cam, 1, seat, []Discharge{{0.1, 0.5}, {0.1, 0.5}}, "discharge row 2: lift over diameter = 0.1, want > 0.1 of row 1"},
		{cam, 1, seat, []Discharge{{0, 0.5}, {0.1, 1.1}}, "discharge row 2: coefficient = 1.1, want > 0 and at most 1"},
		{cam, 1, seat, []Discharge{{0, nan}}, "discharge row 1: coefficient = NaN"},
		{cam, 1, seat, []Discharge{{nan, 0.5}}, "discharge row 1: lift over diameter = NaN"},
	} {
		_, err := NewValve(c.lift, c.count, c.diameter, c.cd)
		require.ErrorIs(t, err, ErrValve)
		require.ErrorContains(t, err, c.want)
	}
}

var sink float64

func TestNoAllocation(t *testing.T) {
	v := twin(t)
	w, err := NewValve(sampled(t, 121), 2, seat, nil)
	require.NoError(t, err)
	theta := -6.
	require.Zero(t, testing.AllocsPerRun(100, func() {
		theta += 0.1
		sink = v.Area(theta) + w.Area(theta) + Flow(1e-4, 2e5, 900, 287, 1.3, 1e5) +
			Between(1e-4, 1e5, 300, 287, 1.4, 1.00001e5, 900, 290, 1.3)
	}))
}

func BenchmarkArea(b *testing.B) {
	tab, err := NewValve(sampled(b, 121), 2, seat, nil)
	require.NoError(b, err)
	for _, c := range []struct {
		name string
		v    *Valve
	}{{"cam", twin(b)}, {"table", tab}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			theta, s := c.v.Opens(), 0.
			for b.Loop() {
				s += c.v.Area(theta)
				if theta += 0.01; theta > c.v.Closes() {
					theta = c.v.Opens()
				}
			}
			sink = s
		})
	}
}

package valve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model/accuracy"
	"phasebench/solve/ode"
)

func critical(gamma float64) float64 { return math.Pow(2/(gamma+1), gamma/(gamma-1)) }

// Choked air: ṁ = 0.04042·p·A/√T with R = 287 (any text on gas dynamics), and
// by hand √1.4·(1/1.2)³/√287 = 0.0404184; the last digit counts. At 1 bar,
// 300 K and 1 cm² that is 0.404184/√300 = 0.0233356 kg/s.
func TestChokedAir(t *testing.T) {
	row := accuracy.Find(t, "orifice-choked")
	row.Near(t, 0.0404184, Flow(1, 1, 1, 287, 1.4, 0.1), "of units")
	row.Near(t, 0.0233356, Flow(1e-4, 1e5, 300, 287, 1.4, 0.2e5), "at 1 bar and 300 K")
	require.Equal(t, Flow(1e-4, 1e5, 300, 287, 1.4, 0), Flow(1e-4, 1e5, 300, 287, 1.4, 0.52e5), "choked is choked")
}

// The flow stops growing at 0.528 for γ = 1.4 and 0.546 for 1.3 (literature
// digest 1.8, three digits): found as the largest π at which the flow is that
// into a vacuum within 1e-9, which by the flat top is 3e-5 too high at most.
func TestCriticalRatio(t *testing.T) {
	row := accuracy.Find(t, "orifice-critical")
	for _, c := range []struct{ gamma, want float64 }{{1.4, 0.528}, {1.3, 0.546}} {
		low, high := 0.3, 0.9
		for high-low > 1e-7 {
			mid := (low + high) / 2
			if Flow(1, 1, 1, 1, c.gamma, mid) >= (1-1e-9)*Flow(1, 1, 1, 1, c.gamma, 0) {
				low = mid
			} else {
				high = mid
			}
		}
		row.Near(t, c.want, low, "γ = %g", c.gamma)
		require.InDelta(t, critical(c.gamma), low, 5e-5)
	}
}

// ψ by separate powers, to 1e-12 by rounding of 1 − y just outside Band.
func TestSubsonicByHand(t *testing.T) {
	for _, g := range []float64{1.1, 1.25, 1.4, 1.667, 2.5} {
		for _, pi := range []float64{0.7, 0.8, 0.95, 0.99, 0.9985} {
			want := math.Pow(pi, 1/g) * math.Sqrt(2*g/(g-1)*(1-math.Pow(pi, (g-1)/g)))
			got := Flow(2e-4, 3e5, 800, 290, g, pi*3e5) / (2e-4 * 3e5 / math.Sqrt(290*800))
			require.InEpsilon(t, want, got, 1e-12, "γ = %g, π = %g", g, pi)
		}
	}
}

// Small differences beyond Band: ṁ = A√(2ρΔp)·(1 − 3δ/(4γ)) with δ = Δp/p (by
// series, by hand); the rest is below δ².
func TestIncompressible(t *testing.T) {
	const p, temp, r, g = 1e5, 300., 287., 1.4
	for _, d := range []float64{Band, 2e-3, 5e-3, 0.01, 0.02} {
		want := 1e-4 * math.Sqrt(2*p/(r*temp)*d*p) * (1 - 3*d/(4*g))
		require.InEpsilon(t, want, Flow(1e-4, p, temp, r, g, p*(1-d)), d*d, "δ = %g", d)
	}
}

// Value and slope are continuous at choking and at Band, and the flow and its
// reverse meet at zero in one line. One-sided differences of step h agree to
// the mean curvature times h: at Band (0.35+2.1)/2 = 1.24 of 1/Band^1.5, by
// hand from √(2δ) and the cubic.
func TestSmooth(t *testing.T) {
	for _, g := range []float64{1.2, 1.3, 1.4, 5. / 3, 2} {
		f := func(pi float64) float64 { return Flow(1, 1, 1, 1, g, pi) }
		for _, c := range []struct {
			at, h, curvature float64
		}{{critical(g), 1e-6, 10}, {1 - Band, 1e-8, 1.3 * math.Pow(Band, -1.5)}} {
			left, mid, right := f(c.at-c.h), f(c.at), f(c.at+c.h)
			require.InDelta(t, left, right, 2*c.h*50, "γ = %g, value at π = %g", g, c.at)
			require.InDelta(t, (mid-left)/c.h, (right-mid)/c.h, c.curvature*c.h+1e-13/c.h, "γ = %g, slope at π = %g", g, c.at)
		}
		// Zero crossing, hot against cold: p1 falls through p2 = 1.
		b := func(x float64) float64 { return Between(1, 1+x, 300, 1, g, 1, 2400, 1, 1.25) }
		h := 1e-4 * Band
		require.Zero(t, b(0))
		require.InEpsilon(t, b(h)/h, -b(-h)/h, 1e-3)
		for _, x := range []float64{Band / (1 - Band), -Band} {
			h := 1e-8
			require.InEpsilon(t, (b(x)-b(x-h))/h, (b(x+h)-b(x))/h, 1e-4, "γ = %g, slope at p1 − p2 = %g", g, x)
		}
	}
}

// What the doc of Band says, against ψ itself.
func TestBandEffect(t *testing.T) {
	const g = 1.35
	lack, extra := 0., 0.
	for s := 0.005; s < 1; s += 0.005 {
		soft, sharp := gentle(s*Band, g), psi(1-s*Band, g)
		require.LessOrEqual(t, soft, sharp)
		lack = math.Max(lack, (sharp-soft)/psi(0.1, g))
		// The difference that sharp needs for the flow soft, by bisection.
		low, high := 0., s
		for high-low > 1e-6 {
			if mid := (low + high) / 2; psi(1-mid*Band, g) < soft {
				low = mid
			} else {
				high = mid
			}
		}
		extra = math.Max(extra, s-low)
	}
	t.Logf("less by %.4f of the choked flow, needs %.3f·Band more", lack, extra)
	require.LessOrEqual(t, lack, 0.0135)
	require.LessOrEqual(t, extra, 0.17)
}

// For any two sides: the sign follows the pressures, exchanging them turns the
// flow, it is that of Flow from the higher side beyond Band, grows with the
// area by proportion and with p1, and is never above choked.
func TestBetweenProperties(t *testing.T) {
	side := func(t *rapid.T, n string) (temp, r, g float64) {
		return rapid.Float64Range(250, 2800).Draw(t, "T"+n), rapid.Float64Range(250, 450).Draw(t, "R"+n),
			rapid.Float64Range(1.1, 1.67).Draw(t, "γ"+n)
	}
	rapid.Check(t, func(t *rapid.T) {
		t1, r1, g1 := side(t, "1")
		t2, r2, g2 := side(t, "2")
		p2 := rapid.Float64Range(2e4, 5e5).Draw(t, "p2")
		// All scales of difference, either way.
		x := rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign") * math.Pow(10, rapid.Float64Range(-8, 1).Draw(t, "lg"))
		p1 := p2 * (1 + x)
		if x < 0 {
			p1 = p2 / (1 - x)
		}
		m := Between(1e-4, p1, t1, r1, g1, p2, t2, r2, g2)
		require.Equal(t, p1 > p2, m > 0)
		back := Between(1e-4, p2, t2, r2, g2, p1, t1, r1, g1)
		require.InDelta(t, m, -back, 1e-12*math.Abs(m))
		require.InEpsilon(t, 3*m, Between(3e-4, p1, t1, r1, g1, p2, t2, r2, g2), 1e-14)
		if math.Min(p1, p2) < (1-Band)*math.Max(p1, p2) {
			want := Flow(1e-4, p1, t1, r1, g1, p2)
			if p2 > p1 {
				want = -Flow(1e-4, p2, t2, r2, g2, p1)
			}
			require.Equal(t, want, m)
			if m > 0 {
				require.LessOrEqual(t, m, Flow(1e-4, p1, t1, r1, g1, 0)*(1+1e-14))
			}
		}
		more := p1 * (1 + rapid.Float64Range(1e-7, 1e-2).Draw(t, "more"))
		// With √(RT) more than fourfold apart the blend need not be monotone.
		if k := math.Sqrt(r1 * t1 / (r2 * t2)); k < 4 && k > 0.25 {
			require.GreaterOrEqual(t, Between(1e-4, more, t1, r1, g1, p2, t2, r2, g2), m-1e-12*math.Abs(m))
		}
	})
}

// Flow never grows with the pressure it runs into; 1e-14 for rounding.
func TestFlowMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.Float64Range(1.05, 1.67).Draw(t, "γ")
		pi := rapid.Float64Range(0, 1).Draw(t, "π")
		more := pi + math.Pow(10, rapid.Float64Range(-9, 0).Draw(t, "lg"))
		a, b := Flow(1, 1, 1, 1, g, pi), Flow(1, 1, 1, 1, g, more)
		require.True(t, a >= 0 && b <= a+1e-14, "%g at %g, %g at %g", a, pi, b, more)
	})
}

func TestFlowEdges(t *testing.T) {
	nan := math.NaN()
	require.Zero(t, Flow(0, 2e5, 300, 287, 1.4, 1e5))
	require.Zero(t, Flow(1e-4, 1e5, 300, 287, 1.4, 1e5))
	require.Zero(t, Flow(1e-4, 1e5, 300, 287, 1.4, 2e5))
	require.Zero(t, Between(0, 2e5, 300, 287, 1.4, 1e5, 300, 287, 1.4))
	for _, v := range []float64{
		Flow(nan, 2e5, 300, 287, 1.4, 1e5), Flow(1e-4, nan, 300, 287, 1.4, 1e5), Flow(1e-4, 2e5, nan, 287, 1.4, 1e5),
		Flow(1e-4, 2e5, 300, 287, nan, 1e5), Flow(1e-4, 2e5, 300, 287, 1.4, nan),
		Between(1e-4, nan, 300, 287, 1.4, 1e5, 300, 287, 1.4), Between(1e-4, 1e5, 300, 287, 1.4, nan, 300, 287, 1.4),
	} {
		require.True(t, math.IsNaN(v), "a bad number shows")
	}
}

// A vessel of 0.5 l at 10 bar empties through 1 cm², choked all the time.
// Held at its temperature, p = p0·exp(−t/τ), τ = V/(ψ·A·√(RT)); without heat,
// p = p0·(1 + (γ−1)/2·t/τ)^(−2γ/(γ−1)) with τ at the start (both by hand from
// the balances of mass and energy). Integrated to 1e-10.
func TestBlowDown(t *testing.T) {
	row := accuracy.Find(t, "orifice-vessel")
	const vol, p0, t0, r, g, area, end = 5e-4, 10e5, 800., 290., 1.3, 1e-4, 15e-3
	tau := vol / (math.Sqrt(g) * math.Pow(2/(g+1), (g+1)/(2*(g-1))) * area * math.Sqrt(r*t0))
	set := &ode.Settings{RelTol: 1e-10}

	y := []float64{p0 * vol / (r * t0)} // mass [kg]
	_, err := ode.New(1, set).Integrate(ode.Func(func(dst []float64, _ float64, y []float64) {
		dst[0] = -Flow(area, y[0]*r*t0/vol, t0, r, g, 1e5)
	}), 0, end, y, nil)
	require.NoError(t, err)
	held := y[0] * r * t0 / vol
	require.Greater(t, held, 1e5/critical(g), "choked to the end")
	row.Relative(t, p0*math.Exp(-end/tau), held, "held at its temperature")

	cv := r / (g - 1)
	y = []float64{p0 * vol / (r * t0), p0 * vol / (g - 1)} // mass [kg], energy [J]
	_, err = ode.New(2, set).Integrate(ode.Func(func(dst []float64, _ float64, y []float64) {
		temp := y[1] / (y[0] * cv)
		dst[0] = -Flow(area, y[0]*r*temp/vol, temp, r, g, 1e5)
		dst[1] = dst[0] * (cv + r) * temp
	}), 0, end, y, nil)
	require.NoError(t, err)
	p := y[1] * (g - 1) / vol
	require.Greater(t, p, 1e5/critical(g), "choked to the end")
	row.Relative(t, p0*math.Pow(1+(g-1)/2*end/tau, -2*g/(g-1)), p, "without heat")
	row.Relative(t, t0*math.Pow(p/p0, (g-1)/g), y[1]/(y[0]*cv), "what stays expands without loss")
}

// Two vessels at 2 and 1 bar settle at one pressure, which by energy is the
// mean weighted by volume, and nothing is lost: 1e-8. The cost of the end,
// where nothing moves, is bounded by Band.
func TestSettle(t *testing.T) {
	const r, g, area = 290., 1.35, 5e-4
	vol := [2]float64{5e-4, 1e-3}
	start := [2][2]float64{{2e5, 900}, {1e5, 350}}
	cv := r / (g - 1)
	y := make([]float64, 4) // mass, energy of each
	for i, s := range start {
		y[2*i], y[2*i+1] = s[0]*vol[i]/(r*s[1]), s[0]*vol[i]/(g-1)
	}
	mass, energy := y[0]+y[2], y[1]+y[3]
	res, err := ode.New(4, nil).Integrate(ode.Func(func(dst []float64, _ float64, y []float64) {
		p1, t1 := y[1]*(g-1)/vol[0], y[1]/(y[0]*cv)
		p2, t2 := y[3]*(g-1)/vol[1], y[3]/(y[2]*cv)
		m := Between(area, p1, t1, r, g, p2, t2, r, g)
		h := m * (cv + r) * t1
		if m < 0 {
			h = m * (cv + r) * t2
		}
		dst[0], dst[1], dst[2], dst[3] = -m, -h, m, h
	}), 0, 0.02, y, nil)
	require.NoError(t, err)
	t.Logf("%+v", res.Stats)
	require.InEpsilon(t, mass, y[0]+y[2], 1e-12)
	require.InEpsilon(t, energy, y[1]+y[3], 1e-12)
	want := (2e5*vol[0] + 1e5*vol[1]) / (vol[0] + vol[1])
	require.InEpsilon(t, want, y[1]*(g-1)/vol[0], 1e-6)
	require.InEpsilon(t, want, y[3]*(g-1)/vol[1], 1e-6)
	require.Less(t, res.Steps, 2000)
}

func BenchmarkBetween(b *testing.B) {
	for _, c := range []struct {
		name   string
		p1, p2 float64
	}{{"choked", 3e5, 1e5}, {"near choking", 1.9e5, 1e5}, {"subsonic", 1.1e5, 1e5}, {"back", 1e5, 1.1e5}, {"band", 1.0003e5, 1e5}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			s := 0.
			for b.Loop() {
				s += Between(1e-4, c.p1, 900, 290, 1.3, c.p2, 320, 287, 1.38)
			}
			sink = s
		})
	}
}

package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// dynamometer returns what fills in torque of a plant whose maximum is at a spark of
// 25 deg: cycles scatter by 2 %, the dynamometer lags by 0.2 s and scatters by 0.3 %; it drifts
// by a share a cycle.
func dynamometer(bend, scatter, drift float64) func(*phasePlant, float64) {
	shown := math.NaN()
	return func(p *phasePlant, _ float64) {
		off := p.seen.Fired.Leading/deg - 25
		torque := 25 * (1 - bend*off*off) * (1 + drift*float64(p.seen.Cycle)) * (1 + scatter*p.r.NormFloat64())
		if math.IsNaN(shown) {
			shown = torque
		}
		shown += (1 - math.Exp(-4*math.Pi/p.seen.Speed/0.2)) * (torque - shown)
		p.seen.Torque = shown * (1 + 0.15*scatter*p.r.NormFloat64())
	}
}

// It finds the maximum from either side and at speeds from 1200 to 4000 rpm, whatever
// drifts: 0.5 deg are four standard errors of the mean (0.12 deg, from 12 seeds).
func TestExtremumTorque(t *testing.T) {
	law := usual(t, extremumTorqueKind, nil)
	for _, rpm := range []float64{1200, 2200, 4000} {
		for _, start := range []float64{13, 37} {
			law.Reset()
			p := phasing(7, 0, start)
			p.seen.Speed, p.after = rpm*math.Pi/30, dynamometer(3.1e-4, 0.02, 2e-5)
			mean, sd := p.settled(law, 3000, 20_000)
			t.Logf("%g rpm from %g deg: spark %.2f, sd %.2f deg, of which 2.12 are dither", rpm, start, mean, sd)
			require.InDelta(t, 25, mean, 0.5)
			require.Less(t, sd, 4.)
		}
	}
}

// With no noise a move takes away the share gain of what is left, whatever the lag does
// to phase and amplitude; 10 % for the parabola that the dither averages over, and what a move
// stirs up.
func TestExtremumMove(t *testing.T) {
	for _, rpm := range []float64{1200, 2200, 4000} {
		law := usual(t, extremumTorqueKind, map[string]float64{"most_deg": 10}).(*extremum)
		p := phasing(1, 0, 19)
		p.seen.Speed, p.after = rpm*math.Pi/30, dynamometer(3.1e-4, 0, 0)
		for range 41 {
			p.step(law)
		}
		require.InEpsilon(t, 0.3*6, (p.seen.Ordered.Leading-law.added)/deg-19, 0.1, "%g rpm", rpm)
	}
}

// With no noise it rests at the maximum, though lag, drift and bend are in the same
// period: without the column of the bend it would be 0.2 deg late.
func TestExtremumRests(t *testing.T) {
	law := usual(t, extremumTorqueKind, nil)
	for _, rpm := range []float64{1200, 2200} {
		law.Reset()
		p := phasing(1, 0, 20)
		p.seen.Speed, p.after = rpm*math.Pi/30, dynamometer(3.1e-4, 0, 2e-5)
		mean, _ := p.settled(law, 2000, 4000)
		t.Logf("%g rpm: %.4f deg", rpm, mean)
		require.InDelta(t, 25, mean, 0.05)
	}
}

// Torque that does not answer moves nothing but the dither, which comes to nothing
// over a period; rounding.
func TestExtremumDitherStays(t *testing.T) {
	law := usual(t, extremumTorqueKind, nil)
	p := phasing(1, 0, 20)
	p.after = dynamometer(0, 0, 0)
	low, high := math.Inf(1), math.Inf(-1)
	for range 41 * 40 {
		s := p.step(law) / deg
		low, high = math.Min(low, s), math.Max(high, s)
	}
	require.InDelta(t, 17, low, 1e-6)
	require.InDelta(t, 23, high, 1e-6)

	// A guard that lets nothing above 22 deg pass holds the center below it, and does not
	// walk it away.
	law.Reset()
	p = phasing(1, 0, 20)
	p.after = dynamometer(0, 0, 0)
	for i := range 41 * 40 {
		p.step(law)
		p.seen.Ordered.Leading = math.Min(p.seen.Ordered.Leading, 22*deg)
		if i > 80 {
			require.Greater(t, p.seen.Ordered.Leading, (22-6-0.5)*deg)
		}
	}
}

// A governor that takes away 2 % of the error of torque in a cycle by the throttle
// holds it; least airflow is at the same spark, from either side: 0.5 deg are five
// standard errors of the mean.
func TestExtremumAirflow(t *testing.T) {
	for _, start := range []float64{15, 35} {
		p := phasing(8, 0, start)
		torque, open, shown := dynamometer(3.1e-4, 0.02, 0), 1., 1e-3
		p.after = func(p *phasePlant, _ float64) {
			torque(p, 0)
			p.seen.Torque *= open
			shown += (1 - math.Exp(-4*math.Pi/p.seen.Speed/0.2)) * (1e-3*open - shown)
			p.seen.Airflow = shown * (1 + 0.003*p.r.NormFloat64())
			open += 0.02 * open * (20 - p.seen.Torque) / 20
		}
		mean, sd := p.settled(usual(t, extremumAirflowKind, nil), 240*30, 240*100)
		t.Logf("from %g deg: spark %.2f, sd %.2f deg", start, mean, sd)
		require.InDelta(t, 25, mean, 0.5)
	}
}

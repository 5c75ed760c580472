package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model"
	"phasebench/scenarios/reader"
)

// rich fills in all instruments.
func rich(p *phasePlant, scatter float64) {
	off := p.seen.Single.Angle/deg - 15
	p.seen.IMEP, p.seen.Heat = 7e5*(1-5e-4*off*off), 600*(1+0.01*p.r.NormFloat64())
	p.seen.Peak, p.seen.Knock, p.seen.Airflow = 3e6, 1, 1e-3*(1+3e-4*off*off)
	p.seen.Torque = 25 * (1 - 5e-4*off*off)
}

// Laws that go by the reading bring the peak to the target from either side: means of
// the spark within 0.5 deg, but for what the deadband of fixed-step leaves, 1.33 deg, and what
// scheduled-target asks for, see its own test.
func TestLawsConverge(t *testing.T) {
	for name, tol := range map[string]float64{"integral": 0.5, "proportional-integral": 0.5, "adaptive": 0.5, "fixed-step": 1.34, "vertex": 0.5, "scheduled-target": 0.9} {
		law, err := New(name, nil)
		require.NoError(t, err)
		for _, start := range []float64{12, 38} {
			law.Reset()
			p := phasing(9, 2.5, start)
			p.after = rich
			mean, _ := p.settled(law, 3000, 10_000)
			require.InDelta(t, 25, mean, tol, "%s from %g deg", name, start)
		}
	}
	mean, sd := phasing(9, 2.5, 12).settled(baseMap{}, 1, 100)
	require.InDelta(t, 20, mean, 1e-9)
	require.InDelta(t, 0, sd, 1e-9)
}

// A cycle that declined moves nothing, in the midst of others that did not. The
// extremum laws read torque and airflow, the table nothing.
func TestLawsDecline(t *testing.T) {
	everyLaw(t, func(t *testing.T, k Kind, law Law) {
		p := phasing(10, 2.5, 30)
		p.after = rich
		for n := range 600 {
			p.step(law)
			if n%7 != 0 {
				continue
			}
			s := p.seen
			s.Reading, s.Single = reader.Reading{Angle: math.NaN()}, reader.Reading{Angle: math.NaN()}
			s.Torque, s.Airflow, s.Base, s.Knock = math.NaN(), math.NaN(), math.NaN(), math.NaN()
			require.Equal(t, s.Ordered.Leading, law.Next(&s).Leading, "cycle %d", n)
		}
	})
}

// Reset forgets: the same cycles give the same orders.
func TestLawsReset(t *testing.T) {
	everyLaw(t, func(t *testing.T, k Kind, law Law) {
		run := func() (all []float64) {
			p := phasing(11, 2.5, 30)
			p.after = rich
			for range 700 {
				all = append(all, p.step(law))
			}
			return all
		}
		first := run()
		law.Reset()
		require.Equal(t, first, run())
	})
}

// Laws go on from what passed and keep no spark: one that was held at 10 deg for long moves from
// there no farther than its bound, dither included.
func TestLawsDoNotWindUp(t *testing.T) {
	everyLaw(t, func(t *testing.T, k Kind, law Law) {
		if k.Name == "table" {
			t.Skip("no loop")
		}
		p := phasing(12, 2.5, 10)
		p.after = rich
		for range 2000 {
			p.step(law)
			require.InDelta(t, 10, p.seen.Ordered.Leading/deg, 5+1e-9)
			p.seen.Ordered = together(10 * deg)
		}
	})
}

// Whatever is seen, a spark that is a number stays one, and cycles of which nothing
// is known leave it alone.
func TestLawsAnything(t *testing.T) {
	everyLaw(t, func(t *testing.T, k Kind, law Law) {
		rapid.Check(t, func(t *rapid.T) {
			wild := rapid.OneOf(rapid.Float64Range(-1, 1), rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.MaxFloat64, -math.MaxFloat64}))
			law.Reset()
			for range rapid.IntRange(1, 60).Draw(t, "cycles") {
				draw := func(name string) float64 { return wild.Draw(t, name) }
				a := reader.Reading{Angle: draw("reading"), Quality: draw("quality")}
				s := &Seen{Time: draw("time"), Speed: draw("speed"), MAP: draw("map"), Base: draw("base"), Target: draw("target"),
					Ordered: together(rapid.Float64Range(-2, 2).Draw(t, "ordered")), Fired: together(draw("fired")), Reading: a, Single: reader.Reading{Angle: draw("single")}, Trailing: a,
					Knock: draw("knock"), Peak: draw("peak"), IMEP: draw("imep"), Heat: draw("heat"), Torque: draw("torque"), Airflow: draw("airflow")}
				if o := law.Next(s); !finite(o.Leading) {
					t.Fatalf("%g of %+v", o.Leading, s)
				}
				if o := law.Next(blind(0.3)); o.Leading != 0.3 {
					t.Fatalf("%g of a blind cycle", o.Leading)
				}
			}
			// And it is well again on an engine.
			p := phasing(1, 2, 20)
			p.after = rich
			law.Reset()
			for range 5 {
				p.step(law)
			}
			if !finite(p.seen.Ordered.Leading) {
				t.Fatal(p.seen.Ordered)
			}
		})
	})
}

// New refuses what it does not know and what is out of range, by the key.
func TestNewRefuses(t *testing.T) {
	refused := func(key, name string, numbers map[string]float64) {
		t.Helper()
		law, err := New(name, numbers)
		require.Nil(t, law)
		var p *model.Problem
		require.ErrorAs(t, err, &p)
		require.Equal(t, key, p.Key)
	}
	refused("law", "none", nil)
	everyLaw(t, func(t *testing.T, k Kind, _ Law) {
		refused("law.no_such_deg", k.Name, map[string]float64{"no_such_deg": 1})
		for _, n := range k.Numbers {
			for _, x := range []float64{n.Low - 0.001, n.High + 0.001, math.NaN(), math.Inf(1)} {
				refused("law."+n.Key, k.Name, map[string]float64{n.Key: x})
			}
			if n.whole() {
				refused("law."+n.Key, k.Name, map[string]float64{n.Key: n.Low + 0.5})
			}
			for _, x := range []float64{n.Low, n.Usual, n.High} {
				_, err := New(k.Name, map[string]float64{n.Key: x})
				require.NoError(t, err, "%s %g", n.Key, x)
			}
		}
	})
}

// Names and instruments are a contract.
func TestKinds(t *testing.T) {
	require.Equal(t, []string{"table", "integral", "fixed-trailing", "proportional-integral", "fixed-step", "adaptive", "scheduled-target", "vertex", "extremum-torque", "extremum-airflow"}, Names()[:10])
	needs := map[string][]Need{"vertex": {NeedPressure}, "extremum-torque": {NeedTorque}, "extremum-airflow": {NeedAirflow}}
	for _, k := range Kinds()[:10] {
		require.Equal(t, needs[k.Name], k.Needs, k.Name)
	}
}

// Laws allocate nothing from cycle to cycle.
func TestLawsAllocateNothing(t *testing.T) {
	everyLaw(t, func(t *testing.T, k Kind, law Law) {
		p := phasing(13, 2.5, 20)
		p.after = rich
		for range 300 {
			p.step(law)
		}
		require.Zero(t, testing.AllocsPerRun(100, func() { p.step(law) }))
	})
}

package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
	"phasebench/scenarios/reader"
)

// usual returns a law of k with some of its numbers changed, in the units of its keys.
func usual(t *testing.T, k Kind, changed map[string]float64) Law {
	t.Helper()
	v, err := resolve("law", k.Name, k.Numbers, changed)
	require.NoError(t, err)
	return k.make(v)
}

// Both knock laws on the same plant at the same knock rate, within 5 %, which the
// return of knock-retard is set for by bisection. Against a law that reacts to every
// event, the law by likelihood has a more advanced mean spark and much less variance,
// answers excess knock as fast or faster, and recovers from over-retard more slowly:
// Peyton Jones and others, SAE 2009-01-1017 (seen in the abstract only; it gives no
// figures). The bounds of the figures are our own choice; means must differ by five
// standard errors.
//
// As fast holds here for the knock events that are suffered, not for the mean time until
// the rate is down to twice what is asked for: that is longer, as the law rests
// at two or three times the rate until there is evidence. The log tells both.
func TestKnockLawsAtOneRate(t *testing.T) {
	lead, spread := accuracy.Find(t, "knock-plant-lead"), accuracy.Find(t, "knock-plant-spread")
	likely := usual(t, likelihoodKind, nil)
	returning := func(perCycle float64) Law {
		return usual(t, retardKind, map[string]float64{"return_deg": perCycle})
	}
	for _, width := range []float64{1, 2} {
		a, missA := hold(likely, 21, width*deg)
		low, high := 0.005, 0.05
		for range 8 {
			mid := math.Sqrt(low * high)
			if b, _ := hold(returning(mid), 22, width*deg); b.rate < a.rate {
				low = mid
			} else {
				high = mid
			}
		}
		perCycle := math.Sqrt(low * high)
		retard := returning(perCycle)
		b, missB := hold(retard, 23, width*deg) // other plants than those it was set on
		t.Logf("%.0f deg wide: likelihood: knock rate %.5f, spark %.3f ± %.3f, sd %.3f deg", width, a.rate, a.mean, missA, a.sd)
		t.Logf("retard: knock rate %.5f, spark %.3f ± %.3f, sd %.3f deg, return %.5f deg", b.rate, b.mean, missB, b.sd, perCycle)

		// Excess: from 30 deg, where half of the cycles knock, to twice the rate asked
		// for. Over-retard: from 5 deg below the spark of that rate to half of it.
		spark := func(p float64) float64 { return 30 + width*math.Log(p/(1-p)) }
		down, downB := reach(likely, 30, spark(0.02), width*deg), reach(retard, 30, spark(0.02), width*deg)
		up, upB := reach(likely, spark(0.01)-5, spark(0.005), width*deg), reach(retard, spark(0.01)-5, spark(0.005), width*deg)
		t.Logf("excess knock: %.1f against %.1f; over-retard: %.0f against %.0f", down, downB, up, upB)

		require.InEpsilon(t, a.rate, b.rate, 0.05)
		require.InEpsilon(t, 0.01, a.rate, 0.15, "near what is asked for")
		lead.Hold(t, a.mean-b.mean, "%g deg wide", width)
		require.Greater(t, a.mean-b.mean, 5*math.Hypot(missA, missB))
		spread.Hold(t, a.sd/b.sd, "%g deg wide", width)
		require.LessOrEqual(t, down.events, downB.events)
		require.Greater(t, up.mean, upB.mean)
	}
}

// The same draws give the same run, and a law that is reset begins anew.
func TestKnockLawsReset(t *testing.T) {
	for _, k := range []Kind{retardKind, likelihoodKind} {
		law := usual(t, k, nil)
		first, _ := hold(law, 9, 1*deg)
		again, _ := hold(law, 9, 1*deg)
		require.Equal(t, first, again, k.Name)
	}
}

// A knock law goes no earlier than the base map and a bound, at once even from
// farther, and moves not at all while it hears nothing.
func TestKnockLawsBounds(t *testing.T) {
	for _, k := range []Kind{retardKind, likelihoodKind} {
		require.Equal(t, []Need{NeedKnock}, k.Needs, k.Name)
		law := usual(t, k, map[string]float64{"most_deg": 2})
		s := Seen{Base: 20 * deg, Knock: 1, Ordered: together(21.9 * deg)}
		for range 5000 {
			s.Ordered = law.Next(&s)
			require.LessOrEqual(t, s.Ordered.Leading, 22*deg, k.Name)
		}
		require.Equal(t, 22*deg, s.Ordered.Leading, k.Name)
		s.Ordered = together(30 * deg)
		require.Equal(t, 22*deg, law.Next(&s).Leading, k.Name)

		s.Base, s.Ordered = math.NaN(), together(18*deg)
		for range 5000 {
			s.Ordered = law.Next(&s)
		}
		require.Equal(t, 18*deg, s.Ordered.Leading, "%s: without a base it does not advance", k.Name)

		s.Base, s.Knock = 20*deg, math.NaN()
		for range 5000 {
			s.Ordered = law.Next(&s)
		}
		require.Equal(t, 18*deg, s.Ordered.Leading, "%s: unheard", k.Name)
	}
}

// blind is a cycle of which nothing is known but what was ordered.
func blind(ordered float64) *Seen {
	no := math.NaN()
	none := reader.Reading{Angle: no, Quality: no}
	return &Seen{Time: no, Speed: no, MAP: no, Base: no, Target: no, Ordered: together(ordered), Fired: Order{no, no},
		Single: none, Reading: none, Trailing: none, Knock: no, Peak: no, IMEP: no, Heat: no, Torque: no, Airflow: no}
}

// broken is a law whose orders are no numbers.
type broken struct{ order float64 }

func (b broken) Next(*Seen) Order { return Order{b.order, b.order} }
func (broken) Reset()             {}

// What is no spark stays none, for a guard to see: a law that is lost must not look
// like one that holds.
func TestLostLaw(t *testing.T) {
	for name, law := range map[string]Law{
		"both lost": HandOver(broken{math.NaN()}, broken{math.Inf(1)}), "no phase": HandOver(broken{math.NaN()}, usual(t, likelihoodKind, nil)),
		"retard only": RetardOnly(broken{math.NaN()}),
	} {
		law.Reset()
		for range 5 {
			require.True(t, math.IsNaN(law.Next(blind(17*deg)).Leading), name)
		}
	}
}

// No law here makes what is not a number of a spark that is one, and none advances a
// blind engine.
func TestBlind(t *testing.T) {
	retard, likely := usual(t, retardKind, nil), usual(t, likelihoodKind, nil)
	phase := usual(t, integralKind, nil)
	for name, law := range map[string]Law{
		"retard": retard, "likelihood": likely,
		"hand-over": HandOver(phase, usual(t, retardKind, nil)), "no knock": HandOver(phase, broken{math.NaN()}),
		"retard only": RetardOnly(phase), "of an endless one": RetardOnly(broken{math.Inf(1)}),
		"advise": Advise(8),
	} {
		law.Reset()
		ordered := 17 * deg
		for range 50 {
			o := law.Next(blind(ordered))
			require.Equal(t, 17*deg, o.Leading, name)
			ordered = o.Leading
		}
		// And with blind cycles among others.
		p := knocking(1, 20*deg, 1*deg)
		for i := range 500 {
			if i%3 == 0 {
				o := law.Next(blind(p.seen.Ordered.Leading))
				require.True(t, finite(o.Leading), name)
				p.seen.Ordered = o
				continue
			}
			p.step(law)
			require.True(t, finite(p.seen.Ordered.Leading), name)
		}
	}
}

// Laws allocate nothing from cycle to cycle.
func TestKnockLawsAllocateNothing(t *testing.T) {
	for name, law := range map[string]Law{
		"retard": usual(t, retardKind, nil), "likelihood": usual(t, likelihoodKind, nil),
		"hand-over":   HandOver(usual(t, integralKind, nil), usual(t, likelihoodKind, nil)),
		"retard only": RetardOnly(usual(t, integralKind, nil)), "advise": Advise(16),
	} {
		p := knocking(3, 20*deg, 1*deg)
		once := func() {
			p.step(law)
			if a, ok := law.(Adviser); ok {
				a.Advice()
			}
		}
		for range 20 {
			once()
		}
		require.Zero(t, testing.AllocsPerRun(100, once), name)
	}
}

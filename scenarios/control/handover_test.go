package control

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// watched is a law with what it saw and ordered last.
type watched struct {
	Law
	saw, gave float64
}

func (w *watched) Next(s *Seen) Order {
	o := w.Law.Next(s)
	w.saw, w.gave = s.Ordered.Leading, o.Leading
	return o
}

// both is a plant that knocks and has a peak: 0.75 deg later for a spark 1 deg later,
// at 15 deg for a spark of mbt. Peaks scatter by 3.5 deg. The plant is invented.
type both struct {
	*knockPlant
	mbt          float64 // [deg]
	phase, knock watched
	law          Law
}

func newBoth(t *testing.T, knock Kind, mbt float64) *both {
	b := &both{knockPlant: knocking(7, 18*deg, 1*deg), mbt: mbt}
	b.phase.Law, b.knock.Law = usual(t, integralKind, nil), usual(t, knock, nil)
	b.law = HandOver(&b.phase, &b.knock)
	b.law.Reset()
	b.seen.Target = 15 * deg
	return b
}

// step runs one cycle, and tells what it ordered and who drove [rad].
func (b *both) step() (ordered float64, knocked bool, driving string) {
	lpp := 15 + 0.75*(b.mbt-b.seen.Ordered.Leading/deg) + 3.5*b.r.NormFloat64()
	b.seen.Reading.Angle = lpp * deg
	_, knocked = b.knockPlant.step(b.law)
	return b.seen.Ordered.Leading, knocked, b.law.(Driver).Driving()
}

// On a plant whose MBT lies past, at and below its knock limit of 25.4 deg the order
// is the later of both, the one who drives is whose order it is, and whoever takes over
// goes on from where the spark is: the phasing law exactly, the knock law within the margin.
func TestHandOverBumpless(t *testing.T) {
	for _, k := range []Kind{retardKind, likelihoodKind} {
		for _, mbt := range []float64{20, 25, 35} {
			b := newBoth(t, k, mbt)
			changes := map[string]int{}
			last, limit, near := "phase", math.NaN(), false
			for range 20_000 {
				passed := b.seen.Ordered.Leading
				got, _, driving := b.step()
				require.Equal(t, math.Min(b.phase.gave, b.knock.gave), got)
				require.Equal(t, map[string]float64{"phase": b.phase.gave, "knock": b.knock.gave}[driving], got)
				require.Equal(t, passed, b.phase.saw, "phasing goes on from what passed")
				require.LessOrEqual(t, math.Abs(b.knock.saw-passed), knockMargin+1e-12, "no limit winds up")
				if last == "knock" && !near { // else it drives as a bound on the phasing law's haste
					require.InDelta(t, limit, b.knock.saw, 1e-12, "a limit that drives is its own")
				}
				if driving != last {
					changes[driving]++
					if driving == "knock" { // it holds back an advance, or retards by its own move
						own := b.knock.saw - b.knock.gave
						require.GreaterOrEqual(t, got-passed, -math.Max(0, own)-knockMargin-1e-12)
						require.Less(t, got, b.phase.gave)
					}
				}
				last, limit = driving, b.knock.gave
				near = b.knock.saw >= passed+knockMargin-1e-12
			}
			t.Logf("%s, MBT %.0f: the phasing law took over %d times, the knock law %d times", k.Name, mbt, changes["phase"], changes["knock"])
			if mbt > 20 {
				require.Positive(t, changes["knock"])
				require.Positive(t, changes["phase"])
			}
		}
	}
}

// Never earlier than either, whatever they order, and whatever a guard lets pass.
func TestHandOverNeverEarlier(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	phase, knock := &orders{}, &orders{}
	law := HandOver(phase, knock)
	s := Seen{Base: 20 * deg}
	for range 20_000 {
		draw := func() float64 { return (20 + 15*r.NormFloat64()) * deg }
		s.Ordered, s.Knock = Order{draw(), draw()}, 1
		phase.want, knock.want = Order{draw(), draw()}, together(draw())
		got := law.Next(&s)
		require.Equal(t, math.Min(phase.want.Leading, knock.want.Leading), got.Leading)
		require.InDelta(t, phase.want.Leading-phase.want.Trailing, got.Leading-got.Trailing, 1e-12, "the plugs keep their distance")
		require.LessOrEqual(t, math.Abs(knock.saw.Leading-s.Ordered.Leading), knockMargin+1e-12)
	}
	law.Reset()
	require.Equal(t, []int{1, 1}, []int{phase.reset, knock.reset})
	require.Equal(t, "phase", law.(Driver).Driving())
}

// A limit that nothing has lowered stands in nobody's way, after however long a time;
// the first knock event bites at once, from where the spark is, and the limit
// returns by its own law, not by what the phasing law asks for.
func TestHandOverFreeLimit(t *testing.T) {
	phase := &orders{}
	knock := &watched{Law: usual(t, retardKind, nil)}
	law := HandOver(phase, knock)
	s := Seen{Base: 20 * deg, Knock: 1, Ordered: together(20 * deg)}
	next := func(move float64) {
		phase.want = together(s.Ordered.Leading + move*deg)
		s.Ordered = law.Next(&s)
	}
	for range 40 { // a misread peak drags the spark away
		next(-0.5)
	}
	for range 5000 {
		next(0)
	}
	require.InDelta(t, 0, s.Ordered.Leading/deg, 1e-9)
	for range 50 {
		next(0.5)
		require.Equal(t, "phase", law.(Driver).Driving())
	}
	require.InDelta(t, 25, s.Ordered.Leading/deg, 1e-9)

	s.Knock = 10
	next(0.5)
	require.InDelta(t, 25+1-1.5, s.Ordered.Leading/deg, 1e-9, "1 deg of margin, 1.5 deg of retard")
	s.Knock = 1
	for n := 1; n <= 60; n++ {
		next(0.5)
		require.Equal(t, "knock", law.(Driver).Driving())
		require.InDelta(t, 24.5+0.015*float64(n), s.Ordered.Leading/deg, 1e-9)
	}
	for range 20 { // it stays where it is while the phasing law is a little later
		next(-0.01)
		require.Equal(t, "phase", law.(Driver).Driving())
	}
	require.InDelta(t, 24.5+0.015*80, knock.gave/deg, 1e-9)
}

// Where MBT lies past the knock limit, the engine knocks as often as under the knock
// law alone: within 15 %, our own choice, for some 400 events, and no scatter of the phasing
// law frees the limit. Where it lies well below, knock is far from what is allowed.
func TestHandOverKnockRate(t *testing.T) {
	const cycles = 40_000
	for _, k := range []Kind{retardKind, likelihoodKind} {
		alone, _ := hold(usual(t, k, nil), 6, 1*deg)
		for _, c := range []struct{ mbt, low, high float64 }{{35, 0.75, 1.15}, {26, 0, 1.15}, {20, 0, 0.3}} {
			b := newBoth(t, k, c.mbt)
			n, sum := 0., 0.
			for range cycles {
				o, knocked, _ := b.step()
				sum += o / deg
				if knocked {
					n++
				}
			}
			t.Logf("%s, MBT %.0f: knock rate %.5f, alone %.5f; spark %.2f, alone %.2f deg", k.Name, c.mbt, n/cycles, alone.rate, sum/cycles, alone.mean)
			require.GreaterOrEqual(t, n/cycles, c.low*alone.rate)
			require.LessOrEqual(t, n/cycles, c.high*alone.rate)
		}
	}
}

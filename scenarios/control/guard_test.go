package control

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model"
	"phasebench/scenarios/reader"
)

// everywhere is an Envelope that is the same everywhere.
type everywhere Range

func (e everywhere) At(_, _ float64) Range { return Range(e) }

// bare switches off all that can be, so that a test meets one rule.
func bare(more map[string]float64) map[string]float64 {
	all := map[string]float64{
		"authority_deg": 0, "slew_deg": 0, "lost_cycles": 0, "lost_percent": 0, "modes_cycles": 0, "probe_after_deg": 0,
		"least_deg_btdc": -60, "most_deg_btdc": 90,
	}
	for k, v := range more {
		all[k] = v
	}
	return all
}

// bench feeds a guard by hand: base map 25 deg, readings of 15 deg, and what fires is
// the last order and a hand.
type bench struct {
	*Guard
	seen Seen
	hand float64 // [deg]
}

func newBench(t testing.TB, numbers map[string]float64, e Envelope) *bench {
	g, err := NewGuard(GuardSettings{Envelope: e != nil, Numbers: numbers}, e)
	require.NoError(t, err)
	b := &bench{Guard: g}
	b.seen = Seen{Speed: 200, MAP: 60e3, Base: 25 * deg, Target: 15 * deg, Ordered: together(25 * deg), Peak: math.NaN(), Knock: math.NaN()}
	b.reads(15)
	return b
}

func (b *bench) reads(angle float64) {
	b.seen.Single = reader.Reading{Angle: angle * deg, Quality: 1}
	b.seen.Reading = b.seen.Single
}

// decide is one cycle with an order [deg].
func (b *bench) decide(want float64) Decision {
	b.seen.Fired = together(b.seen.Ordered.Leading + b.hand*deg)
	d := b.Decide(&b.seen, together(want*deg))
	b.seen.Cycle++
	b.seen.Ordered = d.Order
	return d
}

// is checks a decision; orders are good to 1e-9 deg, which is rounding.
func is(t *testing.T, d Decision, order float64, state State, why string) {
	t.Helper()
	require.InDelta(t, order, d.Order.Leading/deg, 1e-9, d.Why)
	require.Equal(t, state, d.State, d.Why)
	require.Equal(t, why, d.Why)
}

func TestGuardNumbers(t *testing.T) {
	for key, v := range map[string]float64{"slew_deg": -1, "patience_cycles": 2.5, "most_deg_btdc": -5, "least_deg_btdc": 50, "nothing": 1, "knock": math.NaN()} {
		_, err := NewGuard(GuardSettings{Numbers: map[string]float64{key: v}}, nil)
		var p *model.Problem
		require.ErrorAs(t, err, &p, key)
		require.Equal(t, "guard."+key, p.Key)
	}
}

// All that is well passes, with the trailing spark as it is.
func TestGuardFollows(t *testing.T) {
	b := newBench(t, nil, everywhere{12 * deg, 44 * deg})
	for _, v := range []float64{25, 27, 22, 12, 15} {
		is(t, b.decide(v), v, Follow, "")
	}
	require.Equal(t, Order{14 * deg, 4 * deg}, b.Decide(&b.seen, Order{14 * deg, 4 * deg}).Order)
}

func TestGuardOff(t *testing.T) {
	g, err := NewGuard(GuardSettings{Off: true, Envelope: true}, everywhere{12 * deg, 44 * deg})
	require.NoError(t, err)
	b := &bench{Guard: g, seen: newBench(t, nil, nil).seen}
	is(t, b.decide(90), 90, Follow, "")
	for range 20 {
		is(t, b.decide(math.NaN()), 90, Hold, "order NaN deg is no spark")
	}
	is(t, b.decide(-30), -30, Follow, "")
}

func TestNotUsable(t *testing.T) {
	for _, x := range []struct {
		want float64
		why  string
	}{{math.NaN(), "order NaN deg is no spark"}, {200, "order 200 deg is no spark"}, {math.Inf(-1), "order -Inf deg is no spark"}} {
		b := newBench(t, bare(nil), nil)
		is(t, b.decide(28), 28, Follow, "")
		for range 5 {
			is(t, b.decide(x.want), 28, Hold, x.why)
		}
		is(t, b.decide(x.want), 25, Fallback, x.why) // later: at once
		is(t, b.decide(22), 22, Follow, "")
		for range 5 {
			is(t, b.decide(x.want), 22, Hold, x.why)
		}
		is(t, b.decide(x.want), 23, Return, x.why) // earlier: slowly
		is(t, b.decide(x.want), 24, Return, x.why)
		is(t, b.decide(x.want), 25, Fallback, x.why)
	}
}

// Bounds: what passes, and why not more.
func TestBounds(t *testing.T) {
	for _, x := range []struct {
		numbers     map[string]float64
		want, order float64
		why         string
	}{
		{map[string]float64{"most_deg_btdc": 45}, 50, 45, "order 50.0 deg is beyond the limits, -60.0 to 45.0"},
		{map[string]float64{"least_deg_btdc": -5}, -9, -5, "order -9.0 deg is beyond the limits, -5.0 to 90.0"},
		{map[string]float64{"authority_deg": 15}, 50, 40, "order 50.0 deg is more than 15.0 from the base map, 25.0"},
		{map[string]float64{"authority_deg": 15}, 0, 10, "order 0.0 deg is more than 15.0 from the base map, 25.0"},
		{map[string]float64{"slew_deg": 3}, 31, 28, "order 31.0 deg is more than 3.0 earlier than the last, 25.0"},
	} {
		b := newBench(t, bare(x.numbers), nil)
		is(t, b.decide(x.want), x.order, Limit, x.why)
	}
	is(t, newBench(t, bare(map[string]float64{"slew_deg": 3}), nil).decide(-50), -50, Follow, "") // retard at once
}

// The trailing spark moves as the leading one, and is not earlier than the limit.
func TestTrailing(t *testing.T) {
	b := newBench(t, nil, nil)
	b.seen.Fired = b.seen.Ordered
	for _, x := range []struct{ want, order Order }{
		{Order{31, 21}, Order{28, 18}}, {Order{math.NaN(), 21}, Order{28, 18}}, {Order{31, math.NaN()}, Order{31, math.NaN()}}, {Order{30, 80}, Order{30, 45}},
	} {
		d := b.Decide(&b.seen, Order{x.want.Leading * deg, x.want.Trailing * deg})
		require.InDelta(t, x.order.Leading, d.Order.Leading/deg, 1e-9)
		if math.IsNaN(x.order.Trailing) {
			require.True(t, math.IsNaN(d.Order.Trailing))
		} else {
			require.InDelta(t, x.order.Trailing, d.Order.Trailing/deg, 1e-9)
		}
		b.seen.Ordered, b.seen.Fired = d.Order, d.Order
	}
}

func TestCeilings(t *testing.T) {
	for _, x := range []struct {
		key string
		set func(*Seen, float64)
		why string
	}{
		{"peak_bar", func(s *Seen, v float64) { s.Peak = v * 1e5 }, "order 25.0 deg is too early: peak pressure was 71.0 bar, 65.0 are allowed"},
		{"knock", func(s *Seen, v float64) { s.Knock = v }, "order 25.0 deg is too early: knock was 71.00 times the usual, 65.00 are allowed"},
	} {
		b := newBench(t, bare(map[string]float64{x.key: 65, "recover_cycles": 10}), nil)
		x.set(&b.seen, 64)
		is(t, b.decide(25), 25, Follow, "")
		x.set(&b.seen, 71)
		is(t, b.decide(25), 22, Limit, x.why)
		x.set(&b.seen, 60)
		for range 9 {
			is(t, b.decide(25), 22, Limit, x.why)
		}
		is(t, b.decide(25), 25, Follow, "")
		x.set(&b.seen, 71)
		b.hand = 10 // 35 deg fire
		is(t, b.decide(25), 22, Limit, x.why)
	}
}

// A hand pushes out of the believed range: the next order fires the base map. Then
// orders stay so much later that what fires stays in the range.
func TestBelieved(t *testing.T) {
	b := newBench(t, bare(nil), everywhere{12 * deg, 44 * deg})
	is(t, b.decide(50), 44, Limit, "order 50.0 deg is beyond the believed range, 12.0 to 44.0")
	is(t, b.decide(5), 12, Limit, "order 5.0 deg is beyond the believed range, 12.0 to 44.0")
	is(t, b.decide(25), 25, Follow, "")
	b.hand = 22.3
	is(t, b.decide(60), 25-22.3, Return, "spark 47.3 deg is beyond the believed range, 12.0 to 44.0")
	is(t, b.decide(30), 44-22.3, Limit, "order 30.0 deg is beyond the believed range, 12.0 to 44.0")
	is(t, b.decide(20), 20, Follow, "")
	b.hand = -10 // fires 10, beyond on the side of retard: no earlier than the base map
	is(t, b.decide(40), 22, Return, "spark 10.0 deg is beyond the believed range, 12.0 to 44.0")
	b.hand = -20
	is(t, b.decide(40), 25, Return, "spark 2.0 deg is beyond the believed range, 12.0 to 44.0")
	b.hand = 0
	is(t, b.decide(25), 25, Follow, "")

	nowhere := newBench(t, bare(nil), everywhere{math.NaN(), math.NaN()})
	is(t, nowhere.decide(40), 25, Fallback, "readings cannot be believed at any spark here")

	clipped := newBench(t, bare(map[string]float64{"patience_cycles": 0}), everywhere{5 * deg, 20 * deg}) // the base map is outside
	is(t, clipped.decide(math.NaN()), 20, Return, "spark 25.0 deg is beyond the believed range, 5.0 to 20.0")
	is(t, clipped.decide(math.NaN()), 20, Fallback, "order NaN deg is no spark")

	margin := newBench(t, bare(map[string]float64{"margin_deg": 4}), everywhere{12 * deg, 44 * deg})
	is(t, margin.decide(50), 40, Limit, "order 50.0 deg is beyond the believed range, 12.0 to 44.0")
}

// An order that fires some cycles later is not given twice: what fires comes back to the
// base map and goes on to the edge, once the lag is known by the moves of a law.
func TestLag(t *testing.T) {
	for lag := 1; lag <= 8; lag++ {
		b := newBench(t, bare(nil), everywhere{12 * deg, 44 * deg})
		r := rand.New(rand.NewPCG(1, 1))
		queue := make([]float64, lag)
		for i := range queue {
			queue[i] = 25 * deg
		}
		cycle := func(want, hand float64) Decision {
			b.seen.Fired = together(math.Round((queue[0]/deg+hand)*10) / 10 * deg) // in steps of 0.1 deg
			d := b.Decide(&b.seen, together(want*deg))
			b.seen.Ordered = d.Order
			copy(queue, queue[1:])
			queue[lag-1] = d.Order.Leading
			return d
		}
		for range 60 {
			cycle(25+r.NormFloat64(), 0)
		}
		require.Equal(t, lag, b.lag.cycles)
		for n := range 30 {
			cycle(40, 30)
			if fired := b.seen.Fired.Leading / deg; n >= 2*lag {
				require.InDelta(t, 44, fired, 0.11, "lag %d, cycle %d", lag, n) // a step
			} else if n >= lag {
				require.InDelta(t, 25, fired, 0.11, "lag %d, cycle %d", lag, n)
			}
		}
	}
}

func TestEmptyReadings(t *testing.T) {
	const row = "more than 8 readings in a row are missing"
	b := newBench(t, bare(map[string]float64{"lost_cycles": 8}), nil)
	b.reads(math.NaN())
	for range 8 {
		is(t, b.decide(22), 22, Follow, "")
	}
	is(t, b.decide(22), 23, Return, row)
	is(t, b.decide(22), 24, Return, row)
	is(t, b.decide(22), 25, Fallback, row)
	b.reads(15)
	for range 31 {
		is(t, b.decide(22), 25, Fallback, row)
	}
	is(t, b.decide(22), 22, Follow, "")

	b = newBench(t, bare(map[string]float64{"lost_percent": 40}), nil) // 12.8 of 32
	missing := 0
	for n := 0; ; n++ {
		b.reads(15)
		if n%2 == 0 {
			b.reads(math.NaN())
			missing++
		}
		d := b.decide(30)
		if missing == 13 {
			is(t, d, 25, Fallback, "more than 40 % of the last 32 readings are missing")
			break
		}
		is(t, d, 30, Follow, "")
	}
}

// Readings that scatter, with a lone one far away, are one crowd; with 40 % of them
// far away they are two.
func TestTwoCrowds(t *testing.T) {
	const why = "readings lie in two crowds"
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 2))
		b := newBench(t, bare(map[string]float64{"modes_cycles": 32}), nil)
		for n := range 200 {
			b.reads(15 + 2.5*r.NormFloat64())
			if n%32 == 10 {
				b.reads(60)
			}
			is(t, b.decide(28), 28, Follow, "")
		}
		var states []State
		for range 120 {
			b.reads(15 + 2.5*r.NormFloat64())
			if r.Float64() < 0.4 {
				b.reads(60 + 8*r.NormFloat64())
			}
			if d := b.decide(28); len(states) == 0 || d.State != states[len(states)-1] {
				states = append(states, d.State)
				if d.State != Follow {
					require.Equal(t, why, d.Why)
				}
			}
		}
		require.Contains(t, states, Hold)
		require.Contains(t, states, Fallback)
	}
}

// A spark that a hand moves makes two crowds of true readings: nobody minds.
func TestCrowdsOfSparks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 3))
	b := newBench(t, bare(map[string]float64{"modes_cycles": 32}), nil)
	for n := range 400 {
		if b.hand = 0; n/50%2 == 1 {
			b.hand = -20
		}
		b.reads(15 - 0.7*b.hand + 2.5*r.NormFloat64())
		is(t, b.decide(25), 25, Follow, "")
	}
}

// A slope test passes a reading that answers to the spark and condemns one that does
// not, by the spark that fired: orders take 4 cycles.
func TestSlopes(t *testing.T) {
	run := func(reading func(fired float64) float64, cycles int) (all []Decision) {
		b := newBench(t, bare(map[string]float64{"probe_after_deg": 6}), nil)
		queue := []float64{25, 25, 25, 25}
		for range cycles {
			b.seen.Fired = together(queue[0] * deg)
			b.reads(reading(queue[0]))
			d := b.Decide(&b.seen, together(32*deg))
			b.seen.Ordered = d.Order
			queue = append(queue[1:], d.Order.Leading/deg)
			all = append(all, d)
		}
		return all
	}
	r := rand.New(rand.NewPCG(1, 4))
	held := func(all []Decision) (n int) {
		for _, d := range all {
			if d.State == Hold {
				n++
				require.Equal(t, "probing 2.0 deg about 32.0", d.Why)
				require.LessOrEqual(t, math.Abs(d.Order.Leading/deg-32), 2+1e-9)
			}
		}
		return n
	}
	good := run(func(fired float64) float64 { return 15 - 0.7*(fired-25) + r.NormFloat64() }, 200)
	require.Equal(t, Follow, good[199].State)
	n := held(good)
	require.LessOrEqual(t, n, 28) // one test of 2·12 cycles, and the lag of 4 at most
	require.GreaterOrEqual(t, n, 24)

	false_ := run(func(float64) float64 { return 35 }, 100)
	is(t, false_[99], 25, Fallback, "a later spark makes no later peak: slope 0.00, standard error 0.00")
	require.LessOrEqual(t, held(false_), 56)
	none := run(func(fired float64) float64 {
		if fired < 29 || math.Abs(fired-32) < 1 { // until it probes
			return 15 - 0.7*(fired-25)
		}
		return math.NaN()
	}, 140)
	is(t, none[139], 25, Fallback, "too few readings to tell whether a later spark makes a later peak")
	again := run(func(float64) float64 { return 35 }, 400)
	tests := 0
	for i := 1; i < len(again); i++ {
		if again[i].State == Hold && again[i-1].State != Hold {
			tests++
		}
	}
	require.Equal(t, 3, tests) // at 4, then about every 56 + 128 + 4 cycles

	clock := newBench(t, bare(map[string]float64{"probe_every_cycles": 50}), nil)
	for range 49 {
		is(t, clock.decide(20), 20, Follow, "")
	}
	is(t, clock.decide(20), 18, Hold, "probing 2.0 deg about 20.0")
}

// The line is that of least squares; numbers by hand: y = 1, 2, 2 over x = 0, 1, 2 has
// the slope 0.5 and residuals −1/6, 1/3, −1/6, so that its error is √(1/6 / 1 / 2).
func TestFit(t *testing.T) {
	var f fit
	for i, y := range []float64{1, 2, math.NaN(), 2} {
		f.add([]float64{0, 1, 7, 2}[i], y)
	}
	slope, se := f.slope()
	require.InDelta(t, 0.5, slope, 1e-15)
	require.InDelta(t, math.Sqrt(1./12), se, 1e-15)
}

// Whatever is seen and asked for, what leaves is a spark within all bounds. Only a
// bound to the move or a hand that is made up for makes it later than the lower ones.
func TestGuardAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		wild := rapid.OneOf(rapid.Float64Range(-1, 1), rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0}))
		numbers := map[string]float64{
			"probe_after_deg":    rapid.Float64Range(0, 10).Draw(t, "after"),
			"probe_every_cycles": float64(rapid.IntRange(0, 60).Draw(t, "every")),
			"probe_cycles":       float64(rapid.IntRange(3, 8).Draw(t, "probe")),
			"modes_cycles":       float64(rapid.IntRange(0, 16).Draw(t, "modes")),
			"recover_cycles":     float64(rapid.IntRange(1, 20).Draw(t, "recover")),
			"authority_deg":      rapid.Float64Range(1, 40).Draw(t, "authority"),
			"slew_deg":           rapid.Float64Range(0.1, 10).Draw(t, "slew"),
			"margin_deg":         rapid.Float64Range(0, 3).Draw(t, "margin"),
		}
		from := rapid.Float64Range(-5, 20).Draw(t, "from")
		to := from + rapid.Float64Range(7, 30).Draw(t, "width")
		given, hands := rapid.Bool().Draw(t, "envelope"), rapid.Bool().Draw(t, "hands")
		g, err := NewGuard(GuardSettings{Envelope: given, Numbers: numbers}, everywhere{from * deg, to * deg})
		if err != nil {
			t.Fatal(err)
		}
		inside := rapid.Float64Range(math.Max(-5, from+3), math.Min(45, to-3))
		base := inside.Draw(t, "base")
		last := base
		s := &Seen{Ordered: together(base * deg)}
		for range rapid.IntRange(1, 150).Draw(t, "cycles") {
			if rapid.IntRange(0, 20).Draw(t, "moves") == 0 {
				base = inside.Draw(t, "base")
			}
			s.Base, s.Fired = base*deg, s.Ordered
			if hands {
				s.Fired.Leading = wild.Draw(t, "fired")
			}
			s.Single = reader.Reading{Angle: wild.Draw(t, "reading")}
			s.Peak, s.Knock, s.Speed, s.MAP = wild.Draw(t, "peak"), wild.Draw(t, "knock"), wild.Draw(t, "speed"), wild.Draw(t, "map")
			want := Order{wild.Draw(t, "leading"), wild.Draw(t, "trailing")}
			d := g.Decide(s, want)
			order := d.Order.Leading / deg
			const tol = 1e-9 // rounding
			low, high := math.Max(-5, base-numbers["authority_deg"]), math.Min(45, base+numbers["authority_deg"])
			if given {
				low, high = math.Max(low, from), math.Min(high, to)
			}
			high = math.Min(high, last+numbers["slew_deg"])
			push := g.now.push / deg // by a hand: lower bounds are of what fires
			if !(order+push >= -5-tol && order <= 45+tol) {
				t.Fatalf("order %g beyond limits: %+v", order, d)
			}
			if !(order <= math.Max(-5-push, high)+tol) {
				t.Fatalf("order %g over %g: %+v", order, high, d)
			}
			if !(hands && given) && !(order+push >= math.Min(low, high)-tol) {
				t.Fatalf("order %g below %g: %+v", order, low, d)
			}
			if tr := d.Order.Trailing; math.IsInf(tr, 0) || usable(want) && math.IsNaN(tr) != math.IsNaN(want.Trailing) {
				t.Fatalf("trailing %g of %g", tr, want.Trailing)
			}
			if (d.Why == "") != (d.State == Follow) {
				t.Fatalf("state %s because %q", d.State, d.Why)
			}
			if d.State == Fallback && math.Abs(order+push-base) > 3+tol {
				t.Fatalf("fallback to %g, base map %g", order, base)
			}
			s.Ordered, last = d.Order, order
		}
	})
}

// Deciding allocates nothing while the law is followed, and nothing on the base map.
func TestGuardAllocates(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 5))
	b := newBench(t, nil, everywhere{12 * deg, 44 * deg})
	cycle := func() {
		b.reads(15 + 2.5*r.NormFloat64())
		b.decide(26)
	}
	for range 100 {
		cycle()
	}
	require.Zero(t, testing.AllocsPerRun(200, cycle))
	require.Equal(t, Follow, b.now.state)
	lost := func() {
		b.reads(math.NaN())
		b.decide(26)
	}
	for range 100 {
		lost()
	}
	require.Zero(t, testing.AllocsPerRun(200, lost))
	require.Equal(t, Fallback, b.now.state)
}

func BenchmarkGuard(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 6))
	x := newBench(b, nil, everywhere{12 * deg, 44 * deg})
	b.ReportAllocs()
	for b.Loop() {
		x.reads(15 + 2.5*r.NormFloat64())
		x.decide(26)
	}
}

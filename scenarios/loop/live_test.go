package loop

import (
	"context"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// watched is 40 cycles at one point through the plug, with a fixed base map, an integral
// law and no guard, every cycle solved directly.
func watched(t testing.TB) *Scenario {
	t.Helper()
	e, err := sameEngine()
	require.NoError(t, err)
	return watchedOf(e)
}

func watchedOf(e *model.Engine) *Scenario {
	s := Usual(e)
	s.Cycles, s.Exact = 40, true
	s.Base.Table = fixedBase
	s.Sensing.Reader = "maximum"
	s.Guard = control.GuardSettings{Off: true}
	return &s
}

var fixedBase = &control.Table{Speeds: []float64{1}, MAPs: []float64{1}, Spark: [][]float64{{22 * deg}}}

// watchedBench is what all scenarios at the point of watched share.
var watchedBench = sync.OnceValues(func() (*Bench, error) {
	e, err := sameEngine()
	if err != nil {
		return nil, err
	}
	return NewBench(context.Background(), watchedOf(e))
})

// ready makes a scenario at the point of watched ready.
func ready(t *testing.T, s *Scenario) *Bench {
	t.Helper()
	b, err := watchedBench()
	require.NoError(t, err)
	b, err = b.With(s)
	require.NoError(t, err)
	return b
}

// own makes s ready by itself.
func own(t *testing.T, s *Scenario) *Bench {
	t.Helper()
	b, err := NewBench(t.Context(), s)
	require.NoError(t, err)
	return b
}

// legsOf are legs like the first of s with offsets [deg], each from a cycle on.
func legsOf(s *Scenario, all ...[3]float64) []Leg {
	legs := []Leg{s.Legs[0]}
	for _, x := range all {
		l := s.Legs[0]
		l.Cycle, l.Manual, l.ManualTrailing = int(x[0]), x[1]*deg, x[2]*deg
		legs = append(legs, l)
	}
	return legs
}

// text tells all of x to the last bit; NaN is not equal to itself.
func text(x any) string { return fmt.Sprintf("%+v", x) }

// finish runs l to its end.
func finish(t *testing.T, l *Live) *Run {
	t.Helper()
	for {
		_, err := l.Next()
		if err == io.EOF {
			require.NoError(t, l.Close())
			return l.Run()
		}
		require.NoError(t, err)
	}
}

// requireSame wants the same runs, step for step and to the last bit.
func requireSame(t *testing.T, want, got *Run) {
	t.Helper()
	require.Len(t, got.Steps, len(want.Steps))
	for i := range want.Steps {
		require.Equal(t, text(want.Steps[i]), text(got.Steps[i]), "cycle %d", i)
	}
	require.Equal(t, text(want.Verdict()), text(got.Verdict()))
}

// moves are what is done to a live run before a cycle.
type moves map[int]func(l *Live) error

func turn(manual, trailing float64) func(*Live) error {
	return func(l *Live) error { return l.Hand(manual*deg, trailing*deg) }
}

func faults(all ...string) func(*Live) error {
	return func(l *Live) error {
		var list []sensor.Fault
		for _, text := range all {
			f, err := sensor.ParseFault(text)
			if err != nil {
				return err
			}
			list = append(list, f)
		}
		return l.Faults(list)
	}
}

func both(a, b func(*Live) error) func(*Live) error {
	return func(l *Live) error {
		if err := a(l); err != nil {
			return err
		}
		return b(l)
	}
}

// A live run that is moved is the run of a scenario that says the same beforehand. The
// latter are written by hand.
func TestLiveMoved(t *testing.T) {
	turnedAndIll := func(s *Scenario) {
		s.Legs = legsOf(s, [3]float64{10, 12, 0}, [3]float64{25, -5, 0})
		s.Sensing.Faults = []sensor.Fault{{Name: "plug-noise", From: 8, To: 20, Severity: 4}, {Name: "tdc-offset", From: 15, To: 30, Severity: 3}}
	}
	then := moves{
		8:  faults("plug-noise=4"),
		10: turn(12, 0),
		15: faults("plug-noise=4", "tdc-offset=3"),
		20: faults("tdc-offset=3"),
		25: turn(-5, 0),
		30: faults(),
	}
	asItIs := func(*Scenario) {}
	for _, c := range []struct {
		name   string
		ready  func(*testing.T, *Scenario) *Bench
		change func(s *Scenario) // of watched, before anything is moved
		moves  moves
		want   func(s *Scenario)
	}{
		{"no guard", ready, asItIs, then, turnedAndIll},
		{"guard", ready, func(s *Scenario) { s.Guard = control.GuardSettings{} }, then, turnedAndIll},
		{"surface, guard, average, delay", benchOf, func(s *Scenario) {
			*s = *plain(t, 0)
			s.Cycles, s.Legs, s.Guard, s.Sensing.Average, s.Actuator.Delay = 40, s.Legs[:1], control.GuardSettings{}, "median", 3
		}, then, turnedAndIll},
		{"from the first cycle to the last", ready, asItIs, moves{0: both(turn(-4, 0), faults("fouling=20")), 39: both(turn(7, 0), faults()), 40: both(turn(1, 0), faults("fouling"))}, func(s *Scenario) {
			s.Legs[0].Manual = -4 * deg
			s.Legs = append(s.Legs[:1], legsOf(s, [3]float64{39, 7, 0}, [3]float64{40, 1, 0})[1:]...)
			s.Sensing.Faults = []sensor.Fault{{Name: "fouling", From: 0, To: 39, Severity: 20}, {Name: "fouling", From: 40, To: -1, Severity: 10}}
		}},
		{"twice before a cycle, and back", ready, asItIs, moves{10: both(turn(20, 0), turn(3, 0)), 12: both(turn(5, 0), turn(3, 0)), 13: both(faults("dead-ion"), faults("fouling=30")), 14: turn(3, 0)}, func(s *Scenario) {
			s.Legs = legsOf(s, [3]float64{10, 3, 0}, [3]float64{12, 3, 0})
			s.Sensing.Faults = []sensor.Fault{{Name: "fouling", From: 13, To: -1, Severity: 30}}
		}},
		{"over legs and faults of its own", own, func(s *Scenario) { // which wander, come and go
			s.Legs = legsOf(s, [3]float64{6, 9, 0}, [3]float64{20, -9, 0}, [3]float64{30, 2, 0})
			s.Legs[2].Over, s.Legs[2].Target = 5, 20*deg
			s.Legs[3].Operating.MAP = 70e3
			s.Sensing.Faults = []sensor.Fault{{Name: "fouling", From: 2, To: 25, Severity: 20}, {Name: "plug-noise", From: 4, To: 30, Severity: 4}, {Name: "dead-ion", From: 35, To: -1, Severity: 1}}
		}, moves{12: both(turn(5, 0), faults("fouling=20")), 33: turn(-3, 0)}, func(s *Scenario) {
			s.Legs = legsOf(s, [3]float64{6, 9, 0}, [3]float64{12, 5, 0}, [3]float64{20, 5, 0}, [3]float64{30, 5, 0}, [3]float64{33, -3, 0})
			s.Legs[3].Over, s.Legs[3].Target = 5, 20*deg
			s.Legs[4].Operating.MAP, s.Legs[5].Operating.MAP = 70e3, 70e3
			s.Sensing.Faults = []sensor.Fault{{Name: "fouling", From: 2, To: -1, Severity: 20}, {Name: "plug-noise", From: 4, To: 12, Severity: 4}}
		}},
		{"filters and age of a transducer", ready, func(s *Scenario) { s.Sensing.Signal, s.Sensing.Reader = reader.Pressure, "smoothed" },
			moves{5: faults("drift=100"), 9: faults("drift=100", "amplifier-droop=20", "lag=800"), 20: faults("lag=800", "drift=100"), 30: faults("lag=800")}, func(s *Scenario) {
				s.Sensing.Faults = []sensor.Fault{{Name: "drift", From: 5, To: 30, Severity: 100}, {Name: "amplifier-droop", From: 9, To: 20, Severity: 20}, {Name: "lag", From: 9, To: -1, Severity: 800}}
			}},
		{"two plugs", own, func(s *Scenario) {
			e := *s.Engine
			e.Burn.Plugs, e.Burn.PlugX, e.Burn.SecondX, e.Point.Split = 2, 0.02, -0.02, 6*deg
			s.Engine, s.Legs[0].Operating.Split = &e, 6*deg
		}, moves{10: turn(5, 4), 20: both(turn(5, -3), faults("dead-trailing")), 30: turn(0, 0)}, func(s *Scenario) {
			s.Legs = legsOf(s, [3]float64{10, 5, 4}, [3]float64{20, 5, -3}, [3]float64{30, 0, 0})
			s.Sensing.Faults = []sensor.Fault{{Name: "dead-trailing", From: 20, To: -1, Severity: 1}}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := watched(t)
			c.change(s)
			b := c.ready(t, s)
			asItWas := text(s.Legs) + text(s.Sensing.Faults)
			l, err := b.Start(t.Context(), 3, nil)
			require.NoError(t, err)
			defer l.Close()
			for n := range s.Cycles + 1 {
				if move := c.moves[n]; move != nil {
					require.NoError(t, move(l), "cycle %d", n)
				}
				step, err := l.Next()
				if n == s.Cycles {
					require.ErrorIs(t, err, io.EOF)
					break
				}
				require.NoError(t, err)
				require.Equal(t, n, step.Cycle)
			}
			got := l.Run()
			assert.Equal(t, asItWas, text(s.Legs)+text(s.Sensing.Faults), "the scenario of the bench stays")

			said := *s
			said.Legs, said.Sensing.Faults = slices.Clone(s.Legs), nil
			c.want(&said)
			assert.Equal(t, text(said.Legs), text(got.Scenario.Legs), "what was moved is written down")
			assert.Equal(t, text(said.Sensing.Faults), text(got.Scenario.Sensing.Faults))
			other, err := b.With(&said)
			require.NoError(t, err)
			want, err := other.Run(t.Context(), 3, nil)
			require.NoError(t, err)
			requireSame(t, want, got)

			alone, err := b.Run(t.Context(), 3, nil)
			require.NoError(t, err)
			require.NotEqual(t, text(alone.Steps), text(got.Steps), "else the test tells nothing")
		})
	}
}

// What is refused says what and changes nothing.
func TestLiveRefuses(t *testing.T) {
	s := watched(t)
	s.Legs = legsOf(s, [3]float64{10, 4, 0})
	s.Legs[1].Over = 5
	b := ready(t, s)
	want, err := b.Run(t.Context(), 1, nil)
	require.NoError(t, err)
	l, err := b.Start(t.Context(), 1, nil)
	require.NoError(t, err)
	defer l.Close()
	refused := func(err error, key, part string) {
		t.Helper()
		var p *model.Problem
		require.ErrorAs(t, err, &p)
		assert.Equal(t, key, p.Key)
		assert.ErrorContains(t, err, part)
	}
	for n := range s.Cycles {
		switch {
		case n == 5:
			refused(l.Hand(90.1*deg, 0), "at[1].manual_offset_deg", "90.1: want -90 to 90 deg")
			refused(l.Hand(-91*deg, 0), "at[1].manual_offset_deg", "-90 to 90 deg")
			refused(l.Hand(math.NaN(), 0), "at[1].manual_offset_deg", "NaN")
			refused(l.Hand(0, math.NaN()), "at[1].manual_trailing_offset_deg", "NaN")
			refused(l.Hand(0, 2*deg), "at[1].manual_trailing_offset_deg", "one plug")
			for _, f := range []sensor.Fault{{Name: "nois"}, {Name: "plug-noise", Severity: 99}, {Name: "noise", Severity: 0.3}} {
				refused(l.Faults([]sensor.Fault{f}), "fault", f.Name)
			}
		case n >= 10 && n <= 15:
			refused(l.Hand(0, 0), "at[2].cycle", "more than 15, where the leg before is reached")
			refused(l.Hand(s.leg(n).Manual+deg, 0), "at[2].cycle", "more than 15")
		}
		_, err := l.Next()
		require.NoError(t, err)
	}
	got := l.Run()
	assert.Same(t, s, got.Scenario)
	requireSame(t, want, got)
}

// left waits until there are no more goroutines than so many.
func left(t *testing.T, most int) {
	t.Helper()
	for range 2000 {
		if runtime.NumGoroutine() <= most {
			return
		}
		time.Sleep(time.Millisecond)
	}
	require.Fail(t, "left", "%d goroutines, want %d", runtime.NumGoroutine(), most)
}

// However a run ends, Close gives back what it holds, and what it came to can be had.
func TestLiveCloses(t *testing.T) {
	b := ready(t, watched(t))
	want, err := b.Run(t.Context(), 1, nil)
	require.NoError(t, err)
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(context.Background())
	for _, cycles := range []int{0, 1, 7, 40, 41} {
		l, err := b.Start(ctx, 1, nil)
		require.NoError(t, err)
		for n := range cycles {
			_, err := l.Next()
			require.Equal(t, n == 40, err == io.EOF)
		}
		if cycles < 41 {
			assert.Greater(t, runtime.NumGoroutine(), before, "else the test tells nothing")
		}
		require.NoError(t, l.Close())
		require.NoError(t, l.Close())
		left(t, before)
		_, err = l.Next()
		if cycles == 41 {
			require.ErrorIs(t, err, io.EOF)
		} else {
			require.ErrorContains(t, err, "closed")
		}
		got := l.Run()
		require.Len(t, got.Steps, min(cycles, 40))
		for i := range got.Steps {
			require.Equal(t, text(want.Steps[i]), text(got.Steps[i]))
		}
	}

	l, err := b.Start(ctx, 1, nil)
	require.NoError(t, err)
	for range 5 {
		_, err := l.Next()
		require.NoError(t, err)
	}
	cancel()
	for range 2 {
		_, err := l.Next()
		require.ErrorIs(t, err, context.Canceled)
	}
	require.Len(t, l.Run().Steps, 5)
	require.NoError(t, l.Close())
	left(t, before)

	bad := watched(t)
	bad.Guard.Numbers = map[string]float64{"none": 1}
	_, err = ready(t, bad).Start(context.Background(), 1, nil)
	require.ErrorContains(t, err, "none")
	left(t, before)
}

// A law that is another program ends with the run: what it told, and why it was given
// up, is in it.
func TestLiveOutside(t *testing.T) {
	before := runtime.NumGoroutine()
	b := ready(t, outside(watched(t), python(t), "-c", `
import json, sys
json.loads(sys.stdin.readline())
print(json.dumps({"version": 1, "name": "gives up"}), flush=True)
sys.stdin.readline()
`))
	l, err := b.Start(t.Context(), 1, nil)
	require.NoError(t, err)
	require.Equal(t, "gives up", l.Run().Told)
	for range 3 {
		_, err := l.Next()
		require.NoError(t, err, "the run goes on without it")
	}
	require.NoError(t, l.Run().Failure, "not known yet")
	err = l.Close()
	require.ErrorIs(t, err, control.ErrOutside)
	require.Equal(t, err, l.Run().Failure)
	require.Equal(t, err, l.Close())
	left(t, before)
}

// What Run gives stays as it is, whoever reads it, while the run goes on.
func TestLiveRunStays(t *testing.T) {
	b := ready(t, watched(t))
	l, err := b.Start(t.Context(), 1, nil)
	require.NoError(t, err)
	defer l.Close()
	for range 20 {
		_, err := l.Next()
		require.NoError(t, err)
	}
	now := l.Run()
	is := text(now.Steps) + text(now.Verdict())
	done := make(chan bool)
	go func() {
		defer close(done)
		for range 20 {
			assert.Equal(t, is, text(now.Steps)+text(now.Verdict()))
		}
	}()
	require.NoError(t, l.Hand(5*deg, 0))
	end := finish(t, l)
	<-done
	require.Len(t, end.Steps, 40)
	require.Equal(t, is, text(now.Steps)+text(now.Verdict()))
	require.Len(t, now.Scenario.Legs, 1)
	require.Len(t, end.Scenario.Legs, 2)
}

// believing is the bench of the first of small, with an envelope that its guard asks for.
func believing(t *testing.T) *Bench {
	t.Helper()
	s := small(t)[0]
	b, err := NewBench(t.Context(), &s)
	require.NoError(t, err)
	s.Guard.Envelope = true
	b.Envelope, err = knowing().nodes.envelope(t.Context(), &s)
	require.NoError(t, err)
	return b
}

// A bench with another scenario runs as one made for it.
func TestBenchWith(t *testing.T) {
	b := believing(t)
	old := b.Scenario
	for name, change := range map[string]func(s *Scenario){
		"law, guard and cycles": func(s *Scenario) {
			s.Law.Name, s.Guard, s.Cycles = "proportional-integral", control.GuardSettings{Off: true}, 30
		},
		"hand, later target, fault": func(s *Scenario) {
			s.Legs[1].Manual, s.Legs[1].Target = -8*deg, 18*deg
			s.Sensing.Faults = []sensor.Fault{{Name: "noise", From: 5, To: 9, Severity: 1}}
		},
		"leg more":                func(s *Scenario) { s.Legs = append(s.Legs, s.Legs[1]); s.Legs[2].Cycle, s.Legs[2].Manual = 30, 0 },
		"knock sensor":            func(s *Scenario) { s.Sensing.Knock = true },
		"its own place to listen": func(s *Scenario) { s.Sensing.Knock, s.Actuator.Least, s.Actuator.Delay = true, 15*deg, 2 },
		"reader without envelope": func(s *Scenario) { s.Guard.Envelope, s.Sensing.Signal = false, reader.Ion },
		"target without envelope": func(s *Scenario) { s.Guard.Envelope, s.Legs[0].Target = false, 10*deg },
	} {
		t.Run(name, func(t *testing.T) {
			s := *old
			s.Legs = slices.Clone(old.Legs)
			change(&s)
			other, err := b.With(&s)
			require.NoError(t, err)
			assert.Same(t, old, b.Scenario, "b stays")
			assert.Same(t, b.Stream(), other.Stream())
			got, err := other.Run(t.Context(), 2, nil)
			require.NoError(t, err)

			plain := s
			plain.Guard.Envelope = false
			made, err := NewBench(t.Context(), &plain)
			require.NoError(t, err)
			made.Scenario = &s
			if s.Guard.Envelope {
				made.Envelope, err = knowing().nodes.envelope(t.Context(), &s)
				require.NoError(t, err)
			}
			want, err := made.Run(t.Context(), 2, nil)
			require.NoError(t, err)
			requireSame(t, want, got)
			assert.Equal(t, s.Guard.Envelope, !math.IsNaN(got.Steps[0].Safe.From))
		})
	}
}

// What does not fit is named.
func TestBenchWithRefuses(t *testing.T) {
	b := believing(t)
	sure := b.Scenario
	twin := *sure.Engine
	for key, change := range map[string]func(s *Scenario){
		"engine":                  func(s *Scenario) { s.Engine = &twin },
		"exact":                   func(s *Scenario) { s.Exact = false },
		"knobs":                   func(s *Scenario) { s.Knobs = &stream.Knobs{} },
		"base":                    func(s *Scenario) { s.Base.Retard = deg },
		"at":                      func(s *Scenario) { s.Legs[1].Operating.MAP *= 0.9 },
		"at[0].spark_deg_btdc":    func(s *Scenario) { s.Legs[0].Operating.Spark += deg },
		"at[0].target_deg_atdc":   func(s *Scenario) { s.Legs[0].Target += deg },
		"reader":                  func(s *Scenario) { s.Sensing.Settings = reader.Usual(reader.Ion) },
		"cycles":                  func(s *Scenario) { s.Cycles = 3 },
		"fault":                   func(s *Scenario) { s.Sensing.Faults = []sensor.Fault{{Name: "fouling", To: -1, Severity: 10}} },
		"at[1].manual_offset_deg": func(s *Scenario) { s.Legs[1].Manual = 100 * deg },
	} {
		s := *sure
		s.Legs = slices.Clone(sure.Legs)
		change(&s)
		_, err := b.With(&s)
		var p *model.Problem
		if assert.ErrorAs(t, err, &p, key) {
			assert.Equal(t, key, p.Key)
		}
	}
	plain := *sure
	plain.Guard.Envelope = false
	none, err := b.With(&plain)
	require.NoError(t, err)
	assert.Nil(t, none.Envelope)
	_, err = none.With(sure)
	require.ErrorContains(t, err, "the bench was made without one")
}

// BenchmarkLive is a cycle of a run that is already made ready: one that goes on by
// itself, and a live one.
func BenchmarkLive(b *testing.B) {
	s := watched(b)
	s.Cycles, s.Exact = 2000, false
	bench, err := NewBench(context.Background(), s)
	require.NoError(b, err)
	_, err = bench.Run(context.Background(), 1, nil)
	require.NoError(b, err)
	b.Run("run", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, err := bench.Run(context.Background(), 1, nil)
			require.NoError(b, err)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*s.Cycles), "ns/cycle")
	})
	b.Run("next", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			l, err := bench.Start(context.Background(), 1, nil)
			require.NoError(b, err)
			for range s.Cycles {
				_, err := l.Next()
				require.NoError(b, err)
			}
			require.NoError(b, l.Close())
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*s.Cycles), "ns/cycle")
	})
}

package sensor

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/stream"
)

func TestChannels(t *testing.T) {
	e, set := complete(t)
	for rate, want := range map[float64][]string{
		0:     {"pressure_bar", "ion_ua", "ion_trailing_ua", "tooth_us", "cam_us", "knock_v"},
		100e3: {"time_us", "pressure_bar", "ion_ua", "ion_trailing_ua", "wheel_v", "cam_v", "knock_v"},
	} {
		set.Sampling.RateHz = rate
		r, err := New(e, set, 1)
		require.NoError(t, err)
		var got []string
		var rec Record
		c := solved(t, e, partLoad)
		require.NoError(t, r.Take(c, &rec))
		for i, ch := range r.Channels() {
			got = append(got, ch.Name)
			if n := ch.Count(len(c.Theta)); n != 0 {
				require.Len(t, rec.Values[i], n)
			}
		}
		require.Equal(t, want, got)
	}
}

func TestBadSettings(t *testing.T) {
	e, whole := complete(t)
	nan := math.NaN()
	for part, change := range map[string]func(*Setup){
		"sampling.rate_hz = 10: want 1000 to 1e+07":         func(s *Setup) { s.Sampling.RateHz = 10 },
		"sampling.rate_hz = NaN":                            func(s *Setup) { s.Sampling.RateHz = nan },
		"pressure.noise_bar = -0.1: want 0 to 10":           func(s *Setup) { s.Pressure.Noise = -0.1 * bar },
		"pressure.lag_us = NaN":                             func(s *Setup) { s.Pressure.Lag = nan },
		"pressure.bits = 25: want 0 to 24":                  func(s *Setup) { s.Pressure.Bits = 25 },
		"pressure.high_bar = -10: want -9 to 2000":          func(s *Setup) { s.Pressure.High = s.Pressure.Low },
		"ion.spark_ms = 0: want 0.1 to 10":                  func(s *Setup) { s.Ion.Spark = 0 },
		"ion.ring_time_ms = 0: want 0.01 to 10":             func(s *Setup) { s.Ion.RingTime = 0 },
		"trailing.additive = 0: want 0.01 to 100":           func(s *Setup) { s.Trailing.Additive = 0 },
		"wheel.missing = 0: want 1 to 34":                   func(s *Setup) { s.Wheel.Missing = 0 },
		"knock.to_deg_atdc = -150: want -149 to 360":        func(s *Setup) { s.Knock.To = s.Knock.From },
		"knock.damping = 1: want 0.001 to 0.99":             func(s *Setup) { s.Knock.Damping = 1 },
		"fault = noise=99: want 0.001 to 5 bar":             func(s *Setup) { s.Faults = []Fault{{"noise", 0, -1, 99}} },
		"fault = noise=1@5-2: want cycles from 0":           func(s *Setup) { s.Faults = []Fault{{"noise", 5, 2, 1}} },
		"fault = fouling=10: want an instrument that is fi": func(s *Setup) { s.Faults, s.Ion = []Fault{{"fouling", 0, -1, 10}}, nil },
	} {
		set := whole
		a, b, c, d, k := *whole.Pressure, *whole.Ion, *whole.Trailing, *whole.Wheel, *whole.Knock
		set.Pressure, set.Ion, set.Trailing, set.Wheel, set.Knock = &a, &b, &c, &d, &k
		change(&set)
		_, err := New(e, set, 1)
		var p *model.Problem
		require.ErrorAs(t, err, &p, part)
		require.ErrorContains(t, err, part)
	}
	r, err := New(e, whole, 1)
	require.NoError(t, err)
	var rec Record
	require.ErrorContains(t, r.Take(&stream.Cycle{}, &rec), "0 angles")
	c := *solved(t, e, partLoad)
	c.Clock.Speed = nan
	require.ErrorContains(t, r.Take(&c, &rec), "speed NaN rad/s")
}

// Same seed, same bytes; other seeds differ; after Reset all comes again.
func TestSameSeedSameBytes(t *testing.T) {
	e, set := complete(t)
	c := knocking(t, 0)
	c.Clock.Ripple = 0.02
	set.Faults = bare(t, "lag", "amplifier-droop", "passage-resonance", "noise", "tooth-jitter", "extra-tooth").Faults
	for _, rate := range []float64{0, 77e3} {
		set.Sampling.RateHz = rate
		run := func(r *Rig) (all []map[string][]float64) {
			for n := range 4 {
				c.Number = n
				var rec Record
				require.NoError(t, r.Take(c, &rec))
				all = append(all, named(r, &rec))
			}
			return all
		}
		a, err := New(e, set, 7)
		require.NoError(t, err)
		b, err := New(e, set, 7)
		require.NoError(t, err)
		other, err := New(e, set, 8)
		require.NoError(t, err)
		first := run(a)
		require.Equal(t, first, run(b))
		a.Reset()
		require.Equal(t, first, run(a))
		require.NotEqual(t, first, run(other))
		require.NotEqual(t, first[1]["pressure_bar"], first[2]["pressure_bar"])
	}
}

// Without filters a cycle is the same whatever came before it.
func TestNoMemoryWithoutFilters(t *testing.T) {
	e, set := complete(t)
	*set.Pressure = Transducer{Noise: 0.1 * bar}
	set.Ion.Lag, set.Trailing.Lag = 0, 0
	c, d := solved(t, e, partLoad), solved(t, e, idle)
	c.Number, d.Number = 5, 4
	a, err := New(e, set, 7)
	require.NoError(t, err)
	b, err := New(e, set, 7)
	require.NoError(t, err)
	var x, y Record
	require.NoError(t, a.Take(c, &x))
	require.NoError(t, b.Take(d, &y))
	require.NoError(t, b.Take(c, &y))
	require.Equal(t, x, y)
}

// In time base, cycles of different speeds make one stream without a gap: sample
// times lie 1/rate apart throughout (float32 of 0.1 s: 8 ns) and begin and end with
// the cycle; a perfect transducer lies between the neighbours of each (by 1e-4 of
// the peak below, and 1e-3 above, where the crest lies between two samples).
func TestGapless(t *testing.T) {
	e := pumpSet(t)
	const rate = 60e3
	set := bare(t)
	set.Sampling.RateHz = rate
	r, err := New(e, set, 1)
	require.NoError(t, err)
	began, last := 0., -1.
	for n, rpm := range []float64{2000, 2037, 1200, 5011} {
		c := solved(t, e, at{2000, 98, 1, 18})
		c.Clock.Speed, c.Clock.Ripple = rpm*math.Pi/30, 0.03
		c.Number = n
		var rec Record
		require.NoError(t, r.Take(c, &rec))
		x := named(r, &rec)
		period := c.Clock.Time(2 * math.Pi)
		for i, us := range x["time_us"] {
			now := began + us*usec
			if last >= 0 {
				require.InDelta(t, 1/rate, now-last, 1.6e-8)
			}
			last = now
			require.True(t, us >= 0 && us*usec < period)
			k := int(math.Floor((c.Clock.Angle(us*usec) - c.Theta[0]) / deg))
			if k >= 1 && k < 718 {
				low, high := c.Pressure[k], c.Pressure[k+1]
				require.True(t, x["pressure_bar"][i]*bar > math.Min(low, high)-1e-4*c.Peak && x["pressure_bar"][i]*bar < math.Max(low, high)+1e-3*c.Peak)
			}
		}
		began += period
	}
}

// What one instrument draws does not depend on which others are fitted.
func TestInstrumentsAreApart(t *testing.T) {
	e, set := complete(t)
	c := knocking(t, 0)
	all := take(t, e, set, c)
	require.Equal(t, all["pressure_bar"], take(t, e, Setup{Pressure: set.Pressure}, c)["pressure_bar"])
	require.Equal(t, all["ion_ua"], take(t, e, Setup{Ion: set.Ion}, c)["ion_ua"])
	require.Equal(t, all["ion_trailing_ua"], take(t, e, Setup{Trailing: set.Trailing}, c)["ion_trailing_ua"])
	require.Equal(t, all["tooth_us"], take(t, e, Setup{Wheel: set.Wheel}, c)["tooth_us"])
	require.Equal(t, all["knock_v"], take(t, e, Setup{Knock: set.Knock}, c)["knock_v"])
}

func TestTakeAllocatesNothing(t *testing.T) {
	e, set := complete(t)
	for _, k := range Kinds() {
		if !strings.HasPrefix(k.Name, "dead-") {
			set.Faults = append(set.Faults, Fault{k.Name, 0, -1, k.Typical})
		}
	}
	c := knocking(t, 0)
	for _, rate := range []float64{0, 100e3} {
		set.Sampling.RateHz = rate
		r, err := New(e, set, 1)
		require.NoError(t, err)
		var rec Record
		more := func() {
			if err := r.Take(c, &rec); err != nil {
				t.Fatal(err)
			}
			c.Number++
		}
		more()
		require.Zero(t, testing.AllocsPerRun(100, more))
	}
}

func benchmark(b *testing.B, set Setup) {
	e := pumpSet(b)
	c := solved(b, e, partLoad)
	c.Clock.Ripple = 0.015
	r, err := New(e, set, 1)
	require.NoError(b, err)
	var rec Record
	b.ReportAllocs()
	for b.Loop() {
		if err := r.Take(c, &rec); err != nil {
			b.Fatal(err)
		}
		c.Number++
	}
}

func BenchmarkPressureAndIon(b *testing.B) {
	benchmark(b, Setup{Pressure: UsualTransducer(), Ion: UsualIon()})
}

func BenchmarkUsual(b *testing.B) { benchmark(b, Usual(pumpSet(b))) }

func BenchmarkTimeBase100kHz(b *testing.B) {
	set := Usual(pumpSet(b))
	set.Sampling.RateHz, set.Knock = 100e3, UsualAccelerometer()
	benchmark(b, set)
}

package loop

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// back writes s, reads it back and wants the same, every number exactly.
func back(t require.TestingT, s *Scenario, named string) string {
	var b bytes.Buffer
	if named == "" {
		require.NoError(t, Write(&b, s))
	} else {
		require.NoError(t, WriteNamed(&b, s, named))
	}
	again, err := Parse("again.toml", b.Bytes())
	require.NoError(t, err, "%s", b.String())
	require.Equal(t, still(*s), still(*again), "%s", b.String())
	return b.String()
}

func TestWriteExamples(t *testing.T) {
	for _, name := range model.Names() {
		e, err := model.Load(name)
		require.NoError(t, err)
		s := Usual(e)
		text := back(t, &s, "")
		require.True(t, strings.HasPrefix(text, "# "+record.Caution+"\n"))
		require.Contains(t, text, "\nengine = '"+name+"'")
		require.NotRegexp(t, `(spark|target|retard)_deg\w* = [0-9.]{6}`, text)
	}
	files, err := filepath.Glob(filepath.Join(examples, "*.toml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 3)
	for _, file := range files {
		s, err := Load(file)
		require.NoError(t, err)
		text := back(t, s, "")
		// What was typed is written as it was typed; the usual earliest spark and end of
		// the window are constants that no product of two float64 is.
		require.NotRegexp(t, `[0-9.]{14}`, regexp.MustCompile(`(most_deg_btdc|window_to_deg).*`).ReplaceAllString(text, ""))
	}
}

// drawn is a scenario with every number anywhere in its range, and all kinds of
// choices.
func drawn(t *rapid.T, plugs float64) *Scenario {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	if plugs == 2 {
		e.Burn.Plugs, e.Burn.SecondX, e.Point.Split = 2, -0.02, 5*deg
	}
	f := func(low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, "number") }
	n := func(low, high int) int { return rapid.IntRange(low, high).Draw(t, "whole") }
	yes := func() bool { return rapid.Bool().Draw(t, "flag") }
	text := func() string { return rapid.String().Draw(t, "text") }
	s := Usual(e)
	s.Name, s.Cycles, s.Exact = text(), n(10, 1_000_000), yes()
	spark := f(-20, 60) * deg
	cycle := 0
	s.Legs = nil
	for i := range n(1, 4) {
		l := Leg{Cycle: cycle, Target: f(-19, 59) * deg, Manual: f(-89, 89) * deg, HoldTorque: math.NaN(), Operating: model.Operating{
			Speed: f(100, 800), MAP: f(20e3, 200e3), Lambda: f(0.6, 2), Spark: spark, Intake: f(230, 500), Exhaust: f(30e3, 200e3),
			Humidity: f(0, 0.05), WallShift: f(-100, 200), OctaneShift: f(-40, 39)}}
		if i > 0 {
			l.Over = n(0, 100)
		}
		if yes() {
			l.HoldTorque = f(0.01, 1000)
		}
		if plugs == 2 {
			l.Operating.Split, l.ManualTrailing = f(-20, 20)*deg, f(-89, 89)*deg
		}
		s.Legs = append(s.Legs, l)
		cycle += l.Over + n(1, 1000)
	}
	s.Actuator = Actuator{Delay: n(1, 20), Step: f(0, 4.9) * deg, Least: f(-60, 0) * deg, Most: f(1, 90) * deg, Dwell: f(0, 19e-3), Think: f(0, 19e-3), Apart: plugs == 2 && yes()}
	s.Sensing = Sensing{Signal: reader.Ion, Reader: "tracker", Over: n(1, 1000), Pressure: yes(), Knock: yes()}
	if yes() {
		s.Sensing.Signal, s.Sensing.Reader = reader.Pressure, "mirror"
	}
	if yes() {
		s.Sensing.Settings = &reader.Settings{From: f(-100, 0) * deg, To: f(2, 100) * deg, Blank: f(0, 0.019), Smooth: f(0.2, 29) * deg, Least: f(0, 100), Exponent: f(1.1, 1.45), Share: f(0.5, 0.99)}
	}
	if yes() {
		s.Sensing.Average = rapid.SampledFrom(reader.CombinerNames()).Draw(t, "average")
	}
	for range n(0, 2) {
		fault := sensor.Fault{Name: "tdc-offset", From: n(0, 100), To: -1, Severity: f(-20, 20)}
		if yes() {
			fault.To = fault.From + n(1, 100)
		}
		s.Sensing.Faults = append(s.Sensing.Faults, fault)
	}
	s.Law = Law{Name: "integral", Mode: rapid.SampledFrom([]Mode{Free, RetardOnly, AdviseOnly}).Draw(t, "mode")}
	switch n(0, 3) {
	case 0:
		s.Law.Numbers = map[string]float64{"gain": f(0, 2), "deadband_deg": f(0, 20)}
	case 1:
		s.Sensing.Knock = true
		s.Law.Knock, s.Law.KnockOf = "knock-retard", map[string]float64{"threshold": f(1.1, 50)}
	case 2:
		s.Law.Name, s.Law.Program, s.Law.Binary, s.Law.Samples = Outside, []string{"a", text()}, yes(), yes()
		s.Law.Limit = time.Duration(n(int(time.Millisecond), int(time.Minute)))
	}
	s.Guard = control.GuardSettings{Off: yes(), Envelope: yes()}
	if yes() {
		s.Guard.Numbers = map[string]float64{"home_deg": f(0.1, 60), "patience_cycles": float64(n(0, 1000))}
	}
	s.Base = Base{Retard: f(-19, 39) * deg}
	if yes() {
		s.Base = Base{Table: &control.Table{Speeds: []float64{f(50, 100), f(101, 300)}, MAPs: []float64{f(20e3, 50e3)}, Spark: [][]float64{{f(-20, 60) * deg}, {f(-20, 60) * deg}}}}
	}
	s.Ceiling = Ceiling{f(0, 999e5), f(0, 999e5)}
	if yes() {
		s.Knobs = &stream.Knobs{}
		for _, k := range stream.Table {
			*k.At(s.Knobs) = f(k.Low, k.High)
		}
	}
	return &s
}

// Whatever the numbers, what is written reads back as the same, to the last bit.
func TestWriteExactly(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { back(rt, drawn(rt, 1), "") })

	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Burn.Plugs, e.Burn.SecondX, e.Point.Split = 2, -0.02, 5*deg
	path := filepath.Join(t.TempDir(), "twin.toml")
	require.NoError(t, os.WriteFile(path, e.TOML(), 0o644))
	twin, err := model.Load(path)
	require.NoError(t, err)
	rapid.Check(t, func(rt *rapid.T) {
		s := drawn(rt, 2)
		s.Engine = twin
		back(rt, s, path)
	})
}

// Numbers of few digits stay so, and others have as many as it takes: of the float64
// within a decade of any unit all come back.
func TestDecimal(t *testing.T) {
	for _, c := range []struct {
		v, scale float64
		want     string
	}{
		{15, deg, "15.0"}, {0.1, deg, "0.1"}, {2200, rpm, "2200.0"}, {80.3, 1e3, "80.3"}, {1e-7, 1, "1e-07"}, {-3.25, 1e5, "-3.25"}, {0, deg, "0.0"},
	} {
		require.Equal(t, c.want, decimal(c.v*c.scale, c.scale))
	}
	long := 0
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.Float64().Draw(rt, "v")
		for _, scale := range []float64{deg, rpm, 1e3, 1e-3, 1e5, 1} {
			text := decimal(v*scale, scale)
			got, ok := parsed(text, scale)
			if math.IsInf(v*scale, 0) {
				continue
			}
			require.True(rt, ok)
			require.Equal(rt, v*scale, got, text)
		}
	})
	for v := 1.; v < 10; v += 0.01 {
		for _, scale := range []float64{deg, rpm} {
			text := decimal(v, scale)
			got, ok := parsed(text, scale)
			require.True(t, ok)
			require.Equal(t, v, got, text)
			if len(text) > 24 {
				long++
			}
		}
	}
	require.Positive(t, long, "some have no float64 that gives them")
}

// What Write does not write has no effect, and what is not in order is refused.
func TestWriteLeavesOut(t *testing.T) {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	s := Usual(e)
	s.Legs = append(s.Legs, s.Legs[0])
	s.Legs[1].Cycle, s.Legs[1].Operating.Spark = 10, 5*deg
	s.Law.Program, s.Law.Limit = []string{"x"}, time.Second
	s.Base.Table = &control.Table{Speeds: []float64{100}, MAPs: []float64{50e3}, Spark: [][]float64{{0.3}}}
	var b bytes.Buffer
	require.NoError(t, Write(&b, &s))
	again, err := Parse("again.toml", b.Bytes())
	require.NoError(t, err)
	s.Legs[1].Operating.Spark = s.Legs[0].Operating.Spark
	s.Law.Program, s.Law.Limit, s.Base.Retard = nil, 0, 0
	require.Equal(t, still(s), still(*again))

	var p *model.Problem
	s.Ceiling.Peak = math.NaN()
	require.ErrorAs(t, Write(&b, &s), &p)
	require.Equal(t, "ceiling.peak_bar", p.Key)
	s.Ceiling.Peak = 0
	s.Sensing.Reader = "nobody"
	require.ErrorAs(t, Write(&b, &s), &p)
	require.Equal(t, "reader.name", p.Key)
	s.Sensing.Reader = "tracker"
	other := *e
	other.Point.MAP = 50e3
	s.Engine = &other
	require.ErrorAs(t, Write(&b, &s), &p)
	require.Equal(t, "engine", p.Key)
}

// Whatever is read is written and read back as the same; what is not has its place.
func FuzzScenario(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(examples, "*.toml"))
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("at = [{}, {cycle = 3, humidity_g_kg = 5.00000000000000001e0}]\nname = \"\\u007f\\n\"\n[law]\nname = \"outside\"\ntcp = \"localhost:4000\"\nlimit_ms = 1.5\n"))
	f.Add([]byte("[base]\nspeeds_rpm = [1e3, 2e3]\nmaps_kpa = [60]\nspark_deg_btdc = [[20.1], [21]]\n[[fault]]\nname = \"fouling\"\n[knobs]\n"))
	f.Add([]byte("a.b.c = 1\n[a.b]\nd = [1, {x = 2}]\n[[at]]\n[at.x]\n[[at.y]]\n[[fault]]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Parse("fuzz.toml", data)
		if err != nil {
			require.ErrorIs(t, err, ErrScenario)
			for _, line := range strings.Split(err.Error(), "\n") {
				require.Regexp(t, `^(fuzz|[^:]*)\.toml:[0-9]+:[0-9]+: `, line)
			}
			return
		}
		var b bytes.Buffer
		if err := WriteNamed(&b, s, s.Engine.Name); err != nil {
			t.Fatalf("cannot write what was read: %v", err)
		}
		again, err := Parse("again.toml", b.Bytes())
		if err != nil {
			t.Fatalf("cannot read back what was written: %v\n%s", err, b.String())
		}
		require.Equal(t, still(*s), still(*again), "%s", b.String())
	})
}

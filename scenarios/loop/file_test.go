package loop

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// examples are the scenario files that go with the tree.
const examples = "../../testdata/scenarios"

// still is s without NaN, which equals nothing.
func still(s Scenario) Scenario {
	s.Legs = append([]Leg(nil), s.Legs...)
	for i := range s.Legs {
		if math.IsNaN(s.Legs[i].HoldTorque) {
			s.Legs[i].HoldTorque = -1 // what no file can say
		}
	}
	return s
}

func parse(t *testing.T, text string) *Scenario {
	t.Helper()
	s, err := Parse("x.toml", []byte(text))
	require.NoError(t, err)
	return s
}

// The usual scenario, against what its documentation says; an empty file is one.
func TestUsual(t *testing.T) {
	for _, name := range model.Names() {
		e, err := model.Load(name)
		require.NoError(t, err)
		s := Usual(e)
		require.NoError(t, s.Check())
		require.Empty(t, s.problems())
	}
	s := parse(t, "")
	require.Equal(t, still(Usual(s.Engine)), still(*s))
	require.Equal(t, "pump-set", s.Engine.Name)
	require.Equal(t, 600, s.Cycles)
	require.Len(t, s.Legs, 1)
	op, rounding := s.Engine.Point, 1e-15
	require.InDelta(t, op.Spark-10*deg, s.Legs[0].Operating.Spark, rounding)
	op.Spark = s.Legs[0].Operating.Spark
	require.Equal(t, op, s.Legs[0].Operating)
	require.InDelta(t, 15*deg, s.Legs[0].Target, rounding)
	require.True(t, math.IsNaN(s.Legs[0].HoldTorque))
	require.Equal(t, UsualActuator(), s.Actuator)
	require.Equal(t, Sensing{Signal: reader.Ion, Reader: "tracker", Over: 20}, s.Sensing)
	require.Equal(t, Law{Name: "integral", Mode: Free}, s.Law)
	require.Equal(t, control.GuardSettings{Envelope: true}, s.Guard)
	require.Nil(t, s.Base.Table)
	require.InDelta(t, 3*deg, s.Base.Retard, rounding)
	require.Equal(t, Ceiling{}, s.Ceiling)
	require.Nil(t, s.Knobs)
	require.False(t, s.Exact)

	s = parse(t, "[reader]\nsignal = \"pressure\"\n[law]\nname = \"outside\"\ntcp = \"127.0.0.1:4000\"")
	require.Equal(t, "smoothed", s.Sensing.Reader)
	require.Equal(t, 100*time.Millisecond, s.Law.Limit)
}

// What a file says, in the units of its keys, by hand.
func TestParse(t *testing.T) {
	s := parse(t, `
name = "all"
cycles = 50
exact = true
[[at]]
speed_rpm = 1500
map_kpa = 60.5
lambda = 0.9
spark_deg_btdc = 17
exhaust_kpa = 104
intake_k = 310
humidity_g_kg = 12
wall_shift_k = -20
octane_shift = 3
target_deg_atdc = 14
manual_offset_deg = -4
hold_torque_nm = 12.5
[[at]]
cycle = 20
over_cycles = 5
map_kpa = 70
hold_torque_nm = 0
[[at]]
cycle = 26
hold_torque_nm = "none"
[actuator]
delay_cycles = 2
step_deg = 0.25
least_deg_btdc = -8
most_deg_btdc = 50
dwell_ms = 2
think_ms = 1.5
plugs = "together"
[reader]
signal = "pressure"
name = "parabola"
window_from_deg = -10
window_to_deg = 50
blank_ms = 1
smooth_deg = 4
least = 6
exponent = 1.32
share = 0.8
average = "median"
over_cycles = 9
pressure = true
knock = true
[law]
name = "outside"
mode = "retard-only"
program = ["python3", "x.py"]
framing = "binary"
sees = "samples"
limit_ms = 12.5
[guard]
on = false
envelope = false
patience_cycles = 7
slew_deg = 1.5
[base]
speeds_rpm = [1000, 2000]
maps_kpa = [50, 90]
spark_deg_btdc = [[25, 15], [30, 20]]
[ceiling]
peak_bar = 70
knock_bar = 1.5
[knobs]
development = 0.1
rapid-burn = 0.05
link = -0.4
mixture = 0.01
charge = 0.01
residual = 0.05
misfire = 0.001
speed = 0.002
drift = 0.003
ripple = 0.02
end-gas = 0.06
knock = 0.5
background = 0.3
[[fault]]
name = "offset"
[[fault]]
name = "noise"
severity = 0.2
from_cycle = 5
to_cycle = 9
`)
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	rounding := 1e-12
	first := s.Legs[0].Operating
	require.InDeltaSlice(t, []float64{1500 * math.Pi / 30, 60.5e3, 0.9, 17 * math.Pi / 180, 310, 104e3, 0.012, -20, 3},
		[]float64{first.Speed, first.MAP, first.Lambda, first.Spark, first.Intake, first.Exhaust, first.Humidity, first.WallShift, first.OctaneShift}, 1e-9)
	require.InDelta(t, 14*math.Pi/180, s.Legs[0].Target, rounding)
	require.InDelta(t, -4*math.Pi/180, s.Legs[0].Manual, rounding)
	require.Equal(t, 12.5, s.Legs[0].HoldTorque)

	second, third := s.Legs[0], s.Legs[0]
	second.Cycle, second.Over, second.Operating.MAP, second.HoldTorque = 20, 5, 70e3, math.NaN()
	third.Cycle, third.Operating.MAP, third.HoldTorque = 26, 70e3, math.NaN()
	require.Equal(t, still(Scenario{Legs: []Leg{s.Legs[0], second, third}}).Legs, still(*s).Legs)

	require.Equal(t, [2]int{2, 0}, [2]int{s.Actuator.Delay, len(s.Law.Numbers)})
	require.InDeltaSlice(t, []float64{0.25 * deg, -8 * deg, 50 * deg, 2e-3, 1.5e-3}, []float64{s.Actuator.Step, s.Actuator.Least, s.Actuator.Most, s.Actuator.Dwell, s.Actuator.Think}, rounding)
	require.False(t, s.Actuator.Apart)

	set := s.Sensing.Settings
	require.InDeltaSlice(t, []float64{-10 * deg, 50 * deg, 1e-3, 4 * deg, 6, 1.32, 0.8}, []float64{set.From, set.To, set.Blank, set.Smooth, set.Least, set.Exponent, set.Share}, rounding)
	seen := s.Sensing
	seen.Settings = nil
	require.Equal(t, Sensing{Signal: reader.Pressure, Reader: "parabola", Average: "median", Over: 9, Pressure: true, Knock: true,
		// 2 bar is the typical offset.
		Faults: []sensor.Fault{{Name: "offset", From: 0, To: -1, Severity: 2}, {Name: "noise", From: 5, To: 9, Severity: 0.2}}}, seen)
	require.Equal(t, Law{Name: Outside, Mode: RetardOnly, Program: []string{"python3", "x.py"}, Binary: true, Samples: true, Limit: 12500 * time.Microsecond}, s.Law)
	require.Equal(t, control.GuardSettings{Off: true, Numbers: map[string]float64{"patience_cycles": 7, "slew_deg": 1.5}}, s.Guard)
	require.InDelta(t, 17.5*deg, s.Base.Table.At(1000*rpm, 80e3), rounding, "25 to 15 deg over 40 kPa")
	require.InDelta(t, 22.5*deg, s.Base.Table.At(1500*rpm, 70e3), rounding, "mean of the four")
	require.Equal(t, Ceiling{70e5, 1.5e5}, s.Ceiling)
	require.Equal(t, stream.Knobs{Development: 0.1, Rapid: 0.05, Link: -0.4, Mixture: 0.01, Charge: 0.01, Residual: 0.05, Misfire: 0.001,
		Speed: 0.002, Drift: 0.003, Ripple: 0.02, EndGas: 0.06, Knock: 0.5, Background: 0.3}, *s.Knobs)
	require.Equal(t, e, s.Engine)
	require.Equal(t, []any{"all", 50, true}, []any{s.Name, s.Cycles, s.Exact})
}

// The same in other spellings of TOML.
func TestSpellings(t *testing.T) {
	want := still(*parse(t, "[[at]]\nmap_kpa = 60\n[[at]]\ncycle = 10\nmap_kpa = 70\n[law]\nname = \"integral\"\ngain = 0.2\n[guard]\nslew_deg = 1\n"))
	require.Equal(t, map[string]float64{"gain": 0.2}, want.Law.Numbers)
	require.Equal(t, want, still(*parse(t, "at = [{map_kpa = 6e1}, {cycle = 0xA, map_kpa = 7_0.0}]\nlaw.gain = 0.2\n'guard' = {slew_deg = 1}\n")))
}

// An engine file is looked for beside the scenario.
func TestEngineFile(t *testing.T) {
	dir := t.TempDir()
	e, err := model.Load("small-196")
	require.NoError(t, err)
	e.Name = "spare"
	require.NoError(t, os.Mkdir(filepath.Join(dir, "engines"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "engines", "spare.toml"), e.TOML(), 0o644))
	path := filepath.Join(dir, "s.toml")
	require.NoError(t, os.WriteFile(path, []byte("engine = \"engines/spare.toml\"\n"), 0o644))
	s, err := Load(path)
	require.NoError(t, err)
	require.Equal(t, "spare", s.Engine.Name)

	require.ErrorContains(t, Write(new(strings.Builder), s), `engine = "spare": want an embedded engine as it is`)
	var b strings.Builder
	require.NoError(t, WriteNamed(&b, s, "engines/spare.toml"))
	again, err := Parse(path, []byte(b.String()))
	require.NoError(t, err)
	require.Equal(t, still(*s), still(*again))

	_, err = Load(filepath.Join(dir, "none.toml"))
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "engines", "spare.toml"), []byte("name = 7\n"), 0o644))
	_, err = Load(path)
	require.ErrorIs(t, err, ErrScenario)
	require.ErrorContains(t, err, `s.toml:1:1: engine = "engines/spare.toml": want an engine file: `)
	require.ErrorContains(t, err, "spare.toml:1:1: name = 7: want a text in quotes")
}

// Every refusal has its place, value and what is allowed.
func TestRefusals(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"not TOML", "[reader", `x.toml:1:7: `},
		{"twice", "cycles = 20\ncycles = 30", `x.toml:2:`},
		{"unknown key", "cycels = 20", `x.toml:1:1: cycels = 20: want no such key, but one of engine, name, cycles, exact, [[at]], `},
		{"unknown key of a table", "[reader]\n nam = \"x\"", `x.toml:2:2: reader.nam = "x": want no such key, but one of signal, name, `},
		{"unknown table", "[readr]\nname = \"x\"", `x.toml:1:2: readr = (a table): want no such key, but one of `},
		{"a table for a list of tables", "[at]\nmap_kpa = 60", `x.toml:1:2: at = (a table): want no such key, but one of `},
		{"a list of tables for a table", "[[law]]\ngain = 1", `x.toml:1:3: law[0] = (a table): want no such key`},
		{"a value for a table", "law = 5", `x.toml:1:1: law = 5: want no such key, but one of `},
		{"a table for a value", "[name]", `x.toml:1:2: name = (a table): want no such key`},
		{"dots within quotes", `"law.gain" = 0.1`, `x.toml:1:1: "law.gain" = 0.1: want no such key`},
		{"no text", "name = 5", `x.toml:1:1: name = 5: want a text in quotes`},
		{"no engine", "engine = \"diesel\"", `x.toml:1:1: engine = "diesel": want one of pump-set, research-high-ratio, rotary-set, small-196, or a file .toml beside this one`},
		{"no engine file", "engine = \"no.toml\"", `x.toml:1:1: engine = "no.toml": want an engine file: `},
		{"an engine that is no text", "engine = 5", `x.toml:1:1: engine = 5: want a text in quotes`},
		{"half a cycle", "cycles = 20.5", `x.toml:1:1: cycles = 20.5: want a whole number`},
		{"few cycles", "cycles = 9", `x.toml:1:1: cycles = 9: want 10 to 1000000`},
		{"no flag", "exact = 1", `x.toml:1:1: exact = 1: want true or false`},

		{"row at another cycle", "[[at]]\ncycle = 5", `x.toml:2:1: at[0].cycle = 5: want 0 in the first row`},
		{"row in a while", "[[at]]\nover_cycles = 5", `x.toml:2:1: at[0].over_cycles = 5: want 0 in the first row`},
		{"row without cycle", "[[at]]\n[[at]]\nmap_kpa = 60", `x.toml:2:3: at[1].cycle is missing: want more than 0`},
		{"row too early", "[[at]]\n[[at]]\ncycle = 10\nover_cycles = 5\n[[at]]\ncycle = 15", `x.toml:6:1: at[2].cycle = 15: want more than 15, where the leg before is reached`},
		{"row far away", "[[at]]\n[[at]]\ncycle = 9223372036854775807", `x.toml:3:1: at[1].cycle = 9223372036854775807: want at most 1000000`},
		{"row that takes less than no time", "[[at]]\n[[at]]\ncycle = 10\nover_cycles = -1", `x.toml:4:1: at[1].over_cycles = -1: want 0 to 1000000`},
		{"spark of a later row", "[[at]]\n[[at]]\ncycle = 10\nspark_deg_btdc = 20", `x.toml:4:1: at[1].spark_deg_btdc = 20: want no such key but in the first row`},
		{"speed", "[[at]]\nspeed_rpm = 0", `x.toml:2:1: at[0].speed_rpm = 0: want 20 to 30000 rpm`},
		{"pressure NaN", "[[at]]\nmap_kpa = nan", `x.toml:2:1: at[0].map_kpa = nan: want 5 to 500 kPa`},
		{"lambda", "[[at]]\nlambda = 3", `x.toml:2:1: at[0].lambda = 3: want 0.6 to 2`},
		{"spark", "[[at]]\nspark_deg_btdc = 140", `x.toml:2:1: at[0].spark_deg_btdc = 140: want a spark between`},
		{"split of one plug", "[[at]]\ntrailing_split_deg = 5", `x.toml:2:1: at[0].trailing_split_deg = 5: want no such key with an engine with one plug`},
		{"exhaust", "[[at]]\nexhaust_kpa = 1", `x.toml:2:1: at[0].exhaust_kpa = 1: want 20 to 500 kPa`},
		{"intake", "[[at]]\nintake_k = 20", `x.toml:2:1: at[0].intake_k = 20: want 230 to 500 K`},
		{"humidity of a later row", "[[at]]\n[[at]]\ncycle = 10\nhumidity_g_kg = 51", `x.toml:4:1: at[1].humidity_g_kg = 51: want 0 to 50 g/kg`},
		{"walls", "[[at]]\nwall_shift_k = 201", `x.toml:2:1: at[0].wall_shift_k = 201: want -100 to 200 K`},
		{"octane", "[[at]]\noctane_shift = \"low\"", `x.toml:2:1: at[0].octane_shift = "low": want a number`},
		{"target", "[[at]]\ntarget_deg_atdc = 61", `x.toml:2:1: at[0].target_deg_atdc = 61: want -20 to 60 deg`},
		{"hand", "[[at]]\nmanual_offset_deg = inf", `x.toml:2:1: at[0].manual_offset_deg = inf: want -90 to 90 deg`},
		{"hand at one plug", "[[at]]\nmanual_trailing_offset_deg = 5", `x.toml:2:1: at[0].manual_trailing_offset_deg = 5: want no such key with an engine with one plug`},
		{"torque less than none", "[[at]]\nhold_torque_nm = -1", `x.toml:2:1: at[0].hold_torque_nm = -1: want more than 0; 0 or "none": the throttle stays`},
		{"torque NaN", "[[at]]\nhold_torque_nm = nan", `x.toml:2:1: at[0].hold_torque_nm = nan: want more than 0`},
		{"torque in words", "[[at]]\nhold_torque_nm = \"all\"", `x.toml:2:1: at[0].hold_torque_nm = "all": want more than 0`},

		{"delay", "[actuator]\ndelay_cycles = 0", `x.toml:2:1: actuator.delay_cycles = 0: want 1 to 20`},
		{"step", "[actuator]\nstep_deg = -1", `x.toml:2:1: actuator.step_deg = -1: want 0 to 5 deg`},
		{"least", "[actuator]\nleast_deg_btdc = -140", `x.toml:2:1: actuator.least_deg_btdc = -140: want a spark between intake closing and exhaust opening`},
		{"most", "[actuator]\nmost_deg_btdc = -20", `x.toml:2:1: actuator.most_deg_btdc = -20: want more than actuator.least_deg_btdc`},
		{"dwell", "[actuator]\ndwell_ms = 21", `x.toml:2:1: actuator.dwell_ms = 21: want 0 to 20 ms`},
		{"think", "[actuator]\nthink_ms = nan", `x.toml:2:1: actuator.think_ms = nan: want 0 to 20 ms`},
		{"plugs", "[actuator]\nplugs = \"both\"", `x.toml:2:1: actuator.plugs = "both": want "together" or "apart"`},
		{"one plug apart", "[actuator]\nplugs = \"apart\"", `x.toml:2:1: actuator.plugs = "apart": want an engine with 2 plugs`},

		{"signal", "[reader]\nsignal = \"sound\"", `x.toml:2:1: reader.signal = "sound": want "pressure" or "ion"`},
		{"reader", "[reader]\nname = \"mirror\"", `x.toml:2:1: reader.name = "mirror": want one of maximum, smoothed, `},
		{"window", "[reader]\nwindow_from_deg = -190", `x.toml:2:1: reader.window_from_deg = -190: want -180 to 180`},
		{"window without width", "[reader]\nwindow_from_deg = 20\nwindow_to_deg = 20", `x.toml:3:1: reader.window_to_deg = 20: want 21 to 180`},
		{"blank", "[reader]\nblank_ms = 25", `x.toml:2:1: reader.blank_ms = 25: want 0 to 20`},
		{"filter", "[reader]\nsmooth_deg = 0", `x.toml:2:1: reader.smooth_deg = 0: want 0.1 to 30`},
		{"least peak", "[reader]\nleast = -1", `x.toml:2:1: reader.least = -1: want 0 to 100`},
		{"exponent", "[reader]\nexponent = 1", `x.toml:2:1: reader.exponent = 1: want 1.1 to 1.45`},
		{"share", "[reader]\nshare = 1", `x.toml:2:1: reader.share = 1: want 0.5 to 0.99`},
		{"average", "[reader]\naverage = \"best\"", `x.toml:2:1: reader.average = "best": want one of mean, median, `},
		{"average of none", "[reader]\naverage = \"mean\"\nover_cycles = 0", `x.toml:3:1: reader.over_cycles = 0: want 1 to 10000`},
		{"average of many", "[reader]\nover_cycles = 1001", `x.toml:2:1: reader.over_cycles = 1001: want 1 to 1000`},
		{"fitted or not", "[reader]\nknock = \"yes\"", `x.toml:2:1: reader.knock = "yes": want true or false`},

		{"law", "[law]\nname = \"guess\"\ngain = 1", `x.toml:2:1: law.name = "guess": want one of ` + strings.Join(control.Names(), ", ")},
		{"mode", "[law]\nmode = \"wild\"", `x.toml:2:1: law.mode = "wild": want free, retard-only or advise-only`},
		{"number of a law", "[law]\ngain = 3", `x.toml:2:1: law.gain = 3: want 0 to 2 deg/deg`},
		{"no number of a law", "[law]\ngain = \"much\"", `x.toml:2:1: law.gain = "much": want a number`},
		{"unknown number of a law", "[law]\nthrust = 3", `x.toml:2:1: law.thrust = 3: want no such key, but one of name, mode, knock, gain, deadband_deg, rate_deg, [law.knock_numbers]`},
		{"knock law", "[reader]\nknock = true\n[law]\nknock = \"loud\"", `x.toml:4:1: law.knock = "loud": want one of ` + strings.Join(control.Names(), ", ")},
		{"number of no knock law", "[law.knock_numbers]\nthreshold = 3", `x.toml:2:1: law.knock_numbers.threshold = 3: want no such key`},
		{"deaf knock law", "[law]\nknock = \"knock-retard\"", `x.toml:1:1: reader.knock = false: want true for the law knock-retard`},
		{"number of a knock law", "[reader]\nknock = true\n[law]\nknock = \"knock-retard\"\n[law.knock_numbers]\nthreshold = 1", `x.toml:6:1: law.knock_numbers.threshold = 1: want 1.1 to 50`},
		{"program inside", "[law]\nprogram = [\"x\"]", `x.toml:2:1: law.program = ["x"]: want no such key with law.name = "integral"`},
		{"nobody outside", "[law]\nname = \"outside\"", `x.toml:1:2: law.program = []: want a program or a tcp address, one of both`},
		{"two outside", "[law]\nname = \"outside\"\nprogram = [\"x\"]\ntcp = \"127.0.0.1:4000\"", `x.toml:3:1: law.program = ["x"]: want a program or a tcp address, one of both`},
		{"no program", "[law]\nname = \"outside\"\nprogram = []", `x.toml:3:1: law.program = []: want a list of texts in quotes, one or more`},
		{"number of an outside law", "[law]\nname = \"outside\"\nprogram = [\"x\"]\ngain = 1", `x.toml:4:1: law.gain = 1: want no such key, but one of name, `},
		{"framing", "[law]\nname = \"outside\"\nprogram = [\"x\"]\nframing = \"xml\"", `x.toml:4:1: law.framing = "xml": want "json" or "binary"`},
		{"sees", "[law]\nname = \"outside\"\nprogram = [\"x\"]\nsees = 1", `x.toml:4:1: law.sees = 1: want "reading" or "samples"`},
		{"limit", "[law]\nname = \"outside\"\nprogram = [\"x\"]\nlimit_ms = 0.5", `x.toml:4:1: law.limit_ms = 0.5: want 1 to 60000`},
		{"limit without end", "[law]\nname = \"outside\"\nprogram = [\"x\"]\nlimit_ms = inf", `x.toml:4:1: law.limit_ms = inf: want a number, 1 to 60000 ms`},

		{"guard", "[guard]\non = 1", `x.toml:2:1: guard.on = 1: want true or false`},
		{"number of the guard", "[guard]\nslew_deg = 61", `x.toml:2:1: guard.slew_deg = 61: want 0 to 60 deg`},
		{"half a cycle of the guard", "[guard]\nlost_cycles = 1.5", `x.toml:2:1: guard.lost_cycles = 1.5: want a whole number`},
		{"least of the guard", "[guard]\nleast_deg_btdc = 50", `x.toml:2:1: guard.least_deg_btdc = 50: want less than guard.most_deg_btdc, 45`},

		{"retard", "[base]\nretard_deg = 41", `x.toml:2:1: base.retard_deg = 41: want -20 to 40 deg`},
		{"retard of a table", "[base]\nretard_deg = 4\nspeeds_rpm = [2000]\nmaps_kpa = [60]\nspark_deg_btdc = [[20]]", `x.toml:2:1: base.retard_deg = 4: want no such key with base.speeds_rpm`},
		{"half a table", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [60]", `x.toml:1:2: base.spark_deg_btdc is missing: want all of speeds_rpm, maps_kpa, spark_deg_btdc, or none of them`},
		{"table of nothing", "[base]\nspeeds_rpm = []\nmaps_kpa = [60]\nspark_deg_btdc = []", `x.toml:2:1: base.speeds_rpm = []: want one or more`},
		{"table out of order", "[base]\nspeeds_rpm = [2000, 1000]\nmaps_kpa = [60]\nspark_deg_btdc = [[20], [20]]", `x.toml:2:1: base.speeds_rpm = [2000, 1000]: want an ascending list`},
		{"table of words", "[base]\nspeeds_rpm = [\"low\"]\nmaps_kpa = 60\nspark_deg_btdc = [20]", "x.toml:2:1: base.speeds_rpm = [\"low\"]: want a list of numbers\nx.toml:3:1: base.maps_kpa = 60: want a list of numbers\nx.toml:4:1: base.spark_deg_btdc = [20]: want a list of lists of numbers"},
		{"load of a table", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [60, nan]\nspark_deg_btdc = [[20, 20]]", `x.toml:3:1: base.maps_kpa = [60, nan]: want an ascending list`},
		{"load of a table out of range", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [1]\nspark_deg_btdc = [[20]]", `x.toml:3:1: base.maps_kpa = [1]: want each 5 to 500 kPa`},
		{"spark of a table", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [60]\nspark_deg_btdc = [[nan]]", `x.toml:4:1: base.spark_deg_btdc = [[nan]]: want each -360 to 360 deg`},
		{"rows of a table", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [60]\nspark_deg_btdc = [[20], [21]]", `x.toml:4:1: base.spark_deg_btdc = [[20], [21]]: want a list for each of 1 speeds`},
		{"columns of a table", "[base]\nspeeds_rpm = [2000]\nmaps_kpa = [60]\nspark_deg_btdc = [[20, 21]]", `x.toml:4:1: base.spark_deg_btdc = [[20, 21]]: want in each list a spark for each of 1 manifold pressures`},

		{"ceiling of pressure", "[ceiling]\npeak_bar = -1", `x.toml:2:1: ceiling.peak_bar = -1: want 0 to 1000 bar, 0 for none`},
		{"ceiling of knock", "[ceiling]\nknock_bar = nan", `x.toml:2:1: ceiling.knock_bar = nan: want 0 to 1000 bar, 0 for none`},
		{"some knobs", "[knobs]\nlink = 0.4", `x.toml:1:2: knobs.background is missing: want 0 to 2; all knobs, or no such table`},

		{"nameless fault", "[[fault]]\nseverity = 1", `x.toml:1:3: fault[0].name is missing: want the name of a fault`},
		{"unknown fault", "[[fault]]\nname = \"plug-noise\"\n[[fault]]\nname = \"gremlin\"", `x.toml:4:1: fault[1].name = "gremlin": want one of `},
		{"fault with more in its name", "[[fault]]\nname = \"fouling=3\"", `x.toml:2:1: fault[0].name = "fouling=3": want one of `},
		{"fault of nothing fitted", "[[fault]]\nname = \"noise\"", `x.toml:2:1: fault[0].name = "noise": want an instrument that is fitted: pressure is not`},
		{"severe fault", "[[fault]]\nname = \"fouling\"\nseverity = 1000", `x.toml:3:1: fault[0].severity = 1000: want 0.1 to 500 uA`},
		{"fault NaN", "[[fault]]\nname = \"fouling\"\nseverity = nan", `x.toml:3:1: fault[0].severity = nan: want 0.1 to 500 uA`},
		{"fault before the first cycle", "[[fault]]\nname = \"fouling\"\nfrom_cycle = -1", `x.toml:3:1: fault[0].from_cycle = -1: want cycles from 0 or more to a later one`},
		{"fault that ends before it begins", "[[fault]]\nname = \"fouling\"\nfrom_cycle = 9\nto_cycle = 9", `x.toml:4:1: fault[0].to_cycle = 9: want cycles from 0 or more to a later one`},
		{"fault that never ends", "[[fault]]\nname = \"fouling\"\nto_cycle = 1e3", `x.toml:3:1: fault[0].to_cycle = 1e3: want a whole number`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("x.toml", []byte(c.text))
			require.ErrorIs(t, err, ErrScenario)
			require.ErrorContains(t, err, c.want)
			if !strings.Contains(c.want, "\n") && c.name != "some knobs" && c.name != "nobody outside" {
				require.NotContains(t, err.Error(), "\n", "no other fault")
			}
		})
	}
}

// All faults are told at once, in order of rows, whatever finds them, and each is a
// *model.Problem.
func TestAllFaultsAtOnceOfAScenario(t *testing.T) {
	_, err := Parse("x.toml", []byte(`cycles = 5
colour = "red"
[[at]]
map_kpa = 1
lambda = 9
target_deg_atdc = 99
[[at]]
cycle = 0
manual_offset_deg = 100
[actuator]
delay_cycles = 0
dwell_ms = "long"
[reader]
name = "nobody"
[law]
gain = 5
mode = "wild"
[guard]
slew_deg = -1
[[fault]]
name = "fouling"
severity = 0
from_cycle = 3
to_cycle = 1
`))
	require.ErrorIs(t, err, ErrScenario)
	var got []string
	for _, line := range strings.Split(err.Error(), "\n") {
		got = append(got, strings.SplitN(line, " =", 2)[0])
	}
	require.Equal(t, []string{
		"x.toml:1:1: cycles", "x.toml:2:1: colour", "x.toml:4:1: at[0].map_kpa", "x.toml:5:1: at[0].lambda", "x.toml:6:1: at[0].target_deg_atdc",
		"x.toml:8:1: at[1].cycle", "x.toml:9:1: at[1].manual_offset_deg", "x.toml:11:1: actuator.delay_cycles", "x.toml:12:1: actuator.dwell_ms",
		"x.toml:14:1: reader.name", "x.toml:16:1: law.gain", "x.toml:17:1: law.mode", "x.toml:19:1: guard.slew_deg",
		"x.toml:22:1: fault[0].severity", "x.toml:24:1: fault[0].to_cycle",
	}, got)
	var p *model.Problem
	require.True(t, errors.As(err, &p))
	require.Equal(t, model.Problem{Key: "cycles", Given: "5", Want: "10 to 1000000"}, *p)
}

// No number of a law or of the guard has the name of a key.
func TestKeysAreFree(t *testing.T) {
	taken := map[string]bool{"knock_numbers": true}
	for _, k := range lawKeys {
		taken[k.name] = true
	}
	for _, kind := range control.Kinds() {
		require.NotEqual(t, Outside, kind.Name)
		for _, n := range kind.Numbers {
			require.False(t, taken[n.Key], "%s of %s", n.Key, kind.Name)
		}
	}
	taken = map[string]bool{}
	for _, k := range guardKeys {
		taken[k.name] = true
	}
	for _, n := range control.GuardNumbers {
		require.False(t, taken[n.Key], n.Key)
	}
}

// The ends of ranges are allowed: a value in a file is not refused for the rounding of
// its unit.
func TestEndsOfRanges(t *testing.T) {
	parse(t, "[[at]]\ntarget_deg_atdc = 60\nmanual_offset_deg = 90\n[actuator]\nstep_deg = 5\ndwell_ms = 20\nthink_ms = 20\n[base]\nretard_deg = 40\n[ceiling]\npeak_bar = 1000\nknock_bar = 1000")
	parse(t, "[[at]]\ntarget_deg_atdc = -20\nmanual_offset_deg = -90\n[base]\nretard_deg = -20")
}

// The examples, and a few of their numbers.
func TestExamples(t *testing.T) {
	all := map[string]*Scenario{}
	for _, name := range []string{"morning-humidity", "borewell", "poor-fuel"} {
		s, err := Load(filepath.Join(examples, name+".toml"))
		require.NoError(t, err)
		require.Equal(t, name, s.Name)
		require.Equal(t, "pump-set", s.Engine.Name)
		all[name] = s
	}
	s := all["morning-humidity"]
	require.InDelta(t, 0.024, s.Legs[1].Operating.Humidity, 1e-15)
	require.Equal(t, s.Legs[0].Operating.MAP, s.Legs[2].Operating.MAP)
	s = all["borewell"]
	require.Equal(t, reader.Pressure, s.Sensing.Signal)
	require.Len(t, s.Base.Table.Spark, 2)
	for i := range s.Legs {
		require.Equal(t, s.Legs[0].Operating.Speed, s.Legs[i].Operating.Speed)
	}
	s = all["poor-fuel"]
	require.Equal(t, -8., s.Legs[1].Operating.OctaneShift)
	require.Equal(t, "knock-retard", s.Law.Knock)
	require.Equal(t, map[string]float64{"threshold": 4, "retard_deg": 2, "return_deg": 0.02}, s.Law.KnockOf)
}

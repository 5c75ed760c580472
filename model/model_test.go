package model

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestEmbeddedEngines(t *testing.T) {
	require.Equal(t, []string{"pump-set", "research-high-ratio", "rotary-set", "small-196"}, Names())
	for _, name := range Names() {
		e, err := Load(name)
		require.NoError(t, err)
		require.Equal(t, name, e.Name)
		require.NoError(t, e.Check())
	}
	// Displacement by hand: pi/4 · 88² · 82 mm = 498.73 cm³.
	e, err := Load(Default)
	require.NoError(t, err)
	c, err := e.Chamber()
	require.NoError(t, err)
	require.InDelta(t, 498.73e-6, c.Swept(), 0.005e-6)
	require.InDelta(t, 2200*2*math.Pi/60, e.Point.Speed, 1e-9)
}

func TestLoadUnknown(t *testing.T) {
	_, err := Load("nosuch")
	require.ErrorIs(t, err, ErrUnknown)
	require.ErrorContains(t, err, "pump-set, research-high-ratio, rotary-set, small-196")
	_, err = Load("nosuch.toml")
	require.ErrorContains(t, err, "nosuch.toml")
}

// pump is the text of the default engine with one replacement.
func pump(t *testing.T, old, new string) []byte {
	t.Helper()
	data, err := engines.ReadFile("engines/pump-set.toml")
	require.NoError(t, err)
	require.Contains(t, string(data), old)
	return []byte(strings.Replace(string(data), old, new, 1))
}

// Every fault is told with row, column, key, value and what is allowed.
func TestFaults(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"negative bore", "bore_mm = 88.0", "bore_mm = -88.0", `x.toml:7:1: geometry.bore_mm = -88: want more than 0 and at most 1000 mm`},
		{"NaN bore", "bore_mm = 88.0", "bore_mm = nan", `x.toml:7:1: geometry.bore_mm = NaN: want more than 0`},
		{"infinite bore", "bore_mm = 88.0", "bore_mm = inf", `x.toml:7:1: geometry.bore_mm = +Inf: want more than 0`},
		{"short rod", "rod_mm = 136.0", "rod_mm = 40.0", `x.toml:9:1: geometry.rod_mm = 40: want more than stroke_mm/2 + |pin_offset_mm| = 41 mm`},
		{"ratio one", "ratio = 8.8", "ratio = 1.0", `geometry.compression_ratio = 1: want more than 1 and at most 30`},
		{"unknown key", "rod_mm", "rood_mm", `x.toml:9:1: geometry.rood_mm = 136: unknown key; did you mean geometry.rod_mm?`},
		{"missing key", "rod_mm = 136.0", "", `x.toml:6:2: geometry.rod_mm is missing: want more than 0 and at most 10000 mm`},
		{"unknown table", "[friction]", "[frrction]", `frrction.constant_bar = 0.4: unknown key; did you mean friction.constant_bar?`},
		{"unknown fuel", `fuel = "gasoline"`, `fuel = "peat"`, `x.toml:4:1: fuel = "peat": want one of `},
		{"text for number", "bore_mm = 88.0", `bore_mm = "88"`, `geometry.bore_mm = 88: want a number, more than 0 and at most 1000 mm`},
		{"number for text", `fuel = "gasoline"`, `fuel = 7`, `fuel = 7: want a text in quotes`},
		{"lambda zero", "\nlambda = 1.0", "\nlambda = 0.0", `point.lambda = 0: want 0.6 to 2`},
		{"lambda NaN", "\nlambda = 1.0", "\nlambda = nan", `point.lambda = NaN: want 0.6 to 2`},
		{"speed zero", "\nspeed_rpm = 2200.0", "\nspeed_rpm = 0", `point.speed_rpm = 0: want 20 to 30000 rpm`},
		{"spark after exhaust", "\nspark_deg_btdc = 22.0", "\nspark_deg_btdc = -140", `point.spark_deg_btdc = -140: want a spark between intake closing and exhaust opening, -130 to 135 deg before dead centre`},
		{"key of another law", "development_deg", "delay_deg", `burn.delay_deg = 18: want no such key with burn.law = "scaled"`},
		{"not TOML", "[geometry]", "[geometry", `x.toml:6:10: `},
		{"twice", "rod_mm = 136.0", "rod_mm = 136.0\nrod_mm = 137.0", `x.toml:10:`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("x.toml", pump(t, c.old, c.new))
			require.ErrorIs(t, err, ErrFile)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// A measured lift takes the place of events and peak lift; impossible ones, and
// impossible burns, pressures and plugs, are refused with their reason.
func TestFaultsOfValvesAndBurns(t *testing.T) {
	cam := "open_deg_atdc = -380.0\nclose_deg_atdc = -135.0\npeak_lift_mm = 8.0\n"
	table := func(deg, mm string) string {
		return "lift_table_deg_atdc = [" + deg + "]\nlift_table_mm = [" + mm + "]\n"
	}
	e, err := Parse("x.toml", pump(t, cam, table("-380, -340, -300, -260, -220, -180, -135", "0, 2, 6, 8, 6, 2, 0")))
	require.NoError(t, err)
	from, _ := e.Sealed()
	require.InDelta(t, -135*deg, from, 1e-12)
	again, err := Parse("again.toml", e.TOML())
	require.NoError(t, err)
	require.Equal(t, string(e.TOML()), string(again.TOML()))

	for _, c := range []struct{ name, old, new, want string }{
		{"unsorted table", cam, table("-380, -340, -350, -260, -220, -135", "0, 2, 6, 8, 6, 0"), "row 3: angle"},
		{"negative lift", cam, table("-380, -340, -300, -260, -220, -135", "0, 2, -6, 8, 6, 0"), "row 3: lift = -0.006 m, want >= 0 m"},
		{"open at its end", cam, table("-380, -340, -300, -260, -220, -135", "0, 2, 6, 8, 6, 1"), "want 0 m at both ends"},
		{"lengths differ", cam, table("-380, -340, -300, -260, -135", "0, 2, 6, 0"), "5 angles and 4 lifts"},
		{"not numbers", cam, table("-380, \"x\", -135", "0, 1, 0"), "want a list of numbers"},
		{"closes before it opens", "close_deg_atdc = -135.0", "close_deg_atdc = -390.0", "intake = (valve: closing"},
		{"closes after firing", "close_deg_atdc = -135.0", "close_deg_atdc = 20.0", "intake.close_deg_atdc = 20: want the intake to close before firing dead centre"},
		{"open more than a cycle", "open_deg_atdc = -380.0", "open_deg_atdc = -900.0", "want < period"},
		{"lift beyond the seat", "peak_lift_mm = 8.0\nseat_mm = 35.0", "peak_lift_mm = 48.0\nseat_mm = 35.0", "peak lift = 0.048 m"},
		{"half a valve", "seat_mm = 35.0\nvalves = 1.0", "seat_mm = 35.0\nvalves = 1.5", "intake.valves = 1.5: want a whole number"},
		{"crevice too big", "volume_mm3 = 250.0", "volume_mm3 = 25000.0", "want at most a tenth of the clearance volume"},
		{"plug outside", "plug_x_mm = 6.0", "plug_x_mm = 60.0", "want a plug within the bore"},
		{"no second plug", "octane = 91.0", "octane = 91.0\nplugs = 2", "burn.second_plug_x_mm is missing"},
		{"burn of no angle", "rapid_burn_deg = 26.0", "rapid_burn_deg = 0.0", "burn.rapid_burn_deg = 0: want more than 0"},
		{"unknown burn", `law = "scaled"`, `law = "magic"`, `burn.law = "magic": want one of fixed, scaled, flame, wiebe`},
		{"unknown friction", "[friction]", "[friction]\nlaw = \"none\"", `friction.law = "none": want one of chen-flynn, patton`},
		{"pressure above 5 bar", "\nmap_kpa = 80.0", "\nmap_kpa = 501.0", "point.map_kpa = 501: want 5 to 500 kPa"},
		{"pressure below 5 kPa", "\nmap_kpa = 80.0", "\nmap_kpa = 4.0", "point.map_kpa = 4: want 5 to 500 kPa"},
		{"octane", "octane = 91.0", "octane = 30.0", "burn.octane = 30: want 40 to 130"},
		{"too humid", "[point]", "[point]\nhumidity_g_kg = 51", "point.humidity_g_kg = 51: want 0 to 50 g/kg"},
		{"humidity NaN", "[point]", "[point]\nhumidity_g_kg = nan", "point.humidity_g_kg = NaN: want 0 to 50 g/kg"},
		{"walls too warm", "[point]", "[point]\nwall_shift_k = 201", "point.wall_shift_k = 201: want -100 to 200 K"},
		{"octane shift", "[point]", "[point]\noctane_shift = -41", "point.octane_shift = -41: want -40 to 40"},
		{"octane in all", "[point]", "[point]\noctane_shift = 39.5", "point.octane_shift = 39.5: want an octane number of 40 to 130 in all: -51 to 39"},
		{"humid base", "base_lambda = 1.0", "base_humidity_g_kg = 1", "burn.base_humidity_g_kg = 1: unknown key"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("x.toml", pump(t, c.old, c.new))
			require.ErrorIs(t, err, ErrFile)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// All faults are told at once, in order of rows.
func TestAllFaultsAtOnce(t *testing.T) {
	text := strings.Replace(string(pump(t, "bore_mm = 88.0", "bore_mm = -1")), "head_k = 470.0", "head_k = 5", 1)
	_, err := Parse("x.toml", []byte(text))
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, 2)
	require.Contains(t, lines[0], "bore_mm")
	require.Contains(t, lines[1], "head_k = 5: want 200 to 1000 K")
}

func TestOperatingCheck(t *testing.T) {
	e, err := Load(Default)
	require.NoError(t, err)
	require.NoError(t, e.Point.Check(e))
	for want, change := range map[string]func(*Operating){
		"speed_rpm = 0":   func(o *Operating) { o.Speed = 0 },
		"speed_rpm = NaN": func(o *Operating) { o.Speed = math.NaN() },
		"map_kpa = 4":     func(o *Operating) { o.MAP = 4e3 },
		"map_kpa = 501":   func(o *Operating) { o.MAP = 501e3 },
		"lambda = 0":      func(o *Operating) { o.Lambda = 0 },
		"lambda = NaN":    func(o *Operating) { o.Lambda = math.NaN() },
		"spark_deg_btdc = -131: want a spark between": func(o *Operating) { o.Spark = -131 * deg },
		"exhaust_kpa = 0":                            func(o *Operating) { o.Exhaust = 0 },
		"humidity_g_kg = -1: want 0 to 50 g/kg":      func(o *Operating) { o.Humidity = -1e-3 },
		"humidity_g_kg = NaN":                        func(o *Operating) { o.Humidity = math.NaN() },
		"wall_shift_k = -101: want -100 to 200 K":    func(o *Operating) { o.WallShift = -101 },
		"wall_shift_k = NaN":                         func(o *Operating) { o.WallShift = math.NaN() },
		"octane_shift = 41: want -40 to 40":          func(o *Operating) { o.OctaneShift = 41 },
		"octane_shift = NaN":                         func(o *Operating) { o.OctaneShift = math.NaN() },
		"octane_shift = 39.5: want an octane number": func(o *Operating) { o.OctaneShift = 39.5 },
	} {
		o := e.Point
		change(&o)
		require.ErrorContains(t, o.Check(e), want)
	}
}

// What disturbs a point is none by default, is read in its units and written back;
// a base point of the burn has none, and what the engine's own ranges allow needs no
// shift to be allowed.
func TestDisturbances(t *testing.T) {
	e, err := Load(Default)
	require.NoError(t, err)
	require.Zero(t, [3]float64{e.Point.Humidity, e.Point.WallShift, e.Point.OctaneShift})

	e, err = Parse("x.toml", pump(t, "[point]", "[point]\nhumidity_g_kg = 12\nwall_shift_k = -35.5\noctane_shift = -4"))
	require.NoError(t, err)
	require.InEpsilon(t, 0.012, e.Point.Humidity, 1e-15)
	require.Equal(t, [2]float64{-35.5, -4}, [2]float64{e.Point.WallShift, e.Point.OctaneShift})
	again, err := Parse("again.toml", e.TOML())
	require.NoError(t, err)
	require.Equal(t, e.Point, again.Point)

	e.Burn.Base.OctaneShift = 1
	require.ErrorContains(t, e.Check(), "burn.base = (Humidity 0, WallShift 0, OctaneShift 1): want a base point with none of these")

	e, err = Parse("x.toml", []byte(strings.Replace(string(pump(t, "liner_k = 430.0", "liner_k = 200.0")), "octane = 91.0", "octane = 130.0", 1)))
	require.NoError(t, err)
	require.NoError(t, e.Point.Check(e))
	o := e.Point
	o.WallShift = -1e-6
	require.ErrorContains(t, o.Check(e), "wall_shift_k = -1e-06: want every wall above 200 K")
	e.Wall.Law = "none"
	require.NoError(t, o.Check(e), "without a law there are no walls")

	_, err = Parse("x.toml", []byte(strings.Replace(string(pump(t, "liner_k = 430.0", "liner_k = 290.0")), "[point]", "[point]\nwall_shift_k = -90", 1)))
	require.ErrorContains(t, err, "point.wall_shift_k = -90: want every wall above 200 K: more than -90 K")
}

// Whatever is accepted is written and read back as the same text; a double
// Wiebe engine walks the keys that the embedded ones do not have.
func FuzzParse(f *testing.F) {
	for _, name := range Names() {
		data, err := engines.ReadFile("engines/" + name + ".toml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	e, err := Load(Default)
	if err != nil {
		f.Fatal(err)
	}
	e.Burn = Burn{Law: BurnWiebe, Efficiency: 1, First: Stage{0.1, 0.5, 5, 2}, Second: Stage{0.3, 1, 5, 2}, SecondShare: 0.2}
	e.Wall = Wall{Law: "none"}
	e.Description = "quotes \" and \\ and\nlines"
	f.Add(e.TOML())
	e.Burn.Plugs, e.Burn.SecondX = 2, 0.01
	e.Point.Humidity, e.Point.WallShift, e.Point.OctaneShift = 0.0123, -7, 3
	e.Friction.Law, e.Friction.Follower = FrictionPatton, "rocker"
	e.Intake.TableAngle, e.Intake.TableLift = []float64{-6, -5, -4, -3, -2.4}, []float64{0, 0.003, 0.006, 0.002, 0}
	f.Add(e.TOML())
	f.Add([]byte("a.b.c = 1\n[a.b]\nd = [1, {x = 2}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		e, err := Parse("fuzz.toml", data)
		if err != nil {
			if !strings.Contains(err.Error(), "fuzz.toml:") {
				t.Fatalf("error without a place: %v", err)
			}
			return
		}
		text := e.TOML()
		again, err := Parse("again.toml", text)
		if err != nil {
			t.Fatalf("cannot read back what was written: %v\n%s", err, text)
		}
		if string(again.TOML()) != string(text) {
			t.Fatalf("written again:\n%s\nfirst:\n%s", again.TOML(), text)
		}
	})
}

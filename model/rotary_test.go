package model

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func rotarySet(t *testing.T, old, new string) []byte {
	t.Helper()
	data, err := engines.ReadFile("engines/rotary-set.toml")
	require.NoError(t, err)
	require.Contains(t, string(data), old)
	return []byte(strings.Replace(string(data), old, new, 1))
}

func TestRotarySet(t *testing.T) {
	e, err := Load("rotary-set")
	require.NoError(t, err)
	c, err := e.Chamber()
	require.NoError(t, err)
	// By hand: 3 √3 · 13.5 · 94.5 · 75.3 mm = 499.16 cm³.
	require.InDelta(t, 499.16e-6, c.Swept(), 0.005e-6)
	require.InDelta(t, 1080*deg, c.Strokes().Period(), 1e-12)
	require.Equal(t, 3., e.Chambers())
	require.Equal(t, 9., *e.Ratio())
	from, to := e.Sealed()
	require.InDeltaSlice(t, []float64{-225 * deg, 200 * deg}, []float64{from, to}, 1e-12)
	leak, err := e.Leaks()
	require.NoError(t, err)
	require.InDelta(t, 0.7*(2.5e-6*75.3e-3+2*0.1e-6), leak.Apex, 1e-15)

	again, err := Parse("again.toml", e.TOML())
	require.NoError(t, err)
	require.Equal(t, string(e.TOML()), string(again.TOML()))

	// Yamamoto, Rotary Engine, as quoted: e 15, R 105, b 80 mm sweep 654.7 cm³.
	text := string(rotarySet(t, "eccentricity_mm = 13.5\nradius_mm = 94.5\nwidth_mm = 75.3", "eccentricity_mm = 15\nradius_mm = 105\nwidth_mm = 80"))
	e, err = Parse("x.toml", []byte(text))
	require.NoError(t, err)
	c, err = e.Chamber()
	require.NoError(t, err)
	require.InDelta(t, 654.7e-6, c.Swept(), 0.05e-6)
}

// A piston's kind goes without saying: saying it changes nothing.
func TestKindOfPiston(t *testing.T) {
	e, err := Load(Default)
	require.NoError(t, err)
	said, err := Parse("pump-set.toml", pump(t, "[geometry]", "[geometry]\nkind = \"piston\""))
	require.NoError(t, err)
	require.Equal(t, e, said)
	require.NotContains(t, string(e.TOML()), "kind")
	for _, s := range e.Settings() {
		require.NotEqual(t, "geometry.kind", s.Key)
	}
	e.Kind = ""
	require.NoError(t, e.Check())
	require.Equal(t, 1., e.Chambers())
	leak, err := e.Leaks()
	require.NoError(t, err)
	require.Equal(t, e.Crevice.Leak, leak.Side)
	require.Zero(t, leak.Apex)
}

func TestFaultsOfRotors(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown kind", `kind = "rotary"`, `kind = "swash"`, `x.toml:8:1: geometry.kind = "swash": want one of piston, rotary`},
		{"no kind", `kind = "rotary"`, `kind = ""`, `geometry.kind = : want a text in quotes`},
		{"a bore", `kind = "rotary"`, "kind = \"rotary\"\nbore_mm = 88", `geometry.bore_mm = 88: want no such key with geometry.kind = "rotary"`},
		{"no width", "width_mm = 75.3", "", "geometry.width_mm is missing: want more than 0 and at most 2000 mm"},
		{"NaN width", "width_mm = 75.3", "width_mm = nan", "geometry.width_mm = NaN: want more than 0"},
		{"no envelope", "radius_mm = 94.5", "radius_mm = 50", "x.toml:10:1: geometry.radius_mm = 50: want at least 4 eccentricity_mm = 54 mm"},
		{"ratio beyond a flank", "compression_ratio = 9.0", "compression_ratio = 25", "geometry.compression_ratio = 25: want at most that without a recess in the rotor, 18."},
		{"a valve", "port_area_mm2 = 650.0", "port_area_mm2 = 650.0\npeak_lift_mm = 8", `intake.peak_lift_mm = 8: want no such key with geometry.kind = "rotary"`},
		{"a lift table", "port_area_mm2 = 650.0", "port_area_mm2 = 650.0\nlift_table_deg_atdc = [-500, -300]\nlift_table_mm = [0, 0]", `intake.lift_table_mm`},
		{"no port", "port_area_mm2 = 650.0", "port_area_mm2 = 0", "intake.port_area_mm2 = 0: want more than 0"},
		{"port never open", "uncover_deg = 90.0\ncover_deg = 90.0", "uncover_deg = 200.0\ncover_deg = 90.1", "want a port that opens, stays open and closes again within a cycle"},
		{"intake after firing", "close_deg_atdc = -225.0", "close_deg_atdc = 10", "want the intake to close before firing dead centre"},
		{"blow-by past rings", "volume_mm3 = 300.0", "volume_mm3 = 300.0\nblowby_area_mm2 = 0.02", `want no such key with geometry.kind = "rotary"`},
		{"crevice too big", "volume_mm3 = 300.0", "volume_mm3 = 7000.0", "want at most a tenth of the clearance volume"},
		{"a gap below nought", "apex_gap_um = 2.5", "apex_gap_um = -1", "seals.apex_gap_um = -1: want 0 to 1000 µm"},
		{"a liner", "rotor_k = 500.0", "rotor_k = 500.0\nliner_k = 400", `wall.liner_k = 400: want no such key with geometry.kind = "rotary"`},
		{"a flame", `law = "scaled"`, `law = "flame"`, `burn.law = "flame": want fixed, scaled or wiebe for a rotary engine: a flame front is cut by the walls of a cylinder`},
		{"place of a plug", "plugs = 2.0", "plugs = 2.0\nplug_x_mm = 3", `burn.plug_x_mm = 3: want no such key with geometry.kind = "rotary"`},
		{"share of one plug", "plugs = 2.0", "plugs = 1", `burn.leading_share = 0.6: want no such key with burn.plugs = 1`},
		{"tail of nothing", "tail_share = 0.1", "tail_share = 0", `burn.tail_delay_deg = 40: want no such key with burn.tail_share = 0`},
		{"friction of a piston", "[friction]", "[friction]\nlaw = \"patton\"\nvalve_train = \"rocker\"", `friction.law = "patton": want "chen-flynn" for a rotary engine`},
		{"spark after the exhaust", "\nspark_deg_btdc = 25.0", "\nspark_deg_btdc = -201", "-200 to 225 deg before dead centre"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := rotarySet(t, c.old, c.new)
			if c.name == "friction of a piston" {
				i := strings.Index(string(text), "constant_bar")
				j := strings.Index(string(text), "[point]")
				text = append(text[:i:i], text[j:]...)
			}
			_, err := Parse("x.toml", text)
			require.ErrorIs(t, err, ErrFile)
			require.ErrorContains(t, err, c.want)
		})
	}
	_, err := Parse("x.toml", pump(t, "bore_mm = 88.0", "bore_mm = 88.0\neccentricity_mm = 13"))
	require.ErrorContains(t, err, `geometry.eccentricity_mm = 13: want no such key with geometry.kind = "piston"`)

	e, err := Load("rotary-set")
	require.NoError(t, err)
	e.Rotor.Width = math.NaN()
	require.ErrorContains(t, e.Check(), "geometry.width_mm = NaN")
}

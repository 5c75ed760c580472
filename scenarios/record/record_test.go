package record

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/solve"
)

// promised are the keys that every cycle has, a contract with users.
var promised = strings.Fields(`speed_rpm map_kpa lambda spark_deg_btdc lpp_deg_atdc pmax_bar
	ca10_deg_atdc ca50_deg_atdc ca90_deg_atdc imep_gross_bar imep_net_bar pmep_bar fmep_bar bmep_bar brake_torque_nm
	brake_power_kw indicated_efficiency heat_loss_fraction residual_fraction volumetric_efficiency airflow_g_s
	peak_unburned_k peak_burned_k knock_integral knock_onset_deg_atdc energy_residual mass_residual`)

// added are the keys beyond.
var added = strings.Fields(`lit development_deg rapid_burn_deg peak_mean_k knock_unburned_fraction knock_intensity_bar
	blowby_fraction trailing_split_deg sampled_work_residual`)

func decoded(t *testing.T, c Cycle) map[string]any {
	t.Helper()
	data, err := json.Marshal(c)
	require.NoError(t, err)
	doc := map[string]any{}
	require.NoError(t, json.Unmarshal(data, &doc))
	return doc
}

func pump(t *testing.T, lambda float64) *solve.Cycle {
	t.Helper()
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	e.Point.Lambda = lambda
	s, err := solve.New(e, &solve.Settings{Motored: true})
	require.NoError(t, err)
	c := &solve.Cycle{}
	require.NoError(t, s.Run(&e.Point, c))
	return c
}

func TestKeys(t *testing.T) {
	var got []string
	for k := range decoded(t, Cycle{}) {
		got = append(got, k)
	}
	require.ElementsMatch(t, slices.Concat(promised, added), got)
}

// TestUnits gives every field a number of its own and finds it under its key
// in the unit of the key. Factors by hand; 1e-15 relative for the rounding of
// one division.
func TestUnits(t *testing.T) {
	const d, r = math.Pi / 180, 2 * math.Pi / 60
	op := model.Operating{Speed: 2201 * r, MAP: 81e3, Lambda: 1.02, Spark: 23 * d, Split: 4 * d}
	i := solve.Indicators{
		LPP: 14 * d, Peak: 35e5, CA10: -6 * d, CA50: 7 * d, CA90: 18 * d, Development: 16 * d, Rapid: 24 * d,
		IMEPGross: 8e5, IMEPNet: 7e5, PMEP: -1e5, FMEP: 0.9e5, BMEP: 6.1e5, Torque: 25, Power: 5700,
		Efficiency: 0.37, HeatLoss: 0.14, Residual: 0.05, Volumetric: 0.78, Airflow: 6.5e-3, PeakTemp: 2500,
		PeakUnburned: 900, PeakBurned: 2650, KnockIntegral: 1.1, KnockOnset: 12 * d, KnockUnburned: 0.2, KnockIntensity: 1.5e5, Blowby: 0.004,
		SampledWork: 1e-5, EnergyResidual: 1e-7, MassResidual: 1e-11,
	}
	want := map[string]float64{
		"speed_rpm": 2201, "map_kpa": 81, "lambda": 1.02, "spark_deg_btdc": 23,
		"lpp_deg_atdc": 14, "pmax_bar": 35, "ca10_deg_atdc": -6, "ca50_deg_atdc": 7, "ca90_deg_atdc": 18,
		"development_deg": 16, "rapid_burn_deg": 24,
		"imep_gross_bar": 8, "imep_net_bar": 7, "pmep_bar": -1, "fmep_bar": 0.9, "bmep_bar": 6.1,
		"brake_torque_nm": 25, "brake_power_kw": 5.7, "indicated_efficiency": 0.37, "heat_loss_fraction": 0.14,
		"residual_fraction": 0.05, "volumetric_efficiency": 0.78, "airflow_g_s": 6.5, "peak_mean_k": 2500,
		"peak_unburned_k": 900, "peak_burned_k": 2650, "knock_integral": 1.1, "knock_onset_deg_atdc": 12,
		"knock_unburned_fraction": 0.2, "knock_intensity_bar": 1.5, "blowby_fraction": 0.004, "trailing_split_deg": 4,
		"sampled_work_residual": 1e-5, "energy_residual": 1e-7, "mass_residual": 1e-11,
	}
	doc := decoded(t, Of(&op, true, &i))
	for k, v := range doc {
		w, ok := want[k]
		switch x := v.(type) {
		case bool:
			require.True(t, k == "lit" && x)
		case nil:
			require.False(t, ok, k)
		case float64:
			require.True(t, ok, k)
			require.InEpsilon(t, w, x, 1e-15, k)
		}
	}
	require.Len(t, doc, len(want)+1) // and lit
}

// TestNull: NaN and infinity are no numbers in JSON.
func TestNull(t *testing.T) {
	nan := math.NaN()
	i := solve.Indicators{LPP: nan, CA10: nan, Peak: math.Inf(1), Torque: math.Inf(-1), Power: 0}
	doc := decoded(t, Of(&model.Operating{Lambda: nan}, false, &i))
	for _, k := range []string{"lpp_deg_atdc", "ca10_deg_atdc", "pmax_bar", "brake_torque_nm", "lambda"} {
		require.Contains(t, doc, k)
		require.Nil(t, doc[k], k)
	}
	require.Equal(t, 0.0, doc["brake_power_kw"]) // 0 is a number
	require.Equal(t, false, doc["lit"])
}

// TestNullOfCycle: what a whole cycle has no number for.
func TestNullOfCycle(t *testing.T) {
	none := []string{"knock_onset_deg_atdc"}
	dark := []string{"peak_unburned_k", "peak_burned_k", "knock_integral", "knock_unburned_fraction", "knock_intensity_bar",
		"ca10_deg_atdc", "ca50_deg_atdc", "ca90_deg_atdc", "development_deg", "rapid_burn_deg"}
	for _, tt := range []struct {
		lambda float64
		lit    bool
		null   []string
	}{
		{1, true, none},
		{2, false, slices.Concat(none, dark)},
	} {
		c := pump(t, tt.lambda)
		require.Equal(t, tt.lit, c.Lit, "lambda %g", tt.lambda)
		var null []string
		for k, v := range decoded(t, Of(&c.Operating, c.Lit, &c.Indicators)) {
			if v == nil {
				null = append(null, k)
			}
		}
		require.ElementsMatch(t, tt.null, null, "lambda %g", tt.lambda)
	}
}

// TestTrace reads a trace back and compares it with the cycle: 9 digits are
// written, so 1e-8 relative.
func TestTrace(t *testing.T) {
	for _, lambda := range []float64{1, 2} {
		c := pump(t, lambda)
		var file bytes.Buffer
		require.NoError(t, Trace(&file, c, []string{"tool: phasebench", `name: "a", b`}))
		require.True(t, strings.HasPrefix(file.String(), "# tool: phasebench\n# name: \"a\", b\ntheta_deg_atdc,"))

		r := csv.NewReader(&file)
		r.Comment = '#'
		rows, err := r.ReadAll()
		require.NoError(t, err)
		require.Equal(t, strings.Fields(`theta_deg_atdc volume_cm3 pressure_bar motored_bar temperature_k unburned_k burned_k mass_mg
			intake_flow_mg_per_deg exhaust_flow_mg_per_deg burned_gas_fraction burned_fraction heat_release_j_per_deg wall_heat_j knock_integral`), rows[0])
		require.Len(t, rows, len(c.Theta)+1)
		const d = math.Pi / 180
		for i, row := range rows[1:] {
			want := []float64{c.Theta[i] / d, c.Volume[i] * 1e6, c.Pressure[i] / 1e5, c.Motored[i] / 1e5, c.Temp[i],
				c.Unburned[i], c.Hot[i], c.Mass[i] * 1e6, c.Intake[i] * 1e6 * d, c.Exhaust[i] * 1e6 * d, c.Composition[i],
				c.Burned[i], c.Release[i] * d, c.WallHeat[i]}
			for k, w := range want {
				if math.IsNaN(w) {
					require.Empty(t, row[k], "row %d, %s", i, rows[0][k])
					continue
				}
				got, err := strconv.ParseFloat(row[k], 64)
				require.NoError(t, err)
				if !(math.Abs(got-w) <= 1e-8*math.Abs(w)) {
					t.Fatalf("row %d, %s = %v, want %v ± 1e-8 relative", i, rows[0][k], got, w)
				}
			}
		}
		require.Equal(t, "-360", rows[1][0])
		require.Equal(t, "360", rows[len(rows)-1][0])
	}
}

// TestTraceWithout leaves out columns that a cycle has nothing for.
func TestTraceWithout(t *testing.T) {
	c := &solve.Cycle{Theta: []float64{0}, Volume: []float64{1e-6}, Pressure: []float64{1e5}, Temp: []float64{math.NaN()},
		Burned: []float64{0}, Release: []float64{0}, WallHeat: []float64{math.Inf(1)}}
	var file bytes.Buffer
	require.NoError(t, Trace(&file, c, nil))
	require.Equal(t, "theta_deg_atdc,volume_cm3,pressure_bar,temperature_k,burned_fraction,heat_release_j_per_deg,wall_heat_j\n"+
		"0,1,1,,0,0,\n", file.String())
}

// full takes room bytes.
type full struct{ room int }

var errFull = errors.New("full")

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errFull
	}
	return len(p), nil
}

// TestTraceError: an error of the writer is told, wherever it strikes.
func TestTraceError(t *testing.T) {
	c := pump(t, 1)
	var whole bytes.Buffer
	notes := []string{"tool: phasebench", "seed: 1"}
	require.NoError(t, Trace(&whole, c, notes))
	for _, room := range []int{0, 20, 40, whole.Len() / 2, whole.Len() - 1} {
		require.ErrorIs(t, Trace(&full{room}, c, notes), errFull, "room for %d of %d", room, whole.Len())
	}
	require.NoError(t, Trace(&full{whole.Len()}, c, notes))
}

// TestNotes: every line of a note stays behind its mark.
func TestNotes(t *testing.T) {
	c := pump(t, 1)
	var file bytes.Buffer
	require.NoError(t, Trace(&file, c, []string{"name: two\nlines", "old: three\r\nlines\rhere"}))
	lines := bufio.NewScanner(&file)
	for _, want := range []string{"# name: two", "# lines", "# old: three", "# lines", "# here"} {
		require.True(t, lines.Scan())
		require.Equal(t, want, lines.Text())
	}
	require.True(t, lines.Scan())
	require.True(t, strings.HasPrefix(lines.Text(), "theta_deg_atdc,"))
}

func TestCaution(t *testing.T) {
	for _, word := range []string{"not your engine", "retarded", "cut-off"} {
		require.Contains(t, Caution, word)
	}
	require.NotContains(t, Caution, "\n")
}

package record

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/scenarios/indicate"
	"phasebench/scenarios/measured"
)

// Every mean comes out under its key in its unit, with both parts of its error.
func TestIndicated(t *testing.T) {
	var s indicate.Summary
	units := map[string]float64{ // field of the summary: its unit in SI
		"LPP": deg, "Peak": bar, "IMEPGross": bar, "IMEPNet": bar, "PMEP": bar, "CA10": deg, "CA50": deg, "CA90": deg,
		"RatioCA10": deg, "RatioCA50": deg, "RatioCA90": deg, "Compression": 1, "Expansion": 1, "Heat": 1, "Zero": bar, "MAPO": bar, "Onset": deg,
	}
	keys := map[string]string{
		"LPP": "lpp_deg_atdc", "Peak": "pmax_bar", "IMEPGross": "imep_gross_bar", "IMEPNet": "imep_net_bar", "PMEP": "pmep_bar",
		"CA10": "ca10_deg_atdc", "CA50": "ca50_deg_atdc", "CA90": "ca90_deg_atdc", "RatioCA10": "ca10_pressure_ratio_deg_atdc",
		"RatioCA50": "ca50_pressure_ratio_deg_atdc", "RatioCA90": "ca90_pressure_ratio_deg_atdc", "Compression": "compression_exponent",
		"Expansion": "expansion_exponent", "Heat": "heat_released_j", "Zero": "zero_added_bar", "MAPO": "mapo_bar", "Onset": "knock_onset_deg_atdc",
	}
	v := reflect.ValueOf(&s).Elem()
	found := 0
	for i := range v.NumField() {
		if m, ok := v.Field(i).Addr().Interface().(*indicate.Mean); ok {
			name := v.Type().Field(i).Name
			require.Contains(t, units, name, "a mean that this test does not know")
			n := float64(i + 1)
			*m = indicate.Mean{Value: n * units[name], Random: 0.1 * n * units[name], Systematic: 0.01 * n * units[name], SD: 2 * n * units[name]}
			found++
		}
	}
	require.Len(t, units, found)
	s.COVNet, s.COVGross, s.LNV, s.Neighbours, s.Knocking = 0.02, math.NaN(), 0.9, -0.1, 0.25
	s.LPPAt = [5]float64{1 * deg, 2 * deg, 3 * deg, 4 * deg, math.NaN()}
	report := &measured.Report{Rows: 7, Cycles: 3, Lost: 1, Rate: 1e5, Speed: [3]float64{220 * math.Pi / 3, 210 * math.Pi / 3, 230 * math.Pi / 3},
		First: -90 * deg, FlawCount: 9, Flaws: []measured.Flaw{{Where: "line 3", What: "no number"}}, Warnings: []string{"high"}}
	data, err := json.Marshal(OfIndicated(&s, report))
	require.NoError(t, err)
	doc := map[string]any{}
	require.NoError(t, json.Unmarshal(data, &doc))
	for i := range v.NumField() {
		key, ok := keys[v.Type().Field(i).Name]
		if !ok {
			continue
		}
		m, _ := doc[key].(map[string]any)
		require.NotNil(t, m, key)
		n := float64(i + 1)
		assert.InDelta(t, n, m["value"], 1e-12*n, key)
		assert.InDelta(t, 0.1*n, m["error_random"], 1e-12*n, key)
		assert.InDelta(t, 0.01*n, m["error_systematic"], 1e-12*n, key)
		assert.InDelta(t, 2*n, m["sd"], 1e-12*n, key)
	}
	for key, want := range map[string]float64{"cycles": 3, "broken_cycles": 1, "rows": 7, "rate_hz": 1e5, "speed_rpm": 2200, "speed_least_rpm": 2100,
		"speed_greatest_rpm": 2300, "reference_deg_atdc": -90, "flaw_count": 9, "cov_imep_net_percent": 2, "lowest_normalised_value": 0.9,
		"imep_correlation_with_next": -0.1, "knocking_share": 0.25} {
		assert.InDelta(t, want, doc[key], 1e-9, key)
	}
	assert.Nil(t, doc["cov_imep_gross_percent"], "no number")
	assert.Equal(t, []any{1., 2., 3., 4., nil}, rounded(doc["lpp_quantiles_deg_atdc"]))
	assert.Equal(t, []any{map[string]any{"where": "line 3", "what": "no number"}}, doc["flaws"])
	assert.False(t, strings.Contains(string(data), "NaN"))
}

// rounded rounds numbers of a list to 1e-9.
func rounded(list any) []any {
	var out []any
	for _, v := range list.([]any) {
		if x, ok := v.(float64); ok {
			v = math.Round(x*1e9) / 1e9
		}
		out = append(out, v)
	}
	return out
}

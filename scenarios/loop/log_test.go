package loop

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/stream"
)

// logged is a run by hand of two cycles: the second has no number that can be missing.
func logged(t *testing.T, plugs float64) *Run {
	t.Helper()
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Burn.Plugs, e.Point.Split = plugs, 8*deg
	nan := math.NaN()
	return &Run{Scenario: &Scenario{Engine: e, Legs: []Leg{{Operating: e.Point}}}, Steps: []Step{
		{Cycle: 0, Time: 0.08, Speed: 1500 * rpm, MAP: 60e3, Target: 15 * deg, Manual: -3 * deg, Base: 22 * deg,
			Fired: control.Order{Leading: 21 * deg, Trailing: nan}, Single: reader.Reading{Angle: 14 * deg, Quality: 0.75}, Reading: reader.Reading{Angle: 13 * deg, Quality: 0.5},
			Knock: 1.25, Gauge: 31e5, Torque: 20.5, Airflow: 4e-3, Want: control.Order{Leading: 27 * deg, Trailing: nan},
			Ordered: control.Order{Leading: 25 * deg, Trailing: nan}, State: control.Limit, Why: `no more than "3 deg", they say`,
			Advice: control.Advice{Off: 2 * deg, Confidence: 1}, Safe: control.Range{From: 5 * deg, To: 35 * deg},
			Truth: stream.Truth{MBT: 24 * deg, LPP: 16 * deg, Peak: 30e5, CA50: 9 * deg, Torque: 20, KnockIntensity: 0.3e5, Knocking: true}, TorqueMBT: 20.25},
		{Cycle: 1, Fired: control.Order{Leading: 20 * deg, Trailing: 10 * deg}, Single: reader.Reading{Angle: nan}, Reading: reader.Reading{Angle: nan},
			Knock: nan, Gauge: nan, Torque: nan, Airflow: nan, State: control.Fallback, Why: "lost", Advice: control.Advice{Off: nan}, Safe: control.Range{From: nan, To: nan},
			Truth: stream.Truth{MBT: nan, LPP: nan, Peak: nan, CA50: nan, Torque: -3, KnockIntensity: nan, Misfire: true}, TorqueMBT: nan},
	}}
}

// wantLog is the first cycle of logged in the units of the names, by hand.
var wantLog = map[string]float64{"cycle": 0, "time_s": 0.08, "speed_rpm": 1500, "map_kpa": 60, "target_deg_atdc": 15, "manual_offset_deg": -3, "base_deg_btdc": 22,
	"wanted_deg_btdc": 27, "ordered_deg_btdc": 25, "spark_deg_btdc": 21, "trailing_spark_deg_btdc": 13, "read_deg_atdc": 14, "quality": 0.75,
	"averaged_deg_atdc": 13, "knock_loudness": 1.25, "measured_pmax_bar": 31, "measured_torque_nm": 20.5, "airflow_g_s": 4, "guard_state": 1,
	"advice_deg": 2, "safe_from_deg_btdc": 5, "safe_to_deg_btdc": 35, "lpp_deg_atdc": 16, "mbt_deg_btdc": 24, "pmax_bar": 30, "ca50_deg_atdc": 9,
	"knock_intensity_bar": 0.3, "knocking": 1, "misfire": 0, "brake_torque_nm": 20, "brake_torque_at_mbt_nm": 20.25}

// missing are the columns that the second cycle has nothing for.
var missing = strings.Fields(`read_deg_atdc averaged_deg_atdc knock_loudness measured_pmax_bar measured_torque_nm airflow_g_s advice_deg
	safe_from_deg_btdc safe_to_deg_btdc lpp_deg_atdc mbt_deg_btdc pmax_bar ca50_deg_atdc knock_intensity_bar brake_torque_at_mbt_nm`)

func TestLogRows(t *testing.T) {
	run := logged(t, 2)
	s, err := run.Source()
	require.NoError(t, err)
	columns := s.Columns()
	require.Len(t, columns, len(wantLog))
	n := 0
	for row, err := range s.Rows(0, 2) {
		require.NoError(t, err)
		for i, c := range columns {
			v := row.Labels[i]
			switch {
			case n == 0:
				want, ok := wantLog[c.Name]
				require.True(t, ok, c.Name)
				require.InDelta(t, want, v, 1e-12*math.Abs(want), "%s: one division", c.Name)
			default:
				require.Equal(t, slices.Contains(missing, c.Name), math.IsNaN(v), c.Name)
				if c.Name == "trailing_spark_deg_btdc" {
					require.InDelta(t, 10, v, 1e-12, "fired apart")
				}
			}
			if c.Name == "guard_state" {
				require.Contains(t, c.About, strconv.Itoa(int(v))+" "+string(run.Steps[n].State))
			}
		}
		n++
	}
	require.Equal(t, 2, n)
	for _, err := range s.Rows(0, 3) {
		require.ErrorContains(t, err, "run of 2")
	}

	one, err := logged(t, 1).Source()
	require.NoError(t, err)
	for row := range one.Rows(0, 1) {
		for i, c := range columns {
			require.Equal(t, c.Name == "trailing_spark_deg_btdc", math.IsNaN(row.Labels[i]), c.Name)
		}
	}
}

// The rows go through every format but wav, which has no samples to write.
func TestLogDataset(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "log")
	require.NoError(t, dataset.Write(context.Background(), &dataset.Plan{Dir: dir, Formats: []string{"parquet", "csv", "npz", "mat", "c"},
		Cycles: 2, Part: 2, Workers: 1, Source: logged(t, 2).Source}))
}

func TestLogCSV(t *testing.T) {
	run := logged(t, 2)
	var file bytes.Buffer
	require.NoError(t, WriteCSV(&file, run, []string{"seed: 3", "two\r\nlines"}))
	require.True(t, strings.HasPrefix(file.String(), "# seed: 3\n# two\n# lines\ncycle,time_s,"))
	in := csv.NewReader(&file)
	in.Comment = '#'
	rows, err := in.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 3)
	require.Len(t, rows[0], len(wantLog)+1)
	for i, name := range rows[0] {
		switch name {
		case "guard_why":
			require.Equal(t, run.Steps[0].Why, rows[1][i])
			require.Equal(t, "lost", rows[2][i])
			continue
		case "knocking", "misfire":
			require.Equal(t, wantLog[name] == 1, rows[1][i] == "true", name)
			continue
		}
		v, err := strconv.ParseFloat(rows[1][i], 64)
		require.NoError(t, err, name)
		require.InDelta(t, wantLog[name], v, 1e-8*math.Abs(wantLog[name]), "%s: 9 digits are written", name)
		require.Equal(t, slices.Contains(missing, name), rows[2][i] == "", name)
	}
}

func TestLogJSON(t *testing.T) {
	run := logged(t, 2)
	text, err := json.Marshal(map[string]any{"log": run.Rows()})
	require.NoError(t, err)
	var doc struct{ Log []map[string]any }
	require.NoError(t, json.Unmarshal(text, &doc))
	require.Len(t, doc.Log, 2)
	require.Len(t, doc.Log[0], len(wantLog)+1)
	for name, v := range doc.Log[0] {
		switch x := v.(type) {
		case bool:
			require.Equal(t, wantLog[name] == 1, x, name)
		case string:
			require.Equal(t, "guard_why", name)
			require.Equal(t, run.Steps[0].Why, x)
		default:
			require.InDelta(t, wantLog[name], x, 1e-8*math.Abs(wantLog[name]), "%s: 9 digits are written", name)
		}
		w, ok := doc.Log[1][name]
		require.True(t, ok, name)
		require.Equal(t, slices.Contains(missing, name), w == nil, name)
	}
	empty, err := json.Marshal((&Run{Scenario: run.Scenario}).Rows())
	require.NoError(t, err)
	require.Equal(t, "[]", string(empty))
}

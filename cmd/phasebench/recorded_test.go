package main

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model/accuracy"
)

// columnsOf reads the numbers of a CSV file with a header; NaN for cells that are none.
func columnsOf(t *testing.T, path string) map[string][]float64 {
	t.Helper()
	out := map[string][]float64{}
	for _, row := range readTable(t, path) {
		for name, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				v = math.NaN()
			}
			out[name] = append(out[name], v)
		}
	}
	return out
}

// What traces writes, with 0.05 bar of noise, and indicate reads, in each format: LPP, CA50
// and gross IMEP against the labels. The usual transducer's thermal shock of 0.1 bar costs
// 0.6 % of work, as it should. (With noise alone, 0.05 bar: TestRoundTrip of package
// indicate.)
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	lppMean, lppRMS, ca50Mean := accuracy.Find(t, "traces-lpp"), accuracy.Find(t, "traces-lpp-rms"), accuracy.Find(t, "traces-ca50")
	imepTrue, imepUsual := accuracy.Find(t, "traces-imep-true"), accuracy.Find(t, "traces-imep")
	const cycles = 300
	folder := t.TempDir()
	data := filepath.Join(folder, "data")
	code, _, talk := call(t, "traces", "--cycles", strconv.Itoa(cycles), "--out", data, "--format", "csv,npz,parquet", "--sensor", "pressure", "--fault", "noise=0.05", "--true-pressure")
	require.Zero(t, code, talk)
	labels := columnsOf(t, filepath.Join(data, "labels-00000.csv"))
	for _, c := range []struct {
		file, columns string
		imep          *accuracy.Row
	}{
		{"samples-00000.csv", "", imepUsual},
		{"samples-00000.csv", "cycle,index,seen,pressure_bar", imepTrue},
		{"cycles-00000.npz", "", imepUsual},
		{"cycles-00000.parquet", "", imepUsual},
	} {
		numbers := filepath.Join(folder, "numbers.csv")
		code, _, talk := call(t, "indicate", filepath.Join(data, c.file), "--speed-rpm", "2200", "--columns", c.columns, "--csv", numbers)
		require.Zero(t, code, talk)
		found := columnsOf(t, numbers)
		require.Len(t, found["cycle"], cycles)
		off := func(key string) (mean, rms float64) {
			for i, v := range found[key] {
				d := v - labels[key][i]
				mean, rms = mean+d/cycles, rms+d*d/cycles
			}
			return mean, math.Sqrt(rms)
		}
		lpp, scatter := off("lpp_deg_atdc")
		lppMean.Near(t, 0, lpp, "%s %s", c.file, c.columns)
		lppRMS.Hold(t, scatter, "%s %s", c.file, c.columns)
		imep, _ := off("imep_gross_bar")
		mean, _ := stat.MeanStdDev(labels["imep_gross_bar"], nil)
		c.imep.Near(t, 0, imep/mean, "%s %s", c.file, c.columns)
		ca50, _ := off("ca50_deg_atdc")
		ca50Mean.Near(t, 0, ca50, "%s %s", c.file, c.columns)
		t.Logf("%s %s: LPP %+.3f deg (rms of cycles %.3f), IMEP %+.3f %%, CA50 %+.3f deg", c.file, c.columns, lpp, scatter, 100*imep/mean, ca50)
		if c.file == "cycles-00000.npz" { // it holds the labels too, CSV does not
			for i, v := range found["speed_rpm"] {
				assert.InEpsilon(t, labels["speed_rpm"][i], v, 1e-6)
			}
		}
	}
}

// One degree of wrong dead centre is found from motored cycles, through files and the
// command: a wheel in time whose reference is where traces puts it, 90 deg
// before dead centre, less the fault.
func TestDeadCentreFound(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	code, _, talk := call(t, "traces", "--cycles", "150", "--out", filepath.Join(folder, "data"), "--format", "wav", "--sensor", "pressure,wheel", "--knob", "misfire=0.1",
		"--fault", "noise=0.05", "--fault", "tdc-offset=1")
	require.Zero(t, code, talk)
	code, out, talk := call(t, "indicate", filepath.Join(folder, "data", "cycles-00000.wav"), "--columns", "pressure_v,wheel", "--bar-per-volt", "150", "--json")
	require.Zero(t, code, talk)
	var found struct {
		First float64 `json:"reference_deg_atdc"`
		Error float64 `json:"tdc_found_error_deg"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &found))
	t.Logf("reference at %.3f ± %.3f deg", found.First, found.Error)
	accuracy.Find(t, "tdc-command").Near(t, -91, found.First, "reference")
}

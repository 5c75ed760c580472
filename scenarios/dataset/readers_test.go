package dataset

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// Every format read back by programs of others, all values compared bit for bit but
// where a format rounds, which the test says.

// python is Debian's own interpreter, which sees Debian's SciPy.
const python = "/usr/bin/python3"

// peer skips without a program, or fails where the peers are required.
func peer(t *testing.T, name string, args ...string) {
	t.Helper()
	if err := exec.Command(name, args...).Run(); err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: %s", name)
		t.Skipf("needs %s %s", name, strings.Join(args, " "))
	}
}

// readPython reads a file of a dataset into v.
func readPython(t *testing.T, kind, path string, v any) {
	t.Helper()
	peer(t, python, "-c", "import scipy")
	var talk bytes.Buffer
	cmd := exec.Command(python, "../../testdata/readers/dataset.py", kind, path)
	cmd.Stderr = &talk
	out, err := cmd.Output()
	require.NoError(t, err, talk.String())
	require.NoError(t, json.Unmarshal(out, v))
}

// array is what dataset.py prints.
type array struct {
	Type   string
	Class  string
	Shape  []int
	Values any
}

// truth is the rows of one part of plan, column by column.
func truth(first, last int) *held {
	f := &fake{count: 24}
	s, err := newSchema(f.Columns())
	if err != nil {
		panic(err)
	}
	h := newHeld(s)
	h.clear()
	for r := range f.Rows(first, last) {
		h.add(r)
	}
	return h
}

// number reads what JSON gave: a number, a truth, nothing, or a word such as nan.
func number(t testing.TB, v any) float64 {
	switch v := v.(type) {
	case nil:
		return math.NaN()
	case bool:
		if v {
			return 1
		}
		return 0
	case float64:
		return v
	case string:
		x, err := strconv.ParseFloat(v, 64)
		require.NoError(t, err)
		return x
	}
	require.Fail(t, "no number", "%T", v)
	return 0
}

// flat lists the numbers of lists in lists.
func flat(t testing.TB, v any) (out []float64) {
	if list, ok := v.([]any); ok {
		for _, x := range list {
			out = append(out, flat(t, x)...)
		}
		return out
	}
	return []float64{number(t, v)}
}

// alike holds that the numbers are the same, NaN like NaN.
func alike(t testing.TB, row *accuracy.Row, want, got []float64, name string) {
	t.Helper()
	require.Len(t, got, len(want), name)
	for i := range want {
		same := want[i] == got[i] || math.IsNaN(want[i]) && math.IsNaN(got[i])
		row.Same(t, same, "%s %d: %g, want %g", name, i, got[i], want[i])
	}
}

func widen[T float32 | int64](v []T) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = float64(v[i])
	}
	return out
}

// NumPy and SciPy see the same arrays in every part, the short last one too.
func TestArrays(t *testing.T) {
	row := accuracy.Find(t, "file-arrays")
	p := plan(t, "npz", "mat")
	write(t, p)
	for _, kind := range []string{"npz", "mat"} {
		for part := range 5 {
			first, last := part*10, min(part*10+10, 47)
			h := truth(first, last)
			n := last - first
			var got map[string]array
			readPython(t, kind, filepath.Join(p.Dir, fmt.Sprintf("cycles-%05d.%s", part, kind)), &got)
			require.Len(t, got, 5+4+2)
			list := func(n int) []int {
				if kind == "mat" {
					return []int{n, 1}
				}
				return []int{n}
			}
			for i, c := range h.schema.labels {
				a := got[c.Name]
				require.Equal(t, list(n), a.Shape, c.Name)
				alike(t, row, h.labels[i], flat(t, a.Values), c.Name)
				if kind == "npz" {
					require.Equal(t, [...]string{"float64", "int64", "bool"}[c.Kind], a.Type, c.Name)
				} else {
					require.Equal(t, [...]string{"double", "int64", "logical"}[c.Kind], a.Class, c.Name)
				}
			}
			for i, c := range h.schema.channels {
				a := got[c.Name]
				require.Equal(t, "float32", a.Type, c.Name)
				alike(t, row, widen(h.samples[i]), flat(t, a.Values), c.Name)
				if c.Count > 0 {
					require.Equal(t, []int{n, c.Count}, a.Shape, c.Name)
					continue
				}
				require.Equal(t, list(len(h.samples[i])), a.Shape, c.Name)
				o := got[c.Name+"_offsets"]
				require.Equal(t, "int64", o.Type)
				alike(t, row, widen(h.offsets[i]), flat(t, o.Values), c.Name+"_offsets")
			}
		}
	}
}

// Python's csv module reads the same numbers; empty is none.
func TestCSV(t *testing.T) {
	all := accuracy.Find(t, "file-csv")
	p := plan(t, "csv")
	write(t, p)
	h := truth(10, 20)
	read := func(stem string) (names []string, rows [][]float64) {
		var text [][]string
		readPython(t, "csv", filepath.Join(p.Dir, stem+"-00001.csv"), &text)
		for _, line := range text[1:] {
			var row []float64
			for _, x := range line {
				switch x {
				case "":
					x = "nan"
				case "true":
					x = "1"
				case "false":
					x = "0"
				}
				row = append(row, number(t, x))
			}
			rows = append(rows, row)
		}
		return text[0], rows
	}
	names, rows := read("labels")
	require.Equal(t, []string{"cycle", "speed_rpm", "lpp_deg_atdc", "misfire", "draw"}, names)
	require.Len(t, rows, 10)
	for k, row := range rows {
		var want []float64
		for i := range h.labels {
			want = append(want, h.labels[i][k])
		}
		alike(t, all, want, row, "labels")
	}
	names, rows = read("samples")
	require.Equal(t, []string{"cycle", "index", "pressure_bar", "ion_ua"}, names)
	require.Len(t, rows, 240)
	for k, row := range rows {
		want := []float64{float64(10 + k/24), float64(k % 24), float64(h.samples[pressure][k]), float64(h.samples[ion][k])}
		for i := 2; i < 4; i++ {
			row[i] = float64(float32(row[i]))
		}
		alike(t, all, want, row, "samples")
	}
	for c, stem := range map[int]string{knock: "knock_v", teeth: "tooth_s"} {
		names, rows = read(stem)
		require.Equal(t, []string{"cycle", "index", "value"}, names)
		require.Len(t, rows, len(h.samples[c]))
		k := 0
		for cycle := range 10 {
			for index := range h.offsets[c][cycle+1] - h.offsets[c][cycle] {
				row := rows[k]
				row[2] = float64(float32(row[2]))
				alike(t, all, []float64{float64(10 + cycle), float64(index), float64(h.samples[c][k])}, row, stem)
				k++
			}
		}
	}
}

// SciPy reads the samples of the WAV file; sox reads its header and as many frames.
func TestWAV(t *testing.T) {
	bySciPy, bySox := accuracy.Find(t, "file-wav"), accuracy.Find(t, "file-wav-sox")
	p := plan(t, "wav")
	write(t, p)
	h := truth(0, 10)
	for _, c := range []struct {
		stem, column string
		channels     []int
	}{{"cycles-24", "first_sample_24", []int{pressure, ion}}, {"cycles-varying", "first_sample_varying", []int{knock}}} {
		path := filepath.Join(p.Dir, c.stem+"-00000.wav")
		var got struct {
			Rate    int
			Samples array
		}
		readPython(t, "wav", path, &got)
		frames := len(h.samples[c.channels[0]])
		require.Equal(t, 48000, got.Rate)
		require.Equal(t, "float32", got.Samples.Type)
		require.Equal(t, []int{frames, len(c.channels)}, got.Samples.Shape)
		var want []float64
		for k := range frames {
			for _, i := range c.channels {
				want = append(want, float64(h.samples[i][k]/h.schema.channels[i].full()))
			}
		}
		alike(t, bySciPy, want, flat(t, got.Samples.Values), c.stem)

		peer(t, "sox", "--version")
		for flag, want := range map[string]string{"-c": fmt.Sprint(len(c.channels)), "-r": "48000", "-s": fmt.Sprint(frames), "-e": "Floating Point PCM"} {
			out, err := exec.Command("soxi", flag, path).Output()
			require.NoError(t, err)
			require.Equal(t, want, strings.TrimSpace(string(out)), flag)
		}
		text, err := exec.Command("sox", path, "-t", "f32", "-L", "-").Output()
		require.NoError(t, err)
		require.Len(t, text, 4*len(want))
		for k, v := range want {
			// sox works in 32-bit integers, clips beyond 1 and gives float32: 2^-24 and 2^-31
			sample := math.Float32frombits(binary.LittleEndian.Uint32(text[4*k:]))
			bySox.Near(t, max(-1, min(1, v)), float64(sample), "%s %d", c.stem, k)
		}
	}
	// The labels say where a cycle begins.
	var lines [][]string
	readPython(t, "csv", filepath.Join(p.Dir, "labels-00000.csv"), &lines)
	require.Equal(t, []string{"first_sample_24", "first_sample_varying"}, lines[0][5:])
	for k, line := range lines[1:] {
		require.Equal(t, []string{fmt.Sprint(24 * k), fmt.Sprint(h.offsets[knock][k])}, line[5:])
	}
}

// hyparquet, a reader written in another language, sees the same rows.
func TestParquet(t *testing.T) {
	all := accuracy.Find(t, "file-parquet")
	p := plan(t, "parquet")
	write(t, p)
	peer(t, "node", "--version")
	tools := t.TempDir()
	install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--prefix", tools, "hyparquet@1", "hyparquet-compressors@1")
	install.Dir = tools
	if out, err := install.CombinedOutput(); err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: %s", out)
		t.Skipf("needs hyparquet from npm: %s", out)
	}
	script, err := filepath.Abs("../../testdata/readers/parquet.mjs")
	require.NoError(t, err)
	var got struct {
		Rows   []map[string]any
		Keys   []struct{ Key, Value string }
		Schema []struct {
			Name           string
			RepetitionType string `json:"repetition_type"`
			ConvertedType  string `json:"converted_type"`
		}
		Groups int
	}
	cmd := exec.Command("node", script, filepath.Join(p.Dir, "cycles-00001.parquet"))
	cmd.Dir = tools
	var talk bytes.Buffer
	cmd.Stderr = &talk
	out, err := cmd.Output()
	require.NoError(t, err, talk.String())
	require.NoError(t, json.Unmarshal(out, &got))

	h := truth(10, 20)
	require.Len(t, got.Rows, 10)
	require.Equal(t, 1, got.Groups)
	for k, row := range got.Rows {
		require.Len(t, row, 9)
		for i, c := range h.schema.labels {
			alike(t, all, h.labels[i][k:k+1], flat(t, row[c.Name]), c.Name)
			if math.IsNaN(h.labels[i][k]) {
				require.Nil(t, row[c.Name]) // null, not NaN
			}
		}
		for i, c := range h.schema.channels {
			o := h.offsets[i]
			alike(t, all, widen(h.samples[i][o[k]:o[k+1]]), flat(t, row[c.Name]), c.Name)
		}
	}
	keys := map[string]string{}
	for _, k := range got.Keys {
		keys[k.Key] = k.Value
	}
	require.Equal(t, "9223372036854775809", keys["seed"])
	require.Equal(t, "phasebench", keys["tool"])
	require.Equal(t, "v0.0.0-test", keys["version"])
	require.Contains(t, keys["origin"], "SYNTHETIC")
	var units map[string]string
	require.NoError(t, json.Unmarshal([]byte(keys["units"]), &units))
	require.Equal(t, "bar", units["pressure_bar"])
	var names []string // of columns in their order, lists of three levels
	for _, e := range got.Schema {
		names = append(names, strings.TrimSpace(e.Name+" "+e.RepetitionType))
	}
	require.Equal(t, []string{"cycle", "cycle REQUIRED", "speed_rpm OPTIONAL", "lpp_deg_atdc OPTIONAL", "misfire REQUIRED", "draw REQUIRED",
		"pressure_bar REQUIRED", "list REPEATED", "element REQUIRED", "ion_ua REQUIRED", "list REPEATED", "element REQUIRED",
		"knock_v REQUIRED", "list REPEATED", "element REQUIRED", "tooth_s REQUIRED", "list REPEATED", "element REQUIRED"}, names)
}

// A row group ends when it is full, and no row is lost between two.
func TestRowGroups(t *testing.T) {
	p := plan(t, "parquet")
	p.Cycles, p.Part = 1500, 1500
	p.Source = func() (Source, error) { return newStill(2000), nil } // 16 kB a row
	write(t, p)
	path := filepath.Join(p.Dir, "cycles-00000.parquet")
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	pf, err := parquet.OpenFile(f, info.Size())
	require.NoError(t, err)
	require.EqualValues(t, 1500, pf.NumRows())
	require.Len(t, pf.RowGroups(), 2)
}

// gcc takes the header as C99 without a warning, and a program that includes two
// parts prints the labels as float32 and every sample within half a step.
func TestHeader(t *testing.T) {
	labels, samples := accuracy.Find(t, "file-c"), accuracy.Find(t, "file-c-samples")
	p := plan(t, "c")
	write(t, p)
	peer(t, "gcc", "--version")
	dir := t.TempDir()
	main := `#include "cycles-00000.h"
#include "cycles-00001.h"
#include "cycles-00001.h"
#include <stdio.h>
int main(void) {
	int i, k;
	for (i = 0; i < CYCLES_00001_COUNT; i++) {
		printf("%lld %.9g %.9g %d %lld\n", (long long)cycles_00001_cycle[i], (double)cycles_00001_speed_rpm[i],
			(double)cycles_00001_lpp_deg_atdc[i], cycles_00001_misfire[i], (long long)cycles_00001_draw[i]);
		for (k = 0; k < 24; k++)
			printf("%.9g ", (double)cycles_00001_pressure_bar[i][k] * (double)cycles_00001_pressure_bar_scale);
		for (k = (int)cycles_00001_knock_v_offsets[i]; k < (int)cycles_00001_knock_v_offsets[i + 1]; k++)
			printf("%.9g ", (double)cycles_00001_knock_v[k] * (double)cycles_00001_knock_v_scale);
		printf("\n");
	}
	printf("%.9g %.9g\n", (double)cycles_00001_pressure_bar_scale, (double)cycles_00001_knock_v_scale);
	return CYCLES_00000_COUNT - 10;
}
`
	require.NoError(t, os.WriteFile(filepath.Join(dir, "main.c"), []byte(main), 0o644))
	program := filepath.Join(dir, "main")
	out, err := exec.Command("gcc", "-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-I", p.Dir, "-o", program,
		filepath.Join(dir, "main.c")).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(program).Output()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.Len(t, lines, 21)
	numbers := func(line string) (out []float64) {
		for _, x := range strings.Fields(line) {
			out = append(out, number(t, x))
		}
		return out
	}
	h, steps := truth(10, 20), numbers(lines[20])
	for k := range 10 {
		var want []float64
		for i, c := range h.schema.labels {
			v := h.labels[i][k]
			if c.Kind == Number {
				v = float64(float32(v))
			}
			want = append(want, v)
		}
		got := numbers(lines[2*k])
		for i := range got {
			if h.schema.labels[i].Kind == Number {
				got[i] = float64(float32(got[i]))
			}
		}
		alike(t, labels, want, got, "labels")
		at := 0
		got = numbers(lines[2*k+1])
		for n, c := range []int{pressure, knock} {
			o := h.offsets[c]
			for _, v := range h.samples[c][o[k]:o[k+1]] {
				// half a step, and the 9 digits that the program prints
				samples.Hold(t, math.Abs(got[at]-float64(v))/(0.5*steps[n]+1e-8*math.Abs(float64(v))), "sample %d", at)
				at++
			}
		}
		require.Len(t, got, at)
	}
}

// What a header cannot say plainly: nothing, infinity, zeros, the largest float.
func TestHeaderNumbers(t *testing.T) {
	inf := float32(math.Inf(1))
	for _, c := range []struct {
		v    float32
		want string
	}{{1, "1.0f"}, {-0.5, "-0.5f"}, {1e30, "1e+30f"}, {inf, "INFINITY"}, {-inf, "-INFINITY"}, {float32(math.NaN()), "NAN"}} {
		require.Equal(t, c.want, string(appendFloatC(nil, c.v)))
	}
	require.EqualValues(t, 1, stepOf([]float32{0, float32(math.NaN())}))
	step := stepOf([]float32{-3, 2, inf})
	require.EqualValues(t, -32767, stepsC(-3, step))
	require.EqualValues(t, 32767, stepsC(inf, step))
	require.EqualValues(t, math.MinInt16, stepsC(float32(math.NaN()), step))
	require.Greater(t, stepOf([]float32{math.SmallestNonzeroFloat32}), float32(0))
}

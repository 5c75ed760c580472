package table

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var nan = math.NaN()

// all reads a table, n rows at a time.
func all(t Table, n int) ([][]float64, error) {
	out, dst := make([][]float64, len(t.Columns())), make([][]float64, len(t.Columns()))
	for c := range dst {
		dst[c] = make([]float64, n)
	}
	for {
		k, err := t.Read(dst)
		for c := range dst {
			out[c] = append(out[c], dst[c][:k]...)
		}
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return out, err
		}
	}
}

// same compares, NaN being equal to NaN.
func same(t *testing.T, want, got [][]float64) {
	t.Helper()
	require.Equal(t, fmt.Sprint(want), fmt.Sprint(got))
}

func readText(t *testing.T, s string, o *Options) (Table, [][]float64) {
	t.Helper()
	if o == nil {
		o = &Options{}
	}
	o.Stdin = strings.NewReader(s)
	x, err := Open("-", o)
	require.NoError(t, err)
	rows, err := all(x, 3)
	require.NoError(t, err)
	return x, rows
}

func TestText(t *testing.T) {
	for name, c := range map[string]struct {
		text  string
		o     *Options
		names []string
		rows  [][]float64
	}{
		"header":        {"a_s,b_v\n1,2\n3,4\n", nil, []string{"a_s", "b_v"}, [][]float64{{1, 3}, {2, 4}}},
		"none":          {"1,2\n3,4", nil, []string{"1", "2"}, [][]float64{{1, 3}, {2, 4}}},
		"tabs":          {"a\tb\n1\t2e3\n", nil, []string{"a", "b"}, [][]float64{{1}, {2000}}},
		"spaces":        {"  1   2.5 \n 3 -4\n", nil, []string{"1", "2"}, [][]float64{{1, 3}, {2.5, -4}}},
		"decimal comma": {"a;b\n1,5;-2,25\n", &Options{DecimalComma: true}, []string{"a", "b"}, [][]float64{{1.5}, {-2.25}}},
		"windows":       {"\ufeffa,b\r\n1,2\r\n\r\n# talk\r\n3,4\r\n", nil, []string{"a", "b"}, [][]float64{{1, 3}, {2, 4}}},
		"quotes":        {"\"a b\",\"c\"\n\"1\",\" 2 \"\n", nil, []string{"a b", "c"}, [][]float64{{1}, {2}}},
		"numbers named": {"1,2\n3,4\n", &Options{Header: Yes}, []string{"1", "2"}, [][]float64{{3}, {4}}},
		"bar":           {"1|2\n3|4\n", &Options{Separator: '|'}, []string{"1", "2"}, [][]float64{{1, 3}, {2, 4}}},
		"flaws":         {"a,b\n1,2\nx,4\n5\n6,7,8\nnan,9\n10,\n", nil, []string{"a", "b"}, [][]float64{{1, nan, 5, 6, nan, 10}, {2, 4, nan, 7, 9, nan}}},
	} {
		t.Run(name, func(t *testing.T) {
			x, rows := readText(t, c.text, c.o)
			assert.Equal(t, c.names, x.Columns())
			same(t, c.rows, rows)
			assert.Equal(t, int64(len(c.rows[0])), x.Row())
			if name == "flaws" {
				f := x.Flaws()
				assert.EqualValues(t, 5, f.Count)
				assert.Equal(t, Flaw{1, "standard input, line 3", `column a: "x" is no number`}, f.First[0])
				assert.Equal(t, Flaw{2, "standard input, line 4", `column b: nothing is no number`}, f.First[1])
				assert.Equal(t, Flaw{3, "standard input, line 5", "3 cells, 2 columns"}, f.First[2])
				assert.Equal(t, Flaw{4, "standard input, line 6", `column a: "nan" is no number`}, f.First[3])
				assert.Equal(t, Flaw{5, "standard input, line 7", `column b: "" is no number`}, f.First[4])
			} else {
				assert.Zero(t, x.Flaws().Count)
			}
		})
	}
}

func TestTextErrors(t *testing.T) {
	hopelessText := "a,b\n" + strings.Repeat("no,number\n", 60)
	for want, text := range map[string]string{
		"no rows":                     "",
		"names and no rows":           "a,b\n",
		"line 3: longer than 1048576": "a,b\n1,2\n" + strings.Repeat("1", 1<<20+10),
		"byte 3 is 0: no text":        "1\n\x00\x00",
		`line 2: column a: "no" is no number; column b: "number" is no number; and so in all of the first 50 rows`: hopelessText,
	} {
		x, err := Open("-", &Options{Stdin: strings.NewReader(text)})
		if err == nil {
			_, err = all(x, 100)
		}
		require.Error(t, err, want)
		assert.Contains(t, err.Error(), want)
	}
	_, err := Open("-", &Options{Separator: ',', DecimalComma: true, Stdin: strings.NewReader("1")})
	assert.ErrorContains(t, err, "cannot part numbers")
}

func TestOpenErrors(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	for want, path := range map[string]string{
		"the file is empty":           write("a.csv", ""),
		`the ending ".doc"`:           write("a.doc", "x"),
		"no such file":                filepath.Join(folder, "none.csv"),
		"no zip file":                 write("a.npz", "PK nonsense"),
		"no array of NumPy":           write("a.npy", "not at all"),
		"no Parquet":                  write("a.parquet", "PAR1 and no more PAR1"),
		"it does not begin with RIFF": write("a.wav", "RIFX....WAVE"),
		"the file ends before":        write("b.wav", "RIFF....WAVEfmt "),
		"a folder":                    folder,
	} {
		_, err := Open(path, nil)
		require.Error(t, err, want)
		assert.Contains(t, err.Error(), want)
	}
}

// The quick way must read every number as strconv does, to the last bit.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1", "-0", "1.5e-3", "9007199254740993", "0.1", "123456789012345678901234567890", "1e22", "1e23", ".5", "5.", ".", "-", "1e", "1e400", "4.9e-324", "1_0", "0x1p3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, ok := parse([]byte(s), '.')
		for _, c := range s {
			if !strings.ContainsRune("0123456789+-.eE", c) {
				require.False(t, ok, "%q", s)
				return
			}
		}
		want, err := strconv.ParseFloat(s, 64)
		if len(s) > 400 {
			return
		}
		require.Equal(t, err == nil, ok, "%q", s)
		if ok {
			require.Equal(t, math.Float64bits(want), math.Float64bits(v), "%q", s)
		}
	})
}

// python runs a script of NumPy in a folder.
func python(t *testing.T, folder, script string) {
	t.Helper()
	const name = "/usr/bin/python3"
	if exec.Command(name, "-c", "import numpy").Run() != nil {
		if os.Getenv("PHASEBENCH_REQUIRE_PEERS") != "" {
			t.Fatal("no numpy")
		}
		t.Skipf("needs numpy in %s", name)
	}
	c := exec.Command(name, "-c", script)
	c.Dir = folder
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s", out)
}

func open(t *testing.T, path string) (Table, [][]float64) {
	t.Helper()
	x, err := Open(path, nil)
	require.NoError(t, err)
	rows, err := all(x, 7)
	require.NoError(t, err)
	require.NoError(t, x.Close())
	return x, rows
}

// Peer: NumPy.
func TestNumPy(t *testing.T) {
	folder := t.TempDir()
	python(t, folder, `
import numpy as np
np.save("m.npy", np.array([[1.5, 2], [3, 4], [5, -6]], dtype=">f4"))
np.save("f.npy", np.asfortranarray(np.ones((3, 4))))
np.savez("flat.npz", a=np.arange(3, dtype="i2") - 1, b=np.array([True, False, True]), c=np.array([1., np.nan, 3.]))
np.savez_compressed("cycles.npz", speed_rpm=np.array([1000., 2000.]), p=np.arange(6, dtype="f4").reshape(2, 3), edges=np.arange(5.), edges_offsets=np.array([0, 2, 5]))
np.savez("number.npz", cycle=np.array([7, 9]), p=np.arange(4, dtype="f4").reshape(2, 2))
np.savez("odd.npz", a=np.arange(3), b=np.arange(4))
np.savez("text.npz", a=np.array(["x", "y"]))
`)
	x, rows := open(t, filepath.Join(folder, "m.npy"))
	assert.False(t, x.Named())
	same(t, [][]float64{{1.5, 3, 5}, {2, 4, -6}}, rows)
	x, rows = open(t, filepath.Join(folder, "flat.npz"))
	assert.Equal(t, []string{"a", "b", "c"}, x.Columns())
	same(t, [][]float64{{-1, 0, 1}, {1, 0, 1}, {1, nan, 3}}, rows)
	assert.EqualValues(t, 1, x.Flaws().Count)
	x, rows = open(t, filepath.Join(folder, "cycles.npz"))
	assert.Equal(t, []string{"cycle", "index", "speed_rpm", "p"}, x.Columns())
	same(t, [][]float64{{0, 0, 0, 1, 1, 1}, {0, 1, 2, 0, 1, 2}, {1000, 1000, 1000, 2000, 2000, 2000}, {0, 1, 2, 3, 4, 5}}, rows)
	x, rows = open(t, filepath.Join(folder, "number.npz"))
	assert.Equal(t, []string{"cycle", "index", "p"}, x.Columns())
	same(t, [][]float64{{7, 7, 9, 9}, {0, 1, 0, 1}, {0, 1, 2, 3}}, rows)
	for name, want := range map[string]string{"f.npy": "fortran_order", "odd.npz": "4 rows where others have 3", "text.npz": "numbers of 1 to 8 bytes"} {
		_, err := Open(filepath.Join(folder, name), nil)
		assert.ErrorContains(t, err, want)
	}
}

func parquetFile(t testing.TB, rows any, path string) {
	var err error
	switch v := rows.(type) {
	case []flatRow:
		err = parquet.WriteFile(path, v)
	case []listRow:
		err = parquet.WriteFile(path, v)
	}
	require.NoError(t, err)
}

type flatRow struct {
	A    int32    `parquet:"a"`
	B    *float64 `parquet:"b"`
	Name string   `parquet:"name"`
}

type listRow struct {
	Cycle int64     `parquet:"cycle"`
	Speed float64   `parquet:"speed_rpm"`
	P     []float32 `parquet:"p,list"`
}

func TestParquet(t *testing.T) {
	folder := t.TempDir()
	flat, lists := filepath.Join(folder, "flat.parquet"), filepath.Join(folder, "lists.parquet")
	half := 0.5
	parquetFile(t, []flatRow{{1, &half, "x"}, {2, nil, "y"}}, flat)
	parquetFile(t, []listRow{{4, 1000, []float32{1, 2, 3}}, {5, 2000, []float32{4, 5}}}, lists)
	x, rows := open(t, flat)
	assert.Equal(t, []string{"a", "b"}, x.Columns())
	same(t, [][]float64{{1, 2}, {0.5, nan}}, rows)
	x, rows = open(t, lists)
	assert.Equal(t, []string{"cycle", "index", "speed_rpm", "p"}, x.Columns())
	same(t, [][]float64{{4, 4, 4, 5, 5}, {0, 1, 2, 0, 1}, {1000, 1000, 1000, 2000, 2000}, {1, 2, 3, 4, 5}}, rows)
}

// wav is a file of samples in bytes.
func wav(code, channels, rate, bits int, size uint32, data []byte) []byte {
	b := append([]byte("RIFF\x00\x00\x00\x00WAVE"), "odd \x03\x00\x00\x00abc\x00fmt \x10\x00\x00\x00"...)
	for _, v := range []int{code, channels} {
		b = binary.LittleEndian.AppendUint16(b, uint16(v))
	}
	b = binary.LittleEndian.AppendUint32(b, uint32(rate))
	b = binary.LittleEndian.AppendUint32(b, uint32(rate*channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, uint16(channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, uint16(bits))
	b = append(b, "data"...)
	return append(binary.LittleEndian.AppendUint32(b, size), data...)
}

func TestWAV(t *testing.T) {
	folder := t.TempDir()
	le := binary.LittleEndian
	for name, c := range map[string]struct {
		code, channels, bits int
		data                 []byte
		rows                 [][]float64
	}{
		"8":      {1, 1, 8, []byte{0, 128, 192}, [][]float64{{-1, 0, 0.5}}},
		"16":     {1, 2, 16, le.AppendUint16(le.AppendUint16(nil, 0x8000), 0x4000), [][]float64{{-1}, {0.5}}},
		"24":     {1, 1, 24, []byte{0, 0, 0x40, 0, 0, 0x80}, [][]float64{{0.5, -1}}},
		"32":     {1, 1, 32, le.AppendUint32(nil, 0xc0000000), [][]float64{{-0.5}}},
		"float":  {3, 1, 32, le.AppendUint32(le.AppendUint32(nil, math.Float32bits(1.25)), math.Float32bits(float32(math.NaN()))), [][]float64{{1.25, nan}}},
		"double": {3, 1, 64, le.AppendUint64(nil, math.Float64bits(-3)), [][]float64{{-3}}},
	} {
		for _, size := range []uint32{uint32(len(c.data)), 0, math.MaxUint32} {
			path := filepath.Join(folder, name+".wav")
			require.NoError(t, os.WriteFile(path, wav(c.code, c.channels, 48000, c.bits, size, c.data), 0o600))
			x, rows := open(t, path)
			assert.Equal(t, 48000., x.Rate())
			same(t, c.rows, rows)
		}
	}
	path := filepath.Join(folder, "short.wav")
	require.NoError(t, os.WriteFile(path, wav(1, 1, 48000, 16, 100, []byte{1, 2}), 0o600))
	x, _ := open(t, path)
	assert.EqualValues(t, 1, x.Flaws().Count)
	assert.Contains(t, x.Flaws().First[0].What, "ends before its data")
	require.NoError(t, os.WriteFile(path, wav(2, 1, 48000, 4, 100, nil), 0o600))
	_, err := Open(path, nil)
	assert.ErrorContains(t, err, "format 2 of 4 bits")
}

// anything must be read or refused, never panic, hang or take memory for what is not there.
func anything(f *testing.F, ending string, seeds ...[]byte) {
	for _, s := range seeds {
		f.Add(s)
	}
	path := filepath.Join(f.TempDir(), "x"+ending)
	f.Fuzz(func(t *testing.T, b []byte) {
		require.NoError(t, os.WriteFile(path, b, 0o600))
		x, err := Open(path, nil)
		if err != nil {
			return
		}
		defer x.Close()
		dst := make([][]float64, len(x.Columns()))
		for c := range dst {
			dst[c] = make([]float64, 64)
		}
		for range 1000 {
			n, err := x.Read(dst)
			if err != nil {
				return
			}
			require.Positive(t, n)
		}
	})
}

func FuzzText(f *testing.F) {
	anything(f, ".csv", []byte("a,b\n1,2\n3,4\n"), []byte("1;2\n\"3\";x\n"), []byte("# x\n1 2\n"))
}

func FuzzWAV(f *testing.F) {
	anything(f, ".wav", wav(1, 2, 48000, 16, 8, make([]byte, 8)), wav(3, 1, 96000, 32, 0, make([]byte, 16)))
}

func FuzzNPY(f *testing.F) {
	head := "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 2), }\n"
	anything(f, ".npy", append(append([]byte("\x93NUMPY\x01\x00"), byte(len(head)), 0), head+"0123456789abcdef"...))
}

func FuzzNPZ(f *testing.F) {
	var b bytes.Buffer
	zipOf(f, &b)
	anything(f, ".npz", b.Bytes())
}

func FuzzParquet(f *testing.F) {
	path := filepath.Join(f.TempDir(), "seed.parquet")
	parquetFile(f, []listRow{{1, 2, []float32{1, 2}}}, path)
	b, err := os.ReadFile(path)
	require.NoError(f, err)
	anything(f, ".parquet", b)
}

// zipOf writes an NPZ of one array.
func zipOf(f testing.TB, b *bytes.Buffer) {
	z := zip.NewWriter(b)
	w, err := z.Create("p.npy")
	require.NoError(f, err)
	head := "{'descr': '<i2', 'fortran_order': False, 'shape': (1, 2), }\n"
	_, err = w.Write(append(append([]byte("\x93NUMPY\x01\x00"), byte(len(head)), 0), head+"abcd"...))
	require.NoError(f, err)
	require.NoError(f, z.Close())
}

package table

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// python is Debian's own interpreter, which sees Debian's NumPy.
const python = "/usr/bin/python3"

// peer skips without a program, or fails where the peers are required.
func peer(t *testing.T, name string, args ...string) {
	t.Helper()
	if err := exec.Command(name, args...).Run(); err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here: %s", name)
		t.Skipf("needs %s %s", name, strings.Join(args, " "))
	}
}

// script runs Python in a new folder, and returns the folder.
func script(t *testing.T, code string) string {
	t.Helper()
	peer(t, python, "-c", "import numpy")
	dir := t.TempDir()
	cmd := exec.Command(python, "-c", "import numpy as np\n"+code)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	return dir
}

// file writes a file in a new folder.
func file(t testing.TB, name, content string) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// readAll reads a table to its end, block rows at a time, and closes it.
func readAll(tab Table, block int) ([][]float64, error) {
	defer tab.Close()
	dst, all := make([][]float64, len(tab.Columns())), make([][]float64, len(tab.Columns()))
	for c := range dst {
		dst[c] = make([]float64, block)
	}
	for {
		n, err := tab.Read(dst)
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		for c := range dst {
			all[c] = append(all[c], dst[c][:n]...)
		}
	}
}

// whole opens and reads a file, whose values do not depend on how many rows are read at once.
func whole(t *testing.T, path string, o *Options) (Table, [][]float64) {
	t.Helper()
	var last [][]float64
	for _, block := range []int{1, 7, 1000} {
		tab, err := Open(path, o)
		require.NoError(t, err)
		all, err := readAll(tab, block)
		require.NoError(t, err)
		if last != nil {
			require.True(t, same(last, all), "%d rows at once give other values", block)
		}
		last = all
		if block == 1000 {
			return tab, all
		}
	}
	return nil, nil
}

// same tells whether values are the same bits, all NaN being one.
func same(a, b [][]float64) bool {
	if len(a) != len(b) {
		return false
	}
	for c := range a {
		if len(a[c]) != len(b[c]) {
			return false
		}
		for i := range a[c] {
			if math.Float64bits(a[c][i]) != math.Float64bits(b[c][i]) && !(math.IsNaN(a[c][i]) && math.IsNaN(b[c][i])) {
				return false
			}
		}
	}
	return true
}

// fails opens and reads a file that is wrong.
func fails(t *testing.T, path string, o *Options) string {
	t.Helper()
	tab, err := Open(path, o)
	if err == nil {
		_, err = readAll(tab, 16)
	}
	require.Error(t, err)
	var e *Error
	assert.True(t, errors.As(err, &e) || os.IsNotExist(err), "%T: %v", err, err)
	return err.Error()
}

var nan = math.NaN()

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "rec.csv"), 0o700))
	assert.Equal(t, "rec.csv: a folder; give one file of it", fails(t, filepath.Join(dir, "rec.csv"), nil))
	assert.Contains(t, fails(t, filepath.Join(dir, "none.csv"), nil), "none.csv")
	assert.Equal(t, `rec.xls: the ending ".xls" is not known; known are .csv .tsv .txt .npz .npy .parquet .wav`,
		fails(t, file(t, "rec.xls", "1"), nil))
	assert.Equal(t, "-: there is no standard input", fails(t, "-", nil))
	for _, ending := range Endings() {
		assert.Equal(t, "rec"+ending+": the file is empty", fails(t, file(t, "rec"+ending, ""), nil))
	}
}

func TestProgrammersMistake(t *testing.T) {
	tab, err := Open(file(t, "rec.csv", "1,2\n"), nil)
	require.NoError(t, err)
	defer tab.Close()
	assert.Panics(t, func() { tab.Read([][]float64{{0}}) })
}

// fuzzOpen reads a file of any content: no panic, no endless table, no endless memory.
// Small files ask for a few blocks; the limit is far above them, and far below what heads
// can claim.
func fuzzOpen(t *testing.T, name string, content []byte, o *Options) {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	defer func() {
		runtime.ReadMemStats(&after)
		require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(256<<20))
	}()
	tab, err := Open(path, o)
	if err != nil {
		return
	}
	defer tab.Close()
	columns := tab.Columns()
	require.NotEmpty(t, columns)
	dst := make([][]float64, len(columns))
	for c := range dst {
		dst[c] = make([]float64, 100)
	}
	rows := int64(0)
	for rows < 100_000 {
		n, err := tab.Read(dst)
		require.False(t, n > 0 && err != nil)
		if err != nil {
			n, again := tab.Read(dst)
			require.Zero(t, n)
			require.Equal(t, err, again)
			break
		}
		require.Positive(t, n)
		for _, d := range dst {
			for _, v := range d[:n] {
				require.False(t, math.IsInf(v, 0))
			}
		}
		require.NotEmpty(t, tab.Place(rows))
		rows += int64(n)
		require.Equal(t, rows, tab.Row())
	}
	require.LessOrEqual(t, len(tab.Flaws().First), 20)
	require.LessOrEqual(t, tab.Flaws().Count, rows)
}

var gigabyte = flag.Bool("gigabyte", false, "stream a gigabyte in the benchmark of text, and tell the heap after it")

// MB/s of the file from every format but text.
func BenchmarkFiles(b *testing.B) {
	const rows = 1 << 20
	values := make([]float32, rows)
	for i := range values {
		values[i] = float32(math.Sin(float64(i)))
	}
	var raw bytes.Buffer
	require.NoError(b, binary.Write(&raw, binary.LittleEndian, values))
	lists := make([]listRow, rows/1024)
	for i := range lists {
		lists[i] = listRow{P: values[1024*i:][:1024], Q: make([]int32, 1024)}
	}
	array := npy("<f4", fmt.Sprint(rows, ","), values)
	for name, content := range map[string]string{
		"rec.wav": wav(wavFloat, 2, 32, 4*rows, raw.Bytes()), "rec.npy": npy("<f4", fmt.Sprint(rows/4, ", 4"), values),
		"rec.npz": npz(zip.Store, "a.npy", array, "b.npy", array), "rec.parquet": write(b, lists),
	} {
		b.Run(name[4:], func(b *testing.B) {
			path := file(b, name, content)
			b.SetBytes(int64(len(content)))
			b.ReportAllocs()
			for b.Loop() {
				tab, err := Open(path, nil)
				require.NoError(b, err)
				dst := make([][]float64, len(tab.Columns()))
				for c := range dst {
					dst[c] = make([]float64, 4096)
				}
				for err == nil {
					_, err = tab.Read(dst)
				}
				require.ErrorIs(b, err, io.EOF)
				require.NoError(b, tab.Close())
			}
		})
	}
}

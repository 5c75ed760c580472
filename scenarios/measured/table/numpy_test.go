package table

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// npy is a file of one array, by hand.
func npy(descr, shape string, data any) string {
	head := fmt.Sprintf("{'descr': '%s', 'fortran_order': False, 'shape': (%s), }\n", descr, shape)
	b := binary.LittleEndian.AppendUint16([]byte("\x93NUMPY\x01\x00"), uint16(len(head)))
	b = append(b, head...)
	order := binary.ByteOrder(binary.LittleEndian)
	if descr[0] == '>' {
		order = binary.BigEndian
	}
	w := bytes.NewBuffer(b)
	if err := binary.Write(w, order, data); err != nil {
		panic(err)
	}
	return w.String()
}

// npz is a zip file of arrays, names and contents by turns.
func npz(method uint16, parts ...string) string {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(parts); i += 2 {
		w, err := z.CreateHeader(&zip.FileHeader{Name: parts[i], Method: method})
		if err != nil {
			panic(err)
		}
		if _, err := w.Write([]byte(parts[i+1])); err != nil {
			panic(err)
		}
	}
	if err := z.Close(); err != nil {
		panic(err)
	}
	return b.String()
}

func TestNPZFlat(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		tab, got := whole(t, file(t, "rec.npz", npz(method,
			"time_s.npy", npy("<f8", "3,", []float64{0, 0.5, 1}),
			"p.npy", npy(">f4", "3,", []float32{1.5, float32(math.Inf(1)), -2}),
			"note.npy", npy("<U1", "3,", make([]byte, 12)),
			"n.npy", npy("<i2", "3,", []int16{1, -2, 3}))), nil)
		assert.Equal(t, []string{"time_s", "p", "n"}, tab.Columns())
		assert.True(t, tab.Named())
		assert.True(t, same([][]float64{{0, 0.5, 1}, {1.5, nan, -2}, {1, -2, 3}}, got), "%v", got)
		assert.Equal(t, Flaws{1, []Flaw{{1, "rec.npz, row 2", "column p: +Inf"}}}, tab.Flaws())
	}
}

func TestNPZByCycle(t *testing.T) {
	tab, got := whole(t, file(t, "rec.npz", npz(zip.Store,
		"spark.npy", npy("<f8", "2,", []float64{20, nan}),
		"cycle.npy", npy("<i8", "2,", []int64{7, 9}),
		"p.npy", npy("<f4", "2, 3", []float32{1, 2, 3, 4, float32(nan), 6}),
		"q.npy", npy("|u1", "2, 3", []uint8{10, 20, 30, 40, 50, 255}),
		"grid.npy", npy("<f8", "3,", []float64{0, 1, 2}),
		"ion.npy", npy("<f4", "4,", make([]float32, 4)),
		"ion_offsets.npy", npy("<i8", "3,", []int64{0, 1, 4}))), nil)
	assert.Equal(t, []string{"cycle", "index", "spark", "p", "q"}, tab.Columns())
	want := [][]float64{{7, 7, 7, 9, 9, 9}, {0, 1, 2, 0, 1, 2}, {20, 20, 20, nan, nan, nan}, {1, 2, 3, 4, nan, 6}, {10, 20, 30, 40, 50, 255}}
	assert.True(t, same(want, got), "%v", got)
	assert.Equal(t, Flaws{1, []Flaw{{4, "rec.npz, cycle 9, index 1", "column p: NaN"}}}, tab.Flaws())
	assert.Equal(t, "rec.npz, cycle 7, index 2", tab.Place(2))
	assert.Equal(t, "rec.npz, row 7", tab.Place(6), "not read")

	tab, got = whole(t, file(t, "rec.npz", npz(zip.Store, "p.npy", npy("|b1", "2, 2", []bool{true, false, false, true}))), nil)
	assert.Equal(t, []string{"cycle", "index", "p"}, tab.Columns())
	assert.True(t, same([][]float64{{0, 0, 1, 1}, {0, 1, 0, 1}, {1, 0, 0, 1}}, got), "%v", got)
}

func TestNPY(t *testing.T) {
	tab, got := whole(t, file(t, "rec.npy", npy("<f8", "3,", []float64{1, 2, 3})), nil)
	assert.Equal(t, []string{"1"}, tab.Columns())
	assert.False(t, tab.Named())
	assert.True(t, same([][]float64{{1, 2, 3}}, got))

	tab, got = whole(t, file(t, "rec.npy", npy("<f8", "2, 3", []float64{1, 2, 3, 4, nan, 6})), nil)
	assert.Equal(t, []string{"1", "2", "3"}, tab.Columns())
	assert.True(t, same([][]float64{{1, 4}, {2, nan}, {3, 6}}, got))
	assert.Equal(t, Flaws{1, []Flaw{{1, "rec.npy, row 2", "column 2: NaN"}}}, tab.Flaws())

	wide := make([]float32, 2*65)
	for i := range wide {
		wide[i] = float32(i)
	}
	tab, got = whole(t, file(t, "rec.npy", npy("<f4", "2, 65", wide)), nil)
	assert.Equal(t, []string{"cycle", "index", "1"}, tab.Columns())
	assert.Equal(t, []float64{1, 0, 65}, []float64{got[0][65], got[1][65], got[2][65]})

	version2 := []byte(npy("<f8", "1,", []float64{4}))
	long := binary.LittleEndian.Uint16(version2[8:])
	version2 = append(append([]byte("\x93NUMPY\x02\x00"), byte(long), byte(long>>8), 0, 0), version2[10:]...)
	_, got = whole(t, file(t, "rec.npy", string(version2)), nil)
	assert.True(t, same([][]float64{{4}}, got))
}

func TestNumPyRefuses(t *testing.T) {
	good := npy("<f8", "3,", []float64{0, 0.5, 1})
	for _, tt := range []struct{ about, name, content, want string }{
		{"junk", "rec.npy", "abc", "rec.npy: no array of NumPy: it does not begin so"},
		{"head cut off", "rec.npy", good[:20], "rec.npy: the file ends in its head"},
		{"data cut off", "rec.npy", good[:len(good)-1], "rec.npy: cut off: 91 bytes, want 92 for a shape of (3,)"},
		{"more than the shape", "rec.npy", good + "x", "rec.npy, row 4, column 1: bytes after the last number of the array"},
		{"a shape that lies", "rec.npy", npy("<f8", "9999999999999, 99999999999", []float64{1}), "rec.npy: cut off: a shape of (9999999999999, 99999999999) in 100 bytes"},
		{"no rows", "rec.npy", npy("<f8", "0,", []float64{}), "rec.npy: no rows"},
		{"no columns", "rec.npy", npy("<f8", "3, 0", []float64{}), "rec.npy: no rows"},
		{"three dimensions", "rec.npy", npy("<f8", "1, 1, 1", []float64{1}), "rec.npy: an array of 3 dimensions; want 1 (rows) or 2 (rows and columns, or cycles and samples)"},
		{"no dimension", "rec.npy", npy("<f8", "", []float64{1}), "rec.npy: an array of 0 dimensions; want 1 (rows) or 2 (rows and columns, or cycles and samples)"},
		{"text", "rec.npy", npy("<U3", "1,", make([]byte, 12)), "rec.npy: an array of text, dates or objects; want numbers"},
		{"half floats", "rec.npy", npy("<f2", "1,", []byte{0, 0}), `rec.npy: "{'descr': '<f2', 'fortran_order': False, 'shape': (1,), }": want an array of f4, f8, i1 i2 i4 i8, u1 u2 u4 u8 or b1, none of records`},
		{"records", "rec.npy", strings.Replace(npy("<f8", "1,", []float64{1}), "'<f8'", "[1]  ", 1), `rec.npy: "{'descr': [1]  , 'fortran_order': False, 'shape': (1,), }": want an array of f4, f8, i1 i2 i4 i8, u1 u2 u4 u8 or b1, none of records`},
		{"columns first", "rec.npy", strings.Replace(npy("<f8", "1, 2", []float64{1, 2}), "False", "True ", 1), "rec.npy: stored column after column (fortran_order): save numpy.ascontiguousarray of it"},
		{"no zip", "rec.npz", "abc", "rec.npz: no whole zip file, as NPZ is: zip: not a valid zip file"},
		{"zip cut off", "rec.npz", npz(zip.Store, "a.npy", good)[:150], "rec.npz: no whole zip file, as NPZ is: zip: not a valid zip file"},
		{"nothing", "rec.npz", npz(zip.Store), "rec.npz: no arrays of numbers of one or two dimensions"},
		{"ragged only", "rec.npz", npz(zip.Store, "a.npy", good, "a_offsets.npy", good), "rec.npz: no arrays of numbers of one or two dimensions; arrays beside NAME_offsets, whose cycles differ in length, are not read"},
		{"lengths", "rec.npz", npz(zip.Store, "a.npy", good, "b.npy", npy("<f8", "1,", []float64{1})), "rec.npz: array a has the shape [3] and b [1]; want one shape"},
		{"counts", "rec.npz", npz(zip.Store, "a.npy", npy("<f8", "1, 2", []float64{1, 2}), "b.npy", npy("<f8", "1, 1", []float64{1})), "rec.npz: array a has the shape [1 2] and b [1 1]; want one shape"},
		{"an index of its own", "rec.npz", npz(zip.Store, "index.npy", npy("<f8", "1, 2", []float64{1, 2})), `rec.npz: a column "index" of its own, where the rows of lists are counted so; rename it`},
		{"array cut off", "rec.npz", npz(zip.Store, "a.npy", good[:len(good)-1]), "rec.npz, array a: cut off: 91 bytes, want 92 for a shape of (3,)"},
		{"an array of junk", "rec.npz", npz(zip.Store, "a.npy", "abc"), "rec.npz, array a: no array of NumPy: it does not begin so"},
	} {
		t.Run(tt.about, func(t *testing.T) {
			assert.Equal(t, tt.want, fails(t, file(t, tt.name, tt.content), nil))
		})
	}
	bad := strings.Replace(npz(zip.Store, "a.npy", npy("<f8", "1, 2", []float64{1, 2})), "\xf0\x3f", "\xf0\x40", 1)
	tab, err := Open(file(t, "rec.npz", bad), nil)
	require.NoError(t, err)
	_, err = readAll(tab, 10)
	assert.ErrorIs(t, err, zip.ErrChecksum)
}

// Every kind of number as NumPy itself writes it, and as it reads it: values made by
// NumPy, and written once more by it as text.
func TestNumPyPeer(t *testing.T) {
	dir := script(t, `
r = np.random.default_rng(3)
names = [o + k for o in '<>' for k in ('f4','f8','i2','i4','i8','u2','u4','u8')] + ['i1','u1','?']
flat, lists = {}, {'cycle': np.arange(5, 9)}
for n in names:
    d = np.dtype(n)
    if d.kind == 'f': v = r.normal(size=(4, 70))
    elif d.kind == 'b': v = r.integers(0, 2, (4, 70))
    else: v = r.integers(np.iinfo(d).min, np.iinfo(d).max, (4, 70), dtype=d.newbyteorder('='), endpoint=True)
    v = v.astype(d)
    key = n.replace('<', 'little_').replace('>', 'big_').replace('?', 'flag')
    flat[key], lists[key] = v.reshape(-1), v
np.savez('flat.npz', **flat); np.savez_compressed('flat-small.npz', **flat)
np.savez('lists.npz', **lists); np.savez_compressed('lists-small.npz', **lists)
np.save('rows.npy', r.normal(size=(500, 3)))
np.savetxt('rows.csv', np.load('rows.npy'), fmt='%.17g', delimiter=',')
columns = [v.astype('f8') for v in flat.values()]
np.savetxt('flat.csv', np.stack(columns, 1), fmt='%.17g', delimiter=',', header=','.join(flat), comments='')
cycle, index = np.repeat(np.arange(5, 9), 70), np.tile(np.arange(70), 4)
np.savetxt('lists.csv', np.stack([cycle, index] + columns, 1), fmt='%.17g', delimiter=',', header=','.join(['cycle', 'index'] + list(flat)), comments='')
`)
	for name, text := range map[string]string{"flat.npz": "flat.csv", "flat-small.npz": "flat.csv", "lists.npz": "lists.csv", "lists-small.npz": "lists.csv", "rows.npy": "rows.csv"} {
		tab, got := whole(t, filepath.Join(dir, name), nil)
		by, want := whole(t, filepath.Join(dir, text), nil)
		assert.Equal(t, by.Columns(), tab.Columns(), name)
		assert.True(t, same(want, got), name)
		assert.Zero(t, tab.Flaws().Count)
		assert.Zero(t, by.Flaws().Count)
	}
}

// What NumPy writes and this package does not read is refused, and the rest of it is not.
func TestNumPyPeerRefused(t *testing.T) {
	dir := script(t, `
np.save('fortran.npy', np.asfortranarray(np.ones((3, 2))))
np.save('records.npy', np.zeros(3, [('t', 'f8'), ('p', 'f4')]))
np.save('complex.npy', np.zeros(3, 'c16'))
np.savez('mixed.npz', p=np.ones(3), text=np.array(['a', 'b', 'c']), when=np.zeros(3, 'M8[s]'), single=1.5)
`)
	for name, want := range map[string]string{"fortran.npy": "fortran_order", "records.npy": "none of records", "complex.npy": "want an array of"} {
		assert.Contains(t, fails(t, filepath.Join(dir, name), nil), want)
	}
	tab, _ := whole(t, filepath.Join(dir, "mixed.npz"), nil)
	assert.Equal(t, []string{"p"}, tab.Columns())
}

func FuzzNPZ(f *testing.F) {
	array := npy("<f8", "3,", []float64{0, 0.5, 1})
	f.Add([]byte(array))
	f.Add([]byte(npy(">i2", "2, 3", make([]int16, 6))))
	f.Add([]byte(npz(zip.Store, "a.npy", array, "b.npy", npy("<f4", "3, 2", make([]float32, 6)))))
	f.Add([]byte(npz(zip.Deflate, "a.npy", array, "cycle.npy", array)))
	f.Fuzz(func(t *testing.T, b []byte) {
		fuzzOpen(t, "rec.npz", b, nil)
		fuzzOpen(t, "rec.npy", b, nil)
		fuzzOpen(t, "rec.npz", []byte(npz(zip.Store, "a.npy", string(b), "b.npy", array)), nil)
	})
}

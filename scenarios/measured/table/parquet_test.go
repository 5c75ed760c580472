package table

import (
	"bytes"
	"encoding/binary"
	"os"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// write is a file of rows in groups.
func write[T any](t testing.TB, groups ...[]T) string {
	t.Helper()
	var b bytes.Buffer
	w := parquet.NewGenericWriter[T](&b, parquet.Compression(&parquet.Snappy), parquet.PageBufferSize(200))
	for _, g := range groups {
		_, err := w.Write(g)
		require.NoError(t, err)
		require.NoError(t, w.Flush())
	}
	require.NoError(t, w.Close())
	return b.String()
}

type inner struct {
	Temperature int32 `parquet:"temperature"`
}

type flatRow struct {
	Time  float64  `parquet:"time_s"`
	P     *float32 `parquet:"p,optional"`
	Note  string   `parquet:"note"`
	N     int64    `parquet:"n,delta"`
	Big   uint64   `parquet:"big"`
	Small uint32   `parquet:"small,dict"`
	On    bool     `parquet:"on"`
	Price int64    `parquet:"price,decimal(2:18)"`
	Air   inner    `parquet:"air"`
}

func TestParquetFlat(t *testing.T) {
	p := float32(1.5)
	rows := []flatRow{{0, &p, "a", -1, 1 << 63, 1<<32 - 1, true, 5, inner{-3}}, {0.5, nil, "b", 2, 0, 7, false, 5, inner{4}}}
	third := flatRow{1, &p, "c", 3, 1, 2, true, 5, inner{5}}
	tab, got := whole(t, file(t, "rec.parquet", write(t, rows, []flatRow{third})), nil)
	assert.Equal(t, []string{"time_s", "p", "n", "big", "small", "on", "air.temperature"}, tab.Columns())
	assert.True(t, tab.Named())
	assert.True(t, same([][]float64{{0, 0.5, 1}, {1.5, nan, 1.5}, {-1, 2, 3}, {1 << 63, 0, 1}, {1<<32 - 1, 7, 2}, {1, 0, 1}, {-3, 4, 5}}, got), "%v", got)
	assert.Equal(t, Flaws{1, []Flaw{{1, "rec.parquet, row 2", "column p: NaN"}}}, tab.Flaws())
}

type listRow struct {
	Cycle int64     `parquet:"cycle"`
	Spark *float64  `parquet:"spark,optional"`
	P     []float32 `parquet:"p,list"`
	Q     []int32   `parquet:"q"`
}

func TestParquetByCycle(t *testing.T) {
	spark := 20.
	rows := []listRow{{7, &spark, []float32{1, 2, 3}, []int32{4, 5, 6}}, {8, nil, nil, nil}, {9, nil, []float32{7}, []int32{8}}}
	more := []listRow{{11, &spark, []float32{float32(nan), 2}, []int32{3, 4}}}
	tab, got := whole(t, file(t, "rec.parquet", write(t, rows, more)), nil)
	assert.Equal(t, []string{"cycle", "index", "spark", "p", "q"}, tab.Columns())
	want := [][]float64{{7, 7, 7, 9, 11, 11}, {0, 1, 2, 0, 0, 1}, {20, 20, 20, nan, 20, 20}, {1, 2, 3, 7, nan, 2}, {4, 5, 6, 8, 3, 4}}
	assert.True(t, same(want, got), "%v", got)
	assert.Equal(t, Flaws{1, []Flaw{{4, "rec.parquet, cycle 11, index 0", "column p: NaN"}}}, tab.Flaws())
	assert.Equal(t, "rec.parquet, cycle 7, index 2", tab.Place(2))
}

// Lists whose elements may be missing, in lists that may be: three levels.
func TestParquetMissing(t *testing.T) {
	type row struct {
		P []*float64 `parquet:"p,list,optional"`
	}
	one := 1.
	tab, got := whole(t, file(t, "rec.parquet", write(t, []row{{[]*float64{&one, nil}}, {nil}, {[]*float64{}}, {[]*float64{nil, &one}}})), nil)
	assert.True(t, same([][]float64{{0, 0, 3, 3}, {0, 1, 0, 1}, {1, nan, nan, 1}}, got), "%v", got)
	assert.Equal(t, int64(2), tab.Flaws().Count)
}

// Many pages and groups, and lists that are longer than what is read at once.
func TestParquetLong(t *testing.T) {
	var groups [][]listRow
	want := make([][]float64, 4)
	for g := range 3 {
		var rows []listRow
		for k := range 40 {
			r := listRow{Cycle: int64(100*g + k)}
			for i := range 20 + k*37%100 {
				r.P, r.Q = append(r.P, float32(i*k)/8), append(r.Q, int32(i-k))
				for c, v := range []float64{float64(r.Cycle), float64(i), float64(i*k) / 8, float64(i - k)} {
					want[c] = append(want[c], v)
				}
			}
			rows = append(rows, r)
		}
		groups = append(groups, rows)
	}
	_, got := whole(t, file(t, "rec.parquet", write(t, groups...)), nil)
	assert.True(t, same(want, append(got[:2:2], got[3:]...)))
}

func TestParquetRefuses(t *testing.T) {
	good := write(t, []listRow{{7, nil, []float32{1, 2}, []int32{1, 2}}})
	type note struct{ Note string }
	type index struct {
		Index float64 `parquet:"index"`
		P     []float64
	}
	for _, tt := range []struct{ about, content, want string }{
		{"junk", "abc", "rec.parquet: no whole Parquet file: it does not end with PAR1"},
		{"more junk", strings.Repeat("PAR1", 10), "rec.parquet: no whole Parquet file: a foot of 827474256 bytes in a file of 40"},
		{"another beginning", "X" + good[1:], "rec.parquet: no whole Parquet file: "},
		{"cut off", good[:len(good)-20], "rec.parquet: no whole Parquet file: it does not end with PAR1"},
		{"no numbers", write(t, []note{{"a"}}), "rec.parquet: no columns of numbers"},
		{"no rows", write[listRow](t), "rec.parquet: no rows"},
		{"lengths", write(t, []listRow{{7, nil, []float32{1, 2}, []int32{1, 2}}, {8, nil, []float32{1, 2, 3}, []int32{1}}}), "rec.parquet, cycle 8, index 0: the lists of p and q are not of one length"},
		{"an index of its own", write(t, []index{{1, []float64{1}}}), `rec.parquet: a column "index" of its own, where the rows of lists are counted so; rename it`},
	} {
		t.Run(tt.about, func(t *testing.T) {
			assert.Contains(t, fails(t, file(t, "rec.parquet", tt.content), nil), tt.want)
		})
	}
}

// A page that claims what it cannot hold is refused before anything is made for it.
func TestParquetPages(t *testing.T) {
	content := write(t, []listRow{{7, nil, []float32{1, 2}, []int32{1, 2}}})
	p, err := parquet.OpenFile(strings.NewReader(content), int64(len(content)))
	require.NoError(t, err)
	// The head of a page in Thrift's compact protocol: 0x15 and its type, 0x15 and the
	// bytes out of it as a zigzag varint, here of one byte.
	m := &p.Metadata().RowGroups[0].Columns[0].MetaData
	at := m.DataPageOffset + 2
	require.Equal(t, byte(0x15), content[at])
	lie := func(bytes uint64) error {
		b := binary.AppendUvarint([]byte(content[:at+1]), 2*bytes)
		b = append(b, content[at+2:]...)
		more := int64(len(b) - len(content))
		m.TotalCompressedSize += more
		defer func() { m.TotalCompressedSize -= more }()
		f, err := os.Open(file(t, "rec.parquet", string(b)))
		require.NoError(t, err)
		defer f.Close()
		return checkPages(p, f, int64(len(b)), 0, "rec.parquet")
	}
	require.NoError(t, lie(16<<20))
	assert.ErrorContains(t, lie(1<<30), "1073741824 bytes out of")
	m.TotalCompressedSize += 1 << 40
	assert.ErrorContains(t, lie(8), "bytes from 4 on in a file of")
}

func FuzzParquet(f *testing.F) {
	f.Add([]byte(write(f, []listRow{{7, nil, []float32{1, 2, 3}, []int32{4, 5, 6}}, {8, nil, nil, nil}}, []listRow{{9, nil, []float32{7}, []int32{8}}})))
	f.Add([]byte(write(f, []flatRow{{Time: 1, Note: "a"}, {Time: 2, Small: 3}})))
	f.Fuzz(func(t *testing.T, b []byte) { fuzzOpen(t, "rec.parquet", b, nil) })
}

package table

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Values by hand.
func TestTextForms(t *testing.T) {
	for _, tt := range []struct {
		about, text string
		options     Options
		names       []string
		named       bool
		want        [][]float64
	}{
		{"comma", "time_s,p\n0,1.5\n1e-3,-2.25e2\n", Options{}, []string{"time_s", "p"}, true, [][]float64{{0, 0.001}, {1.5, -225}}},
		{"no names", "1,2\n3,4\n", Options{}, []string{"1", "2"}, false, [][]float64{{1, 3}, {2, 4}}},
		{"no end of the last line", "a,b\n1,2\n3,4", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"CRLF", "a,b\r\n1,2\r\n3,4\r\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"mark", "\ufeffa,b\n1,2\n3,4\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"mark, no names", "\ufeff1,2\n3,4\n", Options{}, []string{"1", "2"}, false, [][]float64{{1, 3}, {2, 4}}},
		{"semicolon", "a;b\n1;2\n3;4\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"tab", "a\tb\n1\t2\n3\t4\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"spaces", "  a   b\n 1    2\n3 \t 4  \n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"spaces about commas", "a , b\n1, 2\n 3 ,4 \n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"one column", "p\n1\n2\n", Options{}, []string{"p"}, true, [][]float64{{1, 2}}},
		{"quotes", "\"a\",\"b, \"\"raw\"\"\"\n\"1\",\"2\"\n3,\" 4 \"\n", Options{}, []string{"a", `b, "raw"`}, true, [][]float64{{1, 3}, {2, 4}}},
		{"comments and blank lines", "# of a pump\n\na,b\n# more\n1,2\n   \n\t# and more\n3,4\n\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"decimal comma", "a;b\n1,5;2\n-3,25e1;4\n", Options{DecimalComma: true}, []string{"a", "b"}, true, [][]float64{{1.5, -32.5}, {2, 4}}},
		{"decimal comma, spaces", "1,5 2,5\n", Options{DecimalComma: true}, []string{"1", "2"}, false, [][]float64{{1.5}, {2.5}}},
		{"separator given", "a|b\n1|2\n", Options{Separator: '|'}, []string{"a", "b"}, true, [][]float64{{1}, {2}}},
		{"semicolon in a name", "a,b [bar; raw]\n1,2\n3,4\n", Options{}, []string{"a", "b [bar; raw]"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"numbers as names", "1,2\n3,4\n", Options{Header: Yes}, []string{"1", "2"}, true, [][]float64{{3}, {4}}},
		{"a number among names", "time,1\n3,4\n", Options{}, []string{"time", "1"}, true, [][]float64{{3}, {4}}},
		{"a name missing", "a,,c\n1,2,3\n", Options{}, []string{"a", "2", "c"}, true, [][]float64{{1}, {2}, {3}}},
		{"a separator at the end", "a,b,\n1,2,\n3,4,\n", Options{}, []string{"a", "b"}, true, [][]float64{{1, 3}, {2, 4}}},
		{"odd numbers", "a,b\n.5,5.\n+1,-0\n1E2,1e+2\n000000000000000000001.5,9007199254740993\n", Options{},
			[]string{"a", "b"}, true, [][]float64{{0.5, 1, 100, 1.5}, {5, math.Copysign(0, -1), 100, 9007199254740992}}},
	} {
		t.Run(tt.about, func(t *testing.T) {
			o := tt.options
			tab, got := whole(t, file(t, "rec.csv", tt.text), &o)
			assert.Equal(t, tt.names, tab.Columns())
			assert.Equal(t, tt.named, tab.Named())
			assert.Zero(t, tab.Rate())
			assert.True(t, same(tt.want, got), "%v, want %v", got, tt.want)
			assert.Equal(t, int64(len(got[0])), tab.Row())
			assert.Zero(t, tab.Flaws())
		})
	}
}

// Every flaw with its line, counted with comments and blank lines.
func TestTextFlaws(t *testing.T) {
	for _, tt := range []struct {
		about, text string
		want        [][]float64
		flaw        Flaw
	}{
		{"text", "a,b\n1,2\n# c\n3,off\n", [][]float64{{1, 3}, {2, nan}}, Flaw{1, "rec.csv, line 4", `column b: "off" is no number`}},
		{"empty", "a,b\n1,2\n\n,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 4", "column a: nothing is no number"}},
		{"short", "a,b,c\n1,2,3\n4,5\n", [][]float64{{1, 4}, {2, 5}, {3, nan}}, Flaw{1, "rec.csv, line 3", "column c: nothing is no number"}},
		{"short at the end of the file", "a,b,c\n1,2,3\n4", [][]float64{{1, 4}, {2, nan}, {3, nan}}, Flaw{1, "rec.csv, line 3", "column b: nothing is no number, and 1 more of the row"}},
		{"long", "a,b\n1,2\n3,4,5\n", [][]float64{{1, 3}, {2, 4}}, Flaw{1, "rec.csv, line 3", "3 cells for 2 columns"}},
		{"text and long", "a,b\n1,2\nx,4,5\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "x" is no number; 3 cells for 2 columns`}},
		{"nan", "a,b\n1,2\n3,nan\n", [][]float64{{1, 3}, {2, nan}}, Flaw{1, "rec.csv, line 3", `column b: "nan" is no number`}},
		{"NaN at first", "NaN,3\n1,2\n", [][]float64{{nan, 1}, {3, 2}}, Flaw{0, "rec.csv, line 1", `column 1: "NaN" is no number`}},
		{"inf", "a,b\n1,2\n-inf,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "-inf" is no number`}},
		{"out of range", "a,b\n1,2\n1e999,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "1e999" is no number`}},
		{"hexadecimal", "a,b\n1,2\n0x10,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "0x10" is no number`}},
		{"underscore", "a,b\n1,2\n1_0,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "1_0" is no number`}},
		{"two numbers", "a,b\n1,2\n1 0,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "1 0" is no number`}},
		{"cut to 40", "a,b\n1,2\n" + strings.Repeat("ö", 50) + ",4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "` + strings.Repeat("ö", 40) + `…" is no number`}},
		{"open quotes", "a,b\n1,2\n\"3,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "\"3" is no number`}},
		{"text after quotes", "a,b\n1,2\n\"3\"x,4\n", [][]float64{{1, nan}, {2, 4}}, Flaw{1, "rec.csv, line 3", `column a: "\"3\"x" is no number`}},
	} {
		t.Run(tt.about, func(t *testing.T) {
			tab, got := whole(t, file(t, "rec.csv", tt.text), nil)
			assert.True(t, same(tt.want, got), "%v, want %v", got, tt.want)
			assert.Equal(t, Flaws{1, []Flaw{tt.flaw}}, tab.Flaws())
		})
	}
}

func TestTextManyFlaws(t *testing.T) {
	var b strings.Builder
	b.WriteString("a,b\n1,2\n")
	for range 100 {
		b.WriteString("3,\n")
	}
	tab, _ := whole(t, file(t, "rec.csv", b.String()), nil)
	f := tab.Flaws()
	assert.Equal(t, int64(100), f.Count)
	require.Len(t, f.First, 20)
	assert.Equal(t, Flaw{20, "rec.csv, line 22", "column b: nothing is no number"}, f.First[19])
}

func TestTextRefuses(t *testing.T) {
	rows := func(n int, row string) string { return strings.Repeat(row+"\n", n) }
	for _, tt := range []struct {
		about, text string
		options     Options
		want        string
	}{
		{"header only", "a,b\n", Options{}, "rec.csv, line 1: names and no rows"},
		{"comments only", "# a\n\n", Options{}, "rec.csv, line 2: nothing but blank lines and comments"},
		{"50 flawed rows", "a,b\n" + rows(60, "on,2"), Options{}, `rec.csv, line 2: column a: "on" is no number; each of the first 50 rows has a flaw: want numbers with '.' as the decimal mark, apart by ',', 2 a row`},
		{"all of few rows flawed", "a;b\n1,5;2\n2,5;3\n", Options{}, `rec.csv, line 2: column a: "1,5" is no number; each of the first 2 rows has a flaw: want numbers with '.' as the decimal mark, apart by ';', 2 a row`},
		{"another separator", "a;b\n1;2\n", Options{Separator: ','}, `rec.csv, line 2: column a;b: "1;2" is no number; each of the first 1 rows has a flaw: want numbers with '.' as the decimal mark, apart by ',', 1 a row`},
		{"binary", "a,b\n1,2\n\x00\x01\x02", Options{}, "rec.csv, line 3: byte 0x00 (9 of the file): no text"},
		{"UTF-16", "\xff\xfea\x00", Options{}, "rec.csv: text in UTF-16; save it as UTF-8"},
		{"CR alone", "a,b\r1,2\r3,4\r", Options{}, "rec.csv, line 1: lines end with CR alone; want LF, or CR and LF"},
		{"long line", "a,b\n1,2\n" + strings.Repeat("3", 1<<20) + "\n", Options{}, "rec.csv, line 3: longer than 1048576 bytes: no table"},
		{"long first line", strings.Repeat("a,", 1<<20), Options{}, "rec.csv, line 1: longer than 1048576 bytes: no table"},
		{"many columns", strings.Repeat("a,", 2000) + "\n", Options{}, "rec.csv, line 1: 2000 columns, 1024 at most"},
		{"comma twice", "1,2\n", Options{Separator: ',', DecimalComma: true}, `rec.csv: the separator ',' cannot part numbers whose decimal mark is ','`},
		{"a separator of numbers", "1,2\n", Options{Separator: 'e'}, `rec.csv: the separator 'e' cannot part numbers whose decimal mark is '.'`},
		{"a separator beyond ASCII", "1,2\n", Options{Separator: '·'}, `rec.csv: the separator '·' cannot part numbers whose decimal mark is '.'`},
	} {
		t.Run(tt.about, func(t *testing.T) {
			o := tt.options
			assert.Equal(t, tt.want, fails(t, file(t, "rec.csv", tt.text), &o))
		})
	}
	long, _ := whole(t, file(t, "rec.csv", "a,b\n1,2\n"+strings.Repeat("3", 1<<20-1)+"\n"), nil)
	assert.Equal(t, int64(1), long.Flaws().Count, "a line of 1 MB is read")
}

// Standard input, read in small bits, gives what a file does.
func TestTextStandardInput(t *testing.T) {
	const rows = "a b\n1 2\n3 x\n# c\n5 6"
	for _, in := range []io.Reader{strings.NewReader(rows), iotest.OneByteReader(strings.NewReader(rows)), iotest.DataErrReader(strings.NewReader(rows))} {
		tab, err := Open("-", &Options{Stdin: in})
		require.NoError(t, err)
		got, err := readAll(tab, 2)
		require.NoError(t, err)
		assert.True(t, same([][]float64{{1, 3, 5}, {2, nan, 6}}, got))
		assert.Equal(t, []Flaw{{1, "standard input, line 3", `column b: "x" is no number`}}, tab.Flaws().First)
		assert.Equal(t, "standard input, line 5", tab.Place(2))
	}
	_, err := Open("-", &Options{Stdin: iotest.TimeoutReader(strings.NewReader(rows))})
	require.ErrorIs(t, err, iotest.ErrTimeout)
	assert.Contains(t, err.Error(), "standard input, line 1")
	_, err = Open("-", &Options{Stdin: strings.NewReader("")})
	assert.EqualError(t, err, "standard input: empty")
}

// Place knows the line of every row of the last Read, whatever stands between them.
func TestTextPlace(t *testing.T) {
	var b strings.Builder
	var lines []int
	line := 1
	b.WriteString("a,b\n")
	for row := range 30000 {
		for range row % 3 {
			b.WriteString("# c\n")
			line++
		}
		fmt.Fprintf(&b, "%d,2\n", row)
		line++
		lines = append(lines, line)
	}
	tab, err := Open(file(t, "rec.csv", b.String()), nil)
	require.NoError(t, err)
	defer tab.Close()
	dst := [][]float64{make([]float64, 10000), make([]float64, 10000)}
	for first := 0; first < 30000; first += 10000 {
		n, err := tab.Read(dst)
		require.NoError(t, err)
		require.Equal(t, 10000, n)
		for row := first; row < first+n; row++ {
			require.Equal(t, fmt.Sprintf("rec.csv, line %d", lines[row]), tab.Place(int64(row)))
		}
	}
	assert.Equal(t, "rec.csv, row 1", tab.Place(0), "not known any more")
	assert.Equal(t, "rec.csv, row 30001", tab.Place(30000), "not read")
}

// numbers makes rows of text without end.
type numbers struct {
	rows []byte
	at   int
	left int64
}

func newNumbers(size int64) *numbers {
	s := &numbers{left: size}
	for i := range 2000 {
		s.rows = fmt.Appendf(s.rows, "%.6f,%.4f,%d\n", float64(i)/48000, 1+30*math.Sin(float64(i)/300), i%58)
	}
	return s
}

func (s *numbers) Read(b []byte) (int, error) {
	if s.left <= 0 {
		return 0, io.EOF
	}
	n := copy(b, s.rows[s.at:])
	s.at = (s.at + n) % len(s.rows)
	s.left -= int64(n)
	return n, nil
}

func TestTextNoAllocations(t *testing.T) {
	tab, err := Open("-", &Options{Stdin: newNumbers(1 << 30)})
	require.NoError(t, err)
	dst := [][]float64{make([]float64, 1000), make([]float64, 1000), make([]float64, 1000)}
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		if n, err := tab.Read(dst); n != 1000 || err != nil {
			t.Error(n, err)
		}
	}))
}

// MB/s of text of three columns, and the heap after it.
func BenchmarkCSV(b *testing.B) {
	size := int64(64 << 20)
	if *gigabyte {
		size = 1 << 30
	}
	dst := [][]float64{make([]float64, 4096), make([]float64, 4096), make([]float64, 4096)}
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		tab, err := Open("-", &Options{Stdin: newNumbers(size)})
		require.NoError(b, err)
		for err == nil {
			_, err = tab.Read(dst)
		}
		require.ErrorIs(b, err, io.EOF)
		require.Zero(b, tab.Flaws().Count)
		if *gigabyte {
			b.StopTimer()
			var m runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapAlloc)/(1<<20), "heap-MB")
			runtime.KeepAlive(tab)
			b.StartTimer()
		}
	}
}

func FuzzCSV(f *testing.F) {
	for _, text := range []string{"a,b\n1,2\n", "\ufeff\"a\";b\r\n1,5;\"2\"\r\n# c\r\n\r\n;x\r\n", "1 2\t3\n4\n", "a\tb\t\n1\t\t\n", "\"", ",,\n,"} {
		f.Add([]byte(text), byte(0), false)
		f.Add([]byte(text), byte(';'), true)
	}
	f.Fuzz(func(t *testing.T, b []byte, sep byte, comma bool) {
		o := &Options{Separator: rune(sep), DecimalComma: comma, Header: Header(len(b) % 3)}
		fuzzOpen(t, "rec.csv", b, o)
		o.Stdin = bytes.NewReader(b)
		all, err := Open("-", o)
		if err != nil {
			return
		}
		want, wrong := readAll(all, 1000)
		o.Stdin = iotest.OneByteReader(bytes.NewReader(b))
		one, err := Open("-", o)
		require.NoError(t, err)
		got, err := readAll(one, 3)
		require.Equal(t, wrong, err)
		if err == nil { // rows of one line are the same however they come
			require.True(t, same(want, got))
			require.Equal(t, all.Flaws(), one.Flaws())
		}
	})
}

package table

import (
	"fmt"
	"math"
	"sort"
)

// widest is how many columns a table has at most: our own choice, so that a broken head
// asks for no endless buffers.
const widest = 1024

// base is what all tables have.
type base struct {
	name  string
	names []string
	named bool
	rate  float64
	row   int64
	flaws Flaws
	err   error // what every later Read returns
	shut  func() error
}

func (b *base) Columns() []string { return b.names }
func (b *base) Named() bool       { return b.named }
func (b *base) Rate() float64     { return b.rate }
func (b *base) Row() int64        { return b.row }
func (b *base) Flaws() Flaws      { return b.flaws }
func (b *base) Close() error      { return b.shut() }

// Place is the number of a row.
func (b *base) Place(row int64) string { return fmt.Sprintf("%s, row %d", b.name, row+1) }

// room is how many rows dst has.
func (b *base) room(dst [][]float64) int {
	if len(dst) != len(b.names) {
		panic(fmt.Sprintf("table: %d slices for %d columns", len(dst), len(b.names)))
	}
	return len(dst[0])
}

// hand hands n rows over, and an error only without any.
func (b *base) hand(n int, err error) (int, error) {
	b.err = err
	if n > 0 {
		return n, nil
	}
	return 0, err
}

// finite makes NaN of what is not finite in the n rows from b.row on, and a flaw of each
// row that has it, but for columns that repeat.
func (b *base) finite(dst [][]float64, n int, repeats []bool, place func(int64) string) {
	wrong := false
	for _, d := range dst {
		for _, v := range d[:n] {
			wrong = wrong || v-v != 0
		}
	}
	for r := 0; wrong && r < n; r++ {
		first, count := -1, 0
		var was float64
		for c, d := range dst {
			if d[r]-d[r] == 0 {
				continue
			}
			if repeats == nil || !repeats[c] {
				if count++; count == 1 {
					first, was = c, d[r]
				}
			}
			d[r] = math.NaN()
		}
		if count > 0 && b.flaws.count() {
			row := b.row + int64(r)
			b.flaws.First = append(b.flaws.First, Flaw{row, place(row), fmt.Sprintf("column %s: %v%s", b.names[first], was, more(count-1))})
		}
	}
}

// more tells of further wrong cells of a row.
func more(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(", and %d more of the row", n)
}

// numbered are names where a file has none.
func numbered(n int) []string {
	names := make([]string, n)
	for i := range names {
		names[i] = fmt.Sprint(i + 1)
	}
	return names
}

// mark is where a row stands in the file: a line, or a cycle that begins there.
type mark struct {
	row int64
	at  float64
}

// marks are in order of rows.
type marks []mark

// marksKept is how many marks of rows of earlier Reads are kept: our own choice.
const marksKept = 4096

// forget drops all but the last if they are too many.
func (m *marks) forget() {
	if n := len(*m); n > marksKept {
		*m = append((*m)[:0], (*m)[n-1])
	}
}

// find is the last mark that is not after row.
func (m marks) find(row int64) (mark, bool) {
	i := sort.Search(len(m), func(i int) bool { return m[i].row > row })
	if i == 0 {
		return mark{}, false
	}
	return m[i-1], true
}

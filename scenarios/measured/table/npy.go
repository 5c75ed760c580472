package table

import (
	"fmt"
	"io"
	"os"
)

// rowsOfColumns is how many columns a single array of rows and columns has at most; a
// wider one is of cycles and samples. Our own choice.
const rowsOfColumns = 64

// newNPY reads one array: of rows, of rows and columns, or of cycles and samples.
func newNPY(f *os.File, size int64, name string) (Table, error) {
	a, err := openArray(f, name, size)
	if err != nil {
		return nil, err
	}
	if a == nil {
		return nil, &Error{name, "an array of text, dates or objects; want numbers"}
	}
	b := base{name: name, names: numbered(1), shut: f.Close}
	switch {
	case len(a.shape) == 1:
		return newColumns(b, []column{a}, []bool{false}, a.shape[0])
	case len(a.shape) != 2:
		return nil, &Error{name, fmt.Sprintf("an array of %d dimensions; want 1 (rows) or 2 (rows and columns, or cycles and samples)", len(a.shape))}
	case a.left == 0:
		return nil, &Error{name, "no rows"}
	case a.shape[1] > rowsOfColumns:
		return newColumns(b, []column{a}, []bool{true}, a.shape[0])
	}
	wide := int(a.shape[1])
	b.names = numbered(wide)
	return &matrix{base: b, source: a, rows: a.shape[0], block: make([]float64, matrixRows*wide)}, nil
}

// matrixRows are read at once.
const matrixRows = 512

// matrix is a table of one array of rows and columns.
type matrix struct {
	base
	source *array
	rows   int64
	block  []float64
}

func (t *matrix) Read(dst [][]float64) (int, error) {
	room, wide := t.room(dst), len(dst)
	if t.err != nil {
		return 0, t.err
	}
	n := 0
	var err error
	for n < room && err == nil {
		k := int(min(int64(room-n), matrixRows, t.rows-t.row-int64(n)))
		if k == 0 {
			err = io.EOF
			break
		}
		var m int
		if m, err = t.source.read(t.block[:k*wide]); err != nil {
			err = cutOff(t.Place(t.row+int64(n+m/wide)), err)
		}
		for i := range m / wide * wide {
			dst[i%wide][n+i/wide] = t.block[i]
		}
		n += m / wide
	}
	t.finite(dst, n, nil, t.Place)
	t.row += int64(n)
	return t.hand(n, err)
}

package table

import (
	"fmt"
	"io"
	"math"
)

// column is one of a file whose columns are read apart: a number a row, or a list a
// group of rows.
type column interface {
	// next reads the next number of a plain column.
	next() (float64, error)
	// list reads the next list.
	list(dst []float64) ([]float64, error)
}

// columns is a table of a file that is stored by column. Where some of its columns hold
// lists, each of their places is a group of as many rows, and plain columns say their
// number again in each.
type columns struct {
	name   string
	names  []string
	source []column
	lists  []bool // of source
	counts bool   // the first two are cycle and index
	cycle  int    // the column of that name, -1: none
	groups int64
	group  int64 // read so far
	held   [][]float64
	at     int // in held
	long   int // rows in held
	row    int64
	flaws  Flaws
	close  func() error
}

// newColumns makes the table of columns; groups is how many rows or groups there are.
func newColumns(name string, names []string, source []column, lists []bool, groups int64, shut func() error) (Table, error) {
	if len(source) == 0 {
		return nil, &Error{name, "no columns of numbers"}
	}
	if groups == 0 {
		return nil, &Error{name, "no rows"}
	}
	t := &columns{name: name, names: names, source: source, lists: lists, groups: groups, close: shut, cycle: -1}
	for i, l := range lists {
		t.counts = t.counts || l
		if names[i] == "cycle" && !l {
			t.cycle = i
		}
	}
	if t.counts {
		t.names = []string{"cycle", "index"}
		for i, n := range names {
			if i != t.cycle {
				t.names = append(t.names, n)
			}
		}
	}
	t.held = make([][]float64, len(source))
	return t, nil
}

func (t *columns) Columns() []string { return t.names }
func (t *columns) Named() bool       { return true }
func (t *columns) Rate() float64     { return 0 }
func (t *columns) Row() int64        { return t.row }
func (t *columns) Flaws() Flaws      { return t.flaws }
func (t *columns) Close() error      { return t.close() }

func (t *columns) Place(row int64) string {
	if t.counts && t.long > 0 {
		return fmt.Sprintf("%s, row %d (near group %d)", t.name, row+1, t.group)
	}
	return fmt.Sprintf("%s, row %d", t.name, row+1)
}

// more reads the next group.
func (t *columns) more() error {
	if t.group == t.groups {
		return io.EOF
	}
	long := -1
	for i, c := range t.source {
		if !t.lists[i] {
			v, err := c.next()
			if err != nil {
				return t.ends(err)
			}
			t.held[i] = append(t.held[i][:0], v)
			continue
		}
		var err error
		if t.held[i], err = c.list(t.held[i][:0]); err != nil {
			return t.ends(err)
		}
		if long < 0 {
			long = len(t.held[i])
		}
		if len(t.held[i]) != long {
			return &Error{t.Place(t.row), fmt.Sprintf("%d samples beside %d of the same cycle", len(t.held[i]), long)}
		}
	}
	if !t.counts {
		long = 1
	}
	t.at, t.long = 0, long
	t.group++
	return nil
}

func (t *columns) ends(err error) error {
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("%s: %w", t.Place(t.row), err)
}

func (t *columns) Read(dst [][]float64) (int, error) {
	n := 0
	for n < len(dst[0]) {
		if t.at == t.long {
			if err := t.more(); err == io.EOF {
				break
			} else if err != nil {
				return n, err
			}
			continue
		}
		to := 0
		if t.counts {
			dst[0][n], dst[1][n] = float64(t.group-1), float64(t.at)
			if t.cycle >= 0 {
				dst[0][n] = t.held[t.cycle][0]
			}
			to = 2
		}
		for i, h := range t.held {
			if t.counts && i == t.cycle {
				continue
			}
			v := h[0]
			if t.lists[i] {
				v = h[t.at]
			}
			if math.IsNaN(v) || math.IsInf(v, 0) {
				if t.lists[i] || !t.counts {
					t.flaws.add(t.row, t.Place(t.row), fmt.Sprintf("column %s: %v", t.names[to], v))
				}
				v = math.NaN()
			}
			dst[to][n] = v
			to++
		}
		t.at++
		t.row++
		n++
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

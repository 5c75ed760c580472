package table

import (
	"fmt"
	"io"
	"strconv"
)

// column is one of a file whose columns are read apart.
type column interface {
	// read fills dst with the next numbers of a plain column; n < len(dst) with an error,
	// io.EOF at its end.
	read(dst []float64) (n int, err error)
	// list fills dst with the next numbers of the list that a list column is in; done:
	// that was the last of it. io.EOF where there is no list any more.
	list(dst []float64) (n int, done bool, err error)
}

// flat is a table of plain columns.
type flat struct {
	base
	source []column
	rows   int64
}

func (t *flat) Read(dst [][]float64) (int, error) {
	room := t.room(dst)
	if t.err != nil {
		return 0, t.err
	}
	n := int(min(int64(room), t.rows-t.row))
	if n == 0 && room > 0 {
		return t.hand(0, io.EOF)
	}
	var err error
	for c, s := range t.source {
		k, e := s.read(dst[c][:n])
		if e != nil {
			n, err = k, cutOff(t.Place(t.row+int64(k))+", column "+t.names[c], e)
		}
	}
	t.finite(dst, n, nil, t.Place)
	t.row += int64(n)
	return t.hand(n, err)
}

// cutOff is an error of a file that should have gone on.
func cutOff(where string, err error) error {
	switch err {
	case io.EOF, io.ErrUnexpectedEOF:
		return &Error{where, "the file ends before its data do"}
	case errBytes:
		return &Error{where, err.Error()}
	}
	return fmt.Errorf("%s: %w", where, err)
}

// byCycle is a table of columns some of which hold a list for each cycle.
type byCycle struct {
	base
	source  []column
	lists   []bool // of source
	to      []int  // column of the table of each
	repeats []bool // columns of the table that say a number of the cycle again
	cycle   int    // the source of that name, -1: none
	cycles  int64

	next    int64     // cycle
	plain   []float64 // of source, in the cycle
	inside  bool
	at      int // index
	starts  marks
	scratch [1]float64
}

// newColumns makes the table of columns: flat, or by cycle where some are lists.
func newColumns(b base, source []column, lists []bool, rows int64) (Table, error) {
	t := &byCycle{base: b, source: source, lists: lists, cycles: rows, cycle: -1, plain: make([]float64, len(source)), to: make([]int, len(source))}
	one := false
	for i, l := range lists {
		one = one || l
		if b.names[i] == "cycle" && !l {
			t.cycle = i
		}
	}
	switch {
	case len(source) == 0:
		return nil, &Error{b.name, "no columns of numbers"}
	case len(source)+2 > widest:
		return nil, &Error{b.name, fmt.Sprintf("%d columns, %d at most", len(source), widest-2)}
	case rows <= 0:
		return nil, &Error{b.name, "no rows"}
	case !one:
		return &flat{base: b, source: source, rows: rows}, nil
	}
	t.names, t.repeats = []string{"cycle", "index"}, []bool{true, true}
	for i, n := range b.names {
		if i == t.cycle {
			continue
		}
		if n == "cycle" || n == "index" {
			return nil, &Error{b.name, fmt.Sprintf("a column %q of its own, where the rows of lists are counted so; rename it", n)}
		}
		t.to[i] = len(t.names)
		t.names, t.repeats = append(t.names, n), append(t.repeats, !lists[i])
	}
	return t, nil
}

func (t *byCycle) Place(row int64) string {
	if row >= t.row {
		return t.base.Place(row)
	}
	return t.place(row)
}

// place is Place also of rows that are being read.
func (t *byCycle) place(row int64) string {
	m, ok := t.starts.find(row)
	if !ok {
		return t.base.Place(row)
	}
	return fmt.Sprintf("%s, cycle %s, index %d", t.name, strconv.FormatFloat(m.at, 'f', -1, 64), row-m.row)
}

func (t *byCycle) Read(dst [][]float64) (int, error) {
	room := t.room(dst)
	if t.err != nil {
		return 0, t.err
	}
	t.starts.forget()
	n := 0
	var err error
	for n < room {
		if !t.inside {
			if t.next == t.cycles {
				err = io.EOF
				break
			}
			if err = t.begin(t.row + int64(n)); err != nil {
				break
			}
		}
		var k int
		if k, err = t.on(dst, n, room-n); err != nil {
			break
		}
		n += k
	}
	t.finite(dst, n, t.repeats, t.place)
	t.row += int64(n)
	return t.hand(n, err)
}

// begin begins a cycle at a row.
func (t *byCycle) begin(row int64) error {
	for i, s := range t.source {
		if t.lists[i] {
			continue
		}
		if _, err := s.read(t.scratch[:]); err != nil {
			return cutOff(fmt.Sprintf("%s, row %d", t.name, row+1), err)
		}
		t.plain[i] = t.scratch[0]
	}
	number := float64(t.next)
	if t.cycle >= 0 {
		number = t.plain[t.cycle]
	}
	t.starts = append(t.starts, mark{row, number})
	t.inside, t.at = true, 0
	t.next++
	return nil
}

// on reads at most room rows of the cycle to dst from n on.
func (t *byCycle) on(dst [][]float64, n, room int) (rows int, err error) {
	start := t.starts[len(t.starts)-1]
	row := start.row + int64(t.at)
	first, done := -1, false
	for i, s := range t.source {
		if !t.lists[i] {
			continue
		}
		k, d, err := s.list(dst[t.to[i]][n : n+room])
		if err != nil {
			return 0, cutOff(t.place(row)+", column "+t.names[t.to[i]], err)
		}
		if first < 0 {
			first, rows, done = i, k, d
		} else if k != rows || d != done {
			return 0, &Error{t.place(row), fmt.Sprintf("the lists of %s and %s are not of one length", t.names[t.to[first]], t.names[t.to[i]])}
		}
	}
	for r := n; r < n+rows; r++ {
		dst[0][r], dst[1][r] = start.at, float64(t.at+r-n)
	}
	for i, v := range t.plain {
		if t.lists[i] || i == t.cycle {
			continue
		}
		d := dst[t.to[i]][n : n+rows]
		for r := range d {
			d[r] = v
		}
	}
	t.at += rows
	t.inside = !done
	return rows, nil
}

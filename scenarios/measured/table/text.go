package table

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

const (
	textBlock = 1 << 17 // bytes read at once, unless a line is longer
	lineMost  = 1 << 20 // bytes of a line at most, its end included
	hopeless  = 50      // rows, all flawed, after which a text is no table
)

// text is a table of lines.
type text struct {
	base
	in    io.Reader
	sep   byte // ' ': spaces and tabs
	point byte

	buf   []byte // what was read and not yet used is buf[at:]
	at    int
	begin int // of the line that next gave
	end   bool
	line  int64 // lines used so far
	cells [][]byte

	lines marks
	clean bool // a row without a flaw was seen
}

// fill reads on.
func (t *text) fill() error {
	if t.at > 0 {
		t.buf = t.buf[:copy(t.buf, t.buf[t.at:])]
		t.at = 0
	}
	from := len(t.buf)
	if from == lineMost {
		return &Error{t.here(1), fmt.Sprintf("longer than %d bytes: no table", lineMost)}
	}
	if from == cap(t.buf) {
		t.buf = append(make([]byte, 0, min(2*from, lineMost)), t.buf...)
	}
	for range 100 { // as often as bufio has patience with nothing
		n, err := t.in.Read(t.buf[from:cap(t.buf)])
		t.buf = t.buf[:from+n]
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("%s: %w", t.here(1), err)
		}
		if t.end = err != nil; t.end || n > 0 {
			return nil
		}
	}
	return fmt.Errorf("%s: %w", t.here(1), io.ErrNoProgress)
}

// here is the place of the last line used, or of one after it.
func (t *text) here(after int64) string { return fmt.Sprintf("%s, line %d", t.name, t.line+after) }

// next is the next line that is no comment and not blank, without its end.
func (t *text) next() ([]byte, error) {
	for seen := 0; ; {
		rest := t.buf[t.at:]
		k := bytes.IndexByte(rest[seen:], '\n')
		if k < 0 && !t.end {
			seen = len(rest)
			if err := t.fill(); err != nil {
				return nil, err
			}
			continue
		}
		if k < 0 && len(rest) == 0 {
			return nil, io.EOF
		}
		line := rest
		t.begin = t.at
		if k >= 0 {
			line = rest[:seen+k]
			t.at += len(line) + 1
		} else {
			t.at = len(t.buf)
		}
		t.line++
		seen = 0
		if line = bytes.TrimRight(line, "\r"); !skipped(line) {
			return line, nil
		}
	}
}

// skipped tells whether a line is a comment or blank.
func skipped(line []byte) bool {
	line = bytes.TrimLeft(line, " \t\r")
	return len(line) == 0 || line[0] == '#'
}

func (t *text) Place(row int64) string {
	if m, ok := t.lines.find(row); ok && row < t.row {
		return fmt.Sprintf("%s, line %d", t.name, int64(m.at)+row-m.row)
	}
	return t.base.Place(row)
}

func (t *text) Read(dst [][]float64) (int, error) {
	room := t.room(dst)
	if t.err != nil {
		return 0, t.err
	}
	t.lines.forget()
	n := 0
	for ; n < room; n++ {
		if k := t.quick(t.buf[t.at:], dst, n); k > 0 {
			t.at += k
			t.line++
			t.clean = true
		} else {
			line, err := t.next()
			if err != nil {
				return t.hand(n, t.last(err))
			}
			t.careful(line, dst, n)
		}
		if m := len(t.lines); m == 0 || t.lines[m-1].at-float64(t.lines[m-1].row) != float64(t.line-t.row) {
			t.lines = append(t.lines, mark{t.row, float64(t.line)})
		}
		t.row++
		if !t.clean && t.row == hopeless {
			return t.hand(0, t.flawed())
		}
	}
	return n, nil
}

// last is the error at the end: a table has a row that is numbers.
func (t *text) last(err error) error {
	switch {
	case err != io.EOF || t.clean:
		return err
	case t.row == 0:
		return &Error{t.here(0), "names and no rows"}
	}
	return t.flawed()
}

func (t *text) flawed() error {
	f := t.flaws.First[0]
	return &Error{f.Where, fmt.Sprintf("%s; each of the first %d rows has a flaw: want numbers with %q as the decimal mark, apart by %s, %d a row",
		f.What, t.row, t.point, spoken(t.sep), len(t.names))}
}

// quick reads the line that b begins with if it is whole and plain: numbers, as many as
// there are columns. It returns its bytes, or 0.
func (t *text) quick(b []byte, dst [][]float64, n int) int {
	p, last := 0, len(dst)-1
	for c := range dst {
		for p < len(b) && (b[p] == ' ' || b[p] == '\t' && t.sep == ' ') {
			p++
		}
		v, k := scan(b[p:], t.point)
		if k == 0 {
			return 0
		}
		dst[c][n] = v
		p += k
		from := p
		for p < len(b) && (b[p] == ' ' || b[p] == '\t' && t.sep == ' ') {
			p++
		}
		if c == last {
			break
		}
		if t.sep == ' ' {
			if p == from {
				return 0
			}
			continue
		}
		if p == len(b) || b[p] != t.sep {
			return 0
		}
		p++
	}
	if p < len(b) && b[p] == '\r' {
		p++
	}
	if p == len(b) || b[p] != '\n' {
		return 0
	}
	return p + 1
}

// careful reads any line, and notes what is wrong with it.
func (t *text) careful(line []byte, dst [][]float64, n int) {
	t.cells = split(t.cells[:0], line, t.sep)
	first, wrong := -1, 0
	for c := range dst {
		v, ok := math.NaN(), false
		if c < len(t.cells) {
			v, ok = parse(t.cells[c], t.point)
		}
		if !ok {
			if wrong++; wrong == 1 {
				first = c
			}
		}
		dst[c][n] = v
	}
	many := len(t.cells) > len(dst)
	if wrong == 0 && !many {
		t.clean = true
		return
	}
	if !t.flaws.count() {
		return
	}
	var what []string
	if wrong > 0 {
		stood := "nothing"
		if first < len(t.cells) && len(t.cells[first]) > 0 {
			stood = fmt.Sprintf("%q", cut(t.cells[first]))
		}
		what = append(what, fmt.Sprintf("column %s: %s is no number%s", t.names[first], stood, more(wrong-1)))
	}
	if many {
		what = append(what, fmt.Sprintf("%d cells for %d columns", len(t.cells), len(dst)))
	}
	t.flaws.First = append(t.flaws.First, Flaw{t.row, t.here(0), strings.Join(what, "; ")})
}

// cut shortens what a message quotes to 40 characters.
func cut(c []byte) string {
	const most = 40
	r := []rune(string(c[:min(len(c), 4*most+4)]))
	if len(r) > most {
		return string(r[:most]) + "…"
	}
	return string(r)
}

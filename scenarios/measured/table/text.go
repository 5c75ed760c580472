package table

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// Sizes of reading. A line is no longer than lineMost.
const (
	textBlock = 1 << 18
	lineMost  = 1 << 20
	hopeless  = 50 // rows, all flawed, after which a text is no table
)

// text is a table of lines.
type text struct {
	in    io.ReadCloser
	name  string
	sep   byte
	point byte
	names []string
	named bool

	buf  []byte // what was read and not yet used is buf[at:]
	at   int
	end  bool   // of the file
	line int64  // lines used so far
	held []byte // the first line, to be read again as numbers

	row   int64
	lines []int64 // of the rows of the last Read
	first int64   // the row of lines[0]
	flaws Flaws
	clean bool // a row without a flaw was seen
}

func newText(in io.ReadCloser, name string, o *Options) (Table, error) {
	t := &text{in: in, name: name, point: '.', buf: make([]byte, 0, 2*lineMost)}
	if o.DecimalComma {
		t.point = ','
	}
	if o.Separator > utf8.RuneSelf || o.Separator == rune(t.point) && o.Separator != 0 {
		return nil, &Error{name, fmt.Sprintf("the separator %q cannot part numbers whose decimal mark is %q", o.Separator, t.point)}
	}
	if err := t.fill(); err != nil {
		return nil, err
	}
	t.buf = bytes.TrimPrefix(t.buf, []byte("\ufeff"))
	if i := bytes.IndexByte(t.buf[:min(len(t.buf), 4096)], 0); i >= 0 {
		return nil, &Error{name, fmt.Sprintf("byte %d is 0: no text", i+1)}
	}
	head, err := t.next()
	if err == io.EOF {
		return nil, &Error{name, "no rows"}
	}
	if err != nil {
		return nil, err
	}
	t.sep = byte(o.Separator)
	if t.sep == 0 {
		t.sep = separator(head, t.point)
	}
	cells := t.cells(head)
	numbers := true
	for _, c := range cells {
		if _, ok := parse(c, t.point); !ok {
			numbers = false
		}
	}
	if t.named = o.Header == Yes || o.Header == Auto && !numbers; t.named {
		for _, c := range cells {
			t.names = append(t.names, string(c))
		}
		return t, nil
	}
	t.names = numbered(len(cells))
	t.held = bytes.Clone(head)
	return t, nil
}

// separator is what parts the cells of a line: the first of tab, semicolon and comma
// that it has, or spaces.
func separator(line []byte, point byte) byte {
	for _, c := range []byte{'\t', ';', ','} {
		if c != point && bytes.IndexByte(line, c) >= 0 {
			return c
		}
	}
	return ' '
}

// cells parts a line.
func (t *text) cells(line []byte) [][]byte {
	var cells [][]byte
	if t.sep == ' ' {
		cells = bytes.Fields(line)
	} else {
		cells = bytes.Split(line, []byte{t.sep})
	}
	for i := range cells {
		cells[i] = bare(cells[i])
	}
	return cells
}

// bare is a cell without spaces and quotes around it.
func bare(c []byte) []byte {
	c = bytes.TrimSpace(c)
	if len(c) >= 2 && c[0] == '"' && c[len(c)-1] == '"' {
		c = bytes.TrimSpace(c[1 : len(c)-1])
	}
	return c
}

// fill reads on, until a line or the end of the file is in buf.
func (t *text) fill() error {
	if t.at > 0 {
		t.buf = t.buf[:copy(t.buf, t.buf[t.at:])]
		t.at = 0
	}
	for from := 0; !t.end && bytes.IndexByte(t.buf[from:], '\n') < 0; {
		from = len(t.buf)
		if from >= lineMost {
			return &Error{fmt.Sprintf("%s, line %d", t.name, t.line+1), fmt.Sprintf("longer than %d bytes: no table", lineMost)}
		}
		n, err := t.in.Read(t.buf[from:min(cap(t.buf), from+textBlock)])
		t.buf = t.buf[:from+n]
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("%s, line %d: %w", t.name, t.line+1, err)
		}
		t.end = err != nil
	}
	return nil
}

// next is the next line that is no comment and not blank.
func (t *text) next() ([]byte, error) {
	if line := t.held; line != nil {
		t.held = nil
		return line, nil
	}
	for {
		rest := t.buf[t.at:]
		k := bytes.IndexByte(rest, '\n')
		if k < 0 && !t.end {
			if err := t.fill(); err != nil {
				return nil, err
			}
			continue
		}
		if k < 0 && len(rest) == 0 {
			return nil, io.EOF
		}
		line := rest
		if k >= 0 {
			line = rest[:k]
			t.at += k + 1
		} else {
			t.at = len(t.buf)
		}
		t.line++
		if n := len(line); n > 0 && line[n-1] == '\r' {
			line = line[:n-1]
		}
		if len(line) == 0 || line[0] == '#' || line[0] <= ' ' && len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		return line, nil
	}
}

func (t *text) Columns() []string { return t.names }
func (t *text) Named() bool       { return t.named }
func (t *text) Rate() float64     { return 0 }
func (t *text) Row() int64        { return t.row }
func (t *text) Flaws() Flaws      { return t.flaws }
func (t *text) Close() error      { return t.in.Close() }

func (t *text) Place(row int64) string {
	if i := row - t.first; i >= 0 && i < int64(len(t.lines)) {
		return fmt.Sprintf("%s, line %d", t.name, t.lines[i])
	}
	return fmt.Sprintf("%s, row %d", t.name, row+1)
}

func (t *text) Read(dst [][]float64) (int, error) {
	if len(dst) != len(t.names) {
		panic(fmt.Sprintf("table: %d slices for %d columns", len(dst), len(t.names)))
	}
	t.first, t.lines = t.row, t.lines[:0]
	n := 0
	for n < len(dst[0]) {
		line, err := t.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return n, err
		}
		t.lines = append(t.lines, t.line)
		t.row++
		if !t.quick(line, dst, n) {
			t.careful(line, dst, n)
			if !t.clean && t.flaws.Count >= hopeless {
				return n, &Error{t.flaws.First[0].Where, fmt.Sprintf("%s; and so in all of the first %d rows: numbers apart by %q, decimal mark %q, were expected", t.flaws.First[0].What, hopeless, t.sep, t.point)}
			}
		} else {
			t.clean = true
		}
		n++
	}
	if n == 0 {
		if t.row == 0 {
			return 0, &Error{t.name, "names and no rows"}
		}
		return 0, io.EOF
	}
	return n, nil
}

// quick reads a line of plain numbers, as many as there are columns.
func (t *text) quick(line []byte, dst [][]float64, n int) bool {
	if t.sep == ' ' {
		return false
	}
	last := len(dst) - 1
	for c := range dst {
		k := len(line)
		if c < last {
			if k = bytes.IndexByte(line, t.sep); k < 0 {
				return false
			}
		}
		v, ok := parse(line[:k], t.point)
		if !ok {
			return false
		}
		dst[c][n] = v
		if c < last {
			line = line[k+1:]
		}
	}
	return true
}

// careful reads any line, and notes what is wrong with it.
func (t *text) careful(line []byte, dst [][]float64, n int) {
	cells := t.cells(line)
	var wrong []string
	for c := range dst {
		v, ok, text := 0., false, "nothing"
		if c < len(cells) {
			v, ok = parse(cells[c], t.point)
			text = fmt.Sprintf("%q", cut(cells[c]))
		}
		if !ok {
			v = math.NaN()
			wrong = append(wrong, fmt.Sprintf("column %s: %s is no number", t.names[c], text))
		}
		dst[c][n] = v
	}
	if len(cells) > len(dst) {
		wrong = append(wrong, fmt.Sprintf("%d cells, %d columns", len(cells), len(dst)))
	}
	if wrong == nil {
		t.clean = true
		return
	}
	t.flaws.add(t.row-1, fmt.Sprintf("%s, line %d", t.name, t.line), strings.Join(wrong, "; "))
}

// cut shortens what a message quotes.
func cut(c []byte) []byte {
	if len(c) > 40 {
		return append(append([]byte(nil), c[:40]...), "…"...)
	}
	return c
}

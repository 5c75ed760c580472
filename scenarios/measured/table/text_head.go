package table

import (
	"bytes"
	"fmt"
	"io"
	"strings"
)

// sample is how many bytes of a text are looked at before it is read, and sampleLines how
// many lines tell the separator: our own choice.
const (
	sample      = 1 << 16
	sampleLines = 20
)

// newText opens a text: what parts its cells, and its names.
func newText(in io.ReadCloser, name string, o *Options) (Table, error) {
	t := &text{base: base{name: name, shut: in.Close}, in: in, point: '.', buf: make([]byte, 0, textBlock)}
	if o.DecimalComma {
		t.point = ','
	}
	if s := o.Separator; s != 0 && (s < ' ' && s != '\t' || s > '~' || s == rune(t.point) || strings.ContainsRune("0123456789+-.eE#\"", s)) {
		return nil, &Error{name, fmt.Sprintf("the separator %q cannot part numbers whose decimal mark is %q", s, t.point)}
	}
	for !t.end && len(t.buf) < sample {
		if err := t.fill(); err != nil {
			return nil, err
		}
	}
	head := t.buf[:min(len(t.buf), sample)]
	if err := t.plain(head); err != nil {
		return nil, err
	}
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		t.at = len("\ufeff")
	}
	if t.sep = byte(o.Separator); t.sep == 0 {
		t.sep = separator(rows(head[t.at:]), t.point)
	}
	line, err := t.next()
	if err == io.EOF {
		return nil, &Error{t.here(0), "nothing but blank lines and comments"}
	} else if err != nil {
		return nil, err
	}
	cells := split(nil, line, t.sep)
	if len(cells) > widest {
		return nil, &Error{t.here(0), fmt.Sprintf("%d columns, %d at most", len(cells), widest)}
	}
	t.names = numbered(len(cells))
	if t.named = o.Header == Yes || o.Header == Auto && t.words(cells); t.named {
		for i, c := range cells {
			if len(c) > 0 {
				t.names[i] = strings.ReplaceAll(string(c), `""`, `"`)
			}
		}
		return t, nil
	}
	t.at, t.line = t.begin, t.line-1 // to be read again, as numbers
	return t, nil
}

// plain refuses what is no text.
func (t *text) plain(head []byte) error {
	switch {
	case len(head) == 0:
		return &Error{t.name, "empty"}
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return &Error{t.name, "text in UTF-16; save it as UTF-8"}
	}
	for i, c := range head {
		if c < ' ' && !bytes.ContainsRune([]byte("\t\n\v\f\r"), rune(c)) {
			return &Error{fmt.Sprintf("%s, line %d", t.name, 1+bytes.Count(head[:i], []byte("\n"))), fmt.Sprintf("byte %#02x (%d of the file): no text", c, i+1)}
		}
	}
	if i := bytes.IndexByte(head, '\r'); i >= 0 && i < len(head)-1 && bytes.IndexByte(head, '\n') < 0 {
		return &Error{t.name + ", line 1", "lines end with CR alone; want LF, or CR and LF"}
	}
	return nil
}

// rows are the first lines that are no comments.
func rows(head []byte) (all [][]byte) {
	for len(head) > 0 && len(all) < sampleLines {
		k := bytes.IndexByte(head, '\n')
		if k < 0 {
			k = len(head)
		}
		if line := head[:k]; !skipped(line) {
			all = append(all, line)
		}
		head = head[min(k+1, len(head)):]
	}
	return all
}

// words tells whether a cell is neither a number, nor nothing, nor a word for none.
func (t *text) words(cells [][]byte) bool {
	for _, c := range cells {
		if _, ok := parse(c, t.point); ok || len(c) == 0 {
			continue
		}
		switch strings.ToLower(strings.TrimLeft(string(c), "+-")) {
		case "nan", "inf", "infinity", "null", "na", "n/a":
			continue
		}
		return true
	}
	return false
}

// Package table reads tables of numbers from files, from the first row to the last, in
// flat memory: text, NPZ and NPY, Parquet and WAV. It knows nothing of what the numbers
// are.
//
// Files that hold lists by cycle become a row a sample: columns "cycle" (that of the
// file, or counted from 0) and "index" (from 0) come first, then the columns of the file;
// a number that a cycle has once stands in each of its rows.
package table

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Table is rows of numbers, read once from the first to the last.
type Table interface {
	// Columns are their names, in order; "1", "2", … where the file has none.
	Columns() []string
	// Named tells whether the file gave the names.
	Named() bool
	// Rate is how many rows a second has, where the file says so [1/s]; 0: it does not.
	Rate() float64
	// Read fills dst[c][:rows] of every column c; all dst[c] are of one length. A cell
	// that is no finite number is NaN. io.EOF and no rows: nothing is left. An error
	// comes without rows, and again each time: rows before it were given before.
	Read(dst [][]float64) (rows int, err error)
	// Row is how many rows were read so far.
	Row() int64
	// Place tells a person where a row, 0 the first, stands. Lines of text and cycles of
	// files by cycle are exact for rows of the last Read; where rows before it are not
	// known any more, their number is told, 1 the first.
	Place(row int64) string
	// Flaws are what was wrong so far.
	Flaws() Flaws
	Close() error
}

// Flaws are what was wrong with rows: in how many, and the first of them. A number that
// stands once for a whole cycle is no flaw where it is NaN.
type Flaws struct {
	Count int64
	First []Flaw // 20 at most
}

// Flaw is what was wrong with a row, 0 the first.
type Flaw struct {
	Row         int64
	Where, What string
}

// keep is how many flaws are kept.
const keep = 20

// count counts a flaw, and tells whether it is to be kept.
func (f *Flaws) count() bool {
	f.Count++
	return f.Count <= keep
}

// Header says whether the first row of a text is names.
type Header int

// Headers.
const (
	Auto Header = iota // a row with a cell that is neither a number, nothing, nor a word such as NaN, inf, null or NA is names
	Yes
	No
)

// Options of reading; the zero value is usual.
type Options struct {
	Separator    rune // of text, one of ASCII; ' ': spaces and tabs; 0: found from the first lines, of tab ; , and spaces
	DecimalComma bool // of text; the separator is then no comma
	Header       Header
	Stdin        io.Reader // what the path "-" is, as text
}

// Error is what is wrong with a file: where, and what.
type Error struct{ Where, What string }

func (e *Error) Error() string { return e.Where + ": " + e.What }

// Endings of names of files that Open knows.
func Endings() []string { return []string{".csv", ".tsv", ".txt", ".npz", ".npy", ".parquet", ".wav"} }

// Open opens a file by the ending of its name, or Options.Stdin as text for "-"; nil
// options are usual. What is wrong with a file comes back as an *Error, from Read too;
// what keeps it from being read is wrapped with the place.
func Open(path string, o *Options) (Table, error) {
	if o == nil {
		o = &Options{}
	}
	if path == "-" {
		if o.Stdin == nil {
			return nil, &Error{path, "there is no standard input"}
		}
		return newText(io.NopCloser(o.Stdin), "standard input", o)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	t, err := of(f, path, o)
	if err != nil {
		f.Close()
		return nil, err
	}
	return t, nil
}

func of(f *os.File, path string, o *Options) (Table, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	name, size := filepath.Base(path), info.Size()
	switch {
	case info.IsDir():
		return nil, &Error{name, "a folder; give one file of it"}
	case info.Mode().IsRegular() && size == 0:
		return nil, &Error{name, "the file is empty"}
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".csv", ".tsv", ".txt":
		return newText(f, name, o)
	case ".wav":
		return newWAV(f, name)
	case ".npy":
		return newNPY(f, size, name)
	case ".npz":
		return newNPZ(f, size, name)
	case ".parquet":
		return newParquet(f, size, name)
	}
	return nil, &Error{name, fmt.Sprintf("the ending %q is not known; known are %s", filepath.Ext(path), strings.Join(Endings(), " "))}
}

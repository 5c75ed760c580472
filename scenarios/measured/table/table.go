// Package table reads tables of numbers from files, from the first row to the last, in
// flat memory: text, NPZ, Parquet and WAV. It knows nothing of what the numbers are.
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
	// Rate is how many rows a second has, where the file says so; 0: it does not.
	Rate() float64
	// Read fills dst[c][:rows] of every column c; all dst[c] are of one length. A cell
	// that is no number is NaN and a flaw. io.EOF and no rows: nothing is left.
	Read(dst [][]float64) (rows int, err error)
	// Row is how many rows were read so far.
	Row() int64
	// Place tells a person where a row, 0 the first, stands. In text it is exact for rows
	// of the last Read.
	Place(row int64) string
	Flaws() Flaws
	Close() error
}

// Flaws are what was wrong with rows: how many, and the first of them.
type Flaws struct {
	Count int64
	First []Flaw
}

// Flaw is what was wrong with a row.
type Flaw struct {
	Row         int64
	Where, What string
}

// keep is how many flaws are kept.
const keep = 20

func (f *Flaws) add(row int64, where, what string) {
	f.Count++
	if len(f.First) < keep {
		f.First = append(f.First, Flaw{row, where, what})
	}
}

// Header says whether the first row of a text is names.
type Header int

// Headers.
const (
	Auto Header = iota // a row with a cell that is no number is names
	Yes
	No
)

// Options of reading; the zero value is usual.
type Options struct {
	Separator    rune // of text, 0: found from the first lines
	DecimalComma bool // of text
	Header       Header
	Stdin        io.Reader // what the path "-" is, as text
}

// Error is what is wrong with a file: where, and what.
type Error struct{ Where, What string }

func (e *Error) Error() string { return e.Where + ": " + e.What }

// Endings of names of files that Open knows.
func Endings() []string { return []string{".csv", ".tsv", ".txt", ".npz", ".npy", ".parquet", ".wav"} }

// Open opens a file by the ending of its name; nil options are usual.
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
	name := filepath.Base(path)
	switch {
	case info.IsDir():
		return nil, &Error{name, "a folder; give one file of it"}
	case info.Mode().IsRegular() && info.Size() == 0:
		return nil, &Error{name, "the file is empty"}
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".csv", ".tsv", ".txt":
		return newText(f, name, o)
	case ".wav":
		return newWAV(f, name)
	case ".npz", ".npy":
		return newNumPy(f, info.Size(), name)
	case ".parquet":
		return newParquet(f, info.Size(), name)
	}
	return nil, &Error{name, fmt.Sprintf("the ending %q is not known; known are %s", filepath.Ext(path), strings.Join(Endings(), " "))}
}

// numbered are names where a file has none.
func numbered(n int) []string {
	names := make([]string, n)
	for i := range names {
		names[i] = fmt.Sprint(i + 1)
	}
	return names
}

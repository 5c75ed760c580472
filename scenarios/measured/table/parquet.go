package table

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"

	"github.com/parquet-go/parquet-go"
)

// leaf is a column of a Parquet file, read in order. A list column is one of repeated
// values; a plain one is not.
type leaf struct {
	groups []parquet.RowGroup
	index  int
	pages  parquet.Pages
	values parquet.ValueReader
	buf    [1024]parquet.Value
	held   []parquet.Value // of buf, not used yet
	ended  bool
}

// peek is the next value, or nil at the end.
func (l *leaf) peek() (*parquet.Value, error) {
	for len(l.held) == 0 {
		if l.values == nil {
			if err := l.page(); err == io.EOF {
				return nil, nil
			} else if err != nil {
				return nil, err
			}
		}
		n, err := l.values.ReadValues(l.buf[:])
		l.held = l.buf[:n]
		if errors.Is(err, io.EOF) {
			l.values = nil
		} else if err != nil {
			return nil, err
		}
	}
	return &l.held[0], nil
}

// page goes on to the next page, of the next row group if need be.
func (l *leaf) page() error {
	for {
		if l.pages == nil {
			if len(l.groups) == 0 {
				return io.EOF
			}
			l.pages = l.groups[0].ColumnChunks()[l.index].Pages()
			l.groups = l.groups[1:]
		}
		p, err := l.pages.ReadPage()
		if errors.Is(err, io.EOF) {
			l.pages.Close()
			l.pages = nil
			continue
		}
		if err != nil {
			return err
		}
		l.values = p.Values()
		return nil
	}
}

func (l *leaf) next() (float64, error) {
	v, err := l.peek()
	if err != nil {
		return 0, err
	}
	if v == nil {
		return 0, io.EOF
	}
	l.held = l.held[1:]
	return number(v), nil
}

func (l *leaf) list(dst []float64) ([]float64, error) {
	for {
		v, err := l.peek()
		if err != nil {
			return dst, err
		}
		if v == nil || len(dst) > 0 && v.RepetitionLevel() == 0 {
			if v == nil && len(dst) == 0 {
				return dst, io.EOF
			}
			return dst, nil
		}
		l.held = l.held[1:]
		if v.IsNull() && v.DefinitionLevel() == 0 {
			return dst, nil // an empty list
		}
		dst = append(dst, number(v))
	}
}

// newParquet reads the columns of numbers: plain ones, and lists.
func newParquet(f *os.File, size int64, name string) (t Table, err error) {
	defer func() { // of a file that is not what it says
		if r := recover(); r != nil {
			t, err = nil, &Error{name, fmt.Sprint("broken Parquet: ", r)}
		}
	}()
	p, err := parquet.OpenFile(f, size, parquet.SkipBloomFilters(true), parquet.SkipPageIndex(true))
	if err != nil {
		return nil, &Error{name, "no Parquet: " + err.Error()}
	}
	var names []string
	var source []column
	var lists []bool
	for i, path := range p.Schema().Columns() {
		node, _ := p.Schema().Lookup(path...)
		if !slices.Contains([]parquet.Kind{parquet.Boolean, parquet.Int32, parquet.Int64, parquet.Float, parquet.Double}, node.Node.Type().Kind()) || node.MaxRepetitionLevel > 1 {
			continue
		}
		names, lists = append(names, path[0]), append(lists, node.MaxRepetitionLevel == 1)
		source = append(source, &leaf{groups: p.RowGroups(), index: i})
	}
	c, err := newColumns(name, names, source, lists, p.NumRows(), f.Close)
	if err != nil {
		return nil, err
	}
	return &safe{c, name}, nil
}

// safe turns a panic of the library over a broken file into an error.
type safe struct {
	Table
	name string
}

func (s *safe) Read(dst [][]float64) (n int, err error) {
	defer func() {
		if r := recover(); r != nil {
			n, err = 0, &Error{s.name, fmt.Sprint("broken Parquet: ", r)}
		}
	}()
	return s.Table.Read(dst)
}

// number is a value as a float64; NaN for none.
func number(v *parquet.Value) float64 {
	if v.IsNull() {
		return math.NaN()
	}
	switch v.Kind() {
	case parquet.Boolean:
		if v.Boolean() {
			return 1
		}
		return 0
	case parquet.Int32:
		return float64(v.Int32())
	case parquet.Int64:
		return float64(v.Int64())
	case parquet.Float:
		return float64(v.Float())
	}
	return v.Double()
}

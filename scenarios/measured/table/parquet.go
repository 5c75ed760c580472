package table

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"
)

// newParquet reads the columns of numbers: plain ones, and lists. Columns of text, of
// lists in lists and of other kinds are left out.
func newParquet(f *os.File, size int64, name string) (t Table, err error) {
	defer func() {
		if r := recover(); r != nil {
			t, err = nil, broken(name, r)
		}
	}()
	if err := checkFoot(f, size, name); err != nil {
		return nil, err
	}
	p, err := parquet.OpenFile(f, size, parquet.SkipBloomFilters(true), parquet.SkipPageIndex(true))
	if err != nil {
		return nil, &Error{name, "no whole Parquet file: " + err.Error()}
	}
	b := base{name: name, named: true, shut: f.Close}
	var source []column
	var lists []bool
	for i, path := range p.Schema().Columns() {
		at, ok := p.Schema().Lookup(path...)
		if !ok || !numeric(at.Node.Type()) || at.MaxRepetitionLevel > 1 {
			continue
		}
		c := &leaf{groups: p.RowGroups(), index: i, signed: true, present: at.MaxDefinitionLevel}
		if l := at.Node.Type().LogicalType(); l != nil {
			if whole, ok := l.Value.(*format.IntType); ok {
				c.signed = whole.IsSigned
			}
		}
		key := strings.Join(path, ".")
		if at.MaxRepetitionLevel == 1 {
			key, c.present = path[0], repeated(p.Schema(), path)
		}
		if err := checkPages(p, f, size, i, name+", column "+key); err != nil {
			return nil, err
		}
		b.names, lists, source = append(b.names, key), append(lists, at.MaxRepetitionLevel == 1), append(source, c)
	}
	c, err := newColumns(b, source, lists, p.NumRows())
	if err != nil {
		return nil, err
	}
	return &guarded{c, name, nil}, nil
}

// numeric tells whether values of a type are numbers as they stand.
func numeric(t parquet.Type) bool {
	if l := t.LogicalType(); l != nil {
		if _, ok := l.Value.(*format.DecimalType); ok {
			return false
		}
	}
	switch t.Kind() {
	case parquet.Boolean, parquet.Int32, parquet.Int64, parquet.Float, parquet.Double:
		return true
	}
	return false
}

// repeated is the definition level from which a list has an element.
func repeated(n parquet.Node, path []string) int {
	level := 0
	for _, key := range path {
		for _, f := range n.Fields() {
			if f.Name() == key {
				n = f
				break
			}
		}
		if n.Optional() || n.Repeated() {
			level++
		}
		if n.Repeated() {
			break
		}
	}
	return level
}

// leaf is a column of a Parquet file, read in order.
type leaf struct {
	groups  []parquet.RowGroup // to come
	index   int
	signed  bool
	present int // definition level from which a list has an element
	pages   parquet.Pages
	page    parquet.Page
	values  parquet.ValueReader
	buf     [1024]parquet.Value
	held    []parquet.Value // of buf, not used yet
	inside  bool            // a list
}

// peek is the next value; io.EOF at the end.
func (l *leaf) peek() (*parquet.Value, error) {
	for len(l.held) == 0 {
		if l.values == nil {
			if err := l.turn(); err != nil {
				return nil, err
			}
		}
		n, err := l.values.ReadValues(l.buf[:])
		l.held = l.buf[:n]
		if errors.Is(err, io.EOF) {
			l.values = nil
		} else if err != nil {
			return nil, err
		} else if n == 0 {
			return nil, io.ErrNoProgress
		}
	}
	return &l.held[0], nil
}

// turn goes on to the next page, of the next row group if need be.
func (l *leaf) turn() error {
	if l.page != nil {
		parquet.Release(l.page)
		l.page = nil
	}
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
			err = l.pages.Close()
			l.pages = nil
			if err == nil {
				continue
			}
		}
		if err != nil {
			return err
		}
		l.page, l.values = p, p.Values()
		return nil
	}
}

func (l *leaf) read(dst []float64) (int, error) {
	for n := range dst {
		v, err := l.peek()
		if err != nil {
			return n, err
		}
		dst[n] = l.number(v)
		l.held = l.held[1:]
	}
	return len(dst), nil
}

func (l *leaf) list(dst []float64) (n int, done bool, err error) {
	for {
		v, err := l.peek()
		if err == io.EOF && l.inside {
			l.inside = false
			return n, true, nil
		}
		if err != nil {
			return n, false, err
		}
		if l.inside && v.RepetitionLevel() == 0 {
			l.inside = false
			return n, true, nil
		}
		if !l.inside && v.DefinitionLevel() < l.present { // nothing or an empty list
			l.held = l.held[1:]
			return 0, true, nil
		}
		if n == len(dst) {
			return n, false, nil
		}
		dst[n] = l.number(v)
		n++
		l.held = l.held[1:]
		l.inside = true
	}
}

// number is a value as a float64; NaN for none.
func (l *leaf) number(v *parquet.Value) float64 {
	if v.IsNull() {
		return math.NaN()
	}
	switch k := v.Kind(); {
	case k == parquet.Double:
		return v.Double()
	case k == parquet.Float:
		return float64(v.Float())
	case k == parquet.Int32 && l.signed:
		return float64(v.Int32())
	case k == parquet.Int32:
		return float64(v.Uint32())
	case k == parquet.Int64 && l.signed:
		return float64(v.Int64())
	case k == parquet.Int64:
		return float64(v.Uint64())
	case v.Boolean():
		return 1
	}
	return 0
}

// guarded turns a panic of the library over a broken file into an error.
type guarded struct {
	Table
	name string
	err  error
}

func (g *guarded) Read(dst [][]float64) (n int, err error) {
	if len(dst) != len(g.Columns()) {
		return g.Table.Read(dst) // a programmer's mistake
	}
	if g.err != nil {
		return 0, g.err
	}
	defer func() {
		if r := recover(); r != nil {
			g.err = broken(g.name, r)
			n, err = 0, g.err
		}
	}()
	return g.Table.Read(dst)
}

// broken is the error of a panic.
func broken(name string, r any) error { return &Error{name, fmt.Sprint("broken Parquet: ", r)} }

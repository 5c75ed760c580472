package table

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// member is an array of an NPZ file.
type member struct {
	name string
	*array
}

// newNPZ reads arrays by their names: those of one dimension and one length are columns;
// where there are some of two, cycles and samples, those of one are a number a cycle, and
// those of other lengths are left out. So are arrays of text, of other dimensions, and
// NAME beside NAME_offsets, whose cycles differ in length.
func newNPZ(f *os.File, size int64, name string) (_ Table, err error) {
	z, err := zip.NewReader(f, size)
	if err != nil {
		return nil, &Error{name, "no whole zip file, as NPZ is: " + err.Error()}
	}
	var opened []io.Closer
	done := func() error {
		for _, c := range opened {
			c.Close()
		}
		return f.Close()
	}
	defer func() {
		if err != nil {
			done()
		}
	}()
	if len(z.File) > widest {
		return nil, &Error{name, fmt.Sprintf("%d arrays, %d at most", len(z.File), widest)}
	}
	ragged := map[string]bool{}
	for _, e := range z.File {
		if of, ok := strings.CutSuffix(e.Name, "_offsets.npy"); ok {
			ragged[of+".npy"], ragged[e.Name] = true, true
		}
	}
	var all []member
	for _, e := range z.File {
		key, ok := strings.CutSuffix(e.Name, ".npy")
		if !ok || ragged[e.Name] {
			continue
		}
		where := name + ", array " + key
		in, err := e.Open()
		if err != nil {
			return nil, &Error{where, err.Error()}
		}
		opened = append(opened, in)
		a, err := openArray(in, where, int64(min(e.UncompressedSize64, 1<<50)))
		if err != nil {
			return nil, err
		}
		if a != nil && (len(a.shape) == 1 || len(a.shape) == 2) {
			all = append(all, member{key, a})
		}
	}
	b := base{name: name, named: true, shut: done}
	first := -1 // of two dimensions, or else of one
	for i, m := range all {
		if first < 0 || len(m.shape) > len(all[first].shape) {
			first = i
		}
	}
	if first < 0 {
		what := ""
		if len(ragged) > 0 {
			what = "; arrays beside NAME_offsets, whose cycles differ in length, are not read"
		}
		return nil, &Error{name, "no arrays of numbers of one or two dimensions" + what}
	}
	var source []column
	var lists []bool
	as := all[first]
	for _, m := range all {
		switch {
		case len(m.shape) == len(as.shape) && fmt.Sprint(m.shape) != fmt.Sprint(as.shape):
			return nil, &Error{name, fmt.Sprintf("array %s has the shape %v and %s %v; want one shape", as.name, as.shape, m.name, m.shape)}
		case len(as.shape) == 2 && len(m.shape) == 1 && m.shape[0] != as.shape[0]:
			continue
		}
		b.names, source, lists = append(b.names, m.name), append(source, m.array), append(lists, len(m.shape) == 2)
	}
	rows := as.shape[0]
	if as.left == 0 {
		rows = 0
	}
	return newColumns(b, source, lists, rows)
}

// errBytes is what stands where nothing may.
var errBytes = errors.New("bytes after the last number of the array")

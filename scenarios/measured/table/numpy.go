package table

import (
	"archive/zip"
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Format of .npy and .npz: NumPy Enhancement Proposal 1.

var (
	npyDescr = regexp.MustCompile(`'descr'\s*:\s*'([<>|=])([fiub])([1248])'`)
	npyOrder = regexp.MustCompile(`'fortran_order'\s*:\s*(True|False)`)
	npyShape = regexp.MustCompile(`'shape'\s*:\s*\(([^)]*)\)`)
)

// array is one of NumPy, read in order.
type array struct {
	name  string
	shape []int64
	kind  byte // f, i, u, b
	bytes int
	order binary.ByteOrder
	in    *bufio.Reader
	cell  [8]byte
}

// openArray reads the head of an array of at most size bytes.
func openArray(in io.Reader, name string, size int64) (*array, error) {
	a := &array{name: name, in: bufio.NewReaderSize(in, 1<<16)}
	wrong := func(format string, v ...any) (*array, error) { return nil, &Error{name, fmt.Sprintf(format, v...)} }
	var head [8]byte
	if _, err := io.ReadFull(a.in, head[:]); err != nil || string(head[:6]) != "\x93NUMPY" {
		return wrong("no array of NumPy: it does not begin so")
	}
	long := make([]byte, 2)
	if head[6] > 1 {
		long = make([]byte, 4)
	}
	if _, err := io.ReadFull(a.in, long); err != nil {
		return wrong("the file ends in its head")
	}
	n := int64(binary.LittleEndian.Uint16(long))
	if len(long) == 4 {
		n = int64(binary.LittleEndian.Uint32(long))
	}
	if n > 1<<16 || n > size {
		return wrong("a head of %d bytes", n)
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(a.in, b); err != nil {
		return wrong("the file ends in its head")
	}
	descr, order, shape := npyDescr.FindSubmatch(b), npyOrder.FindSubmatch(b), npyShape.FindSubmatch(b)
	if descr == nil || order == nil || shape == nil {
		return wrong("%.80q: numbers of 1 to 8 bytes (f, i, u, b) are read", strings.TrimSpace(string(b)))
	}
	a.kind, a.bytes = descr[2][0], int(descr[3][0]-'0')
	if a.kind == 'f' && a.bytes < 4 {
		return wrong("floats of %d bytes, 4 and 8 are read", a.bytes)
	}
	if a.order = binary.LittleEndian; descr[1][0] == '>' {
		a.order = binary.BigEndian
	}
	cells := int64(1)
	for s := range strings.SplitSeq(string(shape[1]), ",") {
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		k, err := strconv.ParseInt(strings.TrimSuffix(s, "L"), 10, 64)
		if err != nil || k < 0 || k > 0 && cells > size/k {
			return wrong("a shape of (%s) in %d bytes", shape[1], size)
		}
		cells *= k
		a.shape = append(a.shape, k)
	}
	if string(order[1]) == "True" && len(a.shape) > 1 {
		return wrong("columns one after another (fortran_order) are not read; save numpy.ascontiguousarray of it")
	}
	if cells*int64(a.bytes) > size {
		return wrong("a shape of (%s) in %d bytes", shape[1], size)
	}
	return a, nil
}

func (a *array) next() (float64, error) {
	b := a.cell[:a.bytes]
	if _, err := io.ReadFull(a.in, b); err != nil {
		return 0, err
	}
	var u uint64
	switch a.bytes {
	case 1:
		u = uint64(b[0])
	case 2:
		u = uint64(a.order.Uint16(b))
	case 4:
		u = uint64(a.order.Uint32(b))
	case 8:
		u = a.order.Uint64(b)
	}
	switch {
	case a.kind == 'f' && a.bytes == 4:
		return float64(math.Float32frombits(uint32(u))), nil
	case a.kind == 'f':
		return math.Float64frombits(u), nil
	case a.kind == 'i':
		shift := 64 - 8*a.bytes
		return float64(int64(u<<shift) >> shift), nil
	}
	return float64(u), nil
}

func (a *array) list(dst []float64) ([]float64, error) {
	for range a.shape[1] {
		v, err := a.next()
		if err != nil {
			return dst, err
		}
		dst = append(dst, v)
	}
	return dst, nil
}

// newNumPy reads .npy, an array of rows or of rows and columns, or .npz.
func newNumPy(f *os.File, size int64, name string) (Table, error) {
	if strings.HasSuffix(strings.ToLower(name), ".npy") {
		a, err := openArray(f, name, size)
		if err != nil {
			return nil, err
		}
		return newMatrix(a, f)
	}
	z, err := zip.NewReader(f, size)
	if err != nil {
		return nil, &Error{name, "no zip file, as NPZ is: " + err.Error()}
	}
	var all []*array
	var shut []io.Closer
	done := func() error {
		for _, c := range shut {
			c.Close()
		}
		return f.Close()
	}
	var ragged []string
	for _, e := range z.File {
		key := strings.TrimSuffix(e.Name, ".npy")
		if key == e.Name {
			continue
		}
		in, err := e.Open()
		if err != nil {
			return nil, &Error{name + ", " + key, err.Error()}
		}
		shut = append(shut, in)
		a, err := openArray(in, name+", "+key, int64(min(e.UncompressedSize64, 1<<50)))
		if err != nil {
			return nil, err
		}
		a.name = key
		if of, ok := strings.CutSuffix(key, "_offsets"); ok {
			ragged = append(ragged, of, key)
		}
		all = append(all, a)
	}
	groups, wide := int64(-1), false
	for _, a := range all {
		if len(a.shape) == 2 && !slices.Contains(ragged, a.name) && !wide {
			groups, wide = a.shape[0], true
		}
	}
	var names []string
	var source []column
	var lists []bool
	for _, a := range all {
		if slices.Contains(ragged, a.name) || len(a.shape) == 0 || len(a.shape) > 2 {
			continue
		}
		if groups < 0 {
			groups = a.shape[0]
		}
		if a.shape[0] != groups {
			return nil, &Error{name + ", " + a.name, fmt.Sprintf("%d rows where others have %d", a.shape[0], groups)}
		}
		names, source, lists = append(names, a.name), append(source, a), append(lists, len(a.shape) == 2)
	}
	return newColumns(name, names, source, lists, max(groups, 0), done)
}

// newMatrix is the table of one array.
func newMatrix(a *array, f *os.File) (Table, error) {
	wide := 1
	switch len(a.shape) {
	case 1:
	case 2:
		wide = int(min(a.shape[1], 4096))
	default:
		return nil, &Error{a.name, fmt.Sprintf("an array of %d dimensions; 1 (rows) or 2 (rows, columns) are read", len(a.shape))}
	}
	if wide == 0 || a.shape[0] == 0 {
		return nil, &Error{a.name, "no rows"}
	}
	if wide > 256 {
		return nil, &Error{a.name, fmt.Sprintf("%d columns, 256 at most; cycles by rows go into NPZ by name", a.shape[1])}
	}
	source, lists := make([]column, wide), make([]bool, wide)
	for i := range source {
		source[i] = a // rows are read in order, a cell of each column at a time
	}
	t, err := newColumns(a.name, numbered(wide), source, lists, a.shape[0], f.Close)
	if err != nil {
		return nil, err
	}
	return unnamed{t}, nil
}

// unnamed is a table whose names are its own.
type unnamed struct{ Table }

func (unnamed) Named() bool { return false }

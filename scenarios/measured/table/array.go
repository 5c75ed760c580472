package table

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Heads of .npy: NumPy Enhancement Proposal 1.
var (
	npyNumber = regexp.MustCompile(`'descr'\s*:\s*'([<>|=])(f[48]|[iu][1248]|b1)'`)
	npyText   = regexp.MustCompile(`'descr'\s*:\s*'[<>|=]?([SUOVMma])\d*`)
	npyOrder  = regexp.MustCompile(`'fortran_order'\s*:\s*(True|False)`)
	npyShape  = regexp.MustCompile(`'shape'\s*:\s*\(([^)]*)\)`)
)

// headMost is the bytes of a head of .npy at most: our own choice.
const headMost = 1 << 16

// array is one of NumPy, read in order.
type array struct {
	shape []int64
	kind  string // f4, f8, i1 …
	wide  int    // bytes of a number
	order binary.ByteOrder
	in    *bufio.Reader
	block []byte
	left  int64 // numbers
	inner int64 // of the list, not read yet
}

// openArray reads the head of an array whose file has size bytes. It returns nil for one
// that is no numbers: text, dates, objects.
func openArray(in io.Reader, where string, size int64) (*array, error) {
	wrong := func(format string, v ...any) (*array, error) { return nil, &Error{where, fmt.Sprintf(format, v...)} }
	a := &array{order: binary.LittleEndian, in: bufio.NewReaderSize(in, int(min(max(size, 16), 1<<16)))}
	var start [12]byte
	if _, err := io.ReadFull(a.in, start[:10]); err != nil || string(start[:6]) != "\x93NUMPY" {
		return wrong("no array of NumPy: it does not begin so")
	}
	before, long := int64(10), int64(binary.LittleEndian.Uint16(start[8:]))
	if start[6] > 1 {
		if _, err := io.ReadFull(a.in, start[10:]); err != nil {
			return wrong("the file ends in its head")
		}
		before, long = 12, int64(binary.LittleEndian.Uint32(start[8:]))
	}
	if long > headMost {
		return wrong("a head of %d bytes, %d at most", long, headMost)
	}
	if long > size {
		return wrong("the file ends in its head")
	}
	head := make([]byte, long)
	if _, err := io.ReadFull(a.in, head); err != nil {
		return wrong("the file ends in its head")
	}
	number, order, shape := npyNumber.FindSubmatch(head), npyOrder.FindSubmatch(head), npyShape.FindSubmatch(head)
	if number == nil && npyText.Match(head) {
		return nil, nil
	}
	if number == nil || order == nil || shape == nil {
		return wrong("%.80q: want an array of f4, f8, i1 i2 i4 i8, u1 u2 u4 u8 or b1, none of records", strings.TrimSpace(string(head)))
	}
	a.kind, a.wide = string(number[2]), int(number[2][1]-'0')
	if number[1][0] == '>' {
		a.order = binary.BigEndian
	}
	a.left = 1
	for s := range strings.SplitSeq(string(shape[1]), ",") {
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		k, err := strconv.ParseInt(s, 10, 64)
		if err != nil || k < 0 {
			return wrong("a shape of (%s)", shape[1])
		}
		if k > 0 && a.left > size/k {
			return wrong("cut off: a shape of (%s) in %d bytes", shape[1], size)
		}
		a.left *= k
		a.shape = append(a.shape, k)
	}
	if string(order[1]) == "True" && len(a.shape) > 1 {
		return wrong("stored column after column (fortran_order): save numpy.ascontiguousarray of it")
	}
	if want := before + long + a.left*int64(a.wide); want > size {
		return wrong("cut off: %d bytes, want %d for a shape of (%s)", size, want, shape[1])
	}
	if len(a.shape) > 1 {
		a.inner = a.shape[1]
	}
	return a, nil
}

// arrayBlock is the bytes that are turned to numbers at once.
const arrayBlock = 1 << 15

func (a *array) read(dst []float64) (n int, err error) {
	for n < len(dst) {
		if a.left == 0 {
			return n, io.EOF
		}
		k := int(min(int64(len(dst)-n), a.left, int64(arrayBlock/a.wide)))
		if need := k * a.wide; cap(a.block) < need {
			a.block = make([]byte, need)
		}
		b := a.block[:k*a.wide]
		if m, err := io.ReadFull(a.in, b); err != nil {
			k = m / a.wide
			a.decode(dst[n:n+k], b)
			return n + k, err
		}
		a.decode(dst[n:n+k], b)
		n += k
		if a.left -= int64(k); a.left == 0 {
			if err := a.last(); err != nil {
				return n, err
			}
		}
	}
	return n, nil
}

// last reads the end of the array, where a zip file finds whether its sum is right.
func (a *array) last() error {
	switch _, err := a.in.ReadByte(); err {
	case nil:
		return errBytes
	case io.EOF:
		return nil
	default:
		return err
	}
}

func (a *array) list(dst []float64) (n int, done bool, err error) {
	n, err = a.read(dst[:min(int64(len(dst)), a.inner)])
	if a.inner -= int64(n); a.inner == 0 {
		a.inner, done = a.shape[1], true
	}
	return n, done, err
}

// decode turns bytes to numbers.
func (a *array) decode(dst []float64, b []byte) {
	for i := range dst {
		c := b[i*a.wide:]
		switch a.kind {
		case "f4":
			dst[i] = float64(math.Float32frombits(a.order.Uint32(c)))
		case "f8":
			dst[i] = math.Float64frombits(a.order.Uint64(c))
		case "i1":
			dst[i] = float64(int8(c[0]))
		case "i2":
			dst[i] = float64(int16(a.order.Uint16(c)))
		case "i4":
			dst[i] = float64(int32(a.order.Uint32(c)))
		case "i8":
			dst[i] = float64(int64(a.order.Uint64(c)))
		case "u2":
			dst[i] = float64(a.order.Uint16(c))
		case "u4":
			dst[i] = float64(a.order.Uint32(c))
		case "u8":
			dst[i] = float64(a.order.Uint64(c))
		default: // u1, b1
			dst[i] = float64(c[0])
		}
	}
}

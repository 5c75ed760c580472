package table

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
)

// agrees tells whether parse is strconv.ParseFloat on decimal numbers, bit for bit, with
// either decimal mark.
func agrees(text string) bool {
	want, err := strconv.ParseFloat(text, 64)
	decimal := len(bytes.Trim([]byte(text), "0123456789+-.eE")) == 0 && len(text) > 0
	for _, c := range []byte(text) {
		decimal = decimal && bytes.IndexByte([]byte("0123456789+-.eE"), c) >= 0
	}
	allowed := err == nil && decimal && !math.IsInf(want, 0)
	same := func(got float64, ok bool) bool {
		return ok == allowed && (!ok || math.Float64bits(want) == math.Float64bits(got))
	}
	if !same(parse([]byte(text), '.')) {
		return false
	}
	comma := bytes.ReplaceAll([]byte(text), []byte("."), []byte(","))
	return bytes.IndexByte([]byte(text), ',') >= 0 || same(parse(comma, ','))
}

var oddNumbers = []string{"", "0", "-0", "+0", ".", "-", "+.", ".5", "5.", "1e", "1e+", "1e5", "1E-5", "1e22", "1e23", "1e-22", "1e-23",
	"9007199254740991", "9007199254740992", "9007199254740993", "-9007199254740993e-22", "123456789012345678", "1234567890123456789",
	"18446744073709551616", "99999999999999999999", "0.1", "0.30000000000000004", "2.2250738585072011e-308", "5e-324", "2e-324", "1e-400",
	"1.7976931348623157e308", "1.7976931348623159e308", "1e309", "-1e999999999999999999999", "0e999999999999", "0000000000000000000000000000001",
	"0.000000000000000000000000000000000001", "nan", "inf", "0x1p4", "1_000", "1e5x", "--1", "1.2.3", "١", "1e5.0", "1,5", " 1"}

func TestNumber(t *testing.T) {
	row := accuracy.Find(t, "text-numbers")
	for _, text := range oddNumbers {
		row.Same(t, agrees(text), "%q", text)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 200000 {
		v := math.Float64frombits(r.Uint64())
		for _, text := range []string{strconv.FormatFloat(v, 'g', r.IntN(20)-1, 64),
			strconv.FormatFloat(r.NormFloat64()*1e3, "feg"[r.IntN(3)], r.IntN(19)-1, 64)} {
			row.Same(t, agrees(text), "%q", text)
		}
	}
}

// A number among others is read up to its end.
func TestNumberEnds(t *testing.T) {
	for text, want := range map[string]int{"1.5,2": 3, "1e5;": 3, "1e;": 1, "1e+,": 1, "12 3": 2, "x": 0, "": 0, "-": 0, "1.2.3": 3} {
		_, n := scan([]byte(text), '.')
		require.Equal(t, want, n, text)
	}
}

func FuzzNumber(f *testing.F) {
	for _, text := range oddNumbers {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) { require.True(t, agrees(text), "%q", text) })
}

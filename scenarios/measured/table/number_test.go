package table

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// agrees demands that parse is strconv.ParseFloat on decimal numbers, bit for bit.
func agrees(t *testing.T, text string) {
	t.Helper()
	want, err := strconv.ParseFloat(text, 64)
	decimal := len(bytes.Trim([]byte(text), "0123456789+-.eE")) == 0 && len(text) > 0
	for _, c := range []byte(text) {
		decimal = decimal && bytes.IndexByte([]byte("0123456789+-.eE"), c) >= 0
	}
	allowed := err == nil && decimal && !math.IsInf(want, 0)
	got, ok := parse([]byte(text), '.')
	require.Equal(t, allowed, ok, "%q", text)
	if ok {
		require.Equal(t, math.Float64bits(want), math.Float64bits(got), "%q", text)
	}
	comma := bytes.ReplaceAll([]byte(text), []byte("."), []byte(","))
	if bytes.IndexByte([]byte(text), ',') < 0 {
		second, ok := parse(comma, ',')
		require.Equal(t, allowed, ok, "%q", comma)
		if ok {
			require.Equal(t, math.Float64bits(want), math.Float64bits(second), "%q", comma)
		}
	}
}

var oddNumbers = []string{"", "0", "-0", "+0", ".", "-", "+.", ".5", "5.", "1e", "1e+", "1e5", "1E-5", "1e22", "1e23", "1e-22", "1e-23",
	"9007199254740991", "9007199254740992", "9007199254740993", "-9007199254740993e-22", "123456789012345678", "1234567890123456789",
	"18446744073709551616", "99999999999999999999", "0.1", "0.30000000000000004", "2.2250738585072011e-308", "5e-324", "2e-324", "1e-400",
	"1.7976931348623157e308", "1.7976931348623159e308", "1e309", "-1e999999999999999999999", "0e999999999999", "0000000000000000000000000000001",
	"0.000000000000000000000000000000000001", "nan", "inf", "0x1p4", "1_000", "1e5x", "--1", "1.2.3", "١", "1e5.0", "1,5", " 1"}

func TestNumber(t *testing.T) {
	for _, text := range oddNumbers {
		agrees(t, text)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 200000 {
		v := math.Float64frombits(r.Uint64())
		agrees(t, strconv.FormatFloat(v, 'g', r.IntN(20)-1, 64))
		agrees(t, strconv.FormatFloat(r.NormFloat64()*1e3, "feg"[r.IntN(3)], r.IntN(19)-1, 64))
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
	f.Fuzz(agrees)
}

package table

import (
	"math"
	"strconv"
	"unsafe"
)

// powers of ten that a float64 holds exactly.
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
	1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parse reads a number as strconv.ParseFloat does, decimal forms only; point is the
// decimal mark. ok is false where it is none, or not finite.
//
// A whole number below 2^53 and a power of ten up to 10^22 are exact, so that one
// multiplication or division of the two is rounded once, as it must be (Clinger 1990,
// "How to read floating point numbers accurately"); all else goes to strconv.
func parse(b []byte, point byte) (v float64, ok bool) {
	i, n := 0, len(b)
	negative := false
	if n > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i = 1
	}
	var mantissa uint64
	begin := i
	for i < n && b[i]-'0' < 10 {
		mantissa = mantissa*10 + uint64(b[i]-'0')
		i++
	}
	digits, exponent := i-begin, 0
	if i < n && b[i] == point {
		i++
		begin = i
		for i < n && b[i]-'0' < 10 {
			mantissa = mantissa*10 + uint64(b[i]-'0')
			i++
		}
		exponent = begin - i
		digits -= exponent
	}
	if i < n && (b[i] == 'e' || b[i] == 'E') && digits > 0 && i+1 < n {
		i++
		sign := 1
		if b[i] == '-' || b[i] == '+' {
			if b[i] == '-' {
				sign = -1
			}
			i++
		}
		begin, e := i, 0
		for i < n && b[i]-'0' < 10 && i < begin+4 {
			e = e*10 + int(b[i]-'0')
			i++
		}
		if i == begin {
			return 0, false
		}
		exponent += sign * e
	}
	if i != n || digits == 0 || digits > 18 || mantissa >= 1<<53 || exponent < -22 || exponent > 22 {
		return slow(b, point)
	}
	v = float64(mantissa)
	if exponent < 0 {
		v /= powers[-exponent]
	} else {
		v *= powers[exponent]
	}
	if negative {
		v = -v
	}
	return v, true
}

// slow is parse for what is unusual.
func slow(b []byte, point byte) (float64, bool) {
	if len(b) == 0 || len(b) > 400 {
		return 0, false
	}
	for _, c := range b { // decimal forms only: no hexadecimal, no underscores, no words
		if !(c >= '0' && c <= '9' || c == '+' || c == '-' || c == 'e' || c == 'E' || c == point) {
			return 0, false
		}
	}
	if point != '.' {
		c := append([]byte(nil), b...)
		for i := range c {
			if c[i] == point {
				c[i] = '.'
			}
		}
		b = c
	}
	v, err := strconv.ParseFloat(unsafe.String(&b[0], len(b)), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, false
	}
	return v, true
}

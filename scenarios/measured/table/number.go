package table

import (
	"math"
	"strconv"
)

// powers of ten that a float64 holds exactly.
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
	1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// most digits of a whole number that a uint64 surely holds.
const mostDigits = 18

// scan reads the decimal number that b begins with, as strconv.ParseFloat does, and how
// many bytes it has; 0: there is none, or none that is finite. point is the decimal mark.
//
// A whole number below 2^53 and a power of ten up to 10^22 are exact, so that one
// multiplication or division of the two is rounded once, as it must be (Clinger 1990,
// "How to read floating point numbers accurately"); all else goes to strconv.
func scan(b []byte, point byte) (v float64, n int) {
	i := 0
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		i = 1
	}
	from := i
	var mantissa uint64
	for i < len(b) {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		mantissa = mantissa*10 + uint64(d)
		i++
	}
	digits, exponent := i-from, 0
	if i < len(b) && b[i] == point {
		i++
		from = i
		for i < len(b) {
			d := b[i] - '0'
			if d > 9 {
				break
			}
			mantissa = mantissa*10 + uint64(d)
			i++
		}
		exponent = from - i
		digits -= exponent
	}
	if digits == 0 {
		return 0, 0
	}
	if i < len(b) && b[i]|0x20 == 'e' {
		if e, k := power(b[i+1:]); k > 0 {
			exponent += e
			i += 1 + k
		}
	}
	if digits > mostDigits || mantissa >= 1<<53 || exponent < -22 || exponent > 22 {
		return slow(b[:i], point)
	}
	v = float64(mantissa)
	if exponent < 0 {
		v /= powers[-exponent]
	} else {
		v *= powers[exponent]
	}
	if b[0] == '-' {
		v = -v
	}
	return v, i
}

// power reads the exponent that b begins with; beyond what float64 has it is only large.
func power(b []byte) (e, n int) {
	if n < len(b) && (b[n] == '-' || b[n] == '+') {
		n++
	}
	from := n
	for n < len(b) && b[n]-'0' < 10 {
		if e < 1e6 {
			e = e*10 + int(b[n]-'0')
		}
		n++
	}
	if n == from {
		return 0, 0
	}
	if b[0] == '-' {
		e = -e
	}
	return e, n
}

// slow is scan for a number that is all of b.
func slow(b []byte, point byte) (float64, int) {
	if point != '.' {
		c := append([]byte(nil), b...)
		for i := range c {
			if c[i] == point {
				c[i] = '.'
			}
		}
		b = c
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, 0
	}
	return v, len(b)
}

// parse is scan for a cell; ok: all of it is a number.
func parse(b []byte, point byte) (v float64, ok bool) {
	v, n := scan(b, point)
	if n == 0 || n != len(b) {
		return math.NaN(), false
	}
	return v, true
}

package sensor

import (
	"bytes"
	"math"
	"strconv"
)

var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// number parses b, a decimal number such as 12, -.5, +1.5e-3; point is '.', or ',' where a
// comma may stand for it as well, and the minus of print, U+2212, for '-', as phones write it in
// some languages. ok is false for anything else: blanks, hexadecimal, NaN,
// Inf, beyond float64. The result is the nearest float64, as strconv gives it.
func number(b []byte, point byte) (v float64, ok bool) {
	if rest, printed := bytes.CutPrefix(b, []byte("\u2212")); printed {
		b = append([]byte{'-'}, rest...)
	}
	v, n := leading(b, point)
	return v, n > 0 && n == len(b)
}

// leading parses the number at the head of b and says how many bytes it has, 0 if there is
// none.
//
// Up to 19 digits are collected in an integer; when it is below 2⁵³ and the power of ten
// at most 22, both are exact in float64 and one division or multiplication rounds right
// (Clinger, How to read floating point numbers accurately, PLDI 1990). strconv does the rest.
func leading(b []byte, point byte) (v float64, n int) {
	negative := len(b) > 0 && b[0] == '-'
	if negative || len(b) > 0 && b[0] == '+' {
		n = 1
	}
	m, end := whole(0, b, n)
	digits, exp := end-n, 0
	if n = end; n < len(b) && (b[n] == '.' || b[n] == point) {
		m, end = whole(m, b, n+1)
		exp = n + 1 - end
		digits, n = digits-exp, end
	}
	if digits == 0 {
		return 0, 0
	}
	if n < len(b) && (b[n] == 'e' || b[n] == 'E') {
		e, length := exponent(b[n:])
		if length == 0 {
			return 0, 0
		}
		n += length
		exp += e
	}
	if digits > 19 || m >= 1<<53 || exp < -22 || exp > 22 {
		v, ok := slowNumber(b[:n])
		if !ok {
			return 0, 0
		}
		return v, n
	}
	v = float64(m)
	if exp < 0 {
		v /= powers[-exp]
	} else {
		v *= powers[exp]
	}
	if negative {
		v = -v
	}
	return v, n
}

// whole appends the digits of b from place n on to m, and returns where they end. Beyond 19 m overflows.
func whole(m uint64, b []byte, n int) (uint64, int) {
	for ; n < len(b) && b[n]-'0' <= 9; n++ {
		m = m*10 + uint64(b[n]-'0')
	}
	return m, n
}

// exponent parses e5, E-03 and the like at the head of b, of n bytes; 0 if it is none.
func exponent(b []byte) (e, n int) {
	n = 1
	if n < len(b) && (b[n] == '-' || b[n] == '+') {
		n++
	}
	m, end := whole(0, b, n)
	if digits := end - n; digits == 0 || digits > 9 {
		return 0, 0
	}
	e = int(m)
	if b[1] == '-' {
		e = -e
	}
	return e, end
}

// slowNumber parses what number has found well formed but not short.
func slowNumber(b []byte) (float64, bool) {
	if bytes.IndexByte(b, ',') >= 0 {
		b = bytes.Replace(b, []byte{','}, []byte{'.'}, 1)
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil && !math.IsInf(v, 0)
}

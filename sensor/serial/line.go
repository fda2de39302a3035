package serial

import (
	"math"
	"strconv"
	"strings"
	"unicode"

	"vibe/sensor"
)

// sample is one line of numbers as it came: x, y, z in the unit of the board, with the time
// of the board's clock if the line has one.
type sample struct {
	stamped bool
	us      uint32 // µs, wraps at 2³² (71.6 min)
	v       [3]float64
}

// parseSample reads x,y,z or t_us,x,y,z, separated by a comma, semicolon, tab or blanks. ok
// is false for all else. A time beyond 2³² is taken as if the board had wrapped it.
func parseSample(b []byte) (s sample, ok bool) {
	var field [4][]byte
	n := 0
	for b = trim(b); len(b) > 0; n++ {
		end := 0
		for end < len(b) && numeric(b[end]) {
			end++
		}
		if end == 0 || n == len(field) {
			return sample{}, false
		}
		field[n], b = b[:end], b[end:]
		if len(b) == 0 {
			continue
		}
		if b = separated(b); len(b) == 0 {
			return sample{}, false // cut off, or not a number behind this one
		}
	}
	if n < 3 {
		return sample{}, false
	}
	if n == 4 {
		us, err := strconv.ParseUint(string(field[0]), 10, 64)
		if err != nil {
			return sample{}, false
		}
		s.stamped, s.us = true, uint32(us)
	}
	for k, f := range field[n-3 : n] {
		v, err := strconv.ParseFloat(string(f), 64)
		if err != nil || math.Abs(v) > mostSent { // spoilt on the way
			return sample{}, false
		}
		s.v[k] = v
	}
	return s, true
}

// separated takes the blanks and at most one separator off the head of b; the result is
// empty if no number can follow.
func separated(b []byte) []byte {
	rest := trim(b)
	if len(rest) > 0 && (rest[0] == ',' || rest[0] == ';') {
		return trim(rest[1:])
	}
	if len(rest) == len(b) {
		return nil
	}
	return rest
}

func trim(b []byte) []byte {
	for len(b) > 0 && blank(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && blank(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}

func blank(c byte) bool { return c == ' ' || c == '\t' || c == '\r' }

// numeric bytes are those of decimal numbers; NaN, Inf and hexadecimal have others.
func numeric(c byte) bool {
	return c >= '0' && c <= '9' || c == '-' || c == '+' || c == '.' || c == 'e' || c == 'E'
}

// header is what a line that begins with # says. Zero values were not said.
type header struct {
	unit    string  // "m/s2", "g", "mg" or "counts"
	rate    float64 // samples a second, nominal
	limit   float64 // largest magnitude of an axis, in m/s² or, if bare, in the unit
	bare    bool
	trouble string // what the board says is wrong with its sensor
}

// printable is r, or a question mark for what could steer a terminal.
func printable(r rune) rune {
	if unicode.IsPrint(r) {
		return r
	}
	return '?'
}

// parseHeader reads "# unit=mg rate=800 range=16g error=text to the end of the line". Words
// that it does not know are comments, and so is a value that makes no sense: the board's
// program may print what it likes.
func parseHeader(text string) (h header) {
	text = strings.TrimLeft(text, "#")
	if before, trouble, found := strings.Cut(text, "error="); found {
		text, h.trouble = before, strings.TrimSpace(strings.Map(printable, strings.ToValidUTF8(trouble, "?")))
	}
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" \t\r,;", r) }) {
		key, value, _ := strings.Cut(strings.ToLower(word), "=")
		number, err := strconv.ParseFloat(value, 64)
		positive := err == nil && number > 0 && number <= absurd
		switch {
		case key == "unit" && known(value):
			h.unit = value
		case key == "rate" && positive:
			h.rate = number
		case key == "range" && positive:
			h.limit, h.bare = number, true
		case key == "range":
			if limit, err := sensor.ParseAcceleration(value); err == nil {
				h.limit, h.bare = limit, false
			}
		}
	}
	return h
}

// mostSent is the largest number that a board can mean (chosen: converters have 24 bits at most).
const mostSent = 1 << 24

// absurd is more, in m/s², in Hz and in counts, than a sensor can mean (chosen: a shock sensor
// ends near 1e6 m/s²).
const absurd = 1e6

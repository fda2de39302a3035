package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// kind is what a number with a unit measures. Only positive finite numbers pass, so that no
// flag can smuggle a zero, a NaN or a negative size into the advice.
type kind struct {
	name    string // as usage text shows it: --diameter length
	units   []unit
	bare    bool    // a number without a unit is taken as the first unit
	most    float64 // in the base unit, chosen: beyond it a slip of the finger was meant
	example string
}

// unit is one way to write a kind; base = number × factor.
type unit struct {
	names  string // blank-separated, lower case, the usual one first
	factor float64
}

// Inch, pound and ounce are exact by the international yard and pound agreement of 1959;
// standard gravity 9.80665 m/s² is exact by the 3rd CGPM, 1901.
var (
	lengthKind = kind{name: "length", most: 1e4, example: "310mm, 31cm or 12in", units: []unit{
		{"mm", 1}, {"cm", 10}, {`in inch inches "`, 25.4},
	}}
	massKind = kind{name: "mass", most: 1e5, example: "1.5kg, 1500g, 3lb or 50oz", units: []unit{
		{"kg", 1}, {"g", 1e-3}, {"lb lbs", 0.45359237}, {"oz", 0.028349523125},
	}}
	speedKind = kind{name: "rpm", most: 2e4, example: "1200 or 1200rpm", bare: true, units: []unit{
		{"rpm r/min", 1},
	}}
	rateKind = kind{name: "Hz", most: 1e6, example: "1000 or 1000Hz", bare: true, units: []unit{
		{"hz", 1}, {"khz", 1000},
	}}
	percentKind = kind{name: "%", most: 1000, example: "12 or 12%", bare: true, units: []unit{{"%", 1}}}

	accelerationKind = kind{name: "accel", most: 1e6, example: "2g or 20m/s2", units: []unit{
		{"g", 9.80665}, {"mg", 9.80665e-3}, {"m/s2 m/s^2 m/s² m_s2", 1},
	}}
)

// inInches reports whether a length that parses is said in inches.
func inInches(s string) bool {
	_, factor, err := lengthKind.split(strings.TrimSpace(s))
	return err == nil && factor == 25.4
}

// longestNumber is the longest text, in bytes, that is looked at as a number (chosen: a
// fraction with its unit has a dozen; a message shows all of it).
const longestNumber = 40

// parse reads a number and its unit, and returns it in the kind's base unit.
func (k kind) parse(s string) (float64, error) {
	if len(s) > longestNumber {
		return 0, hintf("write it as "+k.example, "%q… is too long for a number", s[:longestNumber/2])
	}
	number, factor, err := k.split(strings.TrimSpace(s))
	if err != nil {
		return 0, err
	}
	v, err := parseNumber(cmp.Or(number, s)) // of a unit alone, the unit
	if err != nil {
		return 0, hintf("write it as "+k.example, "%w", err)
	}
	switch v *= factor; {
	case v > k.most:
		u := k.units[0]
		return 0, hintf(fmt.Sprintf("write it as %s; %s %s is the most", k.example, strconv.FormatFloat(k.most/u.factor, 'f', -1, 64), strings.Fields(u.names)[0]), "%q is too large to be real", s)
	case !(v > 0):
		return 0, hintf("leave it out when it is not known", "%q must be larger than zero", s)
	}
	return v, nil
}

// split parts s into its number and the factor of its unit.
func (k kind) split(s string) (number string, factor float64, err error) {
	var known []string
	longest := 0
	for _, u := range k.units {
		names := strings.Fields(u.names)
		known = append(known, names[0])
		for _, n := range names {
			at := len(s) - len(n)
			if at >= 0 && len(n) > longest && strings.EqualFold(s[at:], n) {
				number, factor, longest = strings.TrimSpace(s[:at]), u.factor, len(n)
			}
		}
	}
	name := strings.TrimLeft(s, "0123456789.,/+- ")
	if _, err := strconv.ParseFloat(s, 64); err == nil || errors.Is(err, strconv.ErrRange) {
		name = "" // the e of 1e5 is no unit
	}
	list := strings.Join(known, ", ")
	switch {
	case longest > 0:
		return number, factor, nil
	case name == s || s == "":
		return "", 0, hintf("write it as "+k.example, "%q is not a number", s)
	case name != "":
		return "", 0, hintf("write it as "+k.example, "%q: unit %q is not one of %s", s, name, list)
	}
	if v, err := parseNumber(s); err == nil && v > 0 && !k.bare {
		return "", 0, hintf("write "+s+strings.Join(known, " or "+s), "%q has no unit", s)
	}
	return s, k.units[0].factor, nil
}

// parseNumber reads 12.5, and the fractions that drills and rulers carry: 1/2, 1-3/8, 1 3/8.
func parseNumber(s string) (float64, error) {
	top, bottom, fraction := strings.Cut(s, "/")
	if !fraction {
		return parseDecimal(s)
	}
	whole := 0.0
	if i := strings.LastIndexAny(top, " -"); i > 0 {
		var err error
		if whole, err = parseDecimal(top[:i]); err != nil {
			return 0, err
		}
		top = top[i+1:]
	}
	a, err := strconv.ParseUint(top, 10, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	b, err := strconv.ParseUint(bottom, 10, 16)
	if err != nil || b == 0 || whole > 0 && a >= b { // of 1-3/2 nobody knows what it was to be
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return whole + float64(a)/float64(b), nil
}

func parseDecimal(s string) (float64, error) {
	if strings.Contains(s, ",") {
		return 0, fmt.Errorf("%q: a comma may mean two things; write 1200 or 31.5", s)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(s, "xX_") {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// quantity is a flag value with a unit: what was typed, turned into one base unit and
// handed to set. It takes positive finite numbers only, so that no flag can smuggle a
// zero, a NaN or a negative size into the advice.
type quantity struct {
	kind kind
	set  func(base float64)
	text string
}

// kind is what a quantity measures.
type kind struct {
	name    string // as usage text shows it: --diameter length
	units   []unit
	bare    bool // a number without a unit is taken as the first unit
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
	lengthKind = kind{name: "length", example: "310mm, 31cm or 12in", units: []unit{
		{"mm", 1}, {"cm", 10}, {`in inch inches "`, 25.4},
	}}
	massKind = kind{name: "mass", example: "1.5kg, 1500g, 3lb or 50oz", units: []unit{
		{"kg", 1}, {"g", 1e-3}, {"lb lbs", 0.45359237}, {"oz", 0.028349523125},
	}}
	speedKind = kind{name: "rpm", example: "1200 or 1200rpm", bare: true, units: []unit{
		{"rpm r/min", 1},
	}}
	rateKind = kind{name: "Hz", example: "1000 or 1000Hz", bare: true, units: []unit{
		{"hz", 1}, {"khz", 1000},
	}}
	percentKind = kind{name: "%", example: "12 or 12%", bare: true, units: []unit{{"%", 1}}}

	accelerationKind = kind{name: "acceleration", example: "2g or 20m/s2", units: []unit{
		{"g", 9.80665}, {"mg", 9.80665e-3}, {"m/s2 m/s^2 m/s² m_s2", 1},
	}}
)

// amount makes a flag value that stores into target in the kind's base unit.
func amount[T ~float64](k kind, target *T) *quantity {
	return &quantity{kind: k, set: func(base float64) { *target = T(base) }}
}

func (q *quantity) String() string { return q.text }
func (q *quantity) Type() string   { return q.kind.name }

// Set implements pflag.Value.
func (q *quantity) Set(s string) error {
	base, err := q.kind.parse(s)
	if err != nil {
		return err
	}
	q.set(base)
	q.text = s
	return nil
}

// parse reads a number and its unit, and returns it in the kind's base unit.
func (k kind) parse(s string) (float64, error) {
	number, factor, err := k.split(strings.TrimSpace(s))
	if err != nil {
		return 0, err
	}
	v, err := parseNumber(number)
	if err != nil {
		return 0, hintf("write it as "+k.example, "%w", err)
	}
	switch v *= factor; {
	case v > 1e9:
		return 0, hintf("write it as "+k.example, "%q is too large to be real", s)
	case !(v > 0):
		return 0, hintf("leave the flag out when it is not known", "%q must be larger than zero", s)
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
	if err != nil || b == 0 {
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

// text is a flag value that is any word.
type text struct{ target *string }

func (t text) String() string { return "" }
func (t text) Type() string   { return "name" }

// Set implements pflag.Value.
func (t text) Set(s string) error {
	if strings.TrimSpace(s) == "" {
		return hintf("leave the flag out when it is not known", "empty")
	}
	*t.target = strings.TrimSpace(s)
	return nil
}

// names is a flag value that is a list of any words.
type names struct{ target *[]string }

func (n names) String() string { return "" }
func (n names) Type() string   { return "names" }

// Set implements pflag.Value.
func (n names) Set(s string) error {
	for part := range strings.SplitSeq(s, ",") {
		var name string
		if err := (text{&name}).Set(part); err != nil {
			return err
		}
		*n.target = append(*n.target, name)
	}
	return nil
}

// choice is a flag value that is one of a few words.
type choice[T ~string] struct {
	target *T
	words  []T
}

func (c choice[T]) String() string {
	if c.target == nil {
		return ""
	}
	return string(*c.target)
}

func (c choice[T]) Type() string { return "word" }

// Set implements pflag.Value.
func (c choice[T]) Set(s string) error {
	var list []string
	for _, w := range c.words {
		if strings.EqualFold(s, string(w)) {
			*c.target = w
			return nil
		}
		list = append(list, string(w))
	}
	hint := "choose one of " + strings.Join(list, ", ")
	if near := nearest(s, list); near != "" {
		hint = fmt.Sprintf("did you mean %s? (%s)", near, strings.Join(list, ", "))
	}
	return hintf(hint, "%q is not known here", s)
}

// words is a flag value that is a list of choices: void,bark.
type words[T ~string] struct {
	target *[]T
	known  []T
}

func (w words[T]) Type() string { return "words" }

func (w words[T]) String() string {
	if w.target == nil || len(*w.target) == 0 {
		return ""
	}
	return strings.Trim(fmt.Sprint(*w.target), "[]")
}

// Set implements pflag.Value.
func (w words[T]) Set(s string) error {
	for part := range strings.SplitSeq(s, ",") {
		var word T
		if err := (choice[T]{&word, w.known}).Set(strings.TrimSpace(part)); err != nil {
			return err
		}
		*w.target = append(*w.target, word)
	}
	return nil
}

// speeds is a flag value that is a list of speeds in rpm: 500,800,1250.
type speeds[T ~float64] struct{ target *[]T }

func (l speeds[T]) String() string {
	if l.target == nil || len(*l.target) == 0 {
		return ""
	}
	return strings.Trim(fmt.Sprint(*l.target), "[]")
}

func (l speeds[T]) Type() string { return "speeds" }

// Set implements pflag.Value.
func (l speeds[T]) Set(s string) error {
	var out []T
	for part := range strings.SplitSeq(s, ",") {
		v, err := speedKind.parse(part)
		if err != nil {
			return err
		}
		if len(out) > 0 && T(v) <= out[len(out)-1] {
			return hintf("write them from slow to fast: 500,800,1250", "%g rpm comes after %g rpm", v, float64(out[len(out)-1]))
		}
		out = append(out, T(v))
	}
	*l.target = out
	return nil
}

// nearest returns the word that s was most likely meant to be, "" if none is close.
func nearest(s string, words []string) string {
	best, at := "", 3
	for _, w := range words {
		if d := distance(strings.ToLower(s), w); d < at || len(s) > 2 && strings.HasPrefix(w, s) && at == 3 {
			best, at = w, d
		}
	}
	return best
}

// distance counts the single-letter edits between a and b (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			swap := diagonal
			if a[i-1] != b[j-1] {
				swap++
			}
			diagonal = row[j]
			row[j] = min(swap, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

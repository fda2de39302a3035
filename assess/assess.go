// Package assess turns the once-per-turn line into shop words, and shop words into
// advice: what speed a blank may have, and which to go to next.
//
// The only place where Hz becomes rpm and m/s² becomes mm/s. It needs no sensor: a plan
// is made before mounting. What is not known is the zero value here and null in JSON, and
// always counts as the less favourable case: missing knowledge never makes a speed higher.
// Nothing here starts a goroutine or reads a clock, and no type is safe for concurrent use.
package assess

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
)

// practice is the source of a rule that turners share but nobody is known to have measured.
const practice = "common practice, no source"

// gravity is standard gravity, m/s² (exact by definition, 3rd CGPM 1901).
const gravity = 9.80665

// RPM is a spindle speed in revolutions a minute. 0 is unknown and null in JSON.
type RPM float64

// String writes the speed to the nearest whole number: "640 rpm".
func (n RPM) String() string { return fmt.Sprintf("%.0f rpm", float64(n)) }

// MarshalJSON writes the speed to 0.01 rpm, null when it is not known.
func (n RPM) MarshalJSON() ([]byte, error) { return known(float64(n), 2).MarshalJSON() }

// Turns is the speed of f turns a second, in Hz; 0, unknown, where f is no number above zero.
func Turns(f float64) RPM { return RPM(positive(60 * f)) }

// Hz is the speed in turns a second.
func (n RPM) Hz() float64 { return float64(n) / 60 }

// omega is the angular speed in rad/s.
func (n RPM) omega() float64 { return 2 * math.Pi * n.Hz() }

// MM is a length in millimetres. 0 is unknown and null in JSON.
type MM float64

// String writes the length to the nearest whole number, a short one to a tenth: "310 mm",
// "12.7 mm".
func (l MM) String() string {
	if l < 100 {
		return strconv.FormatFloat(math.Round(10*float64(l))/10, 'f', -1, 64) + " mm"
	}
	return fmt.Sprintf("%.0f mm", float64(l))
}

// inch is exact by the international yard and pound agreement of 1959.
const inch MM = 25.4

// In writes the length, in inches where that was the unit it was said in: "12 in", "0.44 in".
func (l MM) In(inches bool) string {
	if !inches {
		return l.String()
	}
	return strconv.FormatFloat(math.Round(100*float64(l/inch))/100, 'f', -1, 64) + " in"
}

// MarshalJSON writes the length to 0.001 mm, null when it is not known.
func (l MM) MarshalJSON() ([]byte, error) { return known(float64(l), 3).MarshalJSON() }

// number is a figure on its way into JSON, null when it is not known.
type number struct {
	value  float64
	digits int // decimals kept
}

func known(v float64, digits int) number { return number{v, digits} }

// MarshalJSON writes null for zero, NaN and Inf.
func (n number) MarshalJSON() ([]byte, error) {
	if n.value == 0 || !finite(n.value) {
		return []byte("null"), nil
	}
	scale := math.Pow(10, float64(n.digits))
	if r := math.Round(n.value*scale) / scale; r != 0 && finite(r) {
		return strconv.AppendFloat(nil, r, 'f', -1, 64), nil
	}
	return strconv.AppendFloat(nil, n.value, 'g', -1, 64), nil
}

// field is one member of a JSON object.
type field struct {
	name  string
	value any
}

// jsonObject writes the fields as one object, in order.
func jsonObject(fields ...field) ([]byte, error) {
	var b bytes.Buffer
	for i, f := range fields {
		v, err := json.Marshal(f.value)
		if err != nil {
			return nil, err
		}
		b.WriteByte("{,"[min(i, 1)])
		b.WriteString(`"` + f.name + `":`)
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Feel is one word for a shake.
type Feel string

// The feels, in rising order of shake.
const (
	Calm    Feel = "calm"
	Lively  Feel = "lively"
	Rough   Feel = "rough"
	Violent Feel = "violent"
)

// DefaultEdges are the shakes in mm/s rms at which lively, rough and violent begin, preferred steps of ISO 20816-1:2016 (the class III boundaries of ISO
// 10816-1:1995, table B.1). That standard does not cover wood lathes: they are starting
// values, and every place that shows them says so (EdgesSource).
var DefaultEdges = [3]float64{1.8, 4.5, 11.2}

// EdgesSource says where DefaultEdges come from, in words for the screen.
const EdgesSource = "ISO 20816-1 preferred steps; that standard does not cover wood lathes"

// FeelOf says how a shake in mm/s rms feels, by DefaultEdges; an edge belongs to the worse side. A shake
// that is not a number above zero has no feel: "".
func FeelOf(shake float64) Feel {
	switch {
	case !(shake > 0) || math.IsInf(shake, 0):
		return ""
	case shake >= DefaultEdges[2]:
		return Violent
	case shake >= DefaultEdges[1]:
		return Rough
	case shake >= DefaultEdges[0]:
		return Lively
	}
	return Calm
}

// ShakeText writes a shake in mm/s as every screen does: "6.1 mm/s", "0.07 mm/s".
func ShakeText(shake float64) string {
	if shake < 1 {
		return fmt.Sprintf("%.2f mm/s", shake)
	}
	return fmt.Sprintf("%.1f mm/s", shake)
}

// Reason is one rule that led to an advice.
type Reason struct {
	Code   string `json:"code"`   // short and stable, for programs
	Text   string `json:"text"`   // plain words
	Source string `json:"source"` // where the rule comes from
}

// InputError is a description that cannot be true, and what to do about it.
type InputError struct {
	Text string // what is wrong
	Hint string // what to try
}

// Error returns the text alone; the hint is for the command to print below it.
func (e *InputError) Error() string { return e.Text }

// Cautions go on every screen and into every report. Common practice, no source.
func Cautions() []string {
	return []string{
		"Wear a face shield, and stand out of the line of fire.",
		"Check the blank for cracks, voids, bark and loose knots before every start.",
		"Turn the blank by hand a full turn before switching on; keep the tailstock up as long as possible.",
		"Start slow, and change speed at the dial, tool off the wood and hands clear.",
		"The lathe's manual and a qualified instructor go first; local rules apply.",
		"The numbers come from common practice and from one sensor: when it feels wrong, stop.",
	}
}

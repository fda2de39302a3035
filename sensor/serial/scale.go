package serial

import (
	"fmt"
	"math"

	"vibe/sensor"
)

// gravity is the standard acceleration of free fall, m/s², ISO 80000-3.
const gravity = 9.80665

// counts is the unit of a board that sends its sensor's numbers as they are.
const counts = "counts"

// known says that name is a unit of the line protocol.
func known(name string) bool {
	return name == counts || factor(name) > 0
}

// factor is how many m/s² one of the unit is, 0 where the name does not say.
func factor(name string) float64 {
	f, err := sensor.ParseAcceleration("1" + name)
	if err != nil {
		return 0
	}
	return f
}

// weight is what gravity says of the unit: how many m/s² a 1 as sent stands for, 0 if that
// cannot be told, and what is to be said about it.
type weight struct {
	scale float64
	note  string
	// against says that gravity cannot show so in the unit that was given.
	against bool
}

// weigh finds the scale of samples that stand for a second or so: from the unit if it is given,
// else from gravity.
//
// Without a unit the mean of the three axes has to be 1 g in one of them, as far as a sensor is
// true. For counts any mean will do, so the sensor must have been still: both halves agree within 2 % (chosen:
// a sensor that is being turned in the hand moves by far more).
func weigh(unit string, x [][3]float64) weight {
	first, second := mean(x[:len(x)/2]), mean(x[len(x)/2:])
	middle := norm(add(first, second, 1)) / 2
	still := norm(add(first, second, -1)) < 0.02*middle
	if unit == counts {
		if !still {
			return weight{note: "hold the sensor still for a second: its unit is found from gravity"}
		}
		return weight{scale: gravity / middle, note: fmt.Sprintf("the board sends counts: 1 g of gravity found as %.4g of them; "+
			"a sensor whose zero is off makes shake wrong by as much, often some percent", middle)}
	}
	found := unitOf(x, middle)
	in := factor(unit) * middle / gravity
	switch {
	case unit == "" && found == "":
		return weight{note: fmt.Sprintf("no unit given, and no clear gravity in the data (mean %.4g)", middle)}
	case unit == "":
		return weight{scale: factor(found), note: fmt.Sprintf("no unit given: 1 g of gravity found (mean %.4g), so the values are in %s", middle, found)}
	case found != "" && found != unit:
		return weight{factor(unit), fmt.Sprintf("the unit is said to be %s, but gravity shows as %.4g, as it does in %s", unit, middle, found), true}
	case in < sensor.GravityLeast || in > sensor.GravityMost: // a range set wrong doubles or halves it; but some sensors feel no gravity
		return weight{factor(unit), fmt.Sprintf("gravity shows as %.3g g where 1 g belongs: is the sensor wired right?", in), still && in > sensor.GravityGone}
	}
	return weight{scale: factor(unit)}
}

// unitOf is the unit that gravity shows, "" if none.
func unitOf(x [][3]float64, middle float64) string {
	var square float64
	for _, v := range x {
		square += v[0]*v[0] + v[1]*v[1] + v[2]*v[2]
	}
	return sensor.UnitByGravity(middle, square/float64(len(x))-middle*middle)
}

func mean(x [][3]float64) (m [3]float64) {
	for _, v := range x {
		m = add(m, v, 1)
	}
	for k := range m {
		m[k] /= float64(len(x))
	}
	return m
}

func add(a, b [3]float64, sign float64) [3]float64 {
	return [3]float64{a[0] + sign*b[0], a[1] + sign*b[1], a[2] + sign*b[2]}
}

func norm(a [3]float64) float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }

package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// oneBand is how near two shaky bands are one: nobody sets a dial between them, nor is the map
// that exact (chosen).
const oneBand = 1.05

// avoid lists the bands below the ceiling where the shake measured, or else the likeliest, is
// above the comfort limit, as of the last fit. The caller owns it.
func (a *Adviser) avoid() [][2]RPM {
	of := [2]float64{a.response.when, a.comfort()}
	if a.avoidedOf == of && a.avoided != nil || a.response.cells == nil {
		return append([][2]RPM{}, a.avoided...)
	}
	a.avoided, a.avoidedOf = [][2]RPM{}, of
	inside := false
	for _, p := range a.response.predict(a.ladder()) {
		if o := closest(a.response.fitted, p.Speed); near(o.speed, p.Speed, sameSpeed) {
			p.Shake = o.shake
		}
		was := inside
		if inside = p.Shake > a.comfort(); !inside {
			continue
		}
		if n := len(a.avoided); n > 0 && (was || p.Speed <= oneBand*a.avoided[n-1][1]) {
			a.avoided[n-1][1] = p.Speed
		} else {
			a.avoided = append(a.avoided, [2]RPM{p.Speed, p.Speed})
		}
	}
	return slices.Clone(a.avoided)
}

// within reports whether n is in band, in whole rpm, as they are printed.
func within(band [2]RPM, n RPM) bool {
	whole := func(n RPM) float64 { return math.Round(float64(n)) }
	return whole(band[0]) <= whole(n) && whole(n) <= whole(band[1])
}

// avoids reports whether n is in a band to be avoided.
func (a *Adviser) avoids(n RPM) bool {
	return slices.ContainsFunc(a.avoid(), func(band [2]RPM) bool { return within(band, n) })
}

// without is bands without n, a speed to stay at because it is comfortable there, and without
// what no dial parts from it: what is measured now says more than the map.
func without(bands [][2]RPM, n RPM) [][2]RPM {
	out := [][2]RPM{}
	for _, band := range bands {
		if !within(band, n) {
			out = append(out, band)
			continue
		}
		if below := floorTo(n/(1+sameSpeed), 5); band[0] < below {
			out = append(out, [2]RPM{band[0], below})
		}
		if above := floorTo(n*(1+sameSpeed), 5) + 5; above < band[1] {
			out = append(out, [2]RPM{above, band[1]})
		}
	}
	return out
}

// clear is d, which lowers, to a speed that is not itself to be avoided, or to a stop where none
// is known: a ceiling alone does not know what shakes below it, and since an earlier word more
// may have been measured.
func (a *Adviser) clear(d Advice) Advice {
	a.response.refit()
	if !a.avoids(d.Speed) {
		return d
	}
	to := a.comfortable(d.Speed)
	if to == 0 {
		return Advice{Action: Stop, Say: fmt.Sprintf("Stop: %v shakes too, and no slower speed is sure to be comfortable.", d.Speed),
			Reasons: append(slices.Clone(d.Reasons), Reason{"make-better", remedies, practice})}
	}
	d.Say = "Lower to " + to.String() + strings.TrimPrefix(d.Say, "Lower to "+d.Speed.String())
	d.Reasons = append(slices.Clone(d.Reasons), Reason{"shaky", fmt.Sprintf("%v would be slow enough, but it shakes there; at %v at most %s is expected. Pass quickly what lies between", d.Speed, to, ShakeText(a.response.edge(to))), ownReadings})
	d.Speed = to
	return d
}

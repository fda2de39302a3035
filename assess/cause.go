package assess

import (
	"fmt"
	"math"
)

// cause says in words what probably makes the shake, from one reading, and how sure that
// is. All of it is common practice, no source: one line alone is imbalance; a line twice
// a turn as strong is something out of round or out of line; three multiples and more is
// looseness; knocks are a void or an edge passing the tool; much more broadband than line is
// the cut or the motor. "" when r is not ok.
func cause(r Reading) string {
	if !r.OK {
		return ""
	}
	strong := strongMultiples(r)
	switch {
	case strong >= 3:
		return "something loose, likely: mount, rest or belt"
	case len(r.Multiples) > 0 && r.Multiples[0]/2 >= 0.7:
		return "out of round or out of line, perhaps"
	case r.Crest >= knockCrest:
		return "out of balance, with knocks: a void, bark or an edge, perhaps"
	case r.Total >= cuttingRatio*r.Shake:
		return "the cut or the motor more than the blank, perhaps"
	case strong == 0:
		return "out of balance, likely"
	}
	return "out of balance, perhaps"
}

// strongMultiples counts the multiples that are strong in velocity.
func strongMultiples(r Reading) int {
	strong := 0
	for i, a := range r.Multiples {
		if a/float64(i+2) >= looseRatio {
			strong++
		}
	}
	return strong
}

// looseRatio is how strong a multiple must be in velocity, over the line itself, to count;
// knockCrest how far the knocks stand out of the noise, of which 1000 samples reach 3.2;
// cuttingRatio how far all vibration must outweigh the line (all chosen).
const (
	looseRatio   = 0.3
	knockCrest   = 7
	cuttingRatio = 3
)

// causeHere says what the session adds to the cause of one reading: that the lathe shakes
// as much with nothing mounted, or that the speed is close to a resonance. "" when it
// adds nothing.
func (a *Adviser) causeHere(r Reading) Reason {
	for _, p := range a.Empty {
		if near(r.Speed, p.Speed, 2*sameSpeed) && r.Shake < emptyShare*p.Shake {
			return Reason{"lathe-itself", fmt.Sprintf("the lathe itself, likely: with nothing mounted it shook %s at this speed", ShakeText(p.Shake)), ownReadings}
		}
	}
	if share, at := a.response.resonance(r.Speed); share > 0.5 {
		return Reason{"resonance", fmt.Sprintf("close to a resonance at about %v, %s (%.0f %% of what explains the readings)", at, sureness(share), 100*share), ownReadings}
	}
	return Reason{}
}

// emptyShare is how much more than the empty lathe a shake may be and still be its own
// (chosen).
const emptyShare = 1.5

// sureness puts a share of the posterior into words.
func sureness(share float64) string {
	if share > 0.9 {
		return "likely"
	}
	return "perhaps"
}

// resonance is the share of the posterior that has a natural frequency within 15 % of n,
// and where that is on average.
func (m *response) resonance(n RPM) (share float64, at RPM) {
	var sum, with, mean float64
	for _, c := range m.cells {
		sum += c.weight
		closest := c.f1
		if math.Abs(60*c.f2-float64(n)) < math.Abs(60*c.f1-float64(n)) {
			closest = c.f2
		}
		if near(RPM(60*closest), n, 0.15) {
			with += c.weight
			mean += c.weight * 60 * closest
		}
	}
	if with == 0 {
		return 0, 0
	}
	return with / sum, RPM(mean / with)
}

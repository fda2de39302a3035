package assess

import "vibe/dsp"

// cause says in words what probably makes the shake, from one reading, and how sure that
// is. All of it is common practice, no source: one line alone is imbalance; a line twice
// a turn as strong is something out of round or out of line; three multiples and more is
// looseness; knocks are a void or an edge passing the tool. "" when r is not ok.
func cause(r Reading) string {
	if !r.OK || r.Has(dsp.Gap) {
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
// knockCrest how far the knocks stand out of the noise, of which 1000 samples reach 3.2
// (both chosen).
const (
	looseRatio = 0.3
	knockCrest = 7
)

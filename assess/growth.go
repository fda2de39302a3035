package assess

import (
	"math"
	"slices"
)

// Constants of the growth watch. The factor and the time are the law's; the rest is
// chosen. At 5 standard errors white noise alone crosses less than once in 1000 hours of
// one independent look a second (normal tail 2.9e-7).
const (
	growthFactor  = 1.6
	growthTime    = 30.0  // s
	growthSpeed   = 0.015 // relative: what counts as the same speed
	growthSigma   = 5.0
	growthAtLeast = 0.28 // mm/s rms, smallest preferred step of ISO 20816-1: less than that loosens nothing
	risingFactor  = 1.2
)

// watch holds the ok readings of the last 30 s, oldest first.
type watch struct{ recent []Reading }

func (w *watch) add(r Reading) {
	w.recent = append(w.recent, r)
	cut := 0
	for cut < len(w.recent) && r.T-w.recent[cut].T > growthTime {
		cut++
	}
	w.recent = slices.Delete(w.recent, 0, cut)
}

// growth is how many times the shake now is of the least that it was at this speed within
// 30 s: middle of the last three readings over the least middle of three neighbours. It
// is 1 when noise explains the difference. Several at one speed, or 1.
func (w *watch) growth() float64 {
	now := w.steady()
	if len(now) < 6 {
		return 1
	}
	last, se := middle(now[len(now)-3:])
	least, leastSE := math.Inf(1), 0.0
	for i := 0; i+6 <= len(now); i++ {
		if m, s := middle(now[i : i+3]); m < least {
			least, leastSE = m, s
		}
	}
	if last-least < growthSigma*math.Hypot(se, leastSE) || last < growthAtLeast {
		return 1
	}
	return max(1, last/least)
}

// steady lists the readings at the speed of the newest.
func (w *watch) steady() []Reading {
	speed := w.recent[len(w.recent)-1].Speed
	var out []Reading
	for _, r := range w.recent {
		if math.Abs(float64(r.Speed/speed-1)) <= growthSpeed {
			out = append(out, r)
		}
	}
	return out
}

// middle is the middle shake of three readings, and its standard error.
func middle(three []Reading) (shake, se float64) {
	s := slices.Clone(three)
	slices.SortFunc(s, func(a, b Reading) int {
		if a.Shake < b.Shake {
			return -1
		}
		return 1
	})
	return s[1].Shake, s[1].ShakeSE
}

// loosened reports whether many multiples came up within the last 30 s at one speed: three
// of them strong now in each of the last three readings, none a while before.
func (w *watch) loosened() bool {
	now := w.steady()
	if len(now) < 9 {
		return false
	}
	for _, r := range now[len(now)-3:] {
		if strongMultiples(r) < 3 {
			return false
		}
	}
	for _, r := range now[:3] {
		if strongMultiples(r) > 0 {
			return false
		}
	}
	return now[len(now)-1].Shake >= growthAtLeast
}

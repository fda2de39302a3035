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
	growthSpeed   = 0.006 // relative: what counts as the same speed; a raise is at least 1 %
	growthSigma   = 5.0
	growthAtLeast = 0.28 // mm/s rms, smallest preferred step of ISO 20816-1: less than that loosens nothing
	risingFactor  = 1.25 // no raise, and rough is a stop
)

// watch holds what the ok readings of the last 30 s say, oldest first.
type watch struct{ recent []look }

// look is one reading for the watch.
type look struct {
	t         float64
	speed     RPM
	shake, se float64
	strong    int // multiples
}

func (w *watch) add(r Reading) {
	w.recent = append(w.recent, look{r.T, r.Speed, r.Shake, r.ShakeSE, strongMultiples(r)})
	cut := 0
	for cut < len(w.recent) && r.T-w.recent[cut].t > growthTime {
		cut++
	}
	w.recent = slices.Delete(w.recent, 0, cut)
}

// growth is how many times the shake now is of the least that it was at this speed within
// 30 s: middle of the last three readings over the least middle of three neighbours. It
// is 1 when noise explains the difference or there are too few readings.
func (w *watch) growth() float64 {
	now := w.steady()
	if len(now) < 6 {
		return 1
	}
	last := middle(now[len(now)-3:])
	least := last
	for i := 0; i+6 <= len(now); i++ {
		if m := middle(now[i : i+3]); m.shake < least.shake {
			least = m
		}
	}
	if last.shake-least.shake < growthSigma*math.Hypot(last.se, least.se) || last.shake < growthAtLeast {
		return 1
	}
	return last.shake / least.shake
}

// steady lists the readings at the speed of the newest.
func (w *watch) steady() []look {
	if len(w.recent) == 0 {
		return nil
	}
	speed := w.recent[len(w.recent)-1].speed
	out := make([]look, 0, len(w.recent))
	for _, l := range w.recent {
		if near(l.speed, speed, growthSpeed) {
			out = append(out, l)
		}
	}
	return out
}

// middle is the one of three readings with the middle shake.
func middle(three []look) look {
	a, b, c := three[0], three[1], three[2]
	if a.shake > b.shake {
		a, b = b, a
	}
	if b.shake > c.shake {
		b = c
	}
	if a.shake > b.shake {
		b = a
	}
	return b
}

// loosened reports whether many multiples came up within the last 30 s at one speed: three
// of them strong now in each of the last three readings, none in the first three.
func (w *watch) loosened() bool {
	now := w.steady()
	if len(now) < 9 {
		return false
	}
	for i := range 3 {
		if now[i].strong > 0 || now[len(now)-1-i].strong < 3 {
			return false
		}
	}
	return now[len(now)-1].shake >= growthAtLeast
}

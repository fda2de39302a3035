package assess

import (
	"math"
	"slices"
)

// The growth watch is Page's test for a rise (E. S. Page, Continuous inspection schemes,
// Biometrika 41, 100–115, 1954) on the changes of ln(shake) from reading to reading at one
// speed, without allowance: with S their sum, it alarms when S − min S reaches the
// threshold h = ln 1.6, the minimum being over the last 30 s. S is ln(shake) itself but for
// a constant, so what is compared is the shake now with the least; each is the middle of
// three readings, and their difference must be 5 standard errors besides.
//
// False alarms. While nothing grows, two shakes differ by noise and by the wander of the
// cut: √2·s in ln(shake), s the root of the sum of their squares. A reading may be
// uncertain by 5 % (else it is weak); with a cut that wanders by 5 % s is 0.07 and h is 4.7
// standard deviations, passed by a pair with a chance of 1.3·10⁻⁶ (normal tail). In 8 hours
// there are 14 400 looks that do not overlap (one in 2 s), each with 15 before it within
// 30 s: by Boole's inequality at most 0.3 false alarms, and fewer the steadier the cut.
// Where the cut wanders by 7 % the bound is 12 in 8 hours; factor and time are the law's,
// so that lathe is stopped all the same.
const (
	growthFactor  = 1.6
	growthTime    = 30.0  // s
	growthSigma   = 5.0   // chosen; less lets the noise of a weak line speak
	growthSpeed   = 0.006 // relative: what counts as the same speed (chosen; a raise is at least 1 %)
	growthAtLeast = 0.28  // mm/s rms, smallest preferred step of ISO 20816-1: less than that is no stop (chosen)
	risingFactor  = 1.25  // no raise, and rough is a stop (chosen)
)

// watch holds what the ok readings of the last 30 s say, oldest first, and the steady
// stretch before the one of now.
type watch struct {
	recent []look
	before stretch
}

// look is one reading for the watch.
type look struct {
	t         float64
	speed     RPM
	shake, se float64
	total     float64 // mm/s rms, 0: not known
	seen      int     // multiples that the sensor can see
	strong    int     // of them
}

// stretch is what a stretch at one speed leaves to judge the next by.
type stretch struct {
	t      float64 // s, its last reading
	growth float64 // in it and before
	shake  float64 // at its end, mm/s rms
	speed  RPM
	likely float64  // the same by the map, mm/s rms
	known  response // the map as of then
}

// add takes an ok reading; m is the map without it, g the growth until then.
func (w *watch) add(r Reading, m response, g float64) {
	if now := w.steady(); len(now) >= 6 && !near(r.Speed, now[len(now)-1].speed, growthSpeed) && m.cells != nil {
		last := middle(now[len(now)-3:])
		w.before = stretch{now[len(now)-1].t, g, last.shake, last.speed, m.mean(last.speed), m}
	}
	w.recent = append(w.recent, look{r.T, r.Speed, r.Shake, r.ShakeSE, positive(r.Total), len(r.Multiples), strongMultiples(r)})
	cut := 0
	for cut < len(w.recent) && r.T-w.recent[cut].t > growthTime {
		cut++
	}
	w.recent = slices.Delete(w.recent, 0, cut)
}

// growth is how many times the shake now is of the least that it was at this speed within
// 30 s: middle of the last three readings over the least middle of three neighbours, or
// what the last speed hands on if that is more. It is 1 when noise explains the
// difference or there are too few readings.
func (w *watch) growth() float64 {
	now := w.steady()
	handed := w.handed(now)
	if len(now) < 6 {
		return handed
	}
	last := middle(now[len(now)-3:])
	least := last
	for i := 0; i+6 <= len(now); i++ {
		if m := middle(now[i : i+3]); m.shake < least.shake {
			least = m
		}
	}
	if last.shake-least.shake < growthSigma*math.Hypot(last.se, least.se) {
		return handed
	}
	return max(handed, last.shake/least.shake)
}

// handed is the growth until the speed was last lowered times what the lower speed leaves
// unexplained: the shake over the upper 95 % edge of what the map as of then made of it. So
// a lower that does not help is seen. A raise hands on nothing: it may meet a resonance that
// the map does not know.
func (w *watch) handed(now []look) float64 {
	b := &w.before
	if n := len(now); b.growth == 0 || n < 3 || now[n-3].t <= b.t || now[n-1].t-b.t > growthTime {
		return 1
	}
	last := middle(now[len(now)-3:])
	if last.speed > b.speed {
		return 1
	}
	return max(1, b.growth*last.shake/b.shake*b.likely/b.known.edge(last.speed))
}

// steady lists the readings at the speed of the newest. They are not to be written to.
func (w *watch) steady() []look {
	if len(w.recent) == 0 {
		return nil
	}
	speed := w.recent[len(w.recent)-1].speed
	other := func(l look) bool { return !near(l.speed, speed, growthSpeed) }
	if !slices.ContainsFunc(w.recent, other) {
		return w.recent
	}
	return slices.DeleteFunc(slices.Clone(w.recent), other)
}

// middle is the one of three readings with the middle shake.
func middle(three []look) *look {
	a, b, c := &three[0], &three[1], &three[2]
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
// or more strong in each of the last three readings, one at most in the first three, in
// which as many could be seen.
func (w *watch) loosened() bool {
	now := w.steady()
	if len(now) < 9 {
		return false
	}
	for i := range 3 {
		if first, last := now[i], now[len(now)-1-i]; first.seen < 3 || first.strong > 1 || last.strong < 3 {
			return false
		}
	}
	return now[len(now)-1].shake >= growthAtLeast
}

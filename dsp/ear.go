package dsp

import (
	"fmt"
	"iter"
	"math"
)

const (
	every    = 0.25  // s between revolutions
	turns    = 8.0   // turns in a window, where that gives
	shortest = 0.7   // s
	soonest  = 0.5   // s, while the speed changes. Chosen: a number within 0.8 s, read every quarter of a second
	longest  = 4.0   // s
	lag      = 0.06  // of a window that a line is measured in, at most, is lost to the halving filters, and
	lagMost  = 0.095 // s. Chosen: eight turns keep seven and a half; a slow spindle needs all that there are; 1000 Hz go down to 125
	// restart: after a hole of so many s what came before says nothing of what comes.
	// Chosen: a lathe's dial can change the speed by a tenth in that time.
	restart = 0.5
)

// ear keeps the last seconds of samples, and says when a reading is due and on what it may be made.
type ear struct {
	axes   int
	dt     float64 // s, usual interval of fresh samples; 0 until known
	levels []level
	since  float64    // s: what was before is of another speed; -Inf nothing
	hold   bool       // values repeat because a slow sensor is read too often
	last   [3]float64 // last row, to see repeats
	begun  bool
	start  float64 // s, time of the first row
	made   bool    // a reading was due on samples enough
	anew   bool    // what came before is forgotten, and is not to be followed
	next   float64 // s, time of the next reading
	gapAt  float64 // s, end of the last hole; -Inf none
	heard  float64 // s, time of the last row, fresh or not

	slowest  float64    // Hz, of the spindles that are looked for
	lowest   float64    // Hz: no level is slower
	knocks   []knock    // of the last seconds, oldest first
	listened float64    // s, up to when they were looked for
	sized    float64    // s, when what is usual was found last
	middle   [3]float64 // m/s², of each axis
	usual    [3]float64 // m/s², median distance from it; 0 where half of the samples are alike
	struck   bool       // they are left out
	spared   []level    // the levels without them, as climb left those; empty until asked for

	clock clock

	lengths []float64 // s, of the looks
	cols    [3][]float64
	fresh   [3][]float64 // work space
	sort    []float64
}

// check panics where samples t, axes are none that could follow those before.
func (e *ear) check(t []float64, axes [][]float64) {
	if len(axes) < 1 || len(axes) > 3 || e.axes != 0 && e.axes != len(axes) {
		panic(fmt.Sprintf("dsp: Add with %d axes", len(axes)))
	}
	for _, x := range axes {
		if len(x) != len(t) {
			panic(fmt.Sprintf("dsp: Add with %d times and a column of %d", len(t), len(x)))
		}
	}
	e.axes = len(axes)
	if e.levels == nil {
		e.levels = make([]level, 1)
	}
}

// due takes samples, passes over those that are absurd, and yields the times of those with which a reading is due.
func (e *ear) due(t []float64, axes [][]float64) iter.Seq[float64] {
	return func(yield func(float64) bool) {
		for i := e.stride(t, axes, 0); i < len(t); i = e.stride(t, axes, i+1) {
			u, x := t[i], [3]float64{}
			fine := !math.IsNaN(u) && math.Abs(u) < absurd
			for a := range axes {
				x[a] = axes[a][i]
				fine = fine && math.Abs(x[a]) < absurd
			}
			if fine && e.row(u, &x) && u >= e.next && !yield(u) {
				return
			}
		}
	}
}

// stride takes at once the samples from number i on that come as those before did, and returns the number of the first that does
// not, or with which a reading is due.
func (e *ear) stride(t []float64, axes [][]float64, i int) int {
	base, c := &e.levels[0], &e.clock
	if len(base.t) == 0 || c.least == 0 || e.hold || len(c.told) > 0 {
		return i
	}
	from, last := i, c.newest
	least, most, due := c.least*(1-alike), min(c.least*(1+alike), restart), min(e.next, absurd)
	for ; i < len(t) && t[i] < due && t[i]-last >= least && t[i]-last <= most; i++ {
		last = t[i]
	}
	for _, x := range axes {
		for k, v := range x[from:i] {
			if !(math.Abs(v) < absurd) {
				i = from + k
				break
			}
		}
	}
	if i > from {
		base.t = append(base.t, t[from:i]...)
		for a, x := range axes {
			base.x[a] = append(base.x[a], x[from:i]...)
			e.last[a] = x[i-1]
		}
		c.newest, e.heard = t[i-1], t[i-1]
	}
	return i
}

// row takes one sample of all axes at time u, and reports whether that comes after the last one's.
func (e *ear) row(u float64, x *[3]float64) bool {
	base := &e.levels[0]
	if len(base.t) > 0 && !(u > e.clock.newest) {
		if u == e.clock.newest && *x != e.last && len(e.clock.twice) < len(base.t) { // more are no worse, and may come for ever
			e.clock.twice = append(e.clock.twice, u)
		}
		return false
	}
	if !e.begun {
		e.begun, e.anew, e.next, e.gapAt, e.listened, e.sized = true, true, u+shortest, math.Inf(-1), math.Inf(-1), math.Inf(-1)
		e.start, e.since = u, math.Inf(-1)
	}
	e.push(u, x)
	return true
}

// ready makes what is there ready for the reading that is due at time u, and returns Gap or Stuck where there is too little to
// make one on; some reports whether it is to be said.
func (e *ear) ready(u float64) (why Fault, some bool) {
	e.next += every * math.Ceil((u-e.next+1e-9)/every)
	switch {
	case e.frozen(u):
		return Stuck, true
	case u < e.gapAt+shortest:
		return Gap, true
	case !e.learn():
		return Gap, e.made
	}
	e.climb(u)
	e.made = true
	return "", true
}

// push takes one row into the lowest level of the pyramid.
func (e *ear) push(t float64, x *[3]float64) {
	base := &e.levels[0]
	if n := len(base.t); n > 0 && t-e.heard > restart {
		e.reset(t)
	}
	e.heard = t
	if e.hold && len(base.t) > 0 && *x == e.last {
		return
	}
	if n := len(base.t); n > 0 && t-base.t[n-1] > restart { // it was frozen
		e.reset(t)
	}
	e.last = *x
	if e.clock.see(t, len(base.t) == 0); len(e.clock.told) > 0 {
		t = e.clock.place(t)
	}
	base.add(t, x, e.axes)
}

// frozen reports whether a slow sensor that is read too often has given no new value for longer than it takes.
func (e *ear) frozen(now float64) bool {
	t := e.levels[0].t
	return e.hold && len(t) > 0 && now-t[len(t)-1] > max(stuckSeconds, stuckSamples*e.dt)
}

// reset forgets all samples: what comes after a hole stands alone.
func (e *ear) reset(t float64) {
	for i := range e.levels {
		e.levels[i].empty()
	}
	e.gapAt, e.anew = t, true
	e.clock = clock{told: e.clock.told[:0], twice: e.clock.twice[:0]}
	e.knocks, e.struck = e.knocks[:0], false
	e.next = max(e.next, t+every)
}

// learn finds the usual interval and whether values are held, and sets up the pyramid for
// them. It reports whether enough is known.
func (e *ear) learn() bool {
	base := &e.levels[0]
	if len(base.t) < fewestRows {
		return false
	}
	if !e.hold {
		if held(e.columns(base, 0, len(base.t)), &e.fresh, &e.sort) {
			e.unsettle()
			e.hold, e.clock.rough, e.dt = true, false, 0
			base.dropRepeats(e.axes)
		}
	}
	e.resettle()
	recent := base.t[max(0, len(base.t)-201):]
	if len(recent) < fewestRows/2 {
		return false
	}
	dt := e.interval(recent)
	if !(dt > shortestInterval) {
		return false
	}
	if e.dt == 0 || math.Abs(dt/e.dt-1) > 0.1 {
		e.dt = dt
		e.rebuild()
	}
	e.dt += (dt - e.dt) / 8 // the mean of the last seconds
	return true
}

// rebuild makes the pyramid over the lowest level anew.
func (e *ear) rebuild() {
	base := e.levels[0]
	base.next = 0
	e.levels = append(e.levels[:0], base)
	rate := 1 / e.dt
	if rate < countable {
		return
	}
	for rate /= 2; rate >= max(lowestRate, e.lowest); rate /= 2 {
		e.levels = append(e.levels, level{})
	}
}

// climb fills the upper levels with what has come and forgets what is old.
func (e *ear) climb(now float64) {
	dt := e.dt
	for i := range e.levels {
		if i+1 < len(e.levels) {
			e.levels[i].halve(&e.levels[i+1], e.axes, dt)
		}
		e.levels[i].forget(now - keepSeconds)
		dt *= 2
	}
	for i := range e.spared {
		e.spared[i].empty()
	}
	e.clock.forget(len(e.levels[0].t), now-keepSeconds)
}

// columns returns the axes of samples from to to of l, good until the next call.
func (e *ear) columns(l *level, from, to int) [][]float64 {
	for a := range e.axes {
		e.cols[a] = l.x[a][from:to]
	}
	return e.cols[:e.axes]
}

// stretch returns where the last seconds before now are, on the slowest level that is at least rate Hz fast and complete, and loses
// at most so many s, less what was struck, and that level's rate.
func (e *ear) stretch(now, seconds, rate, loss float64) (l *level, from, to int, fs float64) {
	begin, ends := max(now-seconds, e.levels[0].t[0]), 0.0
	if e.struck {
		ends = e.blows(now, seconds)
	}
	for i := len(e.levels) - 1; i >= 0; i-- {
		l = &e.levels[i]
		fs = 1 / (e.dt * float64(int(1)<<i))
		// A sample of a level has something of those before it, and comes late by as much; and of those on either side of a knock
		// as much is struck with it.
		delay := float64((len(halfband)-1)*(1<<i-1)) * e.dt
		if i > 0 && (fs < rate || delay*(1+2*ends) > loss) {
			continue
		}
		before := max(now-seconds, e.since+delay)
		from, to = firstAfter(l.t, before), firstAfter(l.t, now)
		if i > 0 && float64(to-from) < 0.98*(now-begin)*fs-float64(len(halfband)) {
			continue
		}
		if e.struck {
			l = e.unstruck(i)
			from, to = firstAfter(l.t, before), firstAfter(l.t, now)
		}
		break
	}
	return l, from, to, fs
}

// window returns the samples of the last seconds before now on a level that stretch picks, and that level's rate.
func (e *ear) window(now, seconds, rate, loss float64) (t []float64, x [][]float64, fs float64) {
	l, from, to, fs := e.stretch(now, seconds, rate, loss)
	return l.t[from:to], e.columns(l, from, to), fs
}

// samples returns those of the last seconds before now as the sensor gave them, those that were struck too.
func (e *ear) samples(now, seconds float64) (t []float64, x [][]float64) {
	l := &e.levels[0]
	from, to := firstAfter(l.t, now-seconds), firstAfter(l.t, now)
	return l.t[from:to], e.columns(l, from, to)
}

// kept returns how many seconds of samples before now there are, at most the longest window.
func (e *ear) kept(now float64) float64 { return min(now-e.levels[0].t[0]+e.dt, longest) }

// have returns how many of those are of the speed that is.
func (e *ear) have(now float64) float64 { return min(e.kept(now), now-e.since) }

package serial

import (
	"fmt"
	"math"
)

// hostClock gives a time to lines that bring none, from the pace at which they arrive.
//
// Sensors sample evenly but lines arrive in bunches, so the step and the time of the newest
// line are tracked: first a straight line is fitted to the arrivals until it is good, then each
// read corrects both, ten times a second at most. The gains are those of a least-squares line
// through all arrivals so far, up to 600 of them (expanding-memory g-h filter: Brookner, Tracking
// and Kalman Filtering Made Easy, 1998, ch. 1.2.10). A board that sends faster or slower from some
// moment on, as where its line is full, is learnt anew.
type hostClock struct {
	t    float64 // of the newest sample; before the first, of the one before the cable was pulled
	step float64 // s, typical; 0 while it is being learnt
	slew float64 // s a sample, by which the time is being brought in line
	lost int     // not yet told

	held    []sample
	arrived []arrival

	heard float64 // host time of the newest lines
	stall float64 // host time of the newest gap
	began float64 // host time of the first lines that it is being learnt from
	slow  bool    // that takes long

	looks int     // corrections so far
	since int     // samples since the last
	due   float64 // host time of the next
}

// arrival says that so many lines had come at host time at.
type arrival struct {
	lines int
	at    float64
}

const (
	learn   = 2.0  // s of arrivals to start from, at least (chosen)
	vague   = 4e-3 // of the pace, that it may be off to start from: two standard errors of a speed that is still given (dsp)
	long    = 6.0  // s that are worth a word (chosen: a board of 100 lines a second is known by then)
	look    = 0.1  // s from one correction to the next, at least (chosen)
	memory  = 600  // corrections that count, one to two and a half minutes (chosen)
	late    = 0.02 // s that one look is believed at most (chosen: a busy computer is later)
	stalled = 0.25 // s behind the arrivals: lines are missing (chosen: far above any delay)
	stray   = 0.1  // s beside an even pace: lines had piled up, or are missing (chosen: above most delays)
)

// add takes the lines that arrived together at host time at, and the number of spoilt ones
// among them; a spoilt line takes its place in time. Where more are still on the wire, at tells nothing of
// their pace. err says that this is no sensor's.
func (c *hostClock) add(lines []sample, spoilt int, at float64, more bool) (out []timed, err error) {
	if c.step == 0 {
		return c.start(lines, at, more)
	}
	c.lost += spoilt
	c.t += float64(spoilt) * c.step
	took := float64(len(lines)) * c.step
	wait, missed := at-c.t-took, at-c.heard-took // in all, and since the last lines
	if len(lines) > 0 {
		c.heard = at
	}
	switch {
	case wait < -stalled, wait > stalled && len(lines) > 0 && (missed < stalled/2 || at-c.stall < 2*stalled): // the pace is another
		*c = hostClock{t: c.t, lost: c.lost}
		return c.start(lines, at, more)
	case wait > stalled:
		c.lost += int(math.Round(wait / c.step))
		c.t, c.stall = c.t+wait, at
	}
	for _, s := range lines {
		c.t += c.step + c.slew
		out = append(out, timed{c.t, c.lost, s.v})
		c.lost = 0
	}
	c.since += len(lines) + spoilt
	if at >= c.due && c.since > 0 && !more {
		c.correct(at)
	}
	return out, nil
}

func (c *hostClock) correct(at float64) {
	k := float64(min(c.looks, memory))
	off := min(max(at-c.t, -late), late)
	c.slew = 2 * (2*k + 1) / ((k + 1) * (k + 2)) * off / float64(c.since)
	c.step += 6 / ((k + 1) * (k + 2)) * off / float64(c.since)
	c.step = min(max(c.step, shortest), longest)
	c.slew = min(max(c.slew, -c.step/2), c.step/2)
	c.looks++
	c.since, c.due = 0, at+look
}

// start collects lines until their pace is known. That a line has been waiting for its reader nobody sees, so the pace may be
// off by what the arrivals scatter and a step, over the time that they took: an aliased beat of the two looks like another pace.
func (c *hostClock) start(lines []sample, at float64, more bool) ([]timed, error) {
	c.held = append(c.held, lines...)
	if len(lines) == 0 || more {
		return nil, nil
	}
	if c.arrived = append(c.arrived, arrival{len(c.held), at}); c.began == 0 {
		c.began = at
	}
	c.slow = at-c.began > long
	took := at - c.arrived[0].at
	if took < learn {
		return nil, nil
	}
	step, end, scatter, worst := fit(c.arrived)
	off := (step + math.Sqrt(12)*scatter) / took // as wide as evenly spread arrivals
	switch {
	case worst > stray: // the older half is left out
		half := c.arrived[len(c.arrived)/2:]
		before := half[0].lines
		for i := range half {
			half[i].lines -= before
		}
		c.held, c.arrived = c.held[before:], half
		return nil, nil
	case step*(1+off) < shortest || step*(1-off) > longest:
		return nil, fmt.Errorf("%.4g lines a second come, and a sensor that can be used sends 20 to 20000", 1/step)
	case off > vague:
		return nil, nil
	}
	last, t := c.t, end-float64(len(c.held))*step
	if last == 0 {
		t = max(t, 0)
	}
	c.step, c.looks, c.due, c.heard = step, min(int(took/look), len(c.arrived)), at+look, at
	var out []timed
	for _, s := range c.held {
		if t += step; t <= last { // another has that time, from when the pace was not known to be another
			c.lost++
			continue
		}
		out = append(out, timed{t, c.lost + missing(last, t, step), s.v})
		last, c.lost = t, 0
	}
	c.t, c.held, c.arrived, c.began, c.slow = math.Max(t, last), nil, nil, 0, false
	return out, nil
}

// fit is the straight line through the arrivals, by least squares: s a line, the host time of
// the last, and how far in s they lie off it, root mean square, and the worst.
func fit(a []arrival) (step, end, scatter, worst float64) {
	count := float64(len(a))
	var n, at float64
	for _, x := range a {
		n += float64(x.lines) / count
		at += x.at / count
	}
	var nn, na float64
	for _, x := range a {
		d := float64(x.lines) - n
		nn += d * d
		na += d * (x.at - at)
	}
	step = na / nn
	for _, x := range a {
		off := x.at - at - step*(float64(x.lines)-n)
		scatter += off * off / count
		worst = math.Max(worst, math.Abs(off))
	}
	return step, at + step*(float64(a[len(a)-1].lines)-n), math.Sqrt(scatter), worst
}

package serial

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"vibe/sensor"
)

const (
	// shortest and longest steps between two samples, s: 20 kHz to 20 Hz (chosen, as for
	// files). A time column in ms or ns for µs, at any rate in use, falls outside.
	shortest, longest = 50e-6, 50e-3
	// leap is how many steps a board's time may jump before the next line has to bear it out
	// (chosen: a spoilt digit is dropped, some lost lines are not).
	leap = 8
	// patience is the longest gap in s that a board's clock is believed on its own (chosen;
	// beyond it, and beyond twice the host's time, the clock has been set anew).
	patience = 10
)

// timed is a sample with its time since the source opened, s.
type timed struct {
	t    float64
	lost int // samples missing before it
	v    [3]float64
}

// boardClock turns the times that a board sends into seconds since the source opened. They
// are the board's own seconds: only at the first line, and where the board's clock starts
// again, does the host's clock say where they begin.
type boardClock struct {
	t    float64 // of the newest sample; before the first, of the one before the cable was pulled
	at   float64 // host time of the newest sample
	us   uint32
	v    [3]float64
	step float64  // s, typical; 0 while it is being learnt
	tick float64  // s, 1 ms where it counts whole ones, else 0
	held []sample // not yet borne out: the first lines, or one whose time jumped

	repeats sensor.Repeats

	restarts int // how often the board's clock was set anew
	drift    sensor.Drift
}

// learning is how many lines show the typical step (chosen: 40 ms at 800 Hz; a few bad ones
// among them do not move the median). Where the mean of them is so many times longer, more are
// needed to tell bursts from a pause (chosen: several of the 32 samples that sensors queue).
const learning, uneven, burst = 33, 8, 264

// add takes the next line, which came at host time at, and appends the samples that are
// certain by now to out. err says that the times are no µs.
func (c *boardClock) add(out []timed, s sample, at float64) ([]timed, error) {
	if c.step > 0 {
		if c.repeats.See(s.us == c.us && s.v != c.v) {
			return out, errors.New("the board's times repeat: its clock is too coarse for its samples")
		}
		return c.place(out, s, at), nil
	}
	c.held = append(c.held, s)
	n := len(c.held)
	if n < learning {
		return out, nil
	}
	step, err := typical(c.held)
	mean := apart(c.held[0].us, s.us) / float64(n-1)
	switch {
	case err != nil:
		return out, err
	case n == learning && mean > uneven*step, learning < n && n < burst:
		return out, nil
	case n == burst && inBursts(c.held):
		return out, errors.New("the board's times come in bursts, as of samples that are stamped when they are read from a queue")
	}
	c.step = step
	if !slices.ContainsFunc(c.held, func(s sample) bool { return (s.us-c.held[0].us)%1000 != 0 }) {
		c.tick = 1e-3
	}
	first := c.held
	c.held, c.us = nil, first[0].us
	out = append(out, c.put(first[0], math.Max(c.t, at-c.step*float64(n))+c.step, at))
	for _, s := range first[1:] {
		out = c.place(out, s, at)
	}
	return out, nil
}

// place gives s its time, holds it back, or lets one go that was held back. A held one that
// the next line does not bear out was spoilt on the way; its place shows as a missing sample.
func (c *boardClock) place(out []timed, s sample, at float64) []timed {
	held := c.held
	c.held = c.held[:0]
	switch {
	case c.follows(c.us, s.us):
		return append(out, c.put(s, c.t+apart(c.us, s.us), at))
	case apart(s.us, c.us) <= leap*c.step:
		// A little behind: the newest was spoilt and too far ahead, or this one is. Lines are
		// left out until they are ahead again.
		return out
	case len(held) == 1 && c.follows(held[0].us, s.us):
		ahead, waited := apart(c.us, held[0].us), at-c.at
		if ahead > math.Max(patience, 2*waited) {
			ahead = math.Max(waited-apart(held[0].us, s.us), c.step)
			c.restarts++
			c.drift = sensor.Drift{}
		}
		out = append(out, c.put(held[0], c.t+ahead, at))
		return append(out, c.put(s, c.t+apart(c.us, s.us), at))
	}
	c.held = append(c.held, s)
	return out
}

// follows says that b may be the next time after a, wrapped or not, some lost lines between.
func (c *boardClock) follows(a, b uint32) bool {
	d := apart(a, b)
	return d > 0 && d <= leap*c.step
}

// apart is the time from a to b in s, b being later.
func apart(a, b uint32) float64 { return float64(b-a) * 1e-6 }

func (c *boardClock) put(s sample, t, at float64) timed {
	lost := missing(c.t, t-c.tick, c.step) // a step a tick longer may be one
	c.t, c.us, c.v, c.at = t, s.us, s.v, at
	return timed{t, lost, s.v}
}

// missing is how many samples there is room for between a and b, s. Before the first sample
// of all, where a is 0, there are none.
func missing(a, b, step float64) int {
	if a == 0 {
		return 0
	}
	return max(0, int(math.Round((b-a)/step))-1)
}

// inBursts says that the times of lines come in bursts.
func inBursts(lines []sample) bool {
	t := make([]float64, len(lines))
	for i, l := range lines {
		t[i] = float64(int32(l.us-lines[0].us)) * 1e-6
	}
	_, ok := sensor.Bursts(t)
	return ok
}

// typical is the median step of lines in s.
func typical(lines []sample) (float64, error) {
	var steps []float64
	for i := 1; i < len(lines); i++ {
		steps = append(steps, float64(int32(lines[i].us-lines[i-1].us))*1e-6)
	}
	slices.Sort(steps)
	step := steps[len(steps)/2]
	if step < shortest || step > longest {
		return 0, fmt.Errorf("the first of four numbers rises by %.4g from line to line, which fits no time in µs", step*1e6)
	}
	return step, nil
}

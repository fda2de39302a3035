package dsp

import (
	"math"
	"slices"
)

// A clock of coarse ticks tells times up to a tick beside those of the samples. Of even samples the times are then uneven in a
// pattern that goes round, and makes lines beside each line; where such a one lies on a line, or on a part of one, it passes for
// the spindle's. Even samples can have their own times back. Whether they are even the times do not tell, as a sensor may be asked at
// the ticks or leave out every so many samples; but the lines do: at the right times less is left of them.

// clock is what the times told say of the clock that told them.
type clock struct {
	newest      float64   // s, told last
	least, more float64   // s, the two smallest steps between them; 0 until seen
	told        []float64 // s, of the samples of the lowest level, where those have the times of grid instead; else empty
	grid        grid
	places      []float64 // on it, of the times told
	twice       []float64 // s, told of two samples
	slipped     bool      // a time does not fit to it
	weighed     float64   // s, when it was last asked whose times are right
	sure        bool      // those told are
	rough       bool      // neither can be said to be, where that matters
}

// grid is even times, every step s up to last, from which those told stray by width s in all.
type grid struct{ step, last, width float64 }

const (
	alike = 1e-3 // of a step, up to which two are one. Chosen: finer ticks bend no line
	loose = 1.1  // ticks that the times of even samples stray. Rounding makes 1; the rest is for what they stray. Chosen
)

// see takes the time told of the next sample, which comes after the others.
func (c *clock) see(u float64, first bool) {
	step := u - c.newest
	c.newest = u
	switch {
	case first:
	case c.least == 0:
		c.least = step
	case step < c.least*(1-alike):
		c.least, c.more = step, c.least
	case step > c.least*(1+alike) && (c.more == 0 || step < c.more):
		c.more = step
	}
}

// tick is what the clock counts in, s, if it tells of even samples: they have steps of two lengths then. 0 where all are alike.
func (c *clock) tick() float64 { return max(0, c.more-c.least) }

// place returns the time on the grid of the next sample, told to be of time u.
func (c *clock) place(u float64) float64 {
	g := &c.grid
	stray := loose / 2 * c.tick()
	steps := 1.0
	if math.Abs(u-g.last-g.step) > stray { // some are missing
		steps = max(1, math.Round((u-g.last)/g.step))
	}
	g.last += steps * g.step
	c.told = append(c.told, u)
	c.slipped = c.slipped || math.Abs(u-g.last) > stray
	return g.last
}

// even returns the even grid from which the times told t stray least, with the places of them on it, 0 for the last, and reports
// whether the clock can have told them of samples on it. It begins at the end: what is missing there the steps say, as even samples
// have steps of two lengths, a tick apart; before that the grid says it, as where a tick is about as long as a step two may be one.
func (c *clock) even(t []float64) (g grid, ok bool) {
	tick := c.tick()
	usual, n := 0.0, 0.0
	c.places = grow(c.places, len(t))
	known := len(t) - 1
	c.places[known] = 0
	for m := 2 * fewestRows; ; m *= 2 {
		from := max(0, len(t)-m)
		if g.step == 0 {
			for i := from + 1; i < len(t); i++ {
				if step := t[i] - t[i-1]; step < c.more+tick/2 {
					usual, n = usual+step, n+1
				}
			}
		}
		for i := known - 1; i >= from; i-- {
			back, missing := t[i+1]-t[i], t[i+1]-t[i] > c.more+tick/2
			step := usual / n
			if g.step > 0 {
				back, step = g.last+g.step*c.places[i+1]-t[i], g.step
				missing = math.Abs(back-step) > loose/2*tick
			}
			c.places[i] = c.places[i+1] - 1
			if missing {
				c.places[i] = c.places[i+1] - max(1, math.Round(back/step))
			}
		}
		g, known = c.nearest(t[from:], c.places[from:]), from
		if !(g.width <= loose*tick) || from == 0 {
			return g, g.width <= loose*tick && tick > alike*g.step
		}
	}
}

// nearest returns the grid from which the times t, of those places on it, stray least. By how much they do is convex in its step.
func (c *clock) nearest(t, places []float64) (g grid) {
	n := places[len(t)-1] - places[0]
	mean := (t[len(t)-1] - t[0]) / n
	low, high := mean-c.tick()/n, mean+c.tick()/n
	for range 40 {
		g.step = (low + high) / 2
		late, early := 0, 0
		off := func(i int) float64 { return t[i] - t[0] - g.step*(places[i]-places[0]) }
		most, least := 0.0, 0.0
		for i := range t {
			switch d := off(i); {
			case d > most:
				most, late = d, i
			case d < least:
				least, early = d, i
			}
		}
		g.last, g.width = t[0]+(most+least)/2+g.step*n, most-least
		if late > early {
			low = g.step
		} else {
			high = g.step
		}
	}
	return g
}

// forget keeps the times told of the last n samples, and what was told twice after before.
func (c *clock) forget(n int, before float64) {
	if gone := len(c.told) - n; gone > 0 {
		c.told = append(c.told[:0], c.told[gone:]...)
	}
	c.twice = append(c.twice[:0], c.twice[firstAfter(c.twice, before):]...)
}

// unsure reports whether the times of the last n samples are not to be relied on, or so many were told twice that a speed would be off by
// more than it may.
func (c *clock) unsure(n int) bool {
	return c.rough || float64(len(c.twice)) > 2*tooVague*float64(n)
}

// settle gives the samples the times of grid g.
func (e *ear) settle(g grid) {
	base := &e.levels[0]
	if len(e.clock.told) == 0 {
		e.clock.told = append(e.clock.told, base.t...)
	}
	e.clock.grid, e.clock.slipped, e.dt = g, false, g.step
	for i := range base.t {
		base.t[i] = g.last + g.step*e.clock.places[i]
	}
	e.rebuild()
}

// unsettle gives the samples the times told.
func (e *ear) unsettle() {
	if len(e.clock.told) > 0 {
		copy(e.levels[0].t, e.clock.told)
		e.clock.told = e.clock.told[:0]
		e.rebuild()
	}
}

// resettle finds the grid anew where a time does not fit to it.
func (e *ear) resettle() {
	if len(e.clock.told) == 0 || !e.clock.slipped {
		return
	}
	t := e.levels[0].t
	e.clock.places = grow(e.clock.places, len(t))
	e.clock.places[len(t)-1] = 0
	for i := len(t) - 2; i >= 0; i-- {
		e.clock.places[i] = e.clock.places[i+1] - math.Round((t[i+1]-t[i])/e.clock.grid.step)
	}
	if g := e.clock.nearest(e.clock.told, e.clock.places); g.width <= loose*e.clock.tick() {
		e.settle(g)
	} else {
		e.unsettle()
	}
}

// times decides whether the samples have the times told or those of an even grid, by the lines that look l shows, and reports
// whether it was changed. Where neither leaves plainly less, though it matters, there are no times to rely on.
func (tr *Tracker) times(l *look, now float64) (changed bool) {
	const (
		again = 1.0  // s, after which it is asked again. Chosen
		most  = 1024 // samples that it is asked of. Chosen
		share = 0.25 // of the difference expected. Chosen: another line may take up some of it
	)
	full := l.seconds > 0.95*longest
	if tr.clock.sure || tr.hold || len(tr.clock.told) > 0 || full && now-tr.clock.weighed < again || tr.clock.tick() == 0 || !tr.telling(l) {
		return false
	}
	g, ok := tr.clock.even(tr.levels[0].t)
	if !ok {
		return false
	}
	tr.clock.weighed = now
	better, expected, ok := tr.weigh(g, now, min(l.seconds, most*tr.dt))
	if !ok {
		return false
	}
	plainly := max(toldApart, share*expected)
	changed, tr.clock.sure = better > plainly, -better > plainly
	tr.clock.rough = !changed && !tr.clock.sure && expected > toldApart
	if changed {
		tr.settle(g)
		tr.climb(now)
	}
	return changed
}

// weigh fits the lines of the probe to the last seconds before now at the times told and at those of g, and returns by how much χ² is
// smaller for g, and the size of that difference that times so far apart let expect.
func (tr *Tracker) weigh(g grid, now, seconds float64) (better, expected float64, ok bool) {
	t, x, _ := tr.window(now, seconds, math.Inf(1))
	even := make([]float64, len(t))
	for i, u := range t {
		even[i] = g.last - g.step*math.Round((g.last-u)/g.step)
	}
	s := &tr.probe
	start, foreign := s.f, slices.Clone(s.foreign)
	left := func(t []float64) (sums [3]float64, ok bool) {
		s.t, s.x, s.f, s.drift, s.weight = t, append(s.x[:0], x...), start, 0, [3]float64{1, 1, 1}
		copy(s.foreign, foreign)
		ok = s.run(false)
		for a := range tr.axes {
			sums[a] = sumSquares(s.residual[a])
		}
		return sums, ok
	}
	told, ok := left(t)
	if !ok {
		return 0, 0, false
	}
	own, ok := left(even)
	if !ok {
		return 0, 0, false
	}
	square := wavering(t, even)
	for a := range tr.axes {
		noise := max(min(told[a], own[a]), 1e-30) / float64(len(t))
		better += (told[a] - own[a]) / noise
		for c, f := range append([]float64{s.f}, s.foreign...) {
			w, re, im := 2*math.Pi*f, s.coef[a][2+2*c], s.coef[a][3+2*c]
			expected += square * w * w * (re*re + im*im) / 2 / noise
		}
	}
	return better, expected, true
}

// wavering returns Σ(t−even)², less what a fit of phase, frequency and its rate of change takes up: the first three Legendre polynomials.
func wavering(t, even []float64) (square float64) {
	var sum, norm [3]float64
	for i := range t {
		d, u := t[i]-even[i], 2*float64(i)/float64(len(t)-1)-1
		square += d * d
		for k, p := range [3]float64{1, u, (3*u*u - 1) / 2} {
			sum[k] += d * p
			norm[k] += p * p
		}
	}
	for k := range sum {
		square -= sum[k] * sum[k] / norm[k]
	}
	return max(square, 0)
}

// telling starts the probe with the strongest line of l, and others that are stronger than any that the clock can make: of a line of
// amplitude A at f Hz it makes such of f·tick·A. It reports whether a line tells enough: one of whitened power z leaves z·(πf·tick)² of χ².
func (tr *Tracker) telling(l *look) (enough bool) {
	const most = 4
	s := &tr.probe
	s.ks, s.steers = append(s.ks[:0], 1), [maxTooth + 1]bool{1: true}
	s.f, s.foreign = 0, s.foreign[:0]
	strongest, made := 0.0, 0.0
	lines := l.lines(thresholds[l.axes], 1.5*l.df, 0.45*l.rate)
	for p := range lines {
		phase, strength := p.f*tr.clock.tick(), l.strength(p.f)
		enough = enough || p.z*thresholds[l.axes]*math.Pi*math.Pi*phase*phase > toldApart
		made = max(made, phase*phase*strength)
		if strength > strongest {
			strongest, s.f = strength, p.f
		}
	}
	for p := range lines {
		if p.f != s.f && len(s.foreign) < most && l.strength(p.f) > 16*made && !l.lobe(p.f, s.f) {
			s.foreign = append(s.foreign, p.f)
		}
	}
	return enough
}

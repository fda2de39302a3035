package dsp

import (
	"math"
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
	asked       float64   // s, when it was last asked whose times are right
	sure        bool      // those told are
	rough       bool      // neither can be said to be, where that matters
}

// grid is even times, every step s up to last, from which those told stray by width s in all.
type grid struct{ step, last, width float64 }

const (
	alike = 1e-3 // of a step, up to which two are one. Chosen: finer ticks bend no line
	loose = 1.1  // ticks that the times of even samples stray. Rounding makes 1; the rest is for what they stray. Chosen
)

// stray is how far from the grid the next time may be, s, if all are to stray no more than a clock of such ticks makes them.
func (g *grid) stray(tick float64) float64 { return loose*tick - g.width/2 }

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

// tick is what the clock counts in, s, if it tells of even samples: they have steps of two lengths then. 0 where all are alike, but for
// holes: no step is shorter than a tick.
func (c *clock) tick() float64 {
	tick := max(0, c.more-c.least)
	if tick > c.least*(1+alike) {
		return 0
	}
	return tick
}

// enough returns how many s of samples there must be for a tick more or less to make no other speed of them, where nobody knows whose
// times are right.
func (c *clock) enough() float64 {
	if c.sure || len(c.told) > 0 {
		return 0
	}
	return c.tick() / (2 * tooVague)
}

// place returns the time on the grid of the next sample, told to be of time u.
func (c *clock) place(u float64) float64 {
	g := &c.grid
	steps := 1.0
	if math.Abs(u-g.last-g.step) > g.stray(c.tick()) { // some are missing
		steps = max(1, math.Round((u-g.last)/g.step))
	}
	g.last += steps * g.step
	c.told = append(c.told, u)
	c.slipped = c.slipped || math.Abs(u-g.last) > g.stray(c.tick())
	return g.last
}

// even returns the even grid from which the times told t stray least, with the places of them on it, 0 for the last, and reports
// whether the clock can have told them of samples on it. It begins at the end: what is missing there the steps say, as even samples
// have steps of two lengths, a tick apart; before that the grid says it. Where a tick is about as long as a step two ticks may be one
// step or two: holes says that they are two wherever that is the nearer.
func (c *clock) even(t []float64, holes bool) (g grid, ok bool) {
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
		stray := g.stray(tick)
		if holes {
			stray = loose / 2 * tick
		}
		for i := known - 1; i >= from; i-- {
			back, missing := t[i+1]-t[i], t[i+1]-t[i] > c.more+tick/2
			step := usual / n
			if g.step > 0 {
				back, step = g.last+g.step*c.places[i+1]-t[i], g.step
				missing = math.Abs(back-step) > stray
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

// nearest returns the grid from which the times t, of those places on it, stray least. By how much they do is convex in its step, and
// nowhere less than its tangents say: where two of them cross comes next (Kelley, J. SIAM 8 (1960), 703-712).
func (c *clock) nearest(t, places []float64) (g grid) {
	type tangent struct{ step, width, slope float64 }
	n := places[len(t)-1] - places[0]
	across := func(step float64) tangent {
		most, least := math.Inf(-1), math.Inf(1)
		late, early := 0, 0
		for i, u := range t {
			d := u - t[0] - step*(places[i]-places[0])
			if d > most {
				most, late = d, i
			}
			if d < least {
				least, early = d, i
			}
		}
		g = grid{step: step, last: t[0] + (most+least)/2 + step*n, width: most - least}
		return tangent{step, most - least, places[early] - places[late]}
	}
	mean := (t[len(t)-1] - t[0]) / n
	low, high := across(mean-loose*c.tick()/n), across(mean+loose*c.tick()/n)
	for range 40 {
		step := (low.step + high.step) / 2
		if low.slope < 0 && high.slope > 0 {
			step = (high.width - low.width + low.slope*low.step - high.slope*high.step) / (low.slope - high.slope)
		}
		at := across(step)
		if at.slope == 0 || at.width <= low.width+low.slope*(step-low.step)+1e-6*c.tick() {
			break
		}
		if at.slope < 0 {
			low = at
		} else {
			high = at
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
	c := &tr.clock
	full := l.seconds > 0.95*longest
	if c.sure || tr.hold || c.tick() == 0 || len(c.told) > 0 || full && now-c.asked < again {
		return false
	}
	c.asked, c.rough = now, false
	f, foreign, enough := tr.telling(l)
	if !enough {
		return false
	}
	t := tr.levels[0].t
	if tick(t[:min(len(t), 64)]) > 2*tooVague*(t[len(t)-1]-t[0]) { // a sample too many or too few between them makes another speed
		c.rough = true
		return false
	}
	var before grid
	against := false
	for _, holes := range []bool{true, false} {
		g, ok := c.even(t, holes)
		if !ok || g == before {
			continue
		}
		before = g
		better, expected, ok := tr.weigh(g, now, min(l.seconds, most*tr.dt), f, foreign)
		if !ok || expected <= toldApart {
			continue
		}
		plainly := max(toldApart, share*expected)
		if better > plainly {
			c.rough = false
			tr.settle(g)
			tr.climb(now)
			return true
		}
		against = true
		c.rough = c.rough || better >= -plainly
	}
	c.sure = against && !c.rough
	return false
}

// weigh fits lines at f and foreign Hz to the last seconds before now at the times told and at those of g, and returns by how much χ² is
// smaller for g, and the size of that difference that times so far apart let expect. A line that is there at the one times and hardly
// at the others the wrong times have made.
func (tr *Tracker) weigh(g grid, now, seconds, f float64, foreign []float64) (better, expected float64, ok bool) {
	const hardly = 0.25 // Chosen: noise and lines beside it change a line by less
	t, x, _ := tr.window(now, seconds, math.Inf(1), 0)
	even := make([]float64, len(t))
	for i, u := range t {
		even[i] = g.last - g.step*math.Round((g.last-u)/g.step)
	}
	s := &tr.probe
	var told, own [3]float64
	for made := true; made; {
		var before, after []float64
		if told, before, ok = s.leaves(t, x, f, foreign); !ok {
			return 0, 0, false
		}
		if own, after, ok = s.leaves(even, x, f, foreign); !ok {
			return 0, 0, false
		}
		var both []float64
		for m, f := range foreign {
			if min(before[m], after[m]) > hardly*max(before[m], after[m]) {
				both = append(both, f)
			}
		}
		made, foreign = len(both) < len(foreign), both
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

// leaves fits lines at f and foreign Hz to the samples x of times t, and returns the squares that they leave of each axis, and how strong
// the foreign ones are, m/s².
func (s *fit) leaves(t []float64, x [][]float64, f float64, foreign []float64) (squares [3]float64, strengths []float64, ok bool) {
	s.t, s.x, s.f, s.drift, s.weight = t, append(s.x[:0], x...), f, 0, [3]float64{1, 1, 1}
	s.ks, s.steers, s.foreign = append(s.ks[:0], 1), [maxTooth + 1]bool{1: true}, append(s.foreign[:0], foreign...)
	if !s.run(false) {
		return squares, nil, false
	}
	for a := range x {
		squares[a] = sumSquares(s.residual[a])
	}
	for m := range foreign {
		strengths = append(strengths, s.strength(1+m))
	}
	return squares, strengths, true
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

// telling returns the strongest line of l, Hz, and others that are stronger than any that the clock can make: of a line of
// amplitude A at f Hz it makes such of f·tick·A. It reports whether a line tells enough: one of whitened power z leaves z·(πf·tick)² of χ².
func (tr *Tracker) telling(l *look) (f float64, foreign []float64, enough bool) {
	const most = 4
	strongest, made := 0.0, 0.0
	lines := l.lines(thresholds[l.axes], 1.5*l.df, 0.45*l.rate)
	for p := range lines {
		phase, strength := p.f*tr.clock.tick(), l.strength(p.f)
		enough = enough || p.z*thresholds[l.axes]*math.Pi*math.Pi*phase*phase > toldApart
		made = max(made, phase*phase*strength)
		if strength > strongest {
			strongest, f = strength, p.f
		}
	}
	if !enough {
		return 0, nil, false
	}
	for p := range lines {
		if p.f != f && len(foreign) < most && l.strength(p.f) > 16*made && !l.lobe(p.f, f) {
			foreign = append(foreign, p.f)
		}
	}
	return f, foreign, true
}

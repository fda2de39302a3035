package sensor

import (
	"fmt"
	"math"
)

// spread gives rows times of their own where a clock of coarse ticks tells the same of several.
type spread struct {
	step, tick float64 // s, between rows by the rate that was given, and of the clock
	began      float64 // s, of the first row
	next       float64 // s, of the next row, if none is missing before it
	known      bool    // both are
	held       Block   // rows from the newest time told on
}

// add takes a block with the times told, and hands out the rows before those of the newest time, and
// these too where the data have ended. There may be none. ok is false where there are more rows than the
// rate leaves room for.
func (s *spread) add(b Block, ended bool) (out Block, ok bool) {
	b.T, b.Lost, b.Notes = append(s.held.T, b.T...), s.held.Lost+b.Lost, append(s.held.Notes, b.Notes...)
	for k, v := range s.held.Axes {
		b.Axes[k] = append(v, b.Axes[k]...)
	}
	from := 0
	for i := 1; i <= len(b.T); i++ {
		told, now := b.T[from], b.T[from]+s.tick
		if i < len(b.T) {
			now = b.T[i]
		}
		switch last := i == len(b.T); {
		case now == told: // of the same time
		case !s.fits(i-from, told):
			return Block{}, false
		case !last || ended:
			s.place(b.T[from:i], told, now)
			from = i
		}
	}
	if from == 0 {
		s.held = b
		return Block{}, true
	}
	s.held = Block{T: b.T[from:], Axes: make([][]float64, len(b.Axes)), Range: b.Range}
	b.T = b.T[:from:from]
	for k, v := range b.Axes {
		b.Axes[k], s.held.Axes[k] = v[:from:from], v[from:]
	}
	return b, true
}

// fits reports whether n more rows, of that time, have room. Some may be told late.
func (s *spread) fits(n int, told float64) bool {
	const late = 3 // ticks. Chosen: with more of them nobody knows when those rows were taken
	return !s.known || s.next+float64(n)*s.step < told+late*s.tick+s.step
}

// place gives the rows t, of one time told, times of their own; then comes the time now. They are even,
// and the row after them is the first of its tick.
func (s *spread) place(t []float64, told, now float64) {
	rows := float64(len(t)) * s.step
	switch {
	case !s.known: // what is missing of the first tick was before it
		s.next, s.known = told+s.tick-rows, true
		s.began = s.next
	case s.next < told: // so it is of a tick that has no row, but for rows told late
		s.next = max(s.next, min(s.first(s.next, told), told+s.tick+s.step-rows))
	}
	end := s.next + rows
	if now < told+1.5*s.tick {
		end = s.first(end, now)
	}
	end = min(end, now+s.step)
	for i := range t {
		t[i] = s.next + (end-s.next)*float64(i)/float64(len(t)) - s.began
	}
	s.next = end
}

// first returns the time of the first row of a tick that begins at told, where the next row would have come at due: whole
// rows are missing, or the rate is a little off.
func (s *spread) first(due, told float64) float64 {
	due += max(0, math.Round((told-due)/s.step)) * s.step
	return min(max(due, told), told+s.step)
}

// tooMany is the error of more rows of one time than the rate that was given leaves room for.
func (c *csvFile) tooMany() error {
	return wrong("is --rate right, and do the times go on?", "more rows in column %q are of one time, %.3g s after the first, than --rate %.4g leaves room for", c.title[0], c.spread.next, c.file.o.Rate).at(c.file.name, 0)
}

// tally watches over rows that are counted, at the rate that was given, by the times told of them.
type tally struct {
	step           float64 // s, between rows
	packet, uneven float64 // s, between rows whose times are apart, at most, and by how much that may be less
	late           lag
	agreed         bool    // so far, to what a number needs
	grown, elapsed float64 // s, by how much they part in what time, where they first contradict each other; else 0
}

// add takes row n, from 0, of that time told in s.
func (c *tally) add(n int, told float64) {
	const (
		packets = 8    // in a window, where they come unevenly. Chosen: of so many one comes nearly as early as any
		slow    = 0.01 // s, that a computer may be late with all of a second. Chosen
		right   = 0.01 // of the rate. Chosen: a turner would see no less
	)
	t := float64(n) * c.step
	grown, elapsed := c.late.add(t, told-t, max(1, 2*c.packet+packets*c.uneven))
	most := mayBeOff*elapsed + c.uneven/4 + c.step + slow
	switch {
	case math.Abs(grown) < most:
		c.agreed = c.agreed || most <= right*elapsed
	case c.elapsed == 0:
		c.grown, c.elapsed = grown, elapsed
	}
}

// unchecked says at the end that the times have not told whether the rate is right.
func (c *csvFile) unchecked() {
	if c.tally != nil && c.good > 0 && !c.tally.agreed {
		c.notes = append(c.notes, fmt.Sprintf("the recording ends before column %q could tell whether --rate is right to 1 %%: the speeds are as right as that", c.title[0]))
	}
}

// apart is the error of times that contradict the count of the rows. One time that is wrong, or rows that are missing at one place, make
// no rate: none is offered.
func (c *csvFile) apart() error {
	return wrong("if no row is missing and no time is wrong, the rate is the rows of the whole file divided by its seconds",
		"column %q and --rate %.4g part by %.2g s in %.2g s: times are wrong, rows are missing, or the rate is another",
		c.title[0], c.file.o.Rate, math.Abs(c.tally.grown), c.tally.elapsed).at(c.file.name, c.line)
}

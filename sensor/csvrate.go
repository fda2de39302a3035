package sensor

import (
	"fmt"
	"math"
	"slices"
)

// How much longer than 1 the mean step of a column may be that counts the rows, as some are
// lost (chosen). Where only a rate would be wrong by it, few are; where a unit of time would be
// guessed from it, many, which whole milliseconds at more than 900 Hz look like as well.
const (
	fewLost  = 1.01
	manyLost = 1.11
)

// mayDiffer is how far the rate of times that repeat, as a coarse clock or packets make them, may be from the one given.
// Chosen: packets come unevenly, and the first second is all that is seen at first.
const mayDiffer = 0.25

// rated settles what the column of times is for where a rate was given as well. Of rows that are
// counted some may be missing, so it serves as far as it can be believed. Where it contradicts the rate
// that is an error: one of the two is wrong, and every speed with it.
func (c *csvFile) rated() error {
	p, err := c.probe()
	if err != nil {
		return err
	}
	given, title := c.file.o.Rate, c.title[0]
	const (
		numbers = "column %q counts the rows, and so tells their times"
		unused  = "a rate was given, so column %q is not used"
	)
	if c.numbered {
		said := numbers
		if c.unit[0] = counted(given); !p.numbersRows() {
			c.columnOf[0], said = -1, unused
		}
		c.notes = append(c.notes, fmt.Sprintf(said, title))
		return nil
	}
	numbered, back := p.numbersRows(), p.goOn()
	if rate := p.contradicts(given, c.unit[0]); rate > 0 {
		try := "leave --rate out, or take the column out of the file if its times are wrong"
		if numbered { // or is in whole milliseconds: which it is only its name can tell
			try = "call the column n if it counts the rows, else leave --rate out"
		}
		return wrong(try, "the times in column %q make %.4g samples a second, but --rate says %.4g", title, rate, given).at(c.file.name, c.line+1)
	}
	u := p.unitAt(given)
	tick, packet, uneven := p.ticks(u, given)
	var said string
	switch {
	case p.numbers(c.unit[0]):
		c.unit[0] = counted(given)
		said = numbers
	case u.name == "":
		c.columnOf[0], c.unit[0], c.stamps = -1, counted(given), false
		said = unused + ": " + p.noTimes()
	case rising(p.t) && p.even():
		c.unit[0] = u
		said = "the times in column %q are those of the rate that was given, and are used"
	case tick > 0 && !back:
		c.unit[0], c.spread = u, &spread{step: 1 / given, tick: tick}
		said = "the times in column %q repeat, so rows are spread evenly within their steps"
	default:
		c.unit[0], c.tally = u, &tally{step: 1 / given, packet: packet, uneven: uneven}
		said = "a rate was given, so column %q serves only to see whether rows are missing"
	}
	c.notes = append(c.notes, fmt.Sprintf(said, title))
	return nil
}

// goOn makes each time the latest so far where some step back a little, as those of packets do that were held up on their way by
// different times, and reports whether they do. A little is no more than the mean rate may be off by, or than the longest step on: what
// goes back further, as a number that begins anew does, is no time.
func (p *probed) goOn() bool {
	latest := slices.Clone(p.t)
	var on, off float64 // the longest step on, and the furthest back
	for i := 1; i < len(p.t); i++ {
		latest[i] = max(latest[i-1], p.t[i])
		on, off = max(on, p.t[i]-p.t[i-1]), max(off, latest[i]-p.t[i])
	}
	if off == 0 || off > max(on, mayDiffer*(latest[len(latest)-1]-latest[0])) {
		return false
	}
	p.t = latest
	return true
}

// noTimes says why the column is no time of that rate.
func (p *probed) noTimes() string {
	switch {
	case len(p.t) < telling:
		return "it holds too few times to judge them by"
	case !slices.IsSorted(p.t):
		return "its times go far back"
	}
	return "its times are of that rate in no unit"
}

// contradicts returns the rate in Hz of the times where they look good and it is another
// than given, else 0. Good is rising and even: where the median and the mean of the steps are
// far apart the times came in bursts. Numbers of rows are no times (see numbers). Another is
// off by more than 1 % by both (chosen: more than a nominal rate is off, less than a turner
// would see); a column that names the wrong unit is not. Times that repeat have a mean alone.
func (p *probed) contradicts(given float64, named unit) float64 {
	if len(p.t) < telling || !slices.IsSorted(p.t) || p.numbers(named) {
		return 0
	}
	mean, median, most := p.mean(), p.median(), 0.01
	if !rising(p.t) {
		mean, most = p.ticking(), mayDiffer
		median = mean
	}
	if !(mean > 0) || rising(p.t) && !p.even() {
		return 0
	}
	off := func(step float64) bool { return math.Abs(step*given-1) > most }
	for _, u := range []unit{seconds, millis, micros, nanos} {
		if !off(u.si(mean)) || !off(u.si(median)) {
			return 0
		}
	}
	if named.name == "" {
		named = timeUnit(median)
	}
	if named.name == "" {
		return 0
	}
	return 1 / named.si(mean)
}

// numbers reports whether the times are numbers of rows, in a column that names that unit.
func (p *probed) numbers(named unit) bool {
	return (named.name == "" || named.name == seconds.name) && p.counts(fewLost)
}

// numbersRows reports whether the times are whole and most of them one more than that before: some rows may be missing, and now and then
// (chosen) the numbers begin anew.
func (p *probed) numbersRows() bool {
	ones, back := 0, 0
	for i := 1; i < len(p.t); i++ {
		switch step := p.t[i] - p.t[i-1]; {
		case step == 1:
			ones++
		case step < 0:
			back++
		case step == 0 || step != math.Trunc(step):
			return false
		}
	}
	return 2*ones > len(p.t) && 64*back < len(p.t)
}

// even reports whether times that rise do so about evenly: in bursts the median and the mean of the steps are far apart.
func (p *probed) even() bool {
	mean, median := p.mean(), p.median()
	return mean < 1.5*median && median < 1.5*mean
}

// unitAt is the unit in which the times make that rate in Hz, to a factor of two; there is none of so few, and of times that go back.
func (p *probed) unitAt(rate float64) unit {
	if len(p.t) < telling || !slices.IsSorted(p.t) {
		return unit{}
	}
	for _, u := range []unit{seconds, millis, micros, nanos} {
		if rows := u.si(p.mean()) * rate; rows > 0.5 && rows < 2 {
			return u
		}
	}
	return unit{}
}

// ticks returns what the clock of the times counts in, in s, where it is too coarse for the rate, but no speed depends on where in a
// tick a row was taken, else 0; how long the steps of the times are at most, in s; and by how much some are shorter.
func (p *probed) ticks(u unit, rate float64) (tick, most, uneven float64) {
	const (
		seen = 0.5  // s, that a speed is found in at least
		part = 0.01 // of a tick that a step may be off whole ones. Chosen: digits after the point say less
	)
	var steps []float64
	together, last := 0, 0 // rows of one time at most, and the first of the last
	for i := 1; i < len(p.t); i++ {
		if step := u.si(p.t[i] - p.t[i-1]); step > 0 {
			steps = append(steps, step)
			together, last = max(together, i-last), i
		}
	}
	if len(steps) == 0 {
		return 0, 0, 0
	}
	tick, most = slices.Min(steps), slices.Max(steps)
	uneven = most - tick
	whole := !slices.ContainsFunc(steps, func(step float64) bool { return math.Abs(step/tick-math.Round(step/tick)) > part })
	// Of times that are wrong by d in a part q of T seconds a fit makes a speed wrong by 6dq/T² of itself, and d is at
	// most q. More rows of one time than come in a tick came in a packet.
	fine := 6*tick*tick < mayBeOff*seen*seen
	if !whole || !fine || together < 2 || float64(together) > (1+mayDiffer)*tick*rate+1 {
		tick = 0
	}
	return tick, most, uneven
}

package sensor

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// settleTime takes the unit of time from the rows probed, or returns why it cannot.
func (p *probed) settleTime(c *csvFile) *ParseError {
	step := p.median()
	u := timeUnit(step)
	switch {
	case len(p.t) < 2:
		return wrong("was the recording stopped at once?", "one row only")
	case p.counts(manyLost):
		return c.mayCount()
	case u.name != "":
		c.unit[0] = u
		mean := p.mean() // whole milliseconds have a median of their own
		c.notes = append(c.notes, fmt.Sprintf("no unit of time given: steps of %.4g fit %s, about %.4g samples a second", mean, u.name, 1/u.si(mean)))
	case step > 0:
		return wrong("name it in the header, such as t_ms", "no unit of time given, and steps of %.4g fit none", step)
	default:
		c.unit[0] = seconds // a step that is not positive is told by the row that goes back or repeats
	}
	return nil
}

// How much longer than 1 the mean step of a column may be that counts the rows, as some are
// lost (chosen). Where only a rate would be wrong by it, few are; where a unit of time would be
// guessed from it, many, which whole milliseconds at more than 900 Hz look like as well.
const (
	fewLost  = 1.01
	manyLost = 1.11
)

// counts says that the times rise by 1 from row to row, as the number of a row does.
func (p *probed) counts(most float64) bool {
	n := len(p.t)
	return n > 1 && rising(p.t) && p.median() == 1 && p.t[n-1]-p.t[0] < most*float64(n-1)
}

// mayCount says what to do about times that count the rows, or are milliseconds.
func (c *csvFile) mayCount() *ParseError {
	if c.names == nil {
		return wrong("put a header above the numbers that names it t_ms if it is a time, or give --rate", "the first column may count rows")
	}
	return wrong("name it t_ms if it is a time, or give --rate", "column %q may count rows", c.title[0])
}

func rising(v []float64) bool {
	for i := 1; i < len(v); i++ {
		if v[i] <= v[i-1] {
			return false
		}
	}
	return true
}

// leaveTimes gives the column of times up for the rate that was given. Where the times
// contradict it that is an error: one of the two is wrong, and every speed with it.
func (c *csvFile) leaveTimes() error {
	p, err := c.probe()
	if err != nil {
		return err
	}
	given := c.file.o.Rate
	if rate := p.contradicts(given, c.unit[0]); rate > 0 {
		return wrong("leave --rate out, or take the column out of the file if its times are wrong", "the times in column %q make %.4g samples a second, but --rate says %.4g", c.title[0], rate, given).at(c.file.name, c.line+1)
	}
	c.notes = append(c.notes, fmt.Sprintf("a rate was given, so column %q is not used", c.title[0]))
	c.columnOf[0], c.unit[0], c.stamps = -1, counted(given), false
	return nil
}

// contradicts returns the rate in Hz of the times where they look good and it is another
// than given, else 0. Good is rising and even: where the median and the mean of the steps are
// far apart the times came in bursts; where they count the rows, and are no whole milliseconds, they are none. Another is off by more than 1 % by both (chosen: more
// than a nominal rate is off, less than a turner would see); a column that names the wrong
// unit is not. Times that repeat, as a coarse clock or packets make them, have a mean alone, and
// are another by a quarter (chosen: packets come unevenly, and the first second is all that is seen).
func (p *probed) contradicts(given float64, named unit) float64 {
	if len(p.t) < telling || !slices.IsSorted(p.t) || (named.name == "" || named.name == seconds.name) && p.counts(fewLost) {
		return 0
	}
	mean, median, most := p.mean(), p.median(), 0.01
	if !rising(p.t) {
		mean, most = p.ticking(), 0.25
		median = mean
	}
	if !(mean > 0) || mean > 1.5*median || median > 1.5*mean {
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

// Rates in Hz beyond which a unit of time is doubted (chosen: no spindle shows at a slower
// one, no sensor for lathes runs at a faster one).
const (
	slowestRate = 5
	fastestRate = 50e3
)

// misnamed is an error where the times t in s make a rate that no recording has in the unit
// that their column names, and another unit fits.
func (c *csvFile) misnamed(t []float64) error {
	if c.columnOf[0] < 0 || c.stamps || len(t) < telling {
		return nil
	}
	p := probed{t: t}
	step := p.median() // s, as the column says
	if rate := 1 / step; rate > slowestRate && rate < fastestRate || !(step > 0) {
		return nil
	}
	raw := step * c.unit[0].div
	u := timeUnit(raw)
	if u.name == "" {
		return nil
	}
	try := "name the column t_" + u.name
	if raw == 1 && u.name == millis.name {
		try = "give --rate if it counts the rows, or name it t_ms if it is a time"
	}
	return wrong(try, "the times in column %q make %.4g samples a second in %s, in %s it would be %.4g",
		c.title[0], 1/step, c.unit[0].name, u.name, 1/u.si(raw)).at(c.file.name, 0)
}

// inBursts is an error where the times t in s come in bursts: the samples were not taken then.
func (c *csvFile) inBursts(t []float64) error {
	near, ok := Bursts(t)
	if c.columnOf[0] < 0 || len(t) < telling || !ok {
		return nil
	}
	n := len(t) - 1
	return wrong("give --rate with what the sensor itself makes in a second, if it samples evenly and no rows are missing",
		"the times in column %q come in bursts: %.3g samples a second, most of them within %.2g ms of the one before", c.title[0], float64(n)/(t[n]-t[0]), 1e3*near).at(c.file.name, 0)
}

// timeUnit is the unit in which a step is that of a rate between 20 Hz and 20 kHz: these
// ranges (50 µs to 50 ms) do not overlap, as a thousand lies between their ends. On an end, and
// for a step that is not positive, there is none.
func timeUnit(step float64) unit {
	for _, u := range []unit{seconds, millis, micros, nanos} {
		if s := u.si(step); s > 50.001e-6 && s < 49.999e-3 {
			return u
		}
	}
	return unit{}
}

// mean is the mean step of the times, in the unit of the file, of two rows or more.
func (p *probed) mean() float64 { return (p.t[len(p.t)-1] - p.t[0]) / float64(len(p.t)-1) }

// ticking is the mean step from the first row with a time of its own to the last, where times
// repeat, as they do by a coarse clock or in packets; 0 where there are not two such rows.
func (p *probed) ticking() float64 {
	last := len(p.t) - 1
	for last > p.tick && p.t[last] == p.t[last-1] {
		last--
	}
	if last <= p.tick {
		return 0
	}
	return (p.t[last] - p.t[p.tick]) / float64(last-p.tick)
}

// median is the median step of the times, in the unit of the file; 0 below two rows.
func (p *probed) median() float64 {
	var steps []float64
	for i := 1; i < len(p.t); i++ {
		steps = append(steps, p.t[i]-p.t[i-1])
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// parseStamp parses an RFC 3339 time, where a blank for the T and a missing zone (then UTC) will do, or a time of day, which is of the year 0.
func parseStamp(b []byte) (time.Time, bool) {
	text := string(b)
	if len(b) > 10 && b[4] == '-' && b[10] == ' ' {
		text = text[:10] + "T" + text[11:]
	}
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04:05", "15:04:05"} {
		if t, err := time.Parse(form, text); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// stamp is the time in s since the first stamp. A time of day that goes back by more than half a day is one of the next.
func (c *csvFile) stamp(cell []byte) (float64, bool) {
	const day = 24 * 60 * 60
	t, ok := parseStamp(cell)
	if ok && c.zero.IsZero() {
		c.zero = t
	}
	s := t.Sub(c.zero).Seconds()
	for t.Year() == 0 && s < c.began+c.last-day/2 {
		s += day
	}
	return s, ok
}

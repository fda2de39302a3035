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
		c.notes = append(c.notes, fmt.Sprintf("no unit of time given: steps of %.4g fit %s", mean, u.name))
	case step > 0:
		return wrong("name it in the header, such as t_ms", "no unit of time given, and steps of %.4g fit none", step)
	default:
		c.unit[0] = seconds // a step that is not positive is told by the row that goes back or repeats
	}
	return nil
}

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

// climbs reports whether v rises again and again and never falls, as times do, coarse ones too.
func climbs(v []float64) bool {
	const often = 4 // Chosen: noise of an axis falls before
	n := 0
	for i := 1; i < len(v); i++ {
		if v[i] > v[i-1] {
			n++
		}
	}
	return slices.IsSorted(v) && n >= min(often, len(v)-1)
}

func rising(v []float64) bool {
	for i := 1; i < len(v); i++ {
		if v[i] <= v[i-1] {
			return false
		}
	}
	return true
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

// told returns the time of a row in s since the first, and when that was, in the unit of the file, where the row may be the first, or no
// good one.
func (c *csvFile) told(raw *[4]float64) (t, began float64, err error) {
	if began = c.began; c.good == 0 {
		began = raw[0]
	}
	t = c.unit[0].si(raw[0] - began)
	if t < c.last && c.good > 0 {
		began = c.anew(raw[0])
		t = c.unit[0].si(raw[0] - began)
	}
	switch i := c.columnOf[0]; {
	case i < 0:
	case c.good > 0 && !(t-c.last <= pause):
		err = c.wrong(c.column(i), "%s is %s, more than a day after the row before, which is no time of this recording", c.title[0], shown(c.cell(i)))
	case c.good == 0 || c.tally != nil:
	case t == c.last && c.spread != nil:
	case t == c.last:
		err = c.repeated(raw)
	case t < c.last:
		err = c.wrong(c.column(i), "%s goes back to %s", c.title[0], shown(c.cell(i)))
	case t-c.last < nearest:
		err = c.wrong(c.column(i), "%s is %s, less than 1 µs after the row before, faster than any sensor", c.title[0], shown(c.cell(i)))
	}
	return t, began, err
}

// repeated is the error of a row that has the time of the one before.
func (c *csvFile) repeated(raw *[4]float64) error {
	if c.differs(raw) {
		c.coarse = c.repeats.See(true) || c.coarse // when blocks end is chance
	}
	i := c.columnOf[0]
	e := c.wrong(c.column(i), "%s repeats %s", c.title[0], shown(c.cell(i)))
	switch {
	case c.file.o.SkipBad:
	case c.file.o.Rate > 0:
		e.Try = "leave such rows out with --skip-bad if they are few"
	default:
		e.Try = "give --rate if the clock is too coarse for the sensor, or leave such rows out with --skip-bad if they are few"
	}
	return e
}

// anew returns when the first row was, in the unit of the file, where the times go back to now: whole µs of a board begin anew where
// its 32 bits are full (a second on both sides may be lost), and numbers of rows when they like, far back (to less than half, chosen:
// rows that go back by less are out of order).
func (c *csvFile) anew(now float64) float64 {
	const bits, second = 1 << 32, 1e6
	elapsed := c.last * c.unit[0].div
	switch before := c.began + elapsed; {
	case c.unit[0] == micros && now >= 0 && now < second && before >= bits-second && before < bits:
		return c.began - bits
	case c.unit[0] == counted(c.file.o.Rate) && before-now > math.Abs(before)/2:
		return now - math.Round(elapsed) - 1
	}
	return c.began
}

// tooCoarse is the error of times that repeat in so many rows that the speed would be wrong without those.
func (c *csvFile) tooCoarse() error {
	r, try := c.repeats, "give --rate with what the sensor itself makes in a second, if it samples evenly"
	if enough := 200; c.good > enough { // for half a percent
		try += fmt.Sprintf(": about %.3g if no rows are missing", float64(r.samples-1)/c.last)
	}
	return wrong(try, "%d of %d rows repeat the time of the row before with other values: the clock of column %q is too coarse for the sensor, and without them speeds would be wrong", r.repeated, r.samples, c.title[0]).at(c.file.name, c.line)
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

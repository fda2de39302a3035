package sensor

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// learn finds from the first rows what the header has not said: a row of units below it,
// stamps, the unit of time, the unit of acceleration. It reads no further than needed, and
// the rows are then read again.
func (c *csvFile) learn() error {
	if err := c.readLine(); err != nil {
		if err == io.EOF {
			err = c.end()
		}
		return err
	}
	if err := c.split(); err == nil && !c.takeUnits() {
		c.held = true
		if i := c.columnOf[0]; i >= 0 && i < len(c.spans) {
			if _, c.stamps = parseStamp(c.cell(i)); c.stamps {
				c.unit[0] = seconds
			}
		}
	}
	if c.file.o.Rate > 0 && c.columnOf[0] >= 0 {
		if err := c.leaveTimes(); err != nil {
			return err
		}
	}
	if !c.stamps {
		c.role = slices.Repeat([]int{-1}, c.layout.cells)
		for k := 0; k <= c.axes; k++ {
			if c.columnOf[k] >= 0 {
				c.role[c.columnOf[k]] = k
			}
		}
	}
	sureTime, sureUnit := c.unit[0].name != "", c.unit[1].name != ""
	if sureTime && sureUnit && c.axes < 3 && !(c.names == nil && c.columnOf[0] < 0) {
		return nil
	}
	p, err := c.probe()
	if err != nil {
		return err
	}
	return p.settle(c)
}

// takeUnits takes the line as units below the header, if it is that.
func (c *csvFile) takeUnits() bool {
	if c.names == nil || len(c.spans) < c.layout.cells {
		return false
	}
	under := func(k int) string { return plain(string(bytes.Trim(c.cell(c.columnOf[k]), "()[]"))) }
	var found [4]unit
	for k := 1; k <= c.axes; k++ {
		u, ok := accelerations[under(k)]
		if !ok {
			return false
		}
		found[k] = u
	}
	if c.columnOf[0] >= 0 {
		u, ok := times[under(0)]
		if !ok {
			return false
		}
		found[0] = u
	}
	for k, u := range found {
		if c.unit[k].name == "" {
			c.unit[k] = u
		}
	}
	return true
}

// probed is what the first rows hold, in the units of the file.
type probed struct {
	t    []float64
	axes [3][]float64
	unit unit // of the times, as far as telling rows show it
	tick int  // the first row whose time is not that of the row before, 0 where there is none
}

// probe reads ahead until there are 64 rows and 1 s of them (at most 20 000 rows or 1 MB);
// then puts what it read back. Bad rows are passed over: they are told when they are read
// in earnest.
func (c *csvFile) probe() (p probed, err error) {
	line := c.line
	if c.held {
		line--
	}
	var head []byte
	for len(p.t) < 20000 && len(head) < 1<<20 && !p.enough(c) {
		if err = c.anyLine(); err == io.EOF {
			break // it comes again
		}
		if err != nil {
			return p, err
		}
		head = append(head, c.text...)
		if !c.cut {
			head = append(head, '\n')
		}
		if len(c.text) == 0 || c.text[0] == '#' {
			continue
		}
		if v, err := c.raw(); err == nil && believable(v) {
			if n := len(p.t); p.tick == 0 && n > 0 && v[0] != p.t[n-1] {
				p.tick = n
			}
			p.t = append(p.t, v[0])
			for k := range c.axes {
				p.axes[k] = append(p.axes[k], v[k+1])
			}
		}
	}
	c.line, c.held = line, false
	c.r = bufio.NewReaderSize(io.MultiReader(bytes.NewReader(head), c.r), longest)
	return p, nil
}

// believable reports whether the numbers of a row may be meant in some unit: 1 mg and 1 ns are
// the smallest.
func believable(v [4]float64) bool {
	for _, a := range v[1:] {
		if !(math.Abs(a) <= 1e3*maxAcceleration) {
			return false
		}
	}
	return math.Abs(v[0]) <= 1e19 // 300 years of ns
}

func (p *probed) enough(c *csvFile) bool {
	if len(p.t) == telling {
		p.unit = cmp.Or(c.unit[0], timeUnit(cmp.Or(p.median(), p.ticking())))
	}
	return len(p.t) >= telling && p.seconds(c, p.unit, p.tick) >= 1
}

// seconds is the length of the rows probed from that one on.
func (p *probed) seconds(c *csvFile, u unit, from int) float64 {
	n := len(p.t)
	switch {
	case n == 0:
		return 0
	case c.columnOf[0] < 0:
		return float64(n-from) / c.file.o.Rate
	case u.name == "":
		return math.Inf(1) // more rows will not tell
	}
	return u.si(p.t[n-1] - p.t[from])
}

// settle takes the units from the rows probed, and says so.
func (p *probed) settle(c *csvFile) error {
	if len(p.t) == 0 {
		return nil // no good row: the reading of the first will say why
	}
	if c.columnOf[0] < 0 && c.names == nil && len(p.t) > 2 && rising(p.axes[0]) {
		return wrong("leave --rate out, or put a header above the numbers", "the first column rises from row to row, as a time does").at(c.file.name, c.line+1)
	}
	var all *ParseError
	if c.unit[0].name == "" {
		all = p.settleTime(c)
	}
	switch also := p.settleUnit(c); {
	case all == nil:
		all = also
	case also != nil && len(p.t) > 1: // both at once: who mends one should not run into the other
		all = wrong(all.Try+"; and "+also.Try, "%w; and %w", all.Err, also.Err)
	}
	if all != nil {
		return all.at(c.file.name, c.line+1)
	}
	return nil
}

// settleUnit checks the unit of acceleration against gravity, or finds it by that, or returns
// why it cannot.
func (p *probed) settleUnit(c *csvFile) *ParseError {
	try := "give --unit m/s2, g or mg"
	u, mean := p.gravity(c.axes)
	length := p.seconds(c, c.unit[0], 0)
	switch named := c.unit[1]; {
	case named.name != "" && (c.axes < 3 || u.name == "" || u == named || !(length >= 0.5)):
	case named.name != "":
		return wrong("give --unit "+u.name, "the unit is said to be %s, but gravity shows as %.3g, as it does in %s", named.name, mean, u.name)
	case !(length > 0) && len(p.t) > 1:
		return wrong(try+", and mend the times", "no unit of acceleration given, and times that do not rise")
	case !(length >= 0.5):
		return wrong(try, "no unit of acceleration given, and %.2g s are too short to find it from gravity", max(0, length))
	case u.name == "":
		if mean > 20 { // in m/s² that is 2 g
			try += "; what a sensor counts must be divided by its counts a g (its data sheet) first"
		}
		return wrong(try, "no unit of acceleration given, and no clear gravity in the data (mean %.3g)", mean)
	default:
		c.notes = append(c.notes, fmt.Sprintf("no unit given: 1 g of gravity found (mean %.4g), so the values are in %s", mean, u.name))
		c.unit[1], c.unit[2], c.unit[3] = u, u, u
	}
	return nil
}

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

// telling is how many rows it takes to judge the times of a file (chosen: fewer are told by
// chance, more than a slow pipe brings at once).
const telling = 64

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
// far apart the times came in bursts; where they count the rows they are none. Another is off by more than 1 % by both (chosen: more
// than a nominal rate is off, less than a turner would see); a column that names the wrong
// unit is not. Times that repeat, as a coarse clock or packets make them, have a mean alone, and
// are another by a quarter (chosen: packets come unevenly, and the first second is all that is seen).
func (p *probed) contradicts(given float64, named unit) float64 {
	if len(p.t) < telling || !slices.IsSorted(p.t) || named.name == "" && p.counts(fewLost) {
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
	return wrong("name the column t_"+u.name, "the times in column %q make %.4g samples a second in %s, in %s it would be %.4g",
		c.title[0], 1/step, c.unit[0].name, u.name, 1/u.si(raw)).at(c.file.name, 0)
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

// gravity is the unit in which the mean of the axes is 1 g within 30 % (chosen: generous, and
// the three bands are far apart), and that mean. The mean, since vibration has none. None is
// given when the data move by more than the mean (rms); nor g from fewer than three axes, as
// a sensor in m/s² whose axis lies nearly level shows 1 too.
func (p *probed) gravity(axes int) (u unit, mean float64) {
	var square, spread float64
	for _, v := range p.axes[:axes] {
		var sum, sumSq float64
		for _, a := range v {
			sum += a
			sumSq += a * a
		}
		m := sum / float64(len(v))
		square += m * m
		spread += sumSq/float64(len(v)) - m*m
	}
	mean = math.Sqrt(square)
	if !(spread <= square) {
		return unit{}, mean
	}
	for _, u := range []unit{metric, inG, inMG} {
		if g := u.si(mean) / gravity; g > 0.7 && g < 1.3 && (u != inG || axes == 3) {
			return u, mean
		}
	}
	return unit{}, mean
}

// parseStamp parses an RFC 3339 time; a blank for the T and a missing zone (then UTC) will do.
func parseStamp(b []byte) (time.Time, bool) {
	if len(b) < len("2006-01-02T15:04:05") || b[4] != '-' {
		return time.Time{}, false
	}
	text := string(b)
	if text[10] == ' ' {
		text = text[:10] + "T" + text[11:]
	}
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04:05"} {
		if t, err := time.Parse(form, text); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// stamp is the time in s since the first stamp.
func (c *csvFile) stamp(cell []byte) (float64, bool) {
	t, ok := parseStamp(cell)
	if ok && c.zero.IsZero() {
		c.zero = t
	}
	return t.Sub(c.zero).Seconds(), ok
}

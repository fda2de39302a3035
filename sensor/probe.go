package sensor

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
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
		if err := c.rated(); err != nil {
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
	unit unit  // of the times, as far as telling rows show it
	tick int   // the first row whose time is not that of the row before, 0 where there is none
	bad  error // the first row that is none

	source  string // of the newest row, where a column says which sensor it is of
	other   string // another than that
	changes int    // of it, from one row to the next
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
		var v [4]float64
		err := c.raw(&v)
		switch {
		case err != nil:
			p.bad = cmp.Or(p.bad, err)
		case believable(v):
			p.heed(c.source())
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

// source is what the row says of the sensor that it is of, "" for nothing.
func (c *csvFile) source() string {
	for i, name := range c.names {
		if !slices.Contains(c.columnOf[:c.axes+1], i) && slices.Contains([]string{"sensor", "sensor_name", "sensorname", "sensor_type", "sensortype", "device", "source", "type"}, plain(name)) {
			return string(c.cell(i))
		}
	}
	return ""
}

// heed counts how often the source changes.
func (p *probed) heed(source string) {
	if p.source != "" && source != p.source {
		p.other = p.source
		p.changes++
	}
	p.source = source
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
	case u.name == "" && c.file.o.Rate > 0:
		return float64(n-from) / ((1 + mayDiffer) * c.file.o.Rate)
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
	if len(p.t) == 1 && p.bad != nil {
		return p.bad
	}
	if p.changes > len(p.t)/16 { // chosen: a label of the work changes far less often
		return wrong("keep the rows of the accelerometer alone", "rows of more than one sensor, %s and %s", shown([]byte(min(p.other, p.source))), shown([]byte(max(p.other, p.source)))).at(c.file.name, c.line+1)
	}
	if c.columnOf[0] < 0 && c.names == nil && len(p.t) > 2 && climbs(p.axes[0]) {
		try := "leave --rate out, or put a header above the numbers"
		if first := (&probed{t: p.axes[0]}); first.numbersRows() {
			try = "put a header above the numbers, that calls the column n if it counts the rows, else leave --rate out"
		}
		return wrong(try, "the first column rises from row to row, as a time does").at(c.file.name, c.line+1)
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
	case !(length > 0) && len(p.t) > 1 && c.names == nil:
		return wrong(try+", and mend the times, or give --rate if there are none", "no unit of acceleration given, and a first column that does not rise, as times would")
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

// telling is how many rows it takes to judge the times of a file (chosen: fewer are told by
// chance, more than a slow pipe brings at once).
const telling = 64

// gravity is the unit that gravity shows, and the mean by which it does. It is never g from fewer
// than three axes, as a sensor in m/s² whose axis lies nearly level shows 1 too.
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
	if u = accelerations[UnitByGravity(mean, spread)]; u == inG && axes < 3 {
		u = unit{}
	}
	return u, mean
}

package sensor

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

const (
	longest = 1 << 16    // bytes, chosen: longest line; no row of four numbers comes near
	rows    = 1023       // in a block, one more when a line is in the middle of arriving
	pause   = 24 * 3600. // s between rows, chosen: what lies further apart is no one recording
	nearest = 0.9e-6     // s between rows: 1 µs, the shortest that Options.Rate allows, less what rounding takes
)

// csvFile decodes rows. Lines are split where they lie in the buffer and numbers parsed from
// bytes; a line with a quote in it goes through encoding/csv.
type csvFile struct {
	file *file
	r    *bufio.Reader
	layout
	delim byte
	role  []int // of each column: 0 time, 1 to 3 axes, -1 none; empty when the time is a stamp
	ready bool
	timed bool // the unit of time was judged by a block

	line   int    // number of text, from 1
	text   []byte // the line, valid until the next is read
	cut    bool   // text had no line end: the last line
	held   bool   // text is still to be used
	spans  []span // the cells
	within []byte // what spans are in: text, or the unquoted cells one behind the other

	stamps   bool       // times are stamps, counted from zero
	zero     time.Time  // first stamp
	began    float64    // time of the first good row, in the unit of the file
	last     float64    // s, last time
	values   [3]float64 // of the last row, m/s²
	spread   *spread    // of rows whose times are too coarse
	tally    *tally     // of rows that are counted beside their times
	repeats  Repeats
	coarse   bool // too many rows repeat a time
	good     int
	bad      int
	firstBad error
}

func (c *csvFile) next() (Block, error) {
	if !c.ready {
		if err := c.open(); err != nil {
			return Block{}, err
		}
		c.ready = true
	}
	b, err := c.block()
	for fits := true; c.spread != nil; b, err = c.block() {
		if b, fits = c.spread.add(b, err != nil); !fits {
			return Block{}, c.tooMany()
		}
		if len(b.T) > 0 || err != nil {
			break
		}
	}
	switch {
	case c.coarse:
		return Block{}, c.tooCoarse()
	case c.tally != nil && c.tally.elapsed > 0:
		return Block{}, c.apart()
	}
	if !c.timed && len(b.T) >= telling {
		c.timed = true
		if err := cmp.Or(c.misnamed(b.T), c.inBursts(b.T)); err != nil {
			return Block{}, err
		}
	}
	return b, err
}

func (c *csvFile) block() (Block, error) {
	b := Block{Axes: make([][]float64, c.axes), Range: nearRange * c.file.o.Range}
	for len(b.T) < rows || c.midLine() {
		if len(b.T) > 0 && c.r.Buffered() == 0 {
			break // what has arrived
		}
		if err := c.readLine(); err == io.EOF {
			c.unchecked()
			b.Notes = c.notes
			return b, c.end()
		} else if err != nil {
			return c.withNotes(b), err
		}
		var row [4]float64
		err := c.row(&row)
		switch {
		case err == nil:
			c.add(&b, &row)
		case c.cut:
			c.notes = append(c.notes, "the last line is cut off and was left out")
		case c.file.o.SkipBad:
			c.bad++
			b.Lost++
			if c.firstBad == nil {
				c.firstBad = err
			}
		default:
			return c.withNotes(b), err
		}
	}
	return c.withNotes(b), nil
}

// withNotes hands the notes over with a block that has samples, or knows of some that are lost.
func (c *csvFile) withNotes(b Block) Block {
	if len(b.T) > 0 || b.Lost > 0 {
		b.Notes, c.notes = c.notes, nil
	}
	return b
}

func (c *csvFile) add(b *Block, row *[4]float64) {
	if b.T == nil {
		n := min(rows+1, 1+c.r.Buffered()/(len(c.text)+1))
		b.T = make([]float64, 0, n)
		for i := range b.Axes {
			b.Axes[i] = make([]float64, 0, n)
		}
	}
	c.good++
	c.repeats.See(false)
	b.T = append(b.T, row[0])
	for i := range b.Axes {
		c.values[i] = row[i+1]
		b.Axes[i] = append(b.Axes[i], row[i+1])
	}
}

// end is what the end of the file means.
func (c *csvFile) end() error {
	switch {
	case c.bad > c.good:
		// Not a few bad rows but a file that was misread, or one that is no recording.
		return wrong(c.mend(), "%d of %d rows are bad, the first in %w", c.bad, c.bad+c.good, c.firstBad).at(c.file.name, 0)
	case c.good == 0:
		return wrong("was the recording stopped at once?", "a header and no rows").at(c.file.name, c.line)
	}
	return io.EOF
}

// midLine says that the buffer ends within a line, which is then worth waiting for: either
// it is about to arrive, or the file is cut off here and this block can say so.
func (c *csvFile) midLine() bool {
	if c.held {
		return true
	}
	b, err := c.r.Peek(c.r.Buffered())
	return err == nil && len(b) > 0 && bytes.IndexByte(b, '\n') < 0
}

// row makes of the line a row: time in s since the first, axes in m/s².
func (c *csvFile) row(v *[4]float64) error {
	c.spans = c.spans[:0]
	if !c.quick(v) {
		if err := c.raw(v); err != nil {
			return err
		}
	}
	return c.scale(v)
}

// quick is raw for the usual line: bare numbers, no blanks, no quotes, nothing wrong. It
// reads each byte once, which halves the time of the whole, and reports false for all else.
func (c *csvFile) quick(v *[4]float64) bool {
	rest, point := c.text, c.point()
	for i, k := range c.role {
		n, ok := 0, true
		if k >= 0 {
			v[k], n = leading(rest, point)
			ok = n > 0
		} else {
			if n = bytes.IndexByte(rest, c.delim); n < 0 {
				n = len(rest)
			}
			ok = bytes.IndexByte(rest[:n], '"') < 0
		}
		rest = rest[n:]
		last := i == len(c.role)-1
		if !ok || last != (len(rest) == 0) || !last && rest[0] != c.delim {
			return false
		}
		if !last {
			rest = rest[1:]
		}
	}
	return len(c.role) > 0
}

// raw parses the numbers of the line, in the units of the file.
func (c *csvFile) raw(v *[4]float64) error {
	if err := c.split(); err != nil {
		return err
	}
	if n := len(c.spans); n < c.layout.cells {
		cells := "cells"
		if n == 1 {
			cells = "cell"
		}
		return c.wrong(len(c.text)+1, "%d %s where %d belong", n, cells, c.layout.cells)
	}
	for i := c.layout.cells; i < len(c.spans); i++ {
		if len(c.cell(i)) > 0 {
			return c.wrong(c.column(i), "%d cells where %d belong%s", len(c.spans), c.layout.cells, c.commaHint())
		}
	}
	for k := 0; k <= c.axes; k++ {
		i := c.columnOf[k]
		if i < 0 {
			continue
		}
		ok := false
		if k == 0 && c.stamps {
			v[k], ok = c.stamp(c.cell(i))
		} else {
			v[k], ok = number(c.cell(i), c.point())
		}
		if !ok {
			return c.notNumber(k, i)
		}
	}
	return nil
}

func (c *csvFile) notNumber(k, i int) error {
	want := "a finite number"
	if k == 0 && c.stamps {
		want = "a time like 2026-11-25T10:00:00.125Z"
	}
	switch {
	case len(c.cell(i)) == 0:
		return c.wrong(c.column(i), "%s is empty", c.title[k])
	case k == 0 && c.good == 0 && !c.stamps && bytes.IndexByte(c.cell(i), ':') >= 0: // as will be those below
		e := c.wrong(c.column(i), "%s is %q, a time in no form that is known", c.title[k], shown(c.cell(i)))
		e.Try = "write times as numbers, or like 2026-11-25T10:00:00.125Z or 10:00:00.125; or give --rate"
		return e
	}
	if _, comma := number(c.cell(i), ','); comma {
		want += c.commaHint()
	}
	return c.wrong(c.column(i), "%s is %q, not %s", c.title[k], shown(c.cell(i)), want)
}

func (c *csvFile) commaHint() string {
	if c.delim == ',' {
		return " (decimal commas need semicolons between the cells)"
	}
	return ""
}

// point is the byte that may stand for the decimal point beside '.'.
func (c *csvFile) point() byte {
	if c.delim == ',' {
		return '.'
	}
	return ','
}

// scale turns what raw found into SI and checks it.
func (c *csvFile) scale(v *[4]float64) error {
	if c.columnOf[0] < 0 {
		v[0] = float64(c.good + c.bad)
	}
	began := c.began
	told := c.unit[0].si(v[0] - began)
	if !(told-c.last >= nearest && told-c.last <= pause) || c.good == 0 {
		var err error
		if told, began, err = c.told(v); err != nil {
			return err
		}
	}
	for k := 1; k <= c.axes; k++ {
		v[k] = c.unit[k].si(v[k])
		if !(math.Abs(v[k]) <= maxAcceleration) {
			return c.tooMuch(k, "any sensor shows")
		}
		if most := c.file.o.Range; most > 0 && math.Abs(v[k]) > beyondRange*most {
			e := c.tooMuch(k, fmt.Sprintf("the %.4g g that --range says", most/gravity))
			e.Try = "say what the sensor's data sheet has, or leave --range out"
			return e
		}
	}
	c.began, c.last = began, told
	v[0] = told
	if c.tally != nil {
		n := c.good + c.bad
		v[0] = float64(n) * c.tally.step
		c.tally.add(n, told)
	}
	return nil
}

// differs reports whether raw has other values than the last row.
func (c *csvFile) differs(raw *[4]float64) bool {
	for k := 1; k <= c.axes; k++ {
		if c.unit[k].si(raw[k]) != c.values[k-1] {
			return true
		}
	}
	return false
}

// Scale and zero of a sensor are not exact, and the numbers in a file may be calibrated: the end
// of its range is taken to be reached from nearRange of it on, where a true value is refused
// rather than a clipped one taken, and shows no more than beyondRange of it (both chosen).
const (
	nearRange   = 0.95
	beyondRange = 1.1
)

func (c *csvFile) tooMuch(k int, most string) *ParseError {
	i := c.columnOf[k]
	return c.wrong(c.column(i), "%s is %s, more than %s", c.title[k], strings.TrimSpace(shown(c.cell(i))+" "+c.unit[k].name), most)
}

// wrong is a bad row, with what to try.
func (c *csvFile) wrong(column int, format string, args ...any) *ParseError {
	e := wrong(c.mend(), format, args...).at(c.file.name, c.line)
	e.Column = column
	return e
}

// mend is what to try with bad rows.
func (c *csvFile) mend() string {
	switch {
	case c.file.o.SkipBad && c.columnOf[0] >= 0:
		return "too many to leave out: mend the file, or give --rate if only its times are wrong"
	case c.file.o.SkipBad:
		return "too many to leave out: mend the file"
	}
	return "mend it, or leave bad rows out with --skip-bad"
}

// shown is a cell as a message shows it: a few dozen bytes at most.
func shown(cell []byte) string {
	const most = 40
	if len(cell) <= most {
		return string(cell)
	}
	return string(cell[:most]) + "…"
}

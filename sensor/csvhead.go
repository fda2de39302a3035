package sensor

import (
	"bytes"
	"io"
)

const preamble = 50 // lines, chosen: how far down a header may stand

// open finds the header, or sees that there is none, and then what the data must tell.
func (c *csvFile) open() error {
	c.columnOf[0] = -1
	var why error // why the last line of several cells is no header
	for n := 0; n < preamble; n++ {
		err := c.anyLine()
		if err == io.EOF {
			return c.noTable(why)
		}
		if err != nil {
			return err
		}
		if len(c.text) == 0 {
			continue
		}
		comment := c.text[0] == '#'
		if comment {
			c.text = bytes.TrimLeft(c.text, "#")
		}
		done, err := c.tryHeader(comment)
		if done {
			return err
		}
		if err != nil {
			why = err
		}
		if !comment && c.numeric() {
			if why != nil {
				return why
			}
			return c.noHeader()
		}
	}
	return c.noTable(why)
}

// noTable is the error of a file in which neither header nor numbers were found.
func (c *csvFile) noTable(why error) error {
	switch {
	case why != nil:
		return why
	case c.line == 0:
		return wrong("was the recording stopped at once?", "empty file").at(c.file.name, 0)
	}
	return wrong("the header names a time and axes, such as t_s,x_g,y_g,z_g, with commas, semicolons or tabs between", "text, with neither a header nor numbers so far").at(c.file.name, c.line)
}

// tryHeader sees whether the line is the header. done is true when it is. err without done
// says why a line of several cells is not.
func (c *csvFile) tryHeader(comment bool) (done bool, err error) {
	if len(c.text) == 5 && bytes.EqualFold(c.text[:4], []byte("sep=")) {
		return false, nil // a spreadsheet's own line; the rows say it as well
	}
	c.delim = delimiter(c.text)
	if err := c.split(); err != nil {
		return false, err
	}
	if c.numeric() {
		return false, nil
	}
	names := make([]string, len(c.spans))
	for i := range names {
		names[i] = string(c.cell(i))
	}
	for len(names) > 1 && names[len(names)-1] == "" {
		names = names[:len(names)-1]
	}
	l, fault := readHeader(names, c.file.o)
	if fault != nil {
		if comment || len(names) < 2 && c.file.o.Rate == 0 {
			return false, nil
		}
		if no := unreadable(c.text); no != nil {
			return false, no.at(c.file.name, 0)
		}
		return false, fault.at(c.file.name, c.line)
	}
	c.layout = l
	return true, c.learn()
}

// delimiter of a line: tab, else semicolon, else comma, outside of quotes.
func delimiter(line []byte) byte {
	var tab, semicolon, quoted bool
	for _, b := range line {
		quoted = quoted != (b == '"')
		tab = tab || b == '\t' && !quoted
		semicolon = semicolon || b == ';' && !quoted
	}
	switch {
	case tab:
		return '\t'
	case semicolon:
		return ';'
	}
	return ','
}

// numeric says that the cells are all numbers, but for blank ones and a stamp in front.
func (c *csvFile) numeric() bool {
	n := 0
	for i := range c.spans {
		cell := c.cell(i)
		_, ok := number(cell, c.point())
		if i == 0 && !ok {
			_, ok = parseStamp(cell)
		}
		if !ok && len(cell) > 0 {
			return false
		}
		if ok {
			n++
		}
	}
	return n > 0
}

// noHeader takes the columns as time, then axes; with a rate given, as axes, beside a column in
// front that counts the rows.
func (c *csvFile) noHeader() error {
	n := len(c.spans)
	for n > 1 && len(c.cell(n-1)) == 0 {
		n--
	}
	o, line := c.file.o, c.line
	names, order := []string{"time", "x", "y", "z"}, "time, then axes"
	c.held = true
	if o.Rate > 0 {
		counter, err := c.counterFirst(n)
		if err != nil {
			return err
		}
		if order = "row numbers, then axes"; !counter {
			names, order = names[1:], "axes"
		}
	}
	switch {
	case len(o.Axes) > 0 || o.Time != "":
		return wrong("put one above the numbers, such as t_s,x_g,y_g,z_g", "no header, so columns cannot be chosen by name").at(c.file.name, line)
	case n == 1 && o.Rate == 0:
		return wrong("time and at least one axis are needed (comma, semicolon or tab between them), or --rate", "one column only").at(c.file.name, line)
	case n > len(names):
		return wrong("put one above the numbers that names time and axes, such as t_s,x_g,y_g,z_g", "%d columns and no header", n).at(c.file.name, line)
	}
	l, err := readHeader(names[:n], o)
	if err != nil {
		return err.at(c.file.name, line)
	}
	c.layout = l
	c.notes = append(c.notes, "no header: the columns are taken as "+order)
	c.names = nil
	return c.learn()
}

// counterFirst says whether the first of n columns counts the rows. The line that is held and
// those below it are then still to be read.
func (c *csvFile) counterFirst(n int) (bool, error) {
	c.layout = layout{cells: n, columnOf: [4]int{0}, title: [4]string{"time"}}
	p, err := c.probe()
	return p.counts(fewLost), err
}

package sensor

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"
)

// span is where a cell lies, and the column, in bytes from 1, in which it began. Numbers
// rather than slices: storing pointers costs a tenth of the whole.
type span struct{ from, to, column int32 }

func (c *csvFile) cell(i int) []byte {
	s := c.place(i)
	return c.within[s.from:s.to]
}

func (c *csvFile) column(i int) int { return int(c.place(i).column) }

// place is where cell i lies. A line that quick has read is cut up only now, for an error to
// point at; it has no quotes, so that cannot fail.
func (c *csvFile) place(i int) span {
	if len(c.spans) == 0 && c.split() != nil || i >= len(c.spans) {
		return span{column: 1}
	}
	return c.spans[i]
}

// split cuts the line into cells with no blanks around them.
func (c *csvFile) split() error {
	c.spans, c.within = c.spans[:0], c.text
	if bytes.IndexByte(c.text, '"') >= 0 {
		return c.splitQuoted()
	}
	for from := 0; from <= len(c.text); {
		to := len(c.text)
		if i := bytes.IndexByte(c.text[from:], c.delim); i >= 0 {
			to = from + i
		}
		c.addCell(from, to)
		c.spans[len(c.spans)-1].column = c.spans[len(c.spans)-1].from + 1
		from = to + 1
	}
	return nil
}

// addCell takes the bytes of within, less the blanks around them.
func (c *csvFile) addCell(from, to int) {
	b := c.within
	for from < to && blank(b[from]) {
		from++
	}
	for from < to && blank(b[to-1]) {
		to--
	}
	c.spans = append(c.spans, span{from: int32(from), to: int32(to)})
}

// blank reports whether b may stand beside a number; other control characters may be what is left of a digit.
func blank(b byte) bool { return b == ' ' || b == '\t' || b == '\r' || b == '\v' || b == '\f' }

func (c *csvFile) splitQuoted() error {
	r := csv.NewReader(bytes.NewReader(c.text))
	r.Comma = rune(c.delim)
	r.TrimLeadingSpace = c.delim != '\t'
	cells, err := r.Read()
	if err != nil {
		column := 1
		var e *csv.ParseError
		if errors.As(err, &e) {
			column, err = e.Column, e.Err
		}
		return c.wrong(column, "%v", err)
	}
	c.within = []byte(strings.Join(cells, ""))
	from := 0
	for i, cell := range cells {
		c.addCell(from, from+len(cell))
		from += len(cell)
		_, column := r.FieldPos(i)
		c.spans[i].column = int32(column)
	}
	return nil
}

// readLine reads the next line that is neither blank nor a comment.
func (c *csvFile) readLine() error {
	for {
		if err := c.anyLine(); err != nil {
			return err
		}
		if len(c.text) > 0 && c.text[0] != '#' {
			return nil
		}
	}
}

// anyLine reads the next line and takes its end off, and the zeros that a power cut leaves
// after the last one.
func (c *csvFile) anyLine() error {
	if c.held {
		c.held = false
		return nil
	}
	text, err := c.r.ReadSlice('\n')
	if c.line == 0 && bytes.IndexByte(bytes.TrimRight(text, "\r\n"), '\r') >= 0 {
		c.r = bufio.NewReaderSize(returns{io.MultiReader(bytes.NewReader(bytes.Clone(text)), c.r)}, longest)
		text, err = c.r.ReadSlice('\n')
	}
	for err == bufio.ErrBufferFull && len(bytes.Trim(text, "\x00")) == 0 {
		text, err = c.r.ReadSlice('\n')
	}
	if len(text) > 0 {
		c.line++
	}
	c.cut = err == io.EOF
	switch {
	case err == bufio.ErrBufferFull:
		e := wrong("is this a table with line ends?", "line of more than %d bytes", longest).at(c.file.name, c.line)
		e.Column = longest
		return e
	case err != nil && err != io.EOF:
		return c.file.reading(err)
	case err == io.EOF && len(text) == 0:
		return io.EOF
	}
	if !c.cut {
		text = text[:len(text)-1]
	}
	if n := len(text); n > 0 && text[n-1] == '\r' {
		text = text[:n-1]
	}
	if c.cut {
		text = bytes.TrimRight(text, "\x00")
	}
	if len(bytes.TrimSpace(text)) == 0 {
		text = nil
	}
	c.text = text
	return nil
}

// returns reads lines that end in a carriage return alone, as old spreadsheets write them.
type returns struct{ io.Reader }

func (r returns) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	for i, b := range p[:n] {
		if b == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}

package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/charmbracelet/x/ansi"
)

// meter is one line, written over itself, for a person who waits. Nil writes nothing.
type meter struct {
	out  io.Writer
	told time.Time
}

// meterOn writes to stderr if a person watches it on a terminal that can take a line away again.
func meterOn(stderr io.Writer) *meter {
	if f := terminal(stderr); f != nil && os.Getenv("TERM") != "dumb" {
		return &meter{f, time.Now()}
	}
	return nil
}

// tell writes the line anew, twice a second at most.
func (m *meter) tell(format string, args ...any) {
	if m == nil || time.Since(m.told) < time.Second/2 {
		return
	}
	m.told = time.Now()
	m.clear()
	fmt.Fprint(m.out, ansi.Truncate(harmless(fmt.Sprintf(format, args...)), newPage(m.out).width-1, "…"))
}

// clear takes the line away, for others to be written in its place.
func (m *meter) clear() {
	if m != nil {
		fmt.Fprint(m.out, "\r"+ansi.EraseLineRight)
	}
}

package main

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/colorprofile"
	uv "github.com/charmbracelet/ultraviolet"
	"github.com/charmbracelet/x/ansi"
	"golang.org/x/term"
)

// paper is the terminal while the screen is on it. What is shown is written at once, and of its
// rows only those that changed: bubbletea's own renderer looks many times a second whether there
// is something to draw. That cost more than all the drawing, and let it wait.
type paper struct {
	out     *os.File
	ink     io.Writer // out in the colours that it has
	profile colorprofile.Profile
	console uv.Console
	rows    []string // as they stand there
}

// The terminal's modes for the screen, and those for what was there before (DEC and xterm private
// modes): another screen, no cursor, a row that is too long ends at the edge, what is pasted is
// told from what is typed.
const (
	modes    = ansi.SetModeAltScreenSaveCursor + ansi.HideCursor + ansi.ResetModeAutoWrap + ansi.SetModeBracketedPaste
	modesOff = ansi.ResetModeBracketedPaste + ansi.SetModeAutoWrap + ansi.ShowCursor + ansi.ResetModeAltScreenSaveCursor
)

// keyboard is where keys come from: standard input or, where that is a pipe, the terminal itself.
func keyboard() (*os.File, error) {
	if term.IsTerminal(int(os.Stdin.Fd())) {
		return os.Stdin, nil
	}
	in, _, err := tea.OpenTTY()
	return in, err
}

// openPaper takes the terminal whose keys come from in. Close gives it back.
func openPaper(in, out *os.File) (*paper, error) {
	p := &paper{out: out, console: uv.NewConsole(in, out, os.Environ())}
	if _, err := p.console.MakeRaw(); err != nil {
		return nil, fmt.Errorf("read keys from the terminal: %w", err)
	}
	p.profile = max(colorprofile.Detect(out, os.Environ()), colorprofile.ASCII) // with less there is no screen
	p.ink = out                                                                 // the screen has no more colours than eight
	if p.profile < colorprofile.ANSI {
		p.ink = &colorprofile.Writer{Forward: out, Profile: p.profile}
	}
	if _, err := out.WriteString(modes); err != nil {
		return nil, cmp.Or(err, p.console.Restore())
	}
	return p, nil
}

// close leaves the terminal as it was.
func (p *paper) close() error {
	_, err := p.out.WriteString(modesOff)
	return cmp.Or(p.console.Restore(), err)
}

// size is that of the terminal, columns and rows; 80 and 24 where it does not know.
func (p *paper) size() (width, height int) {
	width, height, err := p.console.GetSize()
	if err != nil || width <= 0 || height <= 0 {
		return fullWidth, fullHeight
	}
	return width, height
}

// sized tells of every new size until the end is called.
func (p *paper) sized(tell func(tea.Msg)) (end func()) {
	changed, over := make(chan os.Signal, 1), make(chan struct{})
	uv.NotifyWinch(changed)
	go func() {
		for {
			select {
			case <-changed:
				width, height := p.size()
				tell(tea.WindowSizeMsg{Width: width, Height: height})
			case <-over:
				return
			}
		}
	}()
	return func() {
		signal.Stop(changed)
		close(over)
	}
}

// show writes the rows that are others than before. A terminal that is gone ends the keys.
func (p *paper) show(rows []string) {
	if p == nil {
		return
	}
	var text strings.Builder
	for i := range max(len(rows), len(p.rows)) {
		switch {
		case i >= len(rows):
			text.WriteString(ansi.CursorPosition(1, i+1) + ansi.EraseLineRight)
		case i >= len(p.rows) || rows[i] != p.rows[i]:
			text.WriteString(ansi.CursorPosition(1, i+1) + ansi.EraseLineRight + harmless(rows[i]))
		}
	}
	p.rows = rows
	if text.Len() > 0 {
		_, _ = io.WriteString(p.ink, ansi.SetModeSynchronizedOutput+text.String()+ansi.ResetModeSynchronizedOutput)
	}
}

// wipe forgets what stands there: the terminal has become another.
func (p *paper) wipe() {
	if p != nil {
		p.rows = nil
		_, _ = p.out.WriteString(ansi.EraseEntireScreen)
	}
}

// ring is the bell.
func (p *paper) ring() tea.Msg {
	_, _ = p.out.WriteString("\a")
	return nil
}

package main

import (
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"

	"charm.land/lipgloss/v2"
	"golang.org/x/term"
)

// The rules of what a person sees:
//
//   - The advice is the first line. Reasons and pictures come after it. Where that pushes it
//     off the top of a terminal it is said once more at the end.
//   - Every number has its unit, every rule its source. Unknown is a dash, never a zero.
//   - Colour repeats what a word says and never stands alone. It is off when the output is
//     no terminal and when NO_COLOR is set (https://no-color.org).
//   - Eighty columns are enough.

// page is text for a person, written in one go by flush.
type page struct {
	text   strings.Builder
	width  int
	height int // of the terminal, 0 for none
	colour bool
	teach  bool // explain each part, for who sees it for the first time
}

// The styles. The colours are the terminal's own, ANSI 1 to 3, so that they suit its background.
var (
	plain  = lipgloss.NewStyle()
	bold   = plain.Bold(true)
	dim    = plain.Faint(true)
	red    = bold.Foreground(lipgloss.Color("1"))
	green  = bold.Foreground(lipgloss.Color("2"))
	yellow = bold.Foreground(lipgloss.Color("3"))
)

// newPage makes a page that suits out.
func newPage(out io.Writer) *page {
	p := &page{width: 80}
	if f, ok := out.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		p.colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
		if w, h, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			p.width, p.height = w, h
		}
	} else if w, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil {
		p.width = w
	}
	p.width = min(max(p.width, 60), 100)
	return p
}

// flush writes the page.
func (p *page) flush(out io.Writer) error {
	_, err := io.WriteString(out, harmless(p.text.String()))
	return err
}

// harmless is s without what could steer a terminal, but for line ends and colours: names
// and labels come from files and from other people.
func harmless(s string) string {
	return control.ReplaceAllStringFunc(s, func(found string) string {
		if strings.HasPrefix(found, "\x1b[") && strings.HasSuffix(found, "m") {
			return found
		}
		return ""
	})
}

// writeHarmless writes text to a person, made harmless.
func writeHarmless(out io.Writer, format string, args ...any) error {
	_, err := io.WriteString(out, harmless(fmt.Sprintf(format, args...)))
	return err
}

// control is a control sequence, or a control character but a line end (ECMA-48).
var control = regexp.MustCompile("\x1b\\[[0-?]*[ -/]*[@-~]|[\x00-\x09\x0b-\x1f\x7f\u0080-\u009f]")

// shellWord is s as it is typed into a shell: as one word, and no flag.
func shellWord(s string) string {
	if strings.HasPrefix(s, "-") {
		s = "./" + s
	}
	if s != "" && !strings.ContainsFunc(s, func(r rune) bool { return strings.ContainsRune(" '\"$`\\!*?&|;<>()[]{}#~\t\n", r) }) {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

func (p *page) line(format string, args ...any) { fmt.Fprintf(&p.text, format+"\n", args...) }

// head begins a new part, apart from the one before.
func (p *page) head(title string) {
	if p.text.Len() > 0 {
		p.line("")
	}
	p.line("%s", p.paint(bold, title))
}

// scrolled says whether the first line has left the terminal.
func (p *page) scrolled() bool {
	return p.height > 0 && strings.Count(p.text.String(), "\n") >= p.height
}

// explain writes what a part means, where that was asked for.
func (p *page) explain(words string) {
	if p.teach {
		p.wrap("  ", words)
	}
}

// wrap writes words behind first, and every further line behind as many blanks.
func (p *page) wrap(first, words string) {
	indent := visible(first)
	column := indent
	p.text.WriteString(first)
	for i, word := range strings.Fields(words) {
		n := visible(word)
		switch {
		case i == 0:
		case column+1+n > p.width:
			p.text.WriteString("\n" + strings.Repeat(" ", indent))
			column = indent
		default:
			p.text.WriteByte(' ')
			column++
		}
		p.text.WriteString(word)
		column += n
	}
	p.text.WriteByte('\n')
}

// visible is the number of columns that s takes on the screen.
func visible(s string) int { return lipgloss.Width(s) }

// list writes one item a paragraph.
func (p *page) list(items []string) {
	for _, item := range items {
		p.wrap("  - ", item)
	}
}

// paint colours s; its length on the screen stays.
func (p *page) paint(style lipgloss.Style, s string) string {
	if !p.colour {
		return s
	}
	return style.Render(s)
}

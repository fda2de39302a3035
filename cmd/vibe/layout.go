package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	tea "charm.land/bubbletea/v2"
	"charm.land/lipgloss/v2"

	"vibe/assess"
)

// The least terminal that the whole screen fits on; a smaller one gets text alone.
const (
	fullWidth  = 80
	fullHeight = 24
)

// View implements tea.Model.
func (m *screen) View() tea.View {
	v := tea.NewView(harmless(strings.Join(m.rows(), "\n")))
	v.AltScreen = true
	return v
}

// rows are what is shown, at most as many as fit.
func (m *screen) rows() (rows []string) {
	switch {
	case m.inviting || m.invite != nil && m.now.Clock == 0 && m.prompt == nil && !m.help:
		rows = m.cut(m.invitation())
	case m.help:
		rows = m.cut(m.helpText())
	case m.width < fullWidth || m.height < fullHeight:
		rows = m.cut(m.small())
	default:
		rows = m.full()
	}
	return rows[:min(len(rows), m.height)]
}

// cut ends lines that are too long at the edge of the screen.
func (m *screen) cut(lines []string) []string {
	for i := range lines {
		lines[i] = plain.MaxWidth(m.width).Render(lines[i])
	}
	return lines
}

// full is the whole screen. Rows: head 1, numbers, bar 2, advice, prompt or pictures the
// rest, caution and answer 1 to saidRows each, keys 1. No line is longer than the screen: to
// look at each of them four times a second would cost more than to draw them.
func (m *screen) full() []string {
	dots := m.dots()
	top := m.cut([]string{m.head()})
	top = append(top, m.numbers(dots)...)
	top = append(top, "")
	top = append(top, m.bar(m.width-2)...)
	top = append(top, dim.Render(" * edges: starting values; ISO 20816-1 does not cover wood lathes"))
	top = append(top, m.advice(max(1, dots-1))...)
	bottom := append(m.wrapped(m.caution()), m.wrapped(m.answerLine())...)
	bottom = append(bottom, m.keys())
	rest := m.height - len(top) - len(bottom)
	var middle []string
	if m.prompt != nil {
		middle = m.cut(m.asking())
	} else {
		middle = m.pictures(rest)
	}
	for len(middle) < rest {
		middle = append(middle, "")
	}
	return append(append(top, middle[:rest]...), bottom...)
}

// invitation says how a phone comes in, until one has, or when it was asked for. The first
// caution stays on: it is the one that needs no second row, and a code leaves none.
func (m *screen) invitation() []string {
	last := " q quits"
	if m.inviting {
		last = " any key goes back"
	}
	if n := len(m.now.Notes); n > 0 {
		last += "   " + m.now.Notes[n-1]
	}
	lines := append(m.invite(m.width, m.height-2), warning(assess.Cautions()[0]))
	if m.width < fullWidth { // a link that is cut off is none
		return strings.Split(plain.Width(m.width).Render(strings.Join(append(lines, last), "\n")), "\n")
	}
	return append(lines, ended(strings.Split(plain.Width(m.width-1).Render(last), "\n"), 1)...)
}

// dots is the size of the digits that the terminal has room for: see big.
func (m *screen) dots() int {
	if m.width >= 110 && m.height >= 34 {
		return 3
	}
	return 2
}

// head says what is watched: the source, the blank, the task, and how data come.
func (m *screen) head() string {
	n := m.now
	parts := []string{n.Source}
	if n.Blank.Diameter > 0 {
		parts = append(parts, strings.TrimSpace(n.Blank.Said(n.Blank.Diameter)+" "+n.Blank.Wood))
	}
	if n.Task != "" {
		parts = append(parts, string(n.Task))
	}
	if n.Lost > 0 {
		parts = append(parts, fmt.Sprintf("%s lost", plural(n.Lost, "sample", "samples")))
	}
	right := clock(n.Clock)
	if n.RateHz > 0 {
		right = fmt.Sprintf("%.0f samples/s   %s", n.RateHz, right)
	}
	left := bold.Render(strings.Join(parts, " · "))
	if n.Unkept != "" {
		left = yellow.Render("NOT KEPT: "+n.Unkept) + bold.Render(" · "+strings.Join(parts, " · "))
	}
	return spread(m.width, left, dim.Render(right))
}

// spread puts left and right at the two ends of a line.
func spread(width int, left, right string) string {
	gap := width - lipgloss.Width(left) - lipgloss.Width(right)
	if gap < 1 {
		return left
	}
	return left + strings.Repeat(" ", gap) + right
}

// numbers are the speed, the shake and its word, large. Old numbers are not shown at all.
func (m *screen) numbers(dots int) []string {
	speed, shake, feel, guess := "–", "–", "no data", ""
	look := dim
	switch r := m.now.Reading; {
	case m.now.Stale:
	case r.OK:
		speed, shake, feel = speedText(r), shakeText(r), strings.ToUpper(feelText(r))
		look = feelStyle[r.Feel]
	default: // what is not sure is not shown large
		feel = "no number"
		if r.Speed > 0 {
			guess = fmt.Sprintf("  perhaps %.0f", float64(r.Speed))
		}
	}
	left, right := big(speed, dots), big(shake, dots)
	half := max(m.width/2, utf8.RuneCountInString(left[0])+max(len(guess), len("  rpm"))+3)
	lines := make([]string, len(left))
	for i := range lines {
		var r row
		r.add(plain, " ")
		r.add(bold, left[i])
		switch i {
		case 0:
			r.add(plain, "  rpm")
		case 2:
			r.add(dim, guess)
		}
		r.to(half)
		r.add(look, right[i])
		switch i {
		case 0:
			r.add(plain, "  mm/s")
		case 2:
			r.add(plain, "  ")
			r.add(look.Reverse(true), " "+feel+" ")
		}
		lines[i] = r.text.String()
	}
	return lines
}

// bar is the shake against the edges of the words, each word as wide as the other: the
// edges are steps of one ratio, so that the scale is logarithmic throughout.
func (m *screen) bar(width int) []string {
	e := assess.DefaultEdges
	ratio := e[1] / e[0]
	part := width / 4
	at := func(shake float64) int {
		return min(max(int(math.Round(float64(part)*(1+math.Log(shake/e[0])/math.Log(ratio)))), 0), 4*part)
	}
	n := 0
	r := m.now.Reading
	if r.OK && !m.now.Stale {
		n = at(r.Shake)
	}
	cells := []rune(strings.Repeat("█", n) + strings.Repeat("░", 4*part-n))
	for i := 1; i < 4; i++ {
		cells[i*part] = '│'
	}
	if m.now.Comfort > 0 {
		cells[min(at(m.now.Comfort), len(cells)-1)] = '◆'
	}
	words := fmt.Sprintf("%-*s%-*s%-*s%s", part, "calm", part, fmt.Sprintf("%.1f lively", e[0]), part, fmt.Sprintf("%.1f rough", e[1]), fmt.Sprintf("%.1f violent*", e[2]))
	return []string{" " + feelStyle[r.Feel].Render(string(cells[:n])) + string(cells[n:]), " " + words}
}

// advice is the action and the speed, large, with the sentence and its first reasons beside.
func (m *screen) advice(dots int) []string {
	a := m.now.Advice
	text := strings.ToUpper(string(a.Action))
	if a.Speed > 0 && a.Action != assess.Hold {
		text += fmt.Sprintf(" %.0f", float64(a.Speed))
	}
	left := big(text, dots)
	beside := 1 + utf8.RuneCountInString(left[0]) + 3
	words := bold.Render(a.Say)
	for _, r := range a.Reasons {
		if !strings.Contains(a.Say, r.Text) {
			words += " " + sentence(r.Text)
		}
	}
	told := ended(strings.Split(plain.Width(m.width-beside-2).Render(words), "\n"), len(left))
	look := actionStyle[a.Action]
	for i := range left {
		left[i] = " " + look.Render(left[i]) + "   "
		if i < len(told) {
			left[i] += told[i]
		}
	}
	return left
}

// sentence begins s with a capital and ends it with a full stop.
func sentence(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + strings.TrimSuffix(s[n:], ".") + "."
}

// caution is one of the cautions, another every ten seconds.
func (m *screen) caution() string {
	all := assess.Cautions()
	return warning(all[int(m.now.Clock/10)%len(all)])
}

func warning(text string) string { return " " + yellow.Render("! "+text) }

// saidRows is the most rows that a caution or an answer takes: what a source has to say can be
// long, and half a caution is none.
const saidRows = 2

// wrapped is a line that begins with a blank in as many rows as it needs.
func (m *screen) wrapped(line string) []string {
	rows := ended(strings.Split(plain.Width(m.width-1).Render(line), "\n"), saidRows)
	for i := 1; i < len(rows); i++ {
		rows[i] = " " + rows[i]
	}
	return rows
}

// ended is at most so many rows of text, and says where some are left out.
func ended(rows []string, most int) []string {
	if len(rows) > most {
		rows = rows[:most]
		rows[most-1] = strings.TrimRight(rows[most-1], " ") + "…"
	}
	return rows
}

// answerLine is what the last key did, or what the source said last.
func (m *screen) answerLine() string {
	noted := len(m.now.Notes) > 0 && (m.now.Stale || m.now.Clock-m.now.Noted < noteStays)
	switch {
	case m.said != "":
		return " " + bold.Render(m.said)
	case noted:
		return " " + m.now.Notes[len(m.now.Notes)-1]
	case m.dial != nil:
		at, follows := m.dial.state()
		shows := dialShows(at)
		if follows && at == 0 {
			return " " + shows + "; press ↑ to switch on"
		}
		if at > 0 && m.dial.waits(m.now.Clock, m.now.Reading) {
			return " " + shows + ", nothing sure is felt at it; ↑ turns it up"
		}
		if follows {
			return " " + shows + ", follows the advice; ↑ ↓ to turn it yourself"
		}
		return " " + shows + ", yours; ↑ ↓ turn it, f lets it follow the advice"
	case !m.now.Checked && m.now.Reading.OK && m.now.Advice.Action != assess.Stop:
		return " " + yellow.Render("what does the dial show? press s and say it: until then no raise is said outright")
	}
	return ""
}

// noteStays is how long a note is shown, s (chosen).
const noteStays = 10.0

func (m *screen) keys() string {
	bell := "b mute"
	if m.muted {
		bell = "b bell"
	}
	dial := ""
	if m.dial == nil {
		dial = " s dial "
	}
	if m.invite != nil && m.width > fullWidth+7 { // a narrow one says so in its help
		dial += " p link "
	}
	return dim.Render(dial + " d diameter  t task  c fine  x too much  m mark  " + bell + "  ? help  q quit")
}

// pictures are the last two minutes and the shake against speed, side by side.
func (m *screen) pictures(rows int) []string {
	left := m.width * 2 / 5
	drawn := rows - 3
	past := append([]string{" shake, last 2 minutes"}, trace(m.now.Past, left-4, drawn)...)
	past = append(past, " 2 min ago"+strings.Repeat(" ", max(0, left-17))+"now")
	shape := picture(m.now.Map, m.now.Advice.Speed, m.width-left, drawn, 0)
	shape = append([]string{"shake against speed, mm/s"}, shape[min(1, len(shape)):]...) // its unit is in the title
	for i := range shape {
		if i == len(past) {
			past = append(past, "")
		}
		past[i] = fmt.Sprintf("%-*s%s", left, past[i], shape[i])
	}
	return past
}

// asking is the open prompt.
func (m *screen) asking() []string {
	p := m.prompt
	lines := []string{"", bold.Render(" What diameter is it now?  ") + p.text + "▏", " mm, cm or in, as in 140mm or 5-1/2in; Enter takes it, Esc leaves it as it was"}
	switch p.asks {
	case theDial:
		lines = []string{"", bold.Render(" What does the dial or pulley show now?  ") + p.text + "▏", " rpm, about right is enough; Enter takes it, Esc leaves it"}
	case theTask:
		lines = []string{bold.Render(" What comes now? Press its number, or Esc to leave it as it is.")}
		var row string
		for i, t := range assess.Tasks() {
			row += fmt.Sprintf(" %d %-12s", i+1, t)
			if i%3 == 2 {
				lines, row = append(lines, row), ""
			}
		}
	}
	return append(lines, " "+yellow.Render(p.error))
}

// small is the screen in words, for a terminal that is too small for more.
func (m *screen) small() []string {
	n := m.now
	numbers := "no data"
	if !n.Stale {
		numbers = fmt.Sprintf("%s rpm  %s mm/s  %s", speedText(n.Reading), shakeText(n.Reading), strings.ToUpper(feelText(n.Reading)))
	}
	lines := []string{bold.Render(numbers), actionStyle[n.Advice.Action].Render(shout(n.Advice))}
	if m.prompt != nil {
		lines = append(lines, m.asking()...)
	}
	lines = append(lines, m.caution(), m.answerLine())
	if n.Unkept != "" {
		lines = append(lines, yellow.Render("NOT KEPT: "+n.Unkept))
	}
	if m.height > 8 && m.prompt == nil {
		for _, r := range n.Advice.Reasons {
			if !strings.Contains(n.Advice.Say, r.Text) {
				lines = append(lines, r.Text)
			}
		}
		lines = append(lines, m.keys())
	}
	return strings.Split(plain.Width(m.width).Render(strings.Join(lines, "\n")), "\n")
}

// helpText says what the advice is, what keys and words mean, and all cautions; where there is
// no room for that, one caution, and as many keys as fit.
func (m *screen) helpText() []string {
	p := &page{width: m.width}
	rows := func() []string { return strings.Split(strings.TrimSuffix(p.text.String(), "\n"), "\n") }
	for _, k := range m.keyWords() {
		p.wrap(fmt.Sprintf("  %-6s ", k[0]), k[1])
	}
	keys := len(rows())
	p.line("%s", bold.Render(" Words"))
	p.wrap("  ", "shake: how hard the headstock moves once per turn, mm/s rms. – is not known, ? not to be relied on. Edges of the words: "+assess.EdgesSource+": starting values.")
	p.line("%s", bold.Render(" Cautions"))
	p.list(assess.Cautions())
	lines, last := rows(), []string{" Any key goes back."}
	whole := func(line string) []string { return strings.Split(plain.Width(m.width).Render(line), "\n") }
	said := whole(actionStyle[m.now.Advice.Action].Render(shout(m.now.Advice)))
	if room := m.height - 2; len(lines) > room {
		last = append(whole(m.caution()), last...)
		lines = lines[:max(0, min(keys, room+1-len(last)))]
	}
	return slices.Concat(said[:1], lines, last)
}

// keyWords are the keys that do something here, and what.
func (m *screen) keyWords() [][2]string {
	words := [][2]string{
		{"d", "the blank has a new diameter: say it, so that the ceilings are right"},
		{"t", "another task: roughing, shaping, sanding …"},
		{"c", "this is comfortable: a mark"},
		{"x", "this is too much: a mark, and the limit for now goes below it"},
		{"m", "a mark: something happened here"},
		{"b", "bell off or on: once for lower, again and again for stop"},
		{"q", "quit"},
	}
	if m.invite != nil {
		words = append(words, [2]string{"p", "the link by which the page is opened, or a phone or tablet comes in"})
	}
	if m.dial != nil {
		return append(words, [2]string{"↑ ↓ f", "turn the dial; let it follow the advice"})
	}
	return append([][2]string{{"s", "what the dial shows, so that no motor is taken for the spindle"}}, words...)
}

package main

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	tea "charm.land/bubbletea/v2"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// The rules of the screen:
//
//   - Speed, shake and advice are read from two metres, at 80 by 24 already.
//   - Nothing old is shown as if it were new: without data there is no number.
//   - A word or a sign says what a colour says. NO_COLOR is heeded by the library.
//   - A caution stays on, whatever else is open.
//   - Every key works without looking away from the wood for long: one press, and only the
//     new diameter needs typing.

// screen is the terminal's view of a session. It decides nothing: keys go to the session and
// to the simulated lathe's dial, and what is drawn is the session's snapshot.
type screen struct {
	session *live.Session
	dial    *dial                            // nil but for the simulated lathe
	alarm   *alarm                           // nil where none was asked for
	invite  func(width, height int) []string // how a phone comes in, nil but for a phone
	now     live.Snapshot

	width, height int
	prompt        *prompt
	help          bool
	inviting      bool   // the invitation was asked for
	said          string // answer to the last key, until something newer is to be said
	muted         bool
	rings         int
}

// news tells the screen that the session changed.
type news struct{}

// framesPerSecond is how often bubbletea looks whether there is something to draw (chosen: no line
// waits for longer than 25 ms of the 50 from sample to screen, and each look wakes the computer:
// they cost 0.4 % of a core, 60 of them 0.5).
const framesPerSecond = 40

// showScreen draws the session on a terminal until it ends or the turner quits. Of signals main
// hears, and ends the session.
func showScreen(s *live.Session, d *dial, a *alarm, invite func(width, height int) []string, out *os.File, more ...tea.ProgramOption) error {
	m := newScreen(s, d)
	m.alarm, m.invite = a, invite
	_, err := tea.NewProgram(m, append(more, tea.WithOutput(out), tea.WithFPS(framesPerSecond), tea.WithoutSignalHandler())...).Run()
	return err
}

func newScreen(s *live.Session, d *dial) *screen {
	return &screen{session: s, dial: d, now: s.Now(), width: 80, height: 24}
}

// Init implements tea.Model.
func (m *screen) Init() tea.Cmd { return m.listen() }

// listen takes the session as it stands and waits for the next change.
func (m *screen) listen() tea.Cmd {
	changed := m.session.Changed()
	m.now = m.session.Now()
	return func() tea.Msg {
		<-changed
		return news{}
	}
}

// Update implements tea.Model.
func (m *screen) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case news:
		before, notes := m.now.Clock, m.now.Notes
		next := m.listen()
		if !slices.Equal(notes, m.now.Notes) {
			m.said = ""
		}
		if m.now.Ended {
			return m, tea.Quit
		}
		return m, tea.Batch(next, m.ring(m.now.Clock != before))
	case tea.KeyPressMsg:
		return m, m.press(msg)
	case tea.PasteMsg:
		if m.prompt != nil {
			m.prompt.add(strings.TrimSpace(msg.Content))
		}
	}
	return m, nil
}

// ring counts a fresh reading and rings the bell if it is time.
func (m *screen) ring(fresh bool) tea.Cmd {
	if !fresh {
		return nil
	}
	m.rings = ringsAfter(m.rings, m.now.Advice.Action)
	if m.muted || !rings(m.rings) {
		return nil
	}
	return tea.Raw("\a")
}

// press answers a key.
func (m *screen) press(key tea.KeyPressMsg) tea.Cmd {
	if key.String() == "ctrl+c" {
		return tea.Quit
	}
	if m.prompt != nil {
		m.answer(key)
		return nil
	}
	if m.help || m.inviting {
		m.help, m.inviting = false, false
		return nil
	}
	m.said = ""
	switch key.String() {
	case "q":
		return tea.Quit
	case "?", "h":
		m.help = true
	case "p":
		m.inviting = m.invite != nil
	case "d":
		m.prompt = &prompt{asks: theDiameter}
	case "t":
		m.prompt = &prompt{asks: theTask}
	case "s":
		if m.dial != nil {
			m.said = "the dial of the simulated lathe is known: ↑ and ↓ turn it"
			break
		}
		m.prompt = &prompt{asks: theDial}
	case "c":
		m.mark(live.Comfortable)
	case "x":
		m.mark(live.TooMuch)
	case "m":
		m.mark(live.Plain)
	case "b":
		m.muted = !m.muted
		m.alarm.mute(m.muted)
		m.said = map[bool]string{true: "the bell is off", false: "the bell is on"}[m.muted]
	default:
		m.pressDial(key.String())
	}
	return nil
}

// pressDial is for the keys that only the simulated lathe has.
func (m *screen) pressDial(key string) {
	if m.dial == nil {
		return
	}
	switch key {
	case "up", "+":
		m.dial.turn(1)
	case "down", "-":
		m.dial.turn(-1)
	case "f":
		_, follows := m.dial.state()
		m.dial.follow(!follows)
	}
}

func (m *screen) mark(k live.Kind) { m.said = pointOut(m.session, k) }

// pointOut points this moment out and says what came of it.
func pointOut(s *live.Session, k live.Kind) string {
	mark, ok := s.Mark(k)
	switch {
	case !ok && k != live.Plain:
		return "not marked: there is no number now to go with it"
	case !ok:
		return "marked at " + clock(mark.T)
	}
	return fmt.Sprintf("marked%s: %v, %s", map[live.Kind]string{live.Comfortable: " comfortable", live.TooMuch: " too much"}[k], mark.Speed, assess.ShakeText(mark.Shake))
}

// question is what a prompt asks.
type question int

const (
	theDiameter question = iota
	theTask
	theDial
)

// prompt asks for what changed, or for what the dial shows.
type prompt struct {
	asks  question
	text  string
	error string
}

// answer takes a key while a prompt is open.
func (m *screen) answer(key tea.KeyPressMsg) {
	p := m.prompt
	p.error = ""
	switch s := key.String(); {
	case s == "esc":
		m.prompt = nil
	case p.asks == theTask:
		m.chooseTask(s)
	case s == "enter" && p.asks == theDial:
		m.dialShows()
	case s == "enter":
		m.newDiameter()
	case s == "backspace":
		if r := []rune(p.text); len(r) > 0 {
			p.text = string(r[:len(r)-1])
		}
	case key.Text != "":
		p.add(key.Text)
	}
}

// longestAnswer is how many characters an answer may have (chosen: no number with its unit needs
// as many).
const longestAnswer = 20

// add puts text behind what was typed, all of it or, where that is no answer, nothing: half a
// number would be another one.
func (p *prompt) add(text string) {
	p.error = ""
	if utf8.RuneCountInString(p.text+text) > longestAnswer || strings.ContainsFunc(text, unicode.IsControl) {
		p.error = fmt.Sprintf("not taken: one number, up to %d characters", longestAnswer)
		return
	}
	p.text += text
}

func (m *screen) chooseTask(key string) {
	tasks := assess.Tasks()
	n, err := strconv.Atoi(key)
	if err != nil || n < 1 || n > len(tasks) {
		m.prompt.error = fmt.Sprintf("press 1 to %d, or Esc", len(tasks))
		return
	}
	m.tell(m.now.Blank, tasks[n-1], "task: "+string(tasks[n-1]))
}

func (m *screen) dialShows() {
	v, err := speedKind.parse(m.prompt.text)
	if err != nil {
		m.prompt.error = err.Error()
		return
	}
	m.session.Dial(assess.RPM(v))
	m.prompt, m.said = nil, fmt.Sprintf("the dial shows %v: the next sure reading is compared with it", assess.RPM(v))
}

func (m *screen) newDiameter() {
	v, err := lengthKind.parse(m.prompt.text)
	if err != nil {
		m.prompt.error = err.Error()
		return
	}
	blank := m.now.Blank
	blank.Diameter, blank.Inches = assess.MM(v), inInches(m.prompt.text)
	m.tell(blank, m.now.Task, "diameter: "+blank.Said(blank.Diameter))
}

func (m *screen) tell(b assess.Blank, t assess.Task, said string) {
	if err := m.session.Tell(b, t); err != nil {
		m.prompt.error = err.Error()
		return
	}
	m.prompt, m.said, m.now = nil, said, m.session.Now()
}

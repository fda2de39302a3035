package main

import (
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	tea "charm.land/bubbletea/v2"
	"charm.land/lipgloss/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/dsp"
	"vibe/sensor"
)

// watched is a screen on a lathe that shakes a little at 600 rpm and may go to 700.
func watched(t *testing.T) (*screen, *assess.Adviser) {
	a := &assess.Adviser{Lathe: assess.Lathe{Low: 200, High: 3000},
		Blank: assess.Blank{Diameter: 200, Length: 100, Held: assess.Faceplate}, Task: assess.Roughing}
	s := live.New("a board", a)
	t.Cleanup(s.End)
	s.Block(block(10))
	s.See(reading(10, 600, 2.4), assess.Advice{Action: assess.Raise, Speed: 700, Say: "Raise to 700 rpm: 2.4 mm/s, lively."})
	return newScreen(s, nil), a
}

func block(t float64) sensor.Block { return sensor.Block{T: []float64{t}, Axes: [][]float64{{0}}} }

func reading(t float64, n assess.RPM, shake float64) assess.Reading {
	return assess.Reading{T: t, OK: true, Speed: n, Shake: shake, Feel: assess.FeelOf(shake)}
}

var escapes = regexp.MustCompile("\x1b\\[[0-9;]*m")

// shown is what a reader sees, without colours.
func shown(m *screen) string { return escapes.ReplaceAllString(strings.Join(m.rows(), "\n"), "") }

// press types keys as the terminal sends them.
func press(m *screen, keys ...string) {
	special := map[string]rune{"enter": tea.KeyEnter, "esc": tea.KeyEscape, "backspace": tea.KeyBackspace}
	for _, k := range keys {
		if code, ok := special[k]; ok {
			m.Update(tea.KeyPressMsg{Code: code})
			continue
		}
		for _, r := range k {
			m.Update(tea.KeyPressMsg{Code: r, Text: string(r)})
		}
	}
}

// Whatever the size and whatever is open, the screen fits, and says what matters: without
// colour too.
func TestScreenFits(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	for _, size := range [][2]int{{1, 1}, {20, 4}, {40, 12}, {79, 24}, {80, 23}, {80, 24}, {120, 40}, {109, 34}, {110, 33}, {300, 90}} {
		for _, open := range []string{"", "d", "t", "s", "?"} {
			m.prompt, m.help = nil, false
			m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			press(m, open)
			lines := strings.Split(shown(m), "\n")
			assert.LessOrEqual(t, len(lines), size[1], "%v %q", size, open)
			for _, l := range lines {
				assert.LessOrEqual(t, lipgloss.Width(l), size[0], "%v %q: %q", size, open, l)
			}
			if size[0] < 40 || size[1] < 12 {
				continue
			}
			text := oneLine(shown(m))
			assert.Contains(t, text, assess.Cautions()[1], "%v %q: a caution stays", size, open)
			if open == "?" {
				assert.Contains(t, text, "RAISE to 700 rpm", "%v", size)
				assert.Contains(t, text, "c this is comfortable", "%v", size)
				assert.Contains(t, text, "Any key goes back.", "%v", size)
			} else {
				assert.Contains(t, text, "LIVELY", "%v %q", size, open)
			}
		}
	}
}

// A long note is shown whole, on two rows, and the screen still fits.
func TestScreenLongNote(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	b := block(10.5)
	b.Notes = []string{"/dev/ttyUSB0: what comes is no samples: does the board run a program that sends x,y,z lines, and at which baud rate?"}
	m.session.Block(b)
	m.Update(news{})
	for _, width := range []int{79, 80} {
		m.width = width
		assert.Contains(t, oneLine(shown(m)), b.Notes[0])
	}
	lines := strings.Split(shown(m), "\n")
	assert.Len(t, lines, m.height)
	for _, l := range lines {
		assert.LessOrEqual(t, lipgloss.Width(l), m.width, l)
	}
}

// What a source calls itself, and says, steers no terminal.
func TestScreenHarmless(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	b := block(10.5)
	b.Notes = []string{"a board\a \x1b[2J\x1b]8;;http://elsewhere\x1b\\called\x1b]8;;\x1b\\ one"}
	m.session.Block(b)
	m.Update(news{})
	text := escapes.ReplaceAllString(m.View().Content, "")
	assert.Contains(t, text, "a board ")
	assert.NotContains(t, text, "\x1b")
	assert.NotContains(t, text, "\a")
}

// The words can be read from two metres: at 80 by 24 a digit of the speed is five rows high.
func TestScreenDigits(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	text := shown(m)
	for _, row := range big("600", 2) {
		assert.Contains(t, text, strings.TrimRight(row, " "))
	}
	for _, row := range big("RAISE 700", 1) {
		assert.Contains(t, text, strings.TrimRight(row, " "))
	}
}

// Every action can be written large.
func TestScreenActions(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	for _, a := range []assess.Action{assess.Wait, assess.Hold, assess.Raise, assess.Lower, assess.Stop} {
		m.now.Advice = assess.Advice{Action: a, Say: "x"}
		assert.NotPanics(t, func() { shown(m) }, a)
	}
}

// Old numbers are not shown, nor is an old advice to go faster.
func TestScreenStale(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		m, _ := watched(t)
		assert.Contains(t, shown(m), "Raise to 700 rpm")
		time.Sleep(2 * time.Second)
		synctest.Wait()
		m.Update(news{})
		for _, size := range [][2]int{{80, 24}, {60, 10}} {
			m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			text := shown(m)
			assert.Contains(t, text, "no data")
			assert.NotContains(t, text, "aise to")
			assert.NotContains(t, text, "2.4")
			assert.NotContains(t, text, big("600", 2)[0])
		}
		m.session.End() // within the bubble
	})
}

// What is not sure is not written large.
func TestScreenUnsure(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	r := reading(10.2, 1488, 5)
	r.OK = false
	m.session.See(r, assess.Advice{Action: assess.Wait, Say: "Wait: no."})
	m.Update(news{})
	text := shown(m)
	assert.NotContains(t, text, big("1488", 2)[0])
	assert.Contains(t, text, "perhaps 1488")
	assert.NotContains(t, text, "ROUGH")
}

// The keys that say what changed.
func TestScreenKeys(t *testing.T) {
	t.Parallel()
	m, a := watched(t)
	press(m, "d", "14", "enter")
	require.NotNil(t, m.prompt, "14 of what?")
	assert.Contains(t, shown(m), "has no unit")
	press(m, "0mmm", "backspace", "enter")
	assert.Nil(t, m.prompt)
	assert.Contains(t, shown(m), "diameter: 140 mm")

	press(m, "t", "0")
	require.NotNil(t, m.prompt)
	press(m, "4")
	m.session.Block(block(10.1))
	assert.Equal(t, assess.MM(140), a.Blank.Diameter)
	assert.Equal(t, assess.Tasks()[3], a.Task)

	press(m, "d", "900mm", "esc")
	assert.Equal(t, assess.MM(140), m.session.Now().Blank.Diameter)

	press(m, "x", "c", "m")
	marks := m.session.Now().Marks
	require.Len(t, marks, 3)
	assert.Equal(t, []live.Kind{live.TooMuch, live.Comfortable, live.Plain}, []live.Kind{marks[0].Kind, marks[1].Kind, marks[2].Kind})
}

// What is pasted is an answer as a whole or not at all: half a number is another one.
func TestScreenPaste(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	press(m, "d")
	for _, text := range []string{strings.Repeat("1", 1e5), "140\nmm", "0000000000000000140 mm", "\x1b[2J"} {
		m.Update(tea.PasteMsg{Content: text})
		assert.Empty(t, m.prompt.text)
		assert.Contains(t, shown(m), "not taken: one number, up to 20 characters")
	}
	m.Update(tea.PasteMsg{Content: " 140 m\n"})
	press(m, strings.Repeat("m", 30))
	assert.Equal(t, "140 "+strings.Repeat("m", 16), m.prompt.text)
	assert.Contains(t, shown(m), "not taken")
	press(m, "backspace")
	assert.NotContains(t, shown(m), "not taken")
}

// The dial: asked for until it is told, then compared with the next sure reading.
func TestScreenDial(t *testing.T) {
	t.Parallel()
	m, a := watched(t)
	assert.Contains(t, shown(m), "what does the dial show?")
	for shows, want := range map[string]string{"1200": "no raise", "620": "agree"} {
		press(m, "s", shows, "enter")
		assert.Contains(t, shown(m), "the dial shows "+shows+" rpm: the next sure reading is compared with it")
		m.session.See(reading(10.3, 600, 2.4), assess.Advice{Action: assess.Hold, Speed: 600, Say: "Hold."})
		m.Update(news{})
		assert.Contains(t, shown(m), want)
		assert.Equal(t, want == "agree", a.Checked)
	}
}

// The bell: once for lower, again and again for stop, never while muted.
func TestScreenBell(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	at := 10.0
	heard := func(n int, a assess.Action) (rung int) {
		for range n {
			at += 0.25
			m.session.Block(block(at))
			m.session.See(reading(at, 600, 9), assess.Advice{Action: a, Say: "x"})
			before := m.now.Clock
			m.now = m.session.Now()
			if m.ring(m.now.Clock != before) != nil {
				rung++
			}
		}
		return rung
	}
	assert.Zero(t, heard(10, assess.Hold))
	assert.Equal(t, 1, heard(20, assess.Lower))
	assert.Equal(t, 3, heard(8, assess.Stop))
	assert.Equal(t, 6, heard(16, assess.Stop))
	press(m, "b")
	assert.Zero(t, heard(16, assess.Stop))
}

// The simulated lathe's dial: keys take it and give it back.
func TestScreenTakesDial(t *testing.T) {
	t.Parallel()
	lathe := playLathe()
	m, _ := watched(t)
	m.dial = newDial(lathe, assess.Lathe{Low: 200, High: 3000}, 245)
	assert.Contains(t, shown(m), "dial: 245 rpm, follows the advice")
	press(m, "++-")
	assert.Contains(t, shown(m), "dial: 265 rpm, yours")
	press(m, strings.Repeat("-", 10))
	assert.Contains(t, shown(m), "dial: off, yours")
	press(m, "f")
	assert.Contains(t, shown(m), "dial: 200 rpm, follows the advice")
}

// That a session is not kept stays on the screen, whatever is done, until it is kept again.
func TestScreenUnkept(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	m.session.Unkept("the disk is full", "make room")
	m.Update(news{})
	for _, size := range [][2]int{{80, 24}, {60, 12}} {
		m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		press(m, "c")
		assert.Contains(t, shown(m), "NOT KEPT: the disk is full")
	}
	m.session.Unkept("", "kept again")
	m.Update(news{})
	assert.NotContains(t, shown(m), "NOT KEPT")
}

// Every caution is shown to its last word, on a screen of 80 columns too: half of one says
// something else.
func TestScreenCautions(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	for i, caution := range assess.Cautions() {
		m.now.Clock = 10 * float64(i)
		lines := strings.Split(shown(m), "\n")
		assert.Contains(t, oneLine(shown(m)), "! "+caution)
		assert.Len(t, lines, m.height)
	}
}

// The answer to a key gives way to what the source has to say after it.
func TestScreenAnswerGivesWay(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	press(m, "m")
	assert.Contains(t, shown(m), "marked: 600 rpm, 2.4 mm/s")
	b := block(10.5)
	b.Notes = []string{"the board is gone"}
	m.session.Block(b)
	m.Update(news{})
	assert.Contains(t, shown(m), "the board is gone")
	assert.NotContains(t, shown(m), "marked")
	press(m, "c")
	assert.Contains(t, shown(m), "marked comfortable: 600 rpm, 2.4 mm/s")
}

// A lathe to play with that turns too slowly to be felt says how to go on.
func TestScreenPlayGoesOn(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	m.dial = newDial(playLathe(), assess.Lathe{Low: 200, High: 3000}, 200)
	r := reading(10.2, 200, 0.01)
	r.OK, r.Faults = false, []dsp.Fault{dsp.Weak}
	wait := assess.Advice{Action: assess.Wait, Say: "Wait: it is weak."}
	lower := assess.Advice{Action: assess.Lower, Speed: 200, Say: "Lower to 200 rpm, if it is not there yet: it is weak."}
	for _, c := range []struct {
		waits float64 // s
		on    assess.Advice
		says  string
	}{{5, wait, "dial: 200 rpm, follows the advice"}, {10, lower, "nothing sure is felt at it; ↑ turns it up"}, {10, wait, "nothing sure is felt at it; ↑ turns it up"}} {
		m.dial.follow(true)
		m.dial.hear(m.now.Clock-c.waits, c.on)
		m.session.See(r, c.on)
		m.Update(news{})
		assert.Contains(t, shown(m), c.says)
	}
	m.dial.turn(-1)
	m.dial.turn(1)
	assert.Contains(t, shown(m), "nothing sure is felt at it; ↑ turns it up", "whoever's hand it is")
}

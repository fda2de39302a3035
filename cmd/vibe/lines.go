package main

import (
	"fmt"
	"io"
	"strings"
	"sync"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// lines shows a session as text where there is no terminal to draw on: for a person one line
// whenever something changed, for a program one JSON object a reading.
type lines struct {
	session *live.Session
	asJSON  bool
	bell    io.Writer // a terminal to ring, or nil

	mu       sync.Mutex
	out, msg io.Writer
	last     string  // what was said last, without its digits
	lastAt   float64 // s
	rings    int
}

// repeatAfter is when the same is said again, s (chosen).
const repeatAfter = 5.0

// begin says what a person must know before the first line.
func (l *lines) begin() {
	if l.asJSON {
		return
	}
	p := newPage(l.out)
	p.line("Watching %s. Ctrl-C ends it.", l.session.Now().Source)
	p.cautions(assess.Cautions())
	p.wrap("  - ", "The words' edges are starting values: "+assess.EdgesSource+".")
	p.line("\n%s", watchHead)
	l.write(l.out, p.text.String())
}

const watchHead = "    time         rpm    shake mm/s   feel       advice"

// see writes a reading, if it has news.
func (l *lines) see(r assess.Reading, a assess.Advice) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.rings = ringsAfter(l.rings, a.Action); l.bell != nil && rings(l.rings) {
		fmt.Fprint(l.bell, "\a")
	}
	if l.asJSON {
		return writeJSON(l.out, told{&r, a})
	}
	now := r.T + r.Span/2
	news := fmt.Sprint(a.Action, a.Speed, r.OK, r.Feel)
	if news == l.last && now-l.lastAt < repeatAfter {
		return nil
	}
	l.last, l.lastAt = news, now
	_, err := fmt.Fprintf(l.out, "%8s  %10s  %12s   %-8s   %s\n", clock(now), speedText(r), shakeText(r), feelText(r), shout(a))
	return err
}

// told is one line of JSON. Reading is nil where the sensor fell silent.
type told struct {
	Reading *assess.Reading `json:"reading"`
	Advice  assess.Advice   `json:"advice"`
}

// note writes what the source has to say.
func (l *lines) note(text string) {
	to := l.out
	if l.asJSON {
		to = l.msg
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.last = "" // the next reading is news
	l.write(to, "note: "+text+"\n")
}

// silent tells a program that the advice is not of a reading any more.
func (l *lines) silent(a assess.Advice) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.asJSON {
		_ = writeJSON(l.out, told{nil, a}) // the next reading finds out whether out still works
	}
}

// write is for what may be lost: the next reading finds out whether out still works.
func (l *lines) write(to io.Writer, text string) { _ = writeHarmless(to, "%s", text) }

// tellSilence says when data stop and when they come again, until the session ends.
func (l *lines) tellSilence() {
	silent := false
	for {
		changed, now := l.session.Changed(), l.session.Now()
		switch {
		case now.Ended:
			return
		case now.Stale && !silent:
			l.note(strings.TrimPrefix(now.Advice.Reasons[0].Text, "Wait: ") + ": what was said before is old")
			l.silent(now.Advice)
		case !now.Stale && silent:
			l.note("data again")
		}
		silent = now.Stale
		<-changed
	}
}

// speedText, shakeText and feelText are a reading in words of the same form everywhere: a
// dash is not known, a question mark not to be relied on.
func speedText(r assess.Reading) string {
	switch {
	case r.Speed == 0:
		return "–"
	case !r.OK:
		return fmt.Sprintf("%.0f?", float64(r.Speed))
	}
	return fmt.Sprintf("%.0f", float64(r.Speed))
}

func shakeText(r assess.Reading) string {
	if !r.OK {
		return "–"
	}
	return strings.TrimSuffix(assess.ShakeText(r.Shake), " mm/s")
}

func feelText(r assess.Reading) string {
	if !r.OK {
		return "–"
	}
	return string(r.Feel)
}

// shout is what an advice says, its action in capitals.
func shout(a assess.Advice) string {
	first, rest, _ := strings.Cut(a.Say, " ")
	return strings.ToUpper(first) + " " + rest
}

// The bell: one ring when the advice becomes to lower, and three and a pause, over and over,
// as long as it is to stop. It is counted in readings, four a second.

// ringsAfter counts the readings since the action became one to ring for; 0 is none such.
// Lower and stop count apart, so that the one becoming the other rings at once.
func ringsAfter(n int, a assess.Action) int {
	switch {
	case a == assess.Stop && n > 0:
		return n + 1
	case a == assess.Stop:
		return 1
	case a == assess.Lower && n < 0:
		return n - 1
	case a == assess.Lower:
		return -1
	}
	return 0
}

// rings reports whether the bell rings at count n.
func rings(n int) bool { return n == -1 || n > 0 && n%8 >= 1 && n%8 <= 3 }

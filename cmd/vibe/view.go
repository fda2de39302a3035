package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"path/filepath"
	"strings"
	"syscall"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
)

// openPanel opens the server of the page: that of the phone, if there is one, or one on this computer alone, or
// for the shop's network.
func (w *watching) openPanel() (*panel.Server, error) {
	switch {
	case w.phone != nil:
		return w.phone.server, nil
	case !w.lan:
		return panel.OpenHere()
	}
	return openNetwork(w.at, w.entered.put)
}

// openNetwork opens a server for the shop's network, at the address that is named or at all that are found.
func openNetwork(at string, entered func(error)) (*panel.Server, error) {
	addresses, err := addressesFor(at)
	if err != nil {
		return nil, err
	}
	passes, err := dataFile("passes.json")
	if err != nil {
		return nil, err
	}
	server, err := panel.Open(filepath.Dir(passes), addresses, entered)
	switch {
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, hintf("leave --address out to have one found", "%s is no address of this computer", addresses[0].Addr())
	case err != nil:
		return nil, hintf("name another port, such as --address "+netip.AddrPortFrom(addresses[0].Addr(), 8444).String(), "%w", err)
	}
	return server, nil
}

// panelNotes say how a browser gets to the page.
func (w *watching) panelNotes() []string {
	links := w.panel.Links("/")
	if w.here() {
		return []string{"the page at the lathe, for a browser on this computer: " + links[0]}
	}
	return append([]string{"the page at the lathe; its link lets in one device, once, which then comes back by itself for a month; the browser warns of this computer's own certificate: for this address, go on"}, links...)
}

// here reports whether the page is for this computer alone.
func (w *watching) here() bool { return w.phone == nil && !w.lan }

// link is how the next device comes in, where one asks for a code.
func (w *watching) link() string {
	if w.phone != nil {
		return w.phone.server.Links(phonePath)[0]
	}
	return w.panel.Links("/")[0]
}

// pageNote says on the screen where the page is.
func (w *watching) pageNote() string {
	if w.here() {
		return "the page is at " + w.panel.Links("/")[0] + " for a browser on this computer; p shows it again"
	}
	return "the page at the lathe: p shows the link that lets a tablet or phone in"
}

// inviting is how the next device comes in: the phone that is the sensor, or one that looks.
func (w *watching) inviting() func(width, height int) []string {
	if w.phone != nil || w.panel == nil {
		return w.phone.inviting()
	}
	return func(width, height int) []string {
		links := w.panel.Links("/")
		if !w.here() {
			return invitation(links, width, height)
		}
		return []string{"Open this in a browser on this computer:", links[0]} // no phone finds this address
	}
}

// entries are devices that were let in; each made the link before it an old one.
type entries chan error

// put never waits: who missed a link is told the newest.
func (e entries) put(kept error) {
	select {
	case e <- kept:
	default:
	}
}

// tell notes the next link whenever one was used, until done is closed: where there is no screen, that is the
// only way to it.
func (e entries) tell(done <-chan struct{}, link func() string, note func(string)) {
	for {
		select {
		case <-done:
			return
		case kept := <-e:
			if kept != nil {
				note("this device needs a new link when vibe is started anew: " + kept.Error())
			}
			note("a device came in by the link; another one by " + link())
		}
	}
}

// viewed is a session as the page has it.
type viewed struct {
	session *live.Session
	balance *balanceView
}

// viewOf is the page's view of a session on a lathe; play, with the blank to play with.
func viewOf(s *live.Session, l assess.Lathe, play bool) viewed {
	return viewed{s, &balanceView{session: s, lathe: l, play: play}}
}

// page serves the page, and what it asks for only while somebody looks at that.
func (v viewed) page() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", panel.View(v))
	mux.Handle("GET /spectrum", &spectrumView{session: v.session})
	mux.HandleFunc("GET /sound", v.sound)
	mux.HandleFunc("GET /balance", func(w http.ResponseWriter, _ *http.Request) {
		doc, err := v.balance.show()
		sendJSON(w, doc, err)
	})
	return mux
}

// sendJSON answers with doc, or in words why there is none.
func sendJSON(w http.ResponseWriter, doc any, err error) {
	w.Header().Set("Content-Type", "application/json")
	if err != nil {
		w.WriteHeader(http.StatusInternalServerError)
		doc = map[string]string{"error": hinting(err).Error()}
	}
	_ = json.NewEncoder(w).Encode(doc) // who went away hears nothing
}

// hinting is err with what to try, where it knows that.
func hinting(err error) error {
	var h interface{ Hint() string }
	if errors.As(err, &h) && h.Hint() != "" {
		return fmt.Errorf("%w. %s", err, h.Hint())
	}
	return err
}

// Changed implements panel.Shown.
func (v viewed) Changed() <-chan struct{} { return v.session.Changed() }

// Show implements panel.Shown, in the words of the screen.
func (v viewed) Show() ([]byte, error) {
	n := v.session.Now()
	words := shownOn(n)
	doc := struct {
		Clock    float64           `json:"clock_s"`
		Stale    bool              `json:"stale"`
		Ended    bool              `json:"ended"`
		Shows    map[string]string `json:"shows"`
		Advice   assess.Advice     `json:"advice"`
		Map      []assess.MapPoint `json:"map"`
		Past     [][2]*float64     `json:"past"`
		Edges    any               `json:"edges_mm_s"`
		Task     assess.Task       `json:"task"`
		Tasks    []assess.Task     `json:"tasks"`
		Diameter string            `json:"diameter"`
		Notes    []string          `json:"notes"`
		Marks    []shownMark       `json:"marks"`
		Balance  progress          `json:"balance"`
		Play     bool              `json:"play"`
	}{
		Clock: n.Clock, Stale: n.Stale, Ended: n.Ended, Advice: n.Advice, Map: n.Map, Task: n.Task, Tasks: assess.Tasks(), Notes: append([]string{}, n.Notes...),
		Shows: map[string]string{"speed": words.Speed, "shake": words.Shake, "feel": words.Feel, "say": words.Say,
			"action": strings.ToUpper(words.Action), "target": words.Target, "caution": words.Caution},
		Past: [][2]*float64{}, Marks: marksOf(n), Balance: v.balance.progress(), Play: v.balance.play,
	}
	doc.Edges = assess.DefaultEdges
	if n.Blank.Diameter > 0 {
		doc.Diameter = n.Blank.Said(n.Blank.Diameter)
	}
	for _, m := range n.Past {
		p := [2]*float64{&m.T, nil}
		if m.Shake > 0 {
			p[1] = &m.Shake
		}
		doc.Past = append(doc.Past, p)
	}
	return json.Marshal(doc)
}

// shownMark is a mark in words, and whether it can be heard.
type shownMark struct {
	Says  string `json:"says"`
	Heard bool   `json:"heard"`
}

func marksOf(n live.Snapshot) []shownMark {
	out := []shownMark{}
	for _, m := range n.Marks {
		says := fmt.Sprintf("%s %s", clock(m.T), m.Kind)
		if m.Speed > 0 {
			says += fmt.Sprintf(": %v, %s", m.Speed, assess.ShakeText(m.Shake))
		}
		out = append(out, shownMark{says, m.Heard != nil})
	}
	return out
}

// Say implements panel.Shown.
func (v viewed) Say(s panel.Said) (string, error) {
	said, err := v.hear(s)
	if err != nil {
		return "", hinting(err)
	}
	return said, nil
}

func (v viewed) hear(s panel.Said) (string, error) {
	n := v.session.Now()
	blank, task := n.Blank, n.Task
	things := 0
	for _, thing := range []string{s.Diameter, s.Task, s.Dial, s.Balance, s.Mark} {
		if thing != "" {
			things++
		}
	}
	switch {
	case things > 1:
		return "", hintf("say one after the other", "more than one thing was said at once, and none was taken")
	case s.Diameter != "":
		d, err := lengthKind.parse(s.Diameter)
		if err != nil {
			return "", err
		}
		blank.Diameter, blank.Inches = assess.MM(d), inInches(s.Diameter)
		return "diameter: " + blank.Said(blank.Diameter), v.session.Tell(blank, task)
	case s.Task != "":
		return "task: " + s.Task, v.session.Tell(blank, assess.Task(s.Task))
	case s.Dial != "":
		d, err := speedKind.parse(s.Dial)
		if err != nil {
			return "", err
		}
		v.session.Dial(assess.RPM(d))
		return fmt.Sprintf("the dial shows %v", assess.RPM(d)), nil
	case s.Balance != "":
		return v.balance.say(s)
	}
	switch k := live.Kind(s.Mark); k {
	case live.Comfortable, live.TooMuch, live.Plain:
		return pointOut(v.session, k), nil
	}
	return "", fmt.Errorf("nothing said: a diameter, a task, a mark or what the dial shows")
}

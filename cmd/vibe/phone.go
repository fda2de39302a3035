package main

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"charm.land/lipgloss/v2"
	"rsc.io/qr"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
	"vibe/sensor/phone"
)

// aPhone is the word for a phone as the sensor.
const aPhone = "phone"

// phonePath is where the phone's page is.
const phonePath = "/phone/"

// paired is a phone as the sensor, with the server that it comes to.
type paired struct {
	src    *phone.Source
	server *panel.Server
}

// openPhone opens the server at an address of this machine, or at the one that was named.
func openPhone(at string, entered func(error)) (*paired, error) {
	server, err := openNetwork(at, entered)
	if err != nil {
		return nil, err
	}
	p := &paired{src: phone.Open(), server: server}
	p.server.Handle(phonePath, http.StripPrefix("/phone", p.src.Handler()))
	return p, nil
}

// addressesFor are those of the shop's network, or the one that was named: an IP address, with
// or without a port.
func addressesFor(named string) ([]netip.AddrPort, error) {
	if named == "" {
		all, err := panel.Addresses()
		if errors.Is(err, panel.ErrNoNetwork) {
			err = hintf("join the wireless network that the phone is in; --address names an address of this computer to use all the same", "%w", err)
		}
		return all, err
	}
	at, err := netip.ParseAddrPort(named)
	if err != nil {
		var ip netip.Addr
		ip, err = netip.ParseAddr(named)
		at = netip.AddrPortFrom(ip, 0)
	}
	if err != nil || at.Addr().IsUnspecified() {
		return nil, usage{hintf("as in --address 192.168.1.20, one of this computer's own", "%q is no IP address to come to", named)}
	}
	return []netip.AddrPort{at}, nil
}

// serve keeps the phone's page told of the session. What is returned ends the server, after
// the session.
func (p *paired) serve(s *live.Session) (end func()) {
	if p == nil {
		return func() {}
	}
	told := make(chan struct{})
	go func() {
		defer close(told)
		p.show(s)
	}()
	return func() {
		<-told
		p.src.Close()
		p.server.Close() // nothing more is to come of it
	}
}

// inviting is invitation, nil where there is no phone.
func (p *paired) inviting() func(width, height int) []string {
	if p == nil {
		return nil
	}
	return p.invitation
}

// invitation says how the next phone comes in, a line each: the code to be read by its camera
// first, if there is room for it, and what does not fit last.
func (p *paired) invitation(width, height int) []string {
	return invitation(p.server.Links(phonePath), width, height)
}

func invitation(links []string, width, height int) []string {
	words := []string{"Point the phone's camera at the code; the link lets in one phone, once.",
		"Its browser warns of this computer's own certificate: for this address, go on.", links[0]}
	for _, l := range links[1:] {
		words = append(words, "or, in another network of this computer: "+l)
	}
	if code, err := qr.Encode(links[0], qr.L); err == nil && width >= code.Size+2*margin {
		if drawn := halfBlocks(code); len(drawn)+3 <= height {
			return append(drawn, words[:min(len(words), height-len(drawn))]...)
		}
	}
	words[0] = "Open this link on the phone; it lets in one, once."
	if height > 0 {
		words[0] += " A window of 80 by 24 shows it as a code for the camera."
	}
	return words
}

// margin is the quiet zone round a code, modules: phones read it with less than the four of
// ISO/IEC 18004 on a screen (tried), and a terminal of 24 rows has no room for four.
const margin = 2

// halfBlocks draws a code, two modules a character, black on white whatever the terminal's
// colours are.
func halfBlocks(code *qr.Code) []string {
	blackOnWhite := lipgloss.NewStyle().Foreground(lipgloss.Color("0")).Background(lipgloss.Color("15"))
	var lines []string
	for y := -margin; y < code.Size+margin; y += 2 {
		var b strings.Builder
		for x := -margin; x < code.Size+margin; x++ {
			below := y+1 < code.Size+margin && code.Black(x, y+1)
			b.WriteString(map[[2]bool]string{{true, true}: "█", {true, false}: "▀", {false, true}: "▄", {false, false}: " "}[[2]bool{code.Black(x, y), below}])
		}
		lines = append(lines, blackOnWhite.Render(b.String()))
	}
	return lines
}

// invite prints the invitation where there is no screen to show it on.
func (p *paired) invite(out io.Writer) {
	if p == nil {
		return
	}
	height := 0 // no code for a file
	if terminal(out) != nil {
		height = 100
	}
	for _, l := range p.invitation(100, height) {
		fmt.Fprintln(out, l)
	}
}

// phoneNotes is what a turner must know before a phone is the sensor.
func phoneNotes(speed assess.RPM) []string {
	note := "a phone feels about 60 times a second: without the dial's speed it sees 1800 rpm at most, and often cannot be sure below that; say --speed, and press s after each change"
	if speed > 0 {
		note = fmt.Sprintf("a phone feels about 60 times a second: near the dial's %v it is looked for; press s and say the new speed after each change", speed)
	}
	return []string{note}
}

// show keeps the phone's page told of the session until that ends.
func (p *paired) show(s *live.Session) {
	again := time.NewTicker(time.Second) // what holds is said again before it counts as old
	defer again.Stop()
	for {
		changed, now := s.Changed(), s.Now()
		if now.Ended {
			return
		}
		p.src.Show(shownOn(now))
		select {
		case <-changed:
		case <-again.C:
		}
	}
}

// reasonsShown is how many reasons a phone has room for.
const reasonsShown = 3

// shownOn is the session in the words of the screen.
func shownOn(n live.Snapshot) phone.Shown {
	cautions := assess.Cautions()
	s := phone.Shown{Action: string(n.Advice.Action), Say: n.Advice.Say, Reasons: []string{},
		Speed: "–", Shake: "–", Feel: "no data", Caution: cautions[int(n.Clock/10)%len(cautions)]}
	switch r := n.Reading; {
	case n.Stale:
	case r.OK:
		s.Speed, s.Shake, s.Feel = speedText(r), shakeText(r), feelText(r)
	default: // what is not sure is not shown large
		s.Feel = "no number"
	}
	if a := n.Advice; a.Speed > 0 && a.Action != assess.Hold {
		s.Target = fmt.Sprintf("%.0f", float64(a.Speed))
	}
	for _, r := range n.Advice.Reasons[:min(len(n.Advice.Reasons), reasonsShown)] {
		s.Reasons = append(s.Reasons, r.Text)
	}
	return s
}

package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
	"vibe/dsp"
)

// balanceView is the guided balancing as the page has it: the very file that vibe balance goes on with, and a run
// that is being taken from the readings of the session. It may be used from any goroutine.
type balanceView struct {
	session *live.Session
	lathe   assess.Lathe
	play    bool // each run is one of the blank to play with, and there at once

	mu    sync.Mutex
	run   *gathering    // under way, or nil
	of    *balanceState // what it is a run of
	mass  assess.Mass   // what is on the blank meanwhile
	most  assess.RPM    // how fast that may turn
	on    bool          // the mass may still be on a blank that turns: until it stands after the run
	said  string        // what came of the last step
	steps int           // how many there were: the page asks again after each
}

// see takes a reading of the session. A run that turns faster than is safe ends at once, as with a
// stop. A nil view sees nothing.
func (v *balanceView) see(r assess.Reading, a assess.Advice) {
	if v == nil {
		return
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	switch {
	case v.run == nil:
	case r.OK && tooFast(r.Speed, v.most):
		v.end("", hintf(fmt.Sprintf("make it again at %.0f rpm", v.of.Speed), "switch off: this turns at %v, above the %v that are safe for this run; it was not kept", r.Speed, v.most))
	case v.run.add(r, a):
		err := v.run.stop
		if err == nil {
			err = v.of.keep(v.run.readings, v.mass, 0)
		}
		v.end("the run is kept: switch off, plug pulled", err)
	}
}

// temper is the advice while a run is taken, and until the lathe stands after it: a mass is on the blank then, of
// which the ceilings know nothing, and so there is no faster, nor a hint at it. A nil view changes nothing.
func (v *balanceView) temper(r assess.Reading, a assess.Advice) assess.Advice {
	if v == nil {
		return a
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.run == nil && r.Has(dsp.NoTurn) {
		v.on = false
	}
	if !v.on || a.Action != assess.Raise && a.Action != assess.Hold {
		return a
	}
	a.Action, a.Speed, a.Say = assess.Hold, assess.RPM(v.of.Speed), fmt.Sprintf("Hold %.0f rpm: a run of the balancing.", v.of.Speed)
	if v.run == nil {
		a.Action, a.Speed, a.Say = assess.Wait, 0, "Wait: switch off, the run of the balancing is over."
	}
	a.Reasons = []assess.Reason{{Code: "balancing", Text: "no faster, and no tool, while a trial mass may be on the blank", Source: "common practice, no source"}}
	return a
}

// end closes a step with what is to be said of it. The lock is held.
func (v *balanceView) end(said string, err error) {
	if err != nil {
		said = err.Error() + ". " + hintOf(err)
	}
	v.run, v.said = nil, said
	v.steps++
}

// progress is what changes while the page looks.
type progress struct {
	Steps  int    `json:"steps"`
	Said   string `json:"said"`
	Taking string `json:"taking"` // of the run under way, "" where there is none
}

func (v *balanceView) progress() progress {
	v.mu.Lock()
	defer v.mu.Unlock()
	p := progress{Steps: v.steps, Said: v.said}
	if v.run != nil {
		p.Taking = fmt.Sprintf("%.0f of %.0f s of steady turning", v.run.seconds(), assess.RunEnough)
	}
	return p
}

// say takes a step that the page asks for.
func (v *balanceView) say(s panel.Said) (string, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.run != nil && s.Balance != "leave" {
		return "", hintf("leave it first, or wait until it is kept", "a run is being taken")
	}
	said, err := "", error(nil)
	switch s.Balance {
	case "begin":
		said, err = "begun: the first run is the blank as it is", v.begin(s)
	case "take":
		said, err = v.take()
	case "leave":
		said = "the run was left; what was kept before is still there"
		v.run = nil
	case "again":
		said, err = "the newest run is forgotten", forgetRun()
	default:
		return "", fmt.Errorf("%q is no step of a balancing", s.Balance)
	}
	if err == nil {
		v.said = said
		v.steps++
	}
	return said, err
}

// begin starts a balancing of the session's blank, in the place of an older one.
func (v *balanceView) begin(s panel.Said) error {
	n := v.session.Now()
	b := &balancing{job: job{lathe: v.lathe, blank: n.Blank, task: n.Task}, fastened: assess.Fastening(s.Fastened)}
	if err := b.fastened.Validate(); err != nil {
		return hintf("it is screwed or taped", "%w", err)
	}
	if v.play {
		b.play()
	} else {
		radius, err := lengthKind.parse(s.Radius)
		if err != nil {
			return hintf("measure from the axis to where the middle of the mass will be, as in 90mm", "where the mass will be: %w", err)
		}
		b.radius = assess.MM(radius)
		if b.trial, err = massKind.parse(s.Trial); err != nil {
			return hintf("weigh a screw, a washer or a nut, and say it as in 20g", "the mass that is put on: %w", err)
		}
	}
	old, err := loadBalance()
	if err != nil {
		old = nil // it is replaced
	}
	_, err = b.begin(old)
	return err
}

// take begins a run of the balancing under way. The one of the blank to play with is there at once.
func (v *balanceView) take() (string, error) {
	s, err := loadBalance()
	if err != nil {
		return "", err
	}
	if s == nil {
		return "", hintf("begin one first", "no balancing is under way")
	}
	if err := s.playing(v.play); err != nil {
		return "", err
	}
	mass, _, err := s.next()
	if err != nil {
		return "", err
	}
	if v.play {
		readings, err := s.live(context.Background(), s.input(s.simulated(mass)), io.Discard)
		if err != nil {
			return "", err
		}
		return "the simulated run is kept", s.keep(readings, mass, 0)
	}
	if what := s.apart(v.session.Now().Blank, v.lathe); what != "" {
		return "", hintf("say the diameter as it is now, or begin another balancing", "this is no run of the balancing under way: %s", what)
	}
	t, err := s.trial()
	if err != nil {
		return "", err
	}
	v.run, v.of, v.mass, v.most, v.on = s.gather(), s, mass, t.Most, true
	return "taken from now on: hold the speed until it is kept", nil
}

func forgetRun() error {
	s, err := loadBalance()
	if err != nil {
		return err
	}
	if s == nil {
		return hintf("begin one first", "no balancing is under way")
	}
	return s.forget()
}

// onThePage is how a run gets from the lathe to vibe there.
var onThePage = handover{" Press Take this run, and hold the speed until it is kept.", "Switch off, plug pulled. What comes next is said here."}

// balanceDoc is the balancing under way. Lines is what vibe balance prints, a paragraph each.
type balanceDoc struct {
	Lines   []string      `json:"lines"`
	Picture *blankPicture `json:"picture"` // nil: none is under way
}

// blankPicture is the face of the blank as seen from the tailstock, angles clockwise in degrees from the mark.
type blankPicture struct {
	Made  []float64    `json:"made_deg"` // where the mass was in the runs so far
	Next  *place       `json:"next"`     // where it is to be in the next one, nil: nowhere
	Heavy []heavyPlace `json:"heavy"`    // the heavy side, or each that is possible
	Fix   *place       `json:"fix"`      // the mass that mends it, nil while that is not known
	Says  string       `json:"says"`     // the picture in words
}

type place struct {
	At   float64 `json:"deg"`
	What string  `json:"what"`
}

type heavyPlace struct {
	At     float64 `json:"deg"`
	Within float64 `json:"within_deg"`
}

// show is the balancing as it stands in its file.
func (v *balanceView) show() (balanceDoc, error) {
	s, err := loadBalance()
	if err != nil || s == nil {
		return balanceDoc{Lines: []string{"  No balancing is under way."}}, err
	}
	mass, heavy, err := s.next()
	if err != nil {
		return balanceDoc{}, err
	}
	t, err := s.trial()
	if err != nil {
		return balanceDoc{}, err
	}
	p := &page{width: 1 << 20} // the browser breaks lines
	p.balancing(s, mass, heavy, t, onThePage)
	return balanceDoc{strings.Split(strings.TrimSpace(p.text.String()), "\n"), pictureOf(s, mass, heavy)}, nil
}

func pictureOf(s *balanceState, mass assess.Mass, heavy assess.HeavySide) *blankPicture {
	b := &blankPicture{Made: []float64{}, Heavy: []heavyPlace{}, Says: "The blank seen from the tailstock, the pencil mark at the top."}
	for _, r := range s.Runs {
		if r.Mass > 0 {
			b.Made = append(b.Made, r.Angle)
		}
	}
	for _, a := range heavy.Answers {
		b.Heavy = append(b.Heavy, heavyPlace{a.Heavy, max(1, a.Within)})
		b.Says += fmt.Sprintf(" Heavy at %.0f°, within %.0f°.", a.Heavy, max(1, a.Within))
	}
	switch {
	case heavy.Known:
		b.Fix = &place{heavy.Fix.Angle, grams(heavy.Fix.Grams)}
		b.Says += fmt.Sprintf(" The light side, for %s, at %.0f°.", b.Fix.What, b.Fix.At)
	case mass.Grams > 0:
		b.Next = &place{mass.Angle, grams(mass.Grams)}
		b.Says += fmt.Sprintf(" Next: %s at %.0f°.", b.Next.What, b.Next.At)
	}
	return b
}

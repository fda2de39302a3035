package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/sensor"
	"vibe/sensor/serial"
)

// Another shake than in the last round, relative to it: less would be known already (chosen).
const (
	otherSpeed = 0.02
	otherShake = 0.15
)

// onBoard trains the hand at the lathe that a board on a serial port sits on.
func (t *training) onBoard(cmd *cobra.Command, port string, j job, opts sensor.Options, rounds int, keep func(assess.Guess) error) error {
	if t.sounds != "" {
		return usage{hintf("leave --sounds out", "--sounds goes with recordings: at the lathe it is the hand that feels")}
	}
	if err := j.check(); err != nil {
		return err
	}
	src, err := serial.Open(port, serial.Options{Unit: opts.Unit})
	if err != nil {
		return err
	}
	return t.live(cmd, src, j, cmp.Or(port, "the board on USB"), rounds, keep)
}

// live trains the hand at a lathe that turns now, on what src gives. An advice to stop ends
// the sitting: what is violent is learned from sounds, not at the lathe.
func (t *training) live(cmd *cobra.Command, src sensor.Source, j job, name string, rounds int, keep func(assess.Guess) error) error {
	w := &watching{in: input{src: src, name: name, job: j}, record: newRecord(name)}
	defer context.AfterFunc(cmd.Context(), func() { src.Close() })()
	adviser := w.in.adviser()
	w.session = live.New(name, adviser)
	p := newPage(t.out)
	p.wrap("", fmt.Sprintf("On %s. The flat hand on the headstock, away from belt, pulley and chuck; tool off the wood. Change the speed after each round.", name))
	p.cautions(assess.Cautions())
	if err := p.flush(t.out); err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() {
		said := assess.Wait
		show := func(_ assess.Reading, a assess.Advice) error {
			if a.Action == assess.Stop && said != a.Action { // not only when the question is answered
				fmt.Fprintf(cmd.ErrOrStderr(), "\a\n%s\n", shout(a))
			}
			said = a.Action
			return nil
		}
		ended <- w.loop(adviser, show, func(note string) { say(cmd.ErrOrStderr(), []string{note}) })
	}()
	err := t.rounds(w.session, rounds, keep)
	src.Close() // whose error the loop reports
	return cmp.Or(err, <-ended)
}

// rounds asks for what the hand feels until it was asked often enough, or there is an end.
func (t *training) rounds(s *live.Session, n int, keep func(assess.Guess) error) error {
	var before assess.Reading
	for i := 0; i < n; {
		if more, err := t.await(s, before); err != nil || !more {
			return err
		}
		fmt.Fprintf(t.out, "Round %d of %d: what does the hand feel, calm, lively, rough or violent? ", i+1, n)
		said, ended := t.answer()
		if ended {
			fmt.Fprintln(t.out)
			return nil
		}
		now := s.Now()
		if !now.Reading.OK || now.Stale {
			fmt.Fprintln(t.out, "  not counted: there is no sure number any more.")
			continue
		}
		if err := t.judge(now.Reading, said, keep); err != nil {
			return err
		}
		before, i = now.Reading, i+1
	}
	return nil
}

// await waits for a sure reading that is another than before; more is false at the end of
// the data.
func (t *training) await(s *live.Session, before assess.Reading) (more bool, err error) {
	told := ""
	for {
		changed, now := s.Changed(), s.Now()
		r, why := now.Reading, ""
		switch {
		case now.Advice.Action == assess.Stop:
			return false, errStop{what: "the sitting ends here", say: now.Advice.Say}
		case now.Ended:
			return false, nil
		case now.Stale || !r.OK:
			why = "Waiting for a sure number: hold one speed."
			if words := strings.TrimPrefix(now.Advice.Say, "Wait: "); now.Stale {
				why = "Waiting: " + words
			}
		case before.OK && near(float64(r.Speed), float64(before.Speed), otherSpeed) && near(r.Shake, before.Shake, otherShake):
			why = "Waiting for another speed: that one you know."
		default:
			return true, nil
		}
		if why != told {
			told = why
			fmt.Fprintln(t.out, why)
		}
		<-changed
	}
}

// near reports whether a and b are the same within a share.
func near(a, b, within float64) bool { return math.Abs(a-b) <= within*b }

// judge shows the number to the word, and hands it on.
func (t *training) judge(r assess.Reading, said assess.Feel, keep func(assess.Guess) error) error {
	right := assess.FeelOf(r.Shake)
	verdict := "yes"
	if said != right {
		verdict = "no"
	}
	fmt.Fprintf(t.out, "  %s: %s, %s\n", verdict, assess.ShakeText(r.Shake), right)
	return keep(assess.Guess{Shake: r.Shake, Said: said})
}

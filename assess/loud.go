package assess

import (
	"fmt"
	"slices"

	"vibe/dsp"
)

// violentInAll reports whether all vibration together is violent, whatever comes once per turn.
func violentInAll(r Reading) bool {
	return FeelOf(r.Total) == Violent && r.Total <= hardestShake && !stuck(r)
}

// stuck reports whether the sensor is, and not only one of its axes.
func stuck(r Reading) bool { return r.Has(dsp.Stuck) && !slices.Contains(r.Warnings, dsp.Numb) }

// loud is an unbroken run of readings that are violent in all while something turns.
type loud struct {
	on    bool
	since float64 // s
	sure  bool    // a reading of it was ok: it is no hand that mounts the sensor
}

// longerThanACatch is how long violence must last, in s, that is not once per turn (chosen: a
// tool that catches is over sooner, and so is a knock; longer leaves a bad cut going on).
const longerThanACatch = 1

func (l *loud) add(r Reading, follows bool) {
	if !violentInAll(r) || r.Has(dsp.NoTurn) {
		*l = loud{}
		return
	}
	if !l.on || !follows {
		*l = loud{on: true, since: r.T}
	}
	l.sure = l.sure || r.OK
}

// lasts reports whether the run, which began with a window that may have ended in a catch, is
// longer than a catch beyond the windows that held it.
func (l *loud) lasts(r Reading) bool {
	return l.on && l.sure && r.T-l.since >= longerThanACatch+min(positive(r.Span), longestSpan)
}

const longestSpan = 4 // s, of the windows

// stop stops what is violent in all and goes on, however little of it comes once per turn.
func (l *loud) stop(r Reading) (Advice, bool) {
	if !l.lasts(r) {
		return Advice{}, false
	}
	return Advice{Action: Stop, Say: fmt.Sprintf("Stop: it shakes %s in all, violent, and goes on.", ShakeText(r.Total)),
		Reasons: []Reason{violentReason(), {"total", "more than what comes once per turn: the cut, knocks, the motor, a bearing or the belt", practice}, {"look", lookAt, practice}}}, true
}

// heard waits while it is violent in all and for 2 s after: no speed to hold.
func (a *Adviser) heard(r Reading, _ Ceiling) (Advice, bool) {
	_, _, total, _ := a.last2s()
	if FeelOf(total) != Violent || total > hardestShake {
		return Advice{}, false
	}
	return Advice{Action: Wait, Say: fmt.Sprintf("Wait: %s once per turn, but %s in all, violent. Tool off the wood!", ShakeText(r.Shake), ShakeText(total)),
		Reasons: []Reason{{"total", fmt.Sprintf("all vibration together was violent within the last 2 s, and only %s of it comes once per turn: a catch, a heavy cut or something loose; switch off if it goes on", ShakeText(r.Shake)), EdgesSource}}}, true
}

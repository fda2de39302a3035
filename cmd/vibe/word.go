package main

import (
	"math"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/dsp"
)

// spokenDial is what the dial was last said to show, as far as the tracker goes by it: where it must, it looks near that
// alone.
type spokenDial struct {
	always bool // also where no reading asks for it: a phone's rate alone cannot tell a line from its image

	said  int        // words about the dial that were heard
	shows assess.RPM // the newest of them, 0 once a reading answered it, or it is old
	asked bool       // a doubt is to be settled by it
	found bool       // something sure was, near it
	near  assess.RPM // that the tracker looks near, 0: everywhere
	sure  float64    // s, of the newest sure reading, or of when the word was said, or first asked
}

// turnedAway is how long nothing sure is found near the dial's word before it counts as old, s
// (chosen: longer than a lathe takes to another speed and a phone to a reading).
const turnedAway = 10.0

// follow lets the tracker look near the dial's word, or everywhere where there is none: nobody said one, or nothing sure is
// found near it any more, for the dial was turned without a word. It reports whether the tracker looks elsewhere now, from
// the sample of time at on, in s, the first that it was not given yet.
func (d *spokenDial) follow(tracker *dsp.Tracker, session *live.Session, at float64) (turned bool) {
	switch shows, said := session.Said(); {
	case said != d.said:
		d.said, d.shows, d.sure, d.found = said, shows, at, false
	case at-d.sure > turnedAway:
		d.spend()
	}
	near := assess.RPM(0)
	if d.always || d.asked {
		near = d.shows
	}
	if turned = near != d.near; turned {
		d.near = near
		lookNear(tracker, near)
	}
	return turned
}

// lookNear lets the tracker look near what the dial shows, or, where that is 0, everywhere. It
// begins anew.
func lookNear(tracker *dsp.Tracker, dial assess.RPM) {
	*tracker = dsp.Tracker{Low: tracker.Low, High: tracker.High, Steps: tracker.Steps, Range: tracker.Range, Hint: dial.Hz()}
}

// heard takes note of a reading. A word that settles a doubt counts until the speed is seen to change: what comes within its
// reach then may be a belt's.
func (d *spokenDial) heard(r assess.Reading) {
	end := r.T + r.Span/2
	switch asks := r.Has(dsp.Doubtful) && (d.means(r.Speed) || d.means(r.Rival)); {
	case r.OK && d.near == 0: // the tracker needs no word for it
		d.spend()
	case r.Has(dsp.Changing) && d.found && !d.always:
		d.spend()
	case r.OK:
		d.sure, d.found = end, true
	case asks && !d.asked:
		d.asked, d.sure = true, end
	}
}

// spend leaves nothing of the word.
func (d *spokenDial) spend() { d.shows, d.asked, d.found = 0, false, false }

// means reports whether the dial's word, if there is one, may mean a speed.
func (d *spokenDial) means(n assess.RPM) bool {
	return d.shows > 0 && math.Abs(float64(n/d.shows)-1) <= dsp.Reach
}

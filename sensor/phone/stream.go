package phone

import (
	"fmt"
	"math"

	"vibe/sensor"
)

const (
	absurd   = 1e4    // m/s²: more than an accelerometer means (chosen: shock sensors end at 500 g)
	shortest = 0.2e-3 // s between two samples (chosen: ten times the fastest phone); a flood ends here
	ahead    = 10.0   // s that a sample may be ahead of this computer's clock (chosen, as for serial)
	tellGap  = 1.0    // s; shorter gaps are counted only (chosen, as for serial)
	tellLate = 1.5    // s that what comes may be old before it is said (chosen, as silence)
	jump     = 1 << 20
)

// stream turns frames and the host's time into blocks. It does no input and knows no clock, so
// that tests can drive it.
type stream struct {
	page          // of the page that sends
	name  string  // of the phone, "" before the first
	last  float64 // s
	mean  float64 // s, the usual step
	begun bool    // last is the time of a sample
	quiet bool    // the silence that lasts has been said
	asked bool    // that no phone has come has been said
	bad   int     // samples that could not be
	lost  int     // not yet told
	held  sensor.Held
}

// page is what a page that was loaded anew does not have yet.
type page struct {
	load   string
	run    uint32
	next   uint32  // number of the sample that comes next
	joined bool    // the two clocks are
	offset float64 // s from the phone's clock to that since the source opened
	newest float64 // s, the phone's time of its newest sample
	late   bool    // that what comes is old has been said
	drift  sensor.Drift
}

// greet takes the connection of a phone, with the name of the phone and of this loading of
// its page.
func (s *stream) greet(name, load string) {
	if s.name != "" && s.name != name {
		s.note("another phone is the sensor now")
	}
	s.name = name
	if s.load != load {
		s.page = page{load: load}
	}
	s.drift = sensor.Drift{} // the way is another one
}

// feed takes a frame that came at host time at, in s since the source opened. It reports an
// error where no page of ours can have sent it.
func (s *stream) feed(f frame, at float64) error {
	n := uint32(len(f.samples))
	switch {
	case !s.joined:
		s.next = f.first
	case f.first > s.next && f.first-s.next > jump:
		return fmt.Errorf("sample number %d where %d was next", f.first, s.next)
	case f.first+n <= s.next: // all of it was here before
		return nil
	case f.first > s.next:
		s.lost += int(f.first - s.next)
	default:
		f.samples = f.samples[s.next-f.first:]
	}
	s.next = f.first + n
	good := f.samples[:0]
	for _, x := range f.samples {
		if s.sane(x) {
			good = append(good, x)
		}
	}
	if len(good) == 0 {
		return nil
	}
	if !s.joined || f.run != s.run {
		s.run = f.run
		s.join(good[0].ms/1000, f.sent/1000, at)
	}
	s.place(good, at)
	return nil
}

// sane reports whether a sample is of finite numbers that a phone can mean.
func (s *stream) sane(x sample) bool {
	ok := math.Abs(x.ms) <= longest // false for NaN
	for _, v := range x.v {
		ok = ok && math.Abs(v) <= absurd
	}
	if !ok {
		s.refuse(fmt.Sprintf("%v at %v ms", x.v, x.ms))
	}
	return ok
}

// join sets the clock of a page that sent at its own time sent, s, by this computer's.
func (s *stream) join(first, sent, at float64) {
	s.offset = at - sent
	if s.begun && first+s.offset <= s.last {
		s.offset = s.last + max(s.mean, shortest) - first
	}
	s.joined, s.newest, s.drift = true, math.Inf(-1), sensor.Drift{}
}

// place gives samples their time. What goes back, or is far ahead of this computer's clock, is
// refused; what was taken before the source opened, or at the same moment, is left out.
func (s *stream) place(x []sample, at float64) {
	for _, x := range x {
		own := x.ms / 1000
		t := own + s.offset
		switch {
		case t < 0 && !s.begun:
			continue
		case own >= s.newest && own < s.newest+shortest: // a browser that was held up tells twice of one moment
			continue
		case own < s.newest, s.begun && t <= s.last, t > at+ahead:
			s.refuse(fmt.Sprintf("at %.3f s after %.3f s", t, s.last))
			continue
		}
		if s.begun {
			s.gap(t - s.last)
		}
		s.held.Put(t, x.v, 0, s.lost)
		s.lost = 0
		s.newest, s.last, s.begun, s.quiet = own, t, true, false
	}
	if s.begun {
		s.lag(at)
	}
}

// gap counts what is missing where time passed without samples, and keeps the usual step.
func (s *stream) gap(step float64) {
	switch {
	case step > tellGap:
		if s.mean > 0 {
			s.lost = max(s.lost, int(math.Round(step/s.mean))-1)
		}
		s.note("%.1f s are missing, about %d samples", step, s.lost)
	case s.mean == 0:
		s.mean = step
	default:
		s.mean += 0.02 * (step - s.mean) // of the last fifty or so (chosen)
	}
}

// lag tells when what comes is old, and what the phone's clock does where it is not.
func (s *stream) lag(at float64) {
	late := at - s.last
	switch {
	case late > tellLate && !s.late:
		s.note("what comes from the phone is %.1f s old: its network is slow, and so is the advice", late)
		s.late = true
	case late < tellLate/2:
		s.late = false
		s.note("%s", s.drift.Add("the phone", s.last, at))
	}
}

// refuse counts a sample that cannot be and tells of the 1st, 10th, 100th.
func (s *stream) refuse(what string) {
	s.bad++
	s.lost++
	for n := 1; n <= s.bad; n *= 10 {
		if n == s.bad {
			s.note("samples that cannot be: %d so far, the last %s", n, what)
		}
	}
}

// have is the number of the sample that comes next, nil before the first: any.
func (s *stream) have() *uint32 {
	if !s.joined {
		return nil
	}
	next := s.next
	return &next
}

// background takes the page's word that it is not seen any more.
func (s *stream) background() {
	s.note("the phone's page is in the background or its screen is off: no data until it is in front again; the lathe may be turning")
	s.quiet = true
}

// silent says, once, that nothing has come for a while.
func (s *stream) silent(connected bool) {
	switch {
	case s.quiet || s.name == "" && s.asked:
		return
	case s.name == "":
		s.asked = true
		s.note("no phone yet: open the link on it, and tap Start")
		return
	case !s.begun && connected:
		s.note("the phone is here but sends no samples: its page says why")
	case connected:
		s.note("the phone is there but sends no samples; the lathe may be turning")
	default:
		s.note("nothing is heard of the phone; the lathe may be turning. It goes on by itself when its page is in front and its network is back")
	}
	s.quiet = true
}

func (s *stream) note(format string, args ...any) {
	s.held.Note(fmt.Sprintf(format, args...))
}

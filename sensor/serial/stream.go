package serial

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"

	"vibe/sensor"
)

const (
	longestLine = 256 // bytes (chosen: no line of the protocol comes near)
	agree       = 16  // lines in a row with other columns are a new layout (chosen)
	tellGap     = 1.0 // s; shorter gaps are counted only (chosen)
	weighing    = 1.0 // s of samples from which gravity is taken (chosen)
	settled     = 3   // lines understood: the board and we speak the same (chosen)
	silence     = 0.7 // s without a sample that are said (chosen; a bunch is never so late)
	starting    = 3.0 // s that a board may need to start (chosen: boot loaders take 2 s)
	foreign     = 0.1 // of a clock: more is no oscillator's error (chosen: the usual clocks lie a fifth and more apart)
	nominal     = 0.2 // of a rate, that a board may miss what it says (chosen)
)

// stream turns bytes and the host's time into blocks. It does no input and knows no clock, so
// that tests can drive it.
type stream struct {
	port string // for messages
	unit string // as asked for; wins over the board's

	link              // what is known of the board, since the cable was plugged in
	last  float64     // s, time of the newest sample
	beat  sensor.Beat // of the samples handed on
	bytes float64     // host time of the newest byte
	since float64     // host time of the newest sample; before the first, of the plug
	quiet bool        // the silence that lasts has been said
	bad   int         // lines that were none of ours
	held  sensor.Held
	err   error // the end
}

// link is what a board that has just been plugged in does not have yet.
type link struct {
	partial []byte // the line that is arriving
	synced  bool   // a line end has been seen: what follows is whole
	good    int    // lines understood

	columns int // 3 or 4; 0 before the first
	others  int // lines in a row with the other number of columns
	board   boardClock
	host    hostClock

	header  header
	scale   float64 // m/s² per 1 as sent; 0 while it is being found
	waiting []timed // for the scale
	lost    int     // not yet told
	told    int     // restarts of the board's clock that have been said
	trouble string  // the board's last word about its sensor
	moved   bool    // "hold still" has been said
}

// feed takes bytes that arrived by host time at, in s since the source opened.
func (s *stream) feed(p []byte, at float64) {
	var lines []sample
	spoilt, more := 0, len(p) == full
	s.bytes = at
	for len(p) > 0 && s.err == nil {
		end := bytes.IndexByte(p, '\n')
		if end < 0 {
			if s.partial = append(s.partial, p...); len(s.partial) > longestLine {
				s.noise(s.partial)
				s.partial, s.synced = s.partial[:0], false
			}
			break
		}
		text := p[:end]
		if len(s.partial) > 0 {
			text = append(s.partial, text...)
			s.partial = text[:0]
		}
		p = p[end+1:]
		if !s.synced && !bytes.HasPrefix(text, []byte("#")) {
			s.synced = true // the first line may be the end of one
			continue
		}
		s.synced = true
		sm, ok := parseSample(text)
		switch {
		case ok && s.fits(sm):
			s.good++
			lines = append(lines, sm)
		case len(text) > 0 && text[0] == '#':
			s.heard(parseHeader(string(text)))
		case len(trim(text)) > 0:
			s.noise(text)
			if numeric(text[0]) {
				spoilt++
			}
		}
	}
	if len(lines) > 0 {
		s.since, s.quiet = at, false
	}
	s.clock(lines, spoilt, at, more)
}

// tick says that no bytes came until host time at. Silence is told, once, and ends nothing:
// a board that does not speak says nothing about the lathe.
func (s *stream) tick(at float64) {
	limit := silence
	if s.columns == 0 {
		limit = starting
	}
	if s.quiet || at-s.since < limit {
		return
	}
	s.quiet = true
	switch {
	case s.columns == 0 && s.trouble != "": // the board has said why
	case s.columns == 0 && s.bytes > s.since:
		s.note("what comes is no samples: does the board run a program that sends x,y,z lines, and at which baud rate?")
	case s.columns == 0:
		s.note("nothing comes: does the board run a program that sends x,y,z lines?")
	case s.bytes > s.since:
		s.note("what comes is no samples any more; the lathe may be turning")
	default:
		s.note("the board has stopped sending; the lathe may be turning")
	}
}

// fits says that the line has the columns of the others.
func (s *stream) fits(x sample) bool {
	n := 3
	if x.stamped {
		n = 4
	}
	switch {
	case s.columns == n:
		s.others = 0
	case s.columns == 0 || s.others >= agree:
		s.columns, s.others = n, 0
		s.newClock()
	default:
		s.others++
	}
	return s.columns == n
}

// clock gives the lines their times.
func (s *stream) clock(lines []sample, spoilt int, at float64, more bool) {
	var out []timed
	var err error
	if s.columns == 3 {
		out, err = s.byHost(lines, spoilt, at, more)
	} else {
		out, err = s.byBoard(lines, at)
	}
	if err != nil {
		s.fail(err, "let the board send t_us,x,y,z with t_us in microseconds, or x,y,z, 20 to 20000 times a second")
	}
	if s.err == nil {
		s.weigh(out)
	}
}

// byHost times lines that bring no time.
func (s *stream) byHost(lines []sample, spoilt int, at float64, more bool) ([]timed, error) {
	before := s.host
	out, err := s.host.add(lines, spoilt, at, more)
	switch {
	case !before.slow && s.host.slow:
		s.note("what comes is too slow or too uneven for this computer to time it soon: let the board send its own time as well, as t_us,x,y,z")
	case before.step == 0 && s.host.step > 0:
		s.note("the board sends no time, so samples are timed by this computer: %.4g a second; every speed may be off by %.1g %% at first", 1/s.host.step, 100*vague)
	}
	return out, err
}

// byBoard times lines by the board's clock, and watches that.
func (s *stream) byBoard(lines []sample, at float64) (out []timed, err error) {
	for _, l := range lines {
		if out, err = s.board.add(out, l, at); err != nil {
			return nil, err
		}
	}
	if s.board.restarts > s.told {
		s.told = s.board.restarts
		s.note("the board started again")
	}
	if len(out) == 0 {
		return nil, nil
	}
	note := s.board.drift.Add("the board", out[len(out)-1].t, at)
	if s.misbuilt() {
		s.fail(fmt.Errorf("the board's clock runs at %.3g of this computer's, and every speed would be off by that factor", s.board.drift.Pace()),
			"build its program for the clock that the board has (F_CPU); a simulated board must say the rate that it keeps, as in # rate=800")
		return nil, nil
	}
	s.note("%s", note)
	return out, nil
}

// misbuilt says that the board's program was built for another clock than the board has: its
// clock is far off, and the rate that it says is the one that this computer's makes, if it says any.
func (s *stream) misbuilt() bool {
	pace, rate := s.board.drift.Pace(), 1/s.board.step
	if pace == 0 || math.Abs(pace-1) <= foreign {
		return false
	}
	off := func(rate float64) float64 { return math.Abs(math.Log(rate / s.header.rate)) }
	return s.header.rate == 0 || off(rate*pace) < off(rate) && !s.otherRate(rate*pace)
}

// otherRate says that the board says another rate than this one, in Hz.
func (s *stream) otherRate(rate float64) bool {
	return s.header.rate > 0 && math.Abs(rate/s.header.rate-1) > nominal
}

// weigh hands samples on as soon as their unit is known.
func (s *stream) weigh(in []timed) {
	if s.scale > 0 {
		s.emit(in)
		return
	}
	s.waiting = append(s.waiting, in...)
	n := len(s.waiting)
	if n == 0 || s.waiting[n-1].t-s.waiting[0].t < weighing {
		return
	}
	values := make([][3]float64, n)
	for i, w := range s.waiting {
		values[i] = w.v
	}
	said := s.header.unit
	if s.unit != "" {
		said = s.unit
	}
	w := weigh(said, values)
	switch {
	case w.against || w.scale == 0 && said != counts:
		s.fail(errors.New(w.note), "say what the board sends with --unit m/s2, g, mg or counts")
		return
	case w.scale == 0: // wait for the sensor to be still
		if !s.moved {
			s.note("%s", w.note)
		}
		s.moved, s.waiting = true, nil
		return
	}
	waited := s.waiting[n-1].t - s.waiting[0].t
	rate := float64(n-1) / waited
	odd := s.otherRate(rate) || s.header.rate == 0 && math.Abs(s.board.t-s.board.at) > foreign*waited
	if s.columns == 4 && odd && s.board.drift.Pace() == 0 {
		return // which of them is wrong this computer's clock will tell
	}
	s.scale = w.scale
	s.note("%s", w.note)
	if s.otherRate(rate) {
		s.note("the board says it sends %.4g samples a second, and %.4g come", s.header.rate, rate)
	}
	in, s.waiting = s.waiting, nil
	s.emit(in)
}

// emit puts samples into the block that the consumer takes next.
func (s *stream) emit(in []timed) {
	limit := s.header.limit
	if s.header.bare {
		limit *= s.scale
	}
	for _, x := range in {
		s.lost += x.lost
		var a [3]float64
		worst := 0.0
		for k, v := range x.v {
			a[k] = v * s.scale
			worst = math.Max(worst, math.Abs(a[k]))
		}
		if worst > absurd || limit > 0 && worst > 1.1*limit {
			s.lost++
			s.noise(fmt.Appendf(nil, "%.4g m/s²", worst))
			continue
		}
		gap := x.t - s.last
		if s.last > 0 && gap > tellGap {
			s.note("%.1f s are missing, %d samples", gap, s.lost)
		}
		s.beat.See(x.t)
		s.last = x.t
		s.held.Put(x.t, a, limit, s.lost)
		s.lost = 0
	}
}

func (s *stream) heard(h header) {
	if h.trouble != "" && h.trouble != s.trouble {
		s.note("the board says: %.80s", h.trouble)
	}
	s.trouble = h.trouble
	if h == (header{}) {
		return
	}
	s.good++
	if h.unit != "" && h.unit != s.header.unit {
		s.header.unit, s.scale = h.unit, 0
	}
	if h.limit > 0 {
		s.header.limit, s.header.bare = h.limit, h.bare
	}
	if h.rate > 0 {
		s.header.rate = h.rate
	}
}

// noise counts a line that is none of ours and tells of the 1st, 10th, 100th.
func (s *stream) noise(text []byte) {
	if s.good < settled {
		return // the rate may be wrong, or the board is still starting
	}
	s.bad++
	for n := 1; n <= s.bad; n *= 10 {
		if n == s.bad {
			lines := "lines were"
			if n == 1 {
				lines = "line was"
			}
			s.note("%d %s no samples, the last %.40q", n, lines, strings.ToValidUTF8(string(text), "?"))
		}
	}
}

func (s *stream) note(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); text != "" {
		s.held.Note(s.port + ": " + text)
	}
}

func (s *stream) fail(err error, try string) {
	s.err = &Error{s.port, err, try}
}

// newClock starts the times anew, from where they are.
func (s *stream) newClock() {
	s.board, s.host, s.told = boardClock{t: s.newest()}, hostClock{t: s.newest()}, 0
}

// newest is the time of the newest sample, handed on or not.
func (s *stream) newest() float64 { return max(s.last, s.board.t, s.host.t) }

// forget what is known of the board: it may be another, or was never understood.
func (s *stream) forget() {
	t := s.newest()
	s.link = link{board: boardClock{t: t}, host: hostClock{t: t}}
}

// plugged says that a board was plugged in at host time at.
func (s *stream) plugged(at float64) {
	s.forget()
	s.since, s.quiet = at, false
}

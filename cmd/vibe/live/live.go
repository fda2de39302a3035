// Package live holds what is going on at the lathe now: the loop feeds it, the turner tells
// it what changed, and every view, the terminal's and the page's, shows the same of it.
//
// What belongs here: the newest reading, advice and map, the last two minutes, marks, and
// whether data still come. What does not: how any of it looks.
package live

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"vibe/assess"
	"vibe/sensor"
)

const (
	// StaleAfter is how long no block may come before what is shown counts as old (chosen:
	// readings come four a second; a lathe can change within two).
	StaleAfter = 1500 * time.Millisecond
	// beginning is how long the first block may take (chosen: a board's program starts in two
	// seconds, and where it sends no time its pace is measured for two more).
	beginning = 5 * time.Second
	// Span is how much of the past is kept, s.
	Span = 120.0

	mapEvery  = 1.0 // s between two looks at the map, which changes slowly (chosen)
	notesKept = 4
	// spared is how far below a shake that was too much the comfort limit is set (chosen: so
	// much that the adviser lowers at once).
	spared = 0.9
	// agrees is how far the dial and the sensor may be apart, relative: what a dial or a belt
	// may be off, as the tracker and the adviser have it.
	agrees = 0.08
	// leap is how far one sure speed may be from the one before it while the comparison with
	// the dial holds, as a ratio (chosen: the adviser's longest step). Beyond it a belt or a
	// motor may have been taken for the spindle, and the dial must be asked again.
	leap = 1.4
)

// Snapshot is one moment of a session. Its slices belong to the caller.
type Snapshot struct {
	Source  string            // what is being watched, in words
	Clock   float64           // s, time of the newest sample
	RateHz  float64           // samples a second of late, 0 is unknown
	Lost    int               // samples that the source knows are missing
	Reading assess.Reading    // the newest; zero before the first
	Advice  assess.Advice     // as of now: never an old one as if it were new
	Map     []assess.MapPoint // shake against speed, rising
	Past    []Moment          // the readings of the last Span, oldest first
	Blank   assess.Blank      // as told last
	Task    assess.Task       // as told last
	Comfort float64           // mm/s rms, limit of this person; 0 is the starting value
	Marks   []Mark            // all of the session, oldest first
	Notes   []string          // what the source or the session said last, oldest first
	Noted   float64           // s, Clock when the newest of them came
	Unkept  string            // why the session is not kept, although it should be; "": it is
	Checked bool              // the dial was compared with the sensor, and they agree
	Silent  time.Duration     // since the newest block, or since the start
	Stale   bool              // no block for StaleAfter: Reading is old
	Ended   bool              // nothing more will come
}

// Moment is one reading of the past, for a line over time. Shake, in mm/s rms, is 0 where
// the reading had no number.
type Moment struct{ T, Shake float64 }

// Kind is what a mark says.
type Kind string

// The kinds of marks.
const (
	Comfortable Kind = "comfortable"
	TooMuch     Kind = "too much"
	Plain       Kind = "mark"
)

// Mark is a moment that the turner pointed out. Speed and Shake (mm/s rms) are 0 where the
// reading of that moment had no number.
type Mark struct {
	T     float64 // s, on the source's clock
	Kind  Kind
	Speed assess.RPM
	Shake float64
	Heard []assess.Reading // the last seconds before it; none where it had no number
}

// Session is a lathe being watched. Block and See belong to the goroutine that runs the
// loop; all else may be called from any goroutine.
type Session struct {
	adviser *assess.Adviser // touched by Block and See alone

	mu      sync.Mutex
	now     Snapshot
	heard   time.Time  // when the newest block came
	mapped  float64    // s, time of the reading that the map is as of
	told    bool       // blank, task or comfort changed since the last block
	dial    assess.RPM // what the dial shows, to be compared with the next sure reading; 0: nothing to compare
	shows   assess.RPM // what it was last said to show
	said    int        // how often that was
	changed chan struct{}
	quiet   *time.Timer
	sure    assess.RPM // of the newest sure reading, 0: none yet
	own     bool       // the dial is vibe's own: known without being asked
	recent  recent
}

// New begins a session of source. The adviser is the session's from now on; one that is
// Checked by now has a dial that need not be asked again. End must follow.
func New(source string, adviser *assess.Adviser) *Session {
	s := &Session{own: adviser.Checked, adviser: adviser, heard: time.Now(), changed: make(chan struct{})}
	s.now = Snapshot{Source: source, Blank: adviser.Blank, Task: adviser.Task, Comfort: adviser.Comfort,
		Checked: adviser.Checked, Advice: wait("no-data", "no reading yet")}
	s.quiet = time.AfterFunc(beginning, s.silent)
	return s
}

// silent is the timer's: no block came. It speaks again every second.
func (s *Session) silent() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.now.Ended || time.Since(s.heard) < StaleAfter {
		return
	}
	s.now.Stale = true
	s.quiet.Reset(time.Second)
	s.announce()
}

// announce tells everybody who waits. The lock is held.
func (s *Session) announce() {
	close(s.changed)
	s.changed = make(chan struct{})
}

// Changed returns a channel that is closed at the next change. To miss none, take it before
// Now.
func (s *Session) Changed() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changed
}

// Block takes note of a block before it is analysed, and hands to the adviser what the
// turner said since the last one: told reports whether the adviser took a blank and a task.
// A block without samples brings its notes alone: data that do not come stay missing.
func (s *Session) Block(b sensor.Block) (told bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.note(b.Notes...)
	if len(b.T) == 0 {
		s.announce()
		return false
	}
	s.recent.block(b)
	s.now.Clock = b.T[len(b.T)-1]
	if rate := s.recent.rate(); rate > 0 {
		s.now.RateHz = rate
	}
	s.now.Lost += b.Lost
	s.heard, s.now.Stale = time.Now(), false
	s.quiet.Reset(StaleAfter)
	if s.told {
		s.told = false
		s.adviser.Comfort = s.now.Comfort
		err := s.adviser.Change(s.now.Blank, s.now.Task)
		if told = err == nil; !told { // Tell looked already
			s.note(err.Error())
		}
		s.now.Blank = s.adviser.Blank // whose mass is unknown once it was cut
		s.now.Advice = outdated(s.now.Advice, justTold())
	}
	return told
}

// Unkept says why the session is not kept, or with "" that it is again, and notes what is to
// be said of it.
func (s *Session) Unkept(why string, text ...string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now.Unkept = why
	s.note(text...)
	s.announce()
}

// Note keeps what must be said aloud.
func (s *Session) Note(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.note(text)
	s.announce()
}

// note keeps what must be said aloud. The lock is held.
func (s *Session) note(text ...string) {
	if len(text) == 0 {
		return
	}
	s.now.Notes, s.now.Noted = append(s.now.Notes, text...), s.now.Clock
	s.now.Notes = slices.Delete(s.now.Notes, 0, max(0, len(s.now.Notes)-notesKept))
}

// See takes the newest reading and what was advised on it. It returns what comparing the
// dial with it has shown, "" if there was nothing to compare.
func (s *Session) See(r assess.Reading, a assess.Advice) (compared string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := &s.now
	n.Reading, n.Advice = r, a
	s.recent.see(r)
	m := Moment{T: r.T + r.Span/2}
	if r.OK {
		m.Shake = r.Shake
	}
	n.Past = append(n.Past, m)
	n.Past = slices.Delete(n.Past, 0, slices.IndexFunc(n.Past, func(p Moment) bool { return m.T-p.T <= Span }))
	if n.Map == nil || m.T-s.mapped >= mapEvery {
		n.Map, s.mapped = s.adviser.Map(), m.T
	}
	if r.OK {
		if compared = s.compare(r.Speed); compared != "" {
			s.note(compared)
		}
		s.sure = r.Speed
	}
	s.announce()
	return compared
}

// Again tells session and adviser at once what was said in the run that is watched once more:
// the limit of comfort in mm/s rms (0: the starting value), whether the dial was compared, and
// blank and task where blank is not nil. It belongs to the goroutine of the loop.
func (s *Session) Again(comfort float64, checked bool, blank *assess.Blank, task assess.Task) {
	s.mu.Lock()
	defer s.mu.Unlock()
	a, n := s.adviser, &s.now
	a.Comfort, a.Checked = comfort, checked
	if blank != nil {
		_ = a.Change(*blank, task) // what cannot be was not taken then either
		n.Advice = outdated(n.Advice, justTold())
	}
	n.Comfort, n.Checked, n.Blank, n.Task = comfort, checked, a.Blank, a.Task
	s.announce()
}

// compare settles what the dial says of a sure speed, in words, or whether an earlier
// comparison still counts. The lock is held.
func (s *Session) compare(read assess.RPM) (said string) {
	dial := s.dial
	s.dial = 0
	switch leapt := max(read, s.sure)/max(min(read, s.sure), 1) > leap; {
	case dial > 0 && math.Abs(float64(dial/read)-1) <= agrees:
		s.now.Checked, said = true, fmt.Sprintf("the dial's %v and the sensor's %v agree", dial, read)
	case dial > 0:
		s.now.Checked, said = false, fmt.Sprintf("the dial says %v, the sensor %v: no raise; look at the belt's step, and at what else turns nearby", dial, read)
	case s.now.Checked && leapt && s.sure > 0 && !s.own:
		s.now.Checked, said = false, fmt.Sprintf("from %v to %v at once: what does the dial show now?", s.sure, read)
	}
	s.adviser.Checked = s.now.Checked
	return said
}

// Dial says what the dial or pulley shows now. The next sure reading is compared with it;
// until they agree no raise is said outright.
func (s *Session) Dial(shows assess.RPM) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.dial = shows
	if shows > 0 {
		s.shows = shows
		s.said++
	}
}

// Said returns what the dial was last said to show, 0 if it never was, and how often something
// was said of it.
func (s *Session) Said() (shows assess.RPM, times int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.shows, s.said
}

// Now returns the session as it stands. Without fresh data the advice is to wait, unless it
// was to stop or to lower: missing data end no danger.
func (s *Session) Now() Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := s.now
	n.Past, n.Marks, n.Notes, n.Map = slices.Clone(n.Past), slices.Clone(n.Marks), slices.Clone(n.Notes), slices.Clone(n.Map)
	n.Silent = time.Since(s.heard)
	switch {
	case n.Stale:
		n.Advice = outdated(n.Advice, wait("stale", fmt.Sprintf("no data from the sensor for %.0f s", n.Silent.Seconds())))
	case s.told:
		n.Advice = outdated(n.Advice, justTold())
	}
	return n
}

// outdated is the advice to show where a is about another moment or another blank.
func outdated(a, instead assess.Advice) assess.Advice {
	if a.Action != assess.Stop && a.Action != assess.Lower {
		return instead
	}
	a.Reasons = append(slices.Clone(instead.Reasons), a.Reasons...)
	return a
}

func justTold() assess.Advice { return wait("told", "the next reading counts what you said") }

func wait(code, why string) assess.Advice {
	return assess.Advice{Action: assess.Wait, Say: "Wait: " + why + ".", Ceilings: []assess.Ceiling{}, Avoid: [][2]assess.RPM{},
		Reasons: []assess.Reason{{Code: code, Text: why, Source: "this session's own clock"}}}
}

// Tell changes the blank and the task from the next block on. It returns an
// *assess.InputError, and changes nothing, where they cannot be.
func (s *Session) Tell(b assess.Blank, t assess.Task) error {
	if err := t.Validate(); err != nil {
		return err
	}
	if err := b.Validate(t); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now.Blank, s.now.Task, s.told = b, t, true
	s.announce()
	return nil
}

// Mark points this moment out. TooMuch sets the comfort limit below the shake of now, at
// once and for this session; Comfortable is kept, but one mark raises no limit. Where there
// is no number to go with, ok is false and only a Plain mark is kept.
func (s *Session) Mark(k Kind) (m Mark, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m = Mark{T: s.now.Clock, Kind: k}
	if ok = s.now.Reading.OK && !s.now.Stale; ok {
		m.Speed, m.Shake, m.Heard = s.now.Reading.Speed, s.now.Reading.Shake, slices.Clone(s.recent.readings)
	}
	if !ok && k != Plain {
		return m, false
	}
	if limit := spared * m.Shake; k == TooMuch && (s.now.Comfort == 0 || limit < s.now.Comfort) {
		s.now.Comfort, s.told = limit, true
	}
	s.now.Marks = append(s.now.Marks, m)
	s.announce()
	return m, ok
}

// End says that nothing more will come.
func (s *Session) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.quiet.Stop()
	s.now.Ended = true
	s.announce()
}

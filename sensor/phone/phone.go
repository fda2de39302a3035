// Package phone takes the accelerometer of a phone as a sensor.Source: it offers a page for
// the phone's browser, and a socket to which that page sends its samples.
//
// The page sends each sample with the sensor's own time and a number, and keeps it until the
// number was acknowledged, up to ten seconds: a network that is gone for less loses nothing.
// One phone at a time is the sensor; when its connection comes anew, the new one counts.
//
// What belongs here: the page, the wire, the two clocks. What does not: who may come at all
// (the server on which Handler is mounted asks that), and what the samples mean.
package phone

import (
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"vibe/sensor"
)

// Source is a phone as a sensor. Open makes one.
type Source struct {
	opened time.Time

	mu      sync.Mutex
	stream  stream
	live    *link       // the connection that feeds now, or nil
	quiet   *time.Timer // until nothing has been heard for silence
	shown   json.RawMessage
	shownAt time.Time
	closed  bool

	wake  chan struct{}  // something may be there to take
	done  chan struct{}  // closed by Close
	links sync.WaitGroup // connections that are being served
}

const (
	// silence without a sample is said (chosen: longer than a network may be gone unnoticed,
	// and not longer than what is shown may be old).
	silence = 1500 * time.Millisecond
	// fresh is how long what Show was given may be shown (chosen: readings come four a
	// second; together with the page's own half second below two seconds).
	fresh = 1500 * time.Millisecond
)

// Open waits for a phone from now on; Handler is where it comes to.
//
// Times are the phone's own seconds; the computer's clock says only where they begin, at the
// first sample and whenever the page was in the background, where phones may stop their clock.
// Silence, a page in the background, another phone, and samples that cannot be are told in
// Block.Notes, in a block without samples where it cannot wait. Samples that the page could
// not keep, or that cannot be, are counted in Lost. Only Close ends the source: a phone that
// is silent says nothing about the lathe.
func Open() *Source {
	s := &Source{opened: time.Now(), wake: make(chan struct{}, 1), done: make(chan struct{})}
	s.quiet = time.AfterFunc(silence, func() { s.tell(func(float64) { s.stream.silent(s.live != nil) }) })
	return s
}

// Next implements sensor.Source. The only error is sensor.ErrClosed.
func (s *Source) Next() (sensor.Block, error) {
	for {
		s.mu.Lock()
		b, ok := s.stream.held.Take()
		closed := s.closed
		s.mu.Unlock()
		switch {
		case closed:
			return sensor.Block{}, sensor.ErrClosed
		case ok:
			return b, nil
		}
		select {
		case <-s.wake:
		case <-s.done:
		}
	}
}

// Close implements sensor.Source. It tells the phone that nobody listens any more, and returns
// when every connection has ended.
func (s *Source) Close() error {
	s.mu.Lock()
	if !s.closed {
		s.closed = true
		s.quiet.Stop()
		close(s.done)
	}
	s.mu.Unlock()
	s.links.Wait()
	return nil
}

// Shown is what the phone's page shows of the lathe, in the words of every other view.
type Shown struct {
	Action  string   `json:"action"`  // raise, hold, lower, stop or wait
	Target  string   `json:"target"`  // the speed to go to, rpm, "" where there is none
	Say     string   `json:"say"`     // the advice as a sentence
	Reasons []string `json:"reasons"` // why
	Speed   string   `json:"speed"`   // of the newest reading, rpm; a dash is not known, or not for sure
	Shake   string   `json:"shake"`   // likewise, mm/s
	Feel    string   `json:"feel"`    // likewise, a word
	Caution string   `json:"caution"` // one of the cautions
}

// Show hands the phone what to show. It never waits. What is older than a second and a half
// is not shown any more, so it must be called again while it holds.
func (s *Source) Show(what Shown) {
	text, err := json.Marshal(what)
	if err != nil {
		panic(fmt.Sprintf("phone: %v", err)) // strings alone cannot fail
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.shown, s.shownAt = text, time.Now()
	s.live.news()
}

// tell runs f on the stream, with this computer's time, and wakes the consumer.
func (s *Source) tell(f func(at float64)) {
	s.mu.Lock()
	f(time.Since(s.opened).Seconds())
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

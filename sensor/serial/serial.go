// Package serial reads an accelerometer board on a serial port as a sensor.Source.
//
// The board sends text, one sample a line: x,y,z or t_us,x,y,z with the board's own time in µs
// that wraps at 2³²; commas, semicolons, tabs or blanks between. Lines that begin with # carry
// what the board knows, as key=value: unit=g (or mg, m/s2, counts), rate=800, range=16g,
// error=words. Everything else on the port is counted and left aside.
//
// What belongs here: the port, the line protocol, the two clocks. What does not: other wires,
// and what the samples mean.
package serial

import (
	"fmt"
	"sync"
	"time"

	tty "go.bug.st/serial"

	"vibe/sensor"
)

// Options say what the board does not. The zero value finds everything out.
type Options struct {
	// Baud is the rate of the line, bits a second; 0 tries the usual ones until lines can be
	// read. Boards with USB of their own take any.
	Baud int
	// Unit of the values, "m/s2", "g", "mg" or "counts". It wins over the board's own word.
	Unit string
}

// Open opens the port of that name and begins to read. The empty name stands for the only USB
// port there is. The error is an *Error with a hint.
//
// Times are the board's where it sends any, else this computer's at which the samples arrived,
// evened out. The first seconds bring no block, until unit and pace are known: of a board that sends no times and 400 lines a
// second some 3 to 5 s, of 20 lines up to 17. A pulled cable,
// a board that is silent, that starts again or whose clock drifts, lines that are no samples, and
// a consumer that is too slow are told in Block.Notes; a note that cannot wait for samples comes
// in a block without any. The source goes on by itself when the board is back, with a gap in time
// and the missing samples in Lost as far as its rate tells. What ends it is a board whose
// numbers cannot be understood, or whose program was built for another clock than it has; that
// error is an *Error too.
func Open(port string, o Options) (sensor.Source, error) {
	if o.Unit != "" && !known(o.Unit) {
		return nil, fmt.Errorf("unit %q: want m/s2, g, mg or counts", o.Unit)
	}
	if o.Baud < 0 {
		return nil, fmt.Errorf("baud %d: want a positive number, such as 115200", o.Baud)
	}
	if port == "" {
		var err error
		if port, err = only(Ports()); err != nil {
			return nil, err
		}
	}
	s := &source{opened: time.Now(), rates: newRates(o.Baud), stream: stream{port: port, unit: o.Unit},
		wake: make(chan struct{}, 1), done: make(chan struct{}), ended: make(chan struct{})}
	wire, err := s.dial()
	if err != nil {
		return nil, explain(port, err)
	}
	go s.run(wire)
	return s, nil
}

// source owns one goroutine, run, which alone touches the port.
type source struct {
	opened time.Time
	rates  rates // used by run alone

	mu     sync.Mutex
	stream stream
	closed bool

	wake  chan struct{} // something may be there to take
	done  chan struct{} // closed by Close
	ended chan struct{} // closed when run ends
}

func (s *source) Next() (sensor.Block, error) {
	for {
		s.mu.Lock()
		if s.closed {
			s.mu.Unlock()
			return sensor.Block{}, s.end()
		}
		b, ok := s.stream.held.Take()
		err := s.stream.err
		s.mu.Unlock()
		if ok {
			return b, nil
		}
		if err != nil {
			return sensor.Block{}, err
		}
		select {
		case <-s.wake:
		case <-s.done:
		}
	}
}

// end is the error after Close: that of the board if it came first.
func (s *source) end() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stream.err != nil {
		return s.stream.err
	}
	return sensor.ErrClosed
}

// Close returns when the port is free again.
func (s *source) Close() error {
	s.mu.Lock()
	if !s.closed {
		s.closed = true
		close(s.done)
	}
	s.mu.Unlock()
	<-s.ended
	return nil
}

const (
	poll   = 50 * time.Millisecond  // the longest a read waits, and so the longest that Close does
	reopen = 200 * time.Millisecond // between two looks for a board that was unplugged
	full   = 2048                   // bytes: more is waiting (Linux holds 4095)
)

// run reads until the end. It never waits for the consumer.
func (s *source) run(wire tty.Port) {
	defer close(s.ended)
	for wire != nil {
		s.listen(wire)
		wire.Close() // whatever it says, the port is done with
		if s.over() {
			return
		}
		s.tell(func(float64) {
			s.stream.note("the board is gone (cable pulled, or switched off); waiting for it")
			s.stream.forget()
		})
		wire = s.redial()
	}
}

// listen feeds what arrives to the stream, until the port fails or the source ends. How it
// failed does not matter: a pulled cable has many names.
func (s *source) listen(wire tty.Port) {
	buf := make([]byte, full)
	var looks looks
	last := 0
	for {
		n, err := wire.Read(buf)
		if err != nil || s.over() {
			return
		}
		next, pause := 0, time.Duration(0)
		s.tell(func(at float64) {
			if n > 0 {
				s.stream.feed(buf[:n], at)
			}
			s.stream.tick(at)
			if s.rates.found(s.stream.good) {
				s.stream.note("found at %d baud", s.rates.baud())
			}
			next = s.rates.next(s.stream.good, n, at)
			if next != 0 {
				s.stream.forget()
			}
			pause = looks.next(n, s.stream.last, &s.stream.beat)
		})
		if next != 0 && s.change(wire, next) != nil {
			return
		}
		if n > 0 && n < full && last < full {
			s.rest(pause) // no backlog
		}
		last = n
	}
}

// rest leaves the wire alone, unless the source is closed.
func (s *source) rest(pause time.Duration) {
	select {
	case <-s.done:
	case <-time.After(pause):
	}
}

// tell runs f on the stream, with the host's time, and wakes the consumer.
func (s *source) tell(f func(at float64)) {
	s.mu.Lock()
	f(time.Since(s.opened).Seconds())
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// over says that the source was closed or has failed.
func (s *source) over() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.closed || s.stream.err != nil
}

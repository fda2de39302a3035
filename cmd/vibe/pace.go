package main

import (
	"fmt"
	"strconv"
	"sync"
	"time"

	"vibe/sensor"
)

// pace is how many seconds of a recording pass in one: 1 is as it was. 0 is as fast as can
// be.
type pace float64

// parsePace reads a number above zero, or max.
func parsePace(s string) (pace, error) {
	if s == "max" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= 0.01 && v <= 1e4) {
		return 0, hintf("1 is as it was recorded, 10 is ten times as fast, max is without waiting", "%q is no pace", s)
	}
	return pace(v), nil
}

// String writes the pace as parsePace reads it.
func (p pace) String() string {
	if p == 0 {
		return "max"
	}
	return fmt.Sprintf("%g", float64(p))
}

// paced lets the blocks of another source come when they are due.
type paced struct {
	sensor.Source
	pace  pace
	start time.Time // when second 0 would have been due: the first sample is at once
	beat  sensor.Beat
	rest  sensor.Block // of a block of Source, not yet due

	once   sync.Once
	closed chan struct{}
}

func newPaced(src sensor.Source, p pace) *paced {
	return &paced{Source: src, pace: p, closed: make(chan struct{})}
}

// Next implements sensor.Source.
func (p *paced) Next() (sensor.Block, error) {
	if len(p.rest.T) == 0 {
		b, err := p.Source.Next()
		if err != nil {
			return b, err
		}
		if len(b.T) == 0 { // only something to say
			return b, nil
		}
		p.rest = b
	}
	if p.start.IsZero() {
		p.start = time.Now().Add(-p.lasts(p.rest.T[0]))
	}
	b := p.cut()
	due := p.start.Add(p.lasts(b.T[len(b.T)-1]))
	timer := time.NewTimer(time.Until(due))
	defer timer.Stop()
	select {
	case <-p.closed:
	case <-timer.C:
		return b, nil
	}
	p.rest = sensor.Block{}
	return p.Source.Next() // which says that it is closed
}

// lasts is how long so many seconds of the recording take.
func (p *paced) lasts(s float64) time.Duration {
	return time.Duration(s / float64(p.pace) * float64(time.Second))
}

// Began is that of the other source, where it knows.
func (p *paced) Began() (at time.Time, known bool) {
	if file, ok := p.Source.(dater); ok {
		return file.Began()
	}
	return at, false
}

// cut takes the first piece off the rest: up to the sample that ends a reading, or the last
// before a hole. A slow pace has more pieces, as silence would mean that the sensor is gone. What
// the source says of the whole comes with the first.
func (p *paced) cut() sensor.Block {
	b := p.rest
	p.beat.See(b.T[0])
	n, beat, most := 1, p.beat.After(b.T[0]), sensor.Every*min(float64(p.pace), 1)
	for n < len(b.T) && b.T[n-1] < beat && b.T[n]-b.T[0] < most {
		p.beat.See(b.T[n])
		n++
	}
	b, p.rest = cutAt(b, n)
	return b
}

// Close implements sensor.Source.
func (p *paced) Close() error {
	p.once.Do(func() { close(p.closed) })
	return p.Source.Close()
}

package main

// The way of the data, the same for a file, standard input, the demo, live work and the
// lathe to play with:
//
//  1. sensor.Source.Next gives a Block: times in s, one column an axis in m/s².
//  2. dsp.Tracker.Add turns it into Revolutions, four a second: the line that turns once
//     per revolution, with its standard errors and what is wrong with it.
//  3. assess.Read turns each into a Reading: the one place where Hz becomes rpm and m/s²
//     becomes mm/s.
//  4. assess.Adviser.See takes every Reading, good or bad, and answers with Advice. Its
//     clock is the end of the reading's window, when it can be said; the middle, which the
//     reading is about, steps back where a window grows.
//  5. see hands Reading and Advice on: to the terminal's report, or to JSON.
//
// Nothing is skipped on this way: a reading that may not be used carries its faults to the
// end, and it is the adviser that decides what it means. What the tracker cannot know, such
// as the range of the sensor, comes with the first block.
//
// Live, all of it is one goroutine, each block kept before it is analysed. A file is read in
// four, each ahead of the next, which changes nothing but the time that it takes.

import (
	"errors"
	"io"
	"iter"
	"slices"
	"sync"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// step is one of a way through the first half: a block, before it is analysed, with what a scout saw in it, or the
// revolutions that came of it. The error is the last, that of the source.
type step struct {
	sensor.Block
	glances     []dsp.Glance
	revolutions []dsp.Revolution
	err         error
}

// blocks are those of src, and its error.
func blocks(src sensor.Source) iter.Seq[step] {
	return func(yield func(step) bool) {
		for {
			b, err := src.Next()
			if !yield(step{Block: b, err: err}) || err != nil {
				return
			}
		}
	}
}

// scouted adds to each block what the scout sees in it.
func scouted(blocks iter.Seq[step], scout *dsp.Scout) iter.Seq[step] {
	return func(yield func(step) bool) {
		for s := range blocks {
			if len(s.T) > 0 {
				s.glances = scout.Add(s.T, s.Axes)
			}
			if !yield(s) {
				return
			}
		}
	}
}

// track puts in behind each block what the tracker makes of it.
func track(blocks iter.Seq[step], tracker *dsp.Tracker) iter.Seq[step] {
	return func(yield func(step) bool) {
		made := func(r []dsp.Revolution) bool {
			return len(r) == 0 || yield(step{revolutions: slices.Clone(r)})
		}
		for s := range blocks {
			if errors.Is(s.err, io.EOF) && !made(tracker.Flush()) {
				return
			}
			if tracker.Range == 0 {
				tracker.Range = s.Range
			}
			if !yield(s) || len(s.T) > 0 && !made(tracker.Add(s.T, s.Axes, s.glances...)) {
				return
			}
		}
	}
}

// ahead is the same steps, made in a goroutine of its own before they are asked for.
func ahead(steps iter.Seq[step]) iter.Seq[step] {
	const few = 8 // chosen: with fewer the goroutines wait for each other more than they work, with more the caches do not hold what waits
	return func(yield func(step) bool) {
		made, over := make(chan step, few), make(chan struct{})
		var making sync.WaitGroup
		making.Go(func() {
			defer close(made)
			for s := range steps {
				select {
				case made <- s:
				case <-over:
					return
				}
			}
		})
		for s := range made {
			if !yield(s) {
				break
			}
		}
		close(over)
		making.Wait() // not in a panic: what it waits for may never come
	}
}

// loop runs src to its end. block sees every block before it is analysed, see every
// reading with the advice that followed from it. The error is that of src, nil at io.EOF.
func loop(src sensor.Source, tracker *dsp.Tracker, adviser *assess.Adviser,
	block func(sensor.Block), see func(assess.Reading, assess.Advice)) error {
	return advise(track(blocks(src), tracker), adviser, block, see)
}

// hurry is loop for a source that does not wait, and callbacks that leave the tracker alone.
func hurry(src sensor.Source, tracker *dsp.Tracker, adviser *assess.Adviser,
	block func(sensor.Block), see func(assess.Reading, assess.Advice)) error {
	steps := ahead(scouted(ahead(blocks(src)), tracker.Scout()))
	return advise(ahead(track(steps, tracker)), adviser, block, see)
}

// advise is the second half of the way.
func advise(steps iter.Seq[step], adviser *assess.Adviser,
	block func(sensor.Block), see func(assess.Reading, assess.Advice)) error {
	for s := range steps {
		switch {
		case errors.Is(s.err, io.EOF):
			return nil
		case s.err != nil:
			return s.err
		case s.revolutions == nil:
			block(s.Block)
		}
		for _, r := range s.revolutions {
			reading := assess.Read(r)
			heard := reading
			heard.T += heard.Span / 2
			see(reading, adviser.See(heard))
		}
	}
	return nil
}

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

import (
	"errors"
	"io"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// loop runs src to its end. block sees every block before it is analysed, see every
// reading with the advice that followed from it. The error is that of src, nil at io.EOF.
func loop(src sensor.Source, tracker *dsp.Tracker, adviser *assess.Adviser,
	block func(sensor.Block), see func(assess.Reading, assess.Advice)) error {
	pass := func(revolutions []dsp.Revolution) {
		for _, r := range revolutions {
			reading := assess.Read(r)
			heard := reading
			heard.T += heard.Span / 2
			see(reading, adviser.See(heard))
		}
	}
	for {
		b, err := src.Next()
		if errors.Is(err, io.EOF) {
			pass(tracker.Flush())
			return nil
		}
		if err != nil {
			return err
		}
		if tracker.Range == 0 {
			tracker.Range = b.Range
		}
		block(b)
		if len(b.T) > 0 {
			pass(tracker.Add(b.T, b.Axes))
		}
	}
}

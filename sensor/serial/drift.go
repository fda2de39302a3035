package serial

import (
	"fmt"
	"math"
)

// drift compares the board's clock with the host's. A line arrives late by a little and never
// early, so of each window the least delay counts.
type drift struct {
	windows int     // that have ended
	start   float64 // host time at which the first began
	end     float64 // host time at which this one ends
	least   float64 // delay in s in this window
	first   float64 // least delay of the first window
}

const (
	// window of host time in s (chosen: USB and the scheduler delay lines by some ms, and
	// in so many lines one comes at once, so a least delay is good to about 1 ms).
	window = 3.0
	// after so many windows the drift is good to about 1 ms in 30 s, 0.003 %, and is told.
	enough = 10
	// gross is a drift that no crystal or resonator has (ceramic ones: 0.5 %).
	gross = 0.02
)

// add takes a line of board time t that came at host time at, both in s, and returns what is
// to be said, if anything: a gross drift after two windows, the drift after enough of them.
func (d *drift) add(t, at float64) (note string) {
	delay := at - t
	if d.end == 0 {
		*d = drift{start: at, end: at + window, least: delay}
	}
	if at < d.end {
		d.least = math.Min(d.least, delay)
		return ""
	}
	least := d.least
	d.end, d.least = at+window, delay
	d.windows++
	if d.windows == 1 {
		d.first = least
		return ""
	}
	slow := (least - d.first) / (at - window - d.start)
	switch {
	case d.windows == 2 && math.Abs(slow) > gross:
		return fmt.Sprintf("the board's clock runs at %.3g of this computer's: every speed is off by that factor, unless the board is a simulated one", 1-slow)
	case d.windows == enough+1 && math.Abs(slow) <= gross:
		pace, speeds := "slow", "high"
		if slow < 0 {
			pace, speeds = "fast", "low"
		}
		return fmt.Sprintf("the board's clock runs %.3f %% %s against this computer's: speeds read so much too %s", 100*math.Abs(slow), pace, speeds)
	}
	return ""
}

package sensor

import (
	"fmt"
	"math"
)

// Drift compares the clock of a sensor with that of this computer. What a sensor sends
// arrives late by a little and never early, so of each window the least delay counts. The
// zero value is ready; a sensor whose clock was set anew, or whose way here is another one,
// needs a new Drift.
type Drift struct {
	windows int     // that have ended
	start   float64 // host time at which the first began
	end     float64 // host time at which this one ends
	least   float64 // delay in s in this window
	first   float64 // least delay of the first window
	pace    float64 // seconds of the sensor in one of this computer's, after two windows
}

const (
	// window of host time in s (chosen: USB and the scheduler delay lines by some ms, and
	// in so many lines one comes at once, so a least delay is good to about 1 ms).
	window = 3.0
	// enough windows tell the drift to about 1 ms in 30 s, 0.003 %.
	enough = 10
	// gross is a drift that no crystal or resonator has (ceramic ones: 0.5 %).
	gross = 0.02
	// none is a drift of which there is nothing to say (chosen: three times what enough windows
	// tell).
	none = 1e-4
)

// Add takes a sample of sensor time t that came at host time at, both in s and neither going
// back, and returns what is to be said of the clock of who ("the board"), if anything: a gross
// drift after two windows, the drift after enough of them.
func (d *Drift) Add(who string, t, at float64) (note string) {
	delay := at - t
	if d.end == 0 {
		*d = Drift{start: at, end: at + window, least: delay}
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
	if d.windows == 2 {
		d.pace = 1 - slow
	}
	switch {
	case d.windows == 2 && math.Abs(slow) > gross:
		return fmt.Sprintf("%s's clock runs at %.3g of this computer's: every speed is off by that factor, unless it is a simulated one", who, d.pace)
	case d.windows == enough+1 && math.Abs(slow) < none:
		return fmt.Sprintf("%s's clock and this computer's agree within %.3g %%", who, 100*none)
	case d.windows == enough+1 && math.Abs(slow) <= gross:
		pace, speeds := "slow", "high"
		if slow < 0 {
			pace, speeds = "fast", "low"
		}
		return fmt.Sprintf("%s's clock runs %.3f %% %s against this computer's: speeds read so much too %s", who, 100*math.Abs(slow), pace, speeds)
	}
	return ""
}

// Pace is how many seconds the sensor's clock makes in one of this computer's, to a few
// percent; 0 before two windows have ended.
func (d *Drift) Pace() float64 { return d.pace }

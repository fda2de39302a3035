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
	late lag
	pace float64 // seconds of the sensor in one of this computer's, after two windows
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
	grown, elapsed := d.late.add(at, at-t, window)
	if elapsed == 0 {
		return ""
	}
	slow := grown / elapsed
	if d.late.windows == 2 {
		d.pace = 1 - slow
	}
	switch {
	case d.late.windows == 2 && math.Abs(slow) > gross:
		return fmt.Sprintf("%s's clock runs at %.3g of this computer's: every speed is off by that factor, unless it is a simulated one", who, d.pace)
	case d.late.windows == enough+1 && math.Abs(slow) < none:
		return fmt.Sprintf("%s's clock and this computer's agree within %.3g %%", who, 100*none)
	case d.late.windows == enough+1 && math.Abs(slow) <= gross:
		pace, speeds := "slow", "high"
		if slow < 0 {
			pace, speeds = "fast", "low"
		}
		return fmt.Sprintf("%s's clock runs %.3f %% %s against this computer's: speeds read so much too %s", who, 100*math.Abs(slow), pace, speeds)
	}
	return ""
}

// lag is the least delay of each window of time: what comes late at times and never early is best known by that. The
// zero value is ready.
type lag struct {
	windows    int     // that have ended
	start, end float64 // s, of the first and of this one
	least      float64 // s, delay in this one
	first      float64 // s, least delay of the first
}

// add takes a delay at a time, both in s, and the length of a window, and returns, where one has ended that is not the first, by how
// much the least delay has grown since that, and in what time; else 0.
func (l *lag) add(at, delay, length float64) (grown, elapsed float64) {
	switch {
	case l.end == 0:
		*l = lag{start: at, end: at + length, least: delay}
	case at < l.end:
		l.least = min(l.least, delay)
	default:
		if l.windows == 0 {
			l.first = l.least
		} else {
			grown, elapsed = l.least-l.first, at-length-l.start
		}
		l.windows, l.end, l.least = l.windows+1, at+length, delay
	}
	return grown, elapsed
}

// Pace is how many seconds the sensor's clock makes in one of this computer's, to a few
// percent; 0 before two windows have ended.
func (d *Drift) Pace() float64 { return d.pace }

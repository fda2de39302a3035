package serial

import (
	"math"
	"time"

	"vibe/sensor"
)

// looks says when to read. Each read wakes the computer, which costs more than the samples that
// it brings; but who waits for a sample should have it at once. So reads follow the beat of
// readings closely, and between two beats there are as few as the wire allows.
type looks struct {
	parts float64 // of a beat, with a read at the end of each
	bytes int     // since the sample of the time since
	since float64 // s
	due   float64 // s, time of the sample that ends a reading, which must have come; 0 none
	tries int     // reads since then that did not bring it
}

const (
	mostParts = 20
	settle    = 0.002 // s that a sample is given to arrive (chosen: USB sends each ms)
	retry     = 0.004 // s to the next read, where it has not (chosen)
	mostTries = 15    // of them: longer than any step between two samples
)

// next is how long to leave the wire alone after a read of n bytes, when the newest sample is of
// the time newest, s. Parts are as long as the wire could hold twice what comes in one.
func (l *looks) next(n int, newest float64, beat *sensor.Beat) time.Duration {
	l.bytes += n
	if newest < l.due && l.tries < mostTries {
		l.tries++
		return seconds(retry)
	}
	parts, passed := float64(mostParts), newest-l.since
	if passed > 0 {
		parts = math.Ceil(float64(l.bytes) / full * sensor.Every / passed)
	}
	l.parts = min(max(parts, l.parts/2, 1), mostParts) // never much longer at once: more may come
	l.bytes, l.since, l.due, l.tries = 0, newest, 0, 0
	if passed <= 0 { // what comes is no samples
		return seconds(sensor.Every / mostParts)
	}
	due := beat.After(newest)
	const odd = 0.2 // of a part, that the last one may be longer
	// More than one is left only to keep the wire from running over.
	if left := math.Ceil((due-newest)/sensor.Every*l.parts - odd); left > 1 {
		return seconds((due - newest) / left)
	}
	l.due = due
	return seconds(due - newest + settle)
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

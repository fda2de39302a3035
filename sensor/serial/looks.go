package serial

import (
	"math"
	"time"
)

// looks says when to read. Each read wakes the computer, which costs more than the samples that
// it brings; but who waits for a sample should have it at once. Readings of the line end at
// multiples of a twentieth of a second after the first sample, so reads follow those closely,
// and between them as little as can be is read.
type looks struct {
	piece float64 // s from one read to the next, a twentieth, halved so often; 0 before the first
	due   float64 // s, time of the sample that completes a twentieth; it must have come
	tries int     // reads since then that did not bring it
}

const (
	twentieth     = 0.05 // s (chosen: all times at which a reading may end are multiples of it)
	shortestPiece = 0.0125
	settle        = 0.002 // s that a sample is given to arrive (chosen: USB sends each ms)
	retry         = 0.004 // s to the next read, where it has not (chosen)
	mostTries     = 5     // of them: what comes may be no samples
	hole          = 0.5   // s without samples, after which twentieths are counted anew (chosen, as
	// for readings)
)

// next is how long to leave the wire alone after a read of n bytes, when the newest sample is
// of the time newest and the twentieths are counted from the time from, all in s. Pieces are as
// long as the wire could hold more than twice what comes in one.
func (l *looks) next(n int, newest, from float64) time.Duration {
	const rounding = 1e-6 // s, by which a sample at the very twentieth may fall short of it
	switch {
	case l.piece == 0:
		l.piece = shortestPiece
	case newest < l.due+rounding && l.tries < mostTries:
		l.tries++
		return seconds(retry)
	case n >= full:
		l.piece = max(l.piece/2, shortestPiece)
	case n <= full*3/8:
		l.piece = min(2*l.piece, twentieth)
	}
	past := func(piece float64) float64 { return from + piece*(math.Floor((newest-from+rounding)/piece)+1) }
	l.due, l.tries = past(twentieth), 0
	if soon := past(l.piece); soon < l.due-rounding {
		l.due = 0 // only to keep the wire from running over
		return seconds(soon - newest)
	}
	return seconds(min(l.due-newest, l.piece) + settle)
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

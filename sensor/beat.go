package sensor

import "math"

// Beat tells at which times, on the clock of the samples, a reading of a lathe ends: 0.7 s after
// the first sample and each quarter of a second from there, and after a hole each quarter of a
// second from its end. Whoever hands over samples just then wakes the computer seldom, and lets
// no reading wait. Samples whose values stood still for long may bring readings between two
// beats. The zero value has seen no sample.
type Beat struct {
	begun        bool
	origin, last float64
}

// Every is the time from one beat to the next, s.
const Every = 0.25

// See takes the time of the next sample, s.
func (b *Beat) See(t float64) {
	const (
		first = 0.7 // s from the first sample to the first beat
		hole  = 0.5 // s without samples, after which beats are counted anew
	)
	switch {
	case !b.begun:
		b.begun, b.origin = true, t+first
	case t-b.last > hole:
		b.origin = t
	}
	b.last = t
}

// After returns the first time after t, s, at which a sample certainly lies beyond a beat: one at
// the very beat may fall short of it by rounding.
func (b *Beat) After(t float64) float64 {
	origin := b.origin + 1e-6 // s
	return origin + Every*(math.Floor((t-origin)/Every)+1)
}

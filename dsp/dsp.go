// Package dsp finds the line that turns once per revolution in the samples of an
// accelerometer, follows it, and says how well it is known.
//
// It takes plain slices of times (s) and columns (m/s²) and knows no lathe and no wood.
// Nothing here starts a goroutine or holds a lock: a Tracker is not safe for concurrent use.
package dsp

import (
	"fmt"
	"math"
)

// Fault is a code for something wrong with a Revolution, as printed in JSON.
type Fault string

// The faults. Those marked * forbid a number: the Revolution is not OK.
const (
	NoTurn   Fault = "no-turn"  // * nothing turns
	Weak     Fault = "weak"     // * the line does not stand clear of the noise
	Changing Fault = "changing" // * speed not settled
	Clipped  Fault = "clipped"  // * range of the sensor reached
	Stuck    Fault = "stuck"    // * the same value again and again
	Gap      Fault = "gap"      // samples missing; * from 30 % of the window on, or where a hole leaves too few
	Coarse   Fault = "coarse"   // * the sensor's step is larger than the line
	Folded   Fault = "folded"   // the line may lie above what this sample rate can see; * unless the dial says which it is
	Doubtful Fault = "doubtful" // * another line explains the data as well
)

// Revolution is the once-per-turn line over one window of samples.
//
// Amplitudes are m/s² peak. Phasor p on axis i means Re(pᵢ·exp(2πi·Freq·(t−Time))).
// With OK false and Freq > 0 the numbers are an estimate to be shown greyed, never used.
type Revolution struct {
	Time float64 // s, middle of the window, on the clock of the samples
	Span float64 // s, length of the window
	OK   bool    // the numbers may be used

	Freq   float64 // Hz; 0 is unknown
	FreqSE float64 // Hz, standard error
	Drift  float64 // Hz/s, rate of change of Freq in the window

	Axes      int              // axes in the data, 1 to 3; the phasors of the others are 0
	Phasor    [3]complex128    // once per turn
	Multiples [4][3]complex128 // 2 to 5 times per turn
	Seen      int              // multiples in the fit, 0 to 4: the first Seen of Multiples
	// Amp is the amplitude in the worst direction, √((|p|² + |p·p|)/2) less what noise adds to it on the mean; AmpSE its
	// standard error; MultipleAmp the same of the multiples.
	Amp, AmpSE  float64
	MultipleAmp [4]float64
	// Floor is the standard error of an amplitude that noise, the sensor's step and the
	// length of the window allow at this frequency. These four are 0 where no line was fitted.
	Floor float64

	// Total is the broadband velocity in m/s rms, all axes together, over Band in Hz
	// (10–1000 Hz or as far as the sensor can see). 0 when the band is empty.
	Total float64
	Band  [2]float64
	// Crest is peak over rms of what is left when the line and its multiples are taken
	// out, of the axis where it is largest; knocks make it large (the mean for 1000 samples of
	// Gaussian noise on one axis is 3.44). 0 is unknown.
	Crest float64

	Rate float64 // Hz, true rate of fresh samples in the window
	Step float64 // m/s², step between neighbouring values, 0 if none was found
	// Rival is the frequency in Hz of the best other explanation, or, with NoTurn, of a line that is
	// plain but outside of Low to High; 0 if there is none worth naming.
	Rival float64

	Faults []Fault
	// Warnings are reservations in words that a turner can use.
	Warnings []string
}

// Has reports whether r carries fault f.
func (r Revolution) Has(f Fault) bool {
	for _, g := range r.Faults {
		if g == f {
			return true
		}
	}
	return false
}

// Tracker finds and follows the once-per-turn line. Set the fields before the first Add.
// The zero value searches 1 to 70 Hz with no hint.
type Tracker struct {
	// Low and High bound the search, Hz, inclusive. Zero means 1 and 70.
	Low, High float64
	// Hint is the frequency in Hz that the dial or pulley claims, 0 if unknown. The
	// search then stays within 8 % of it.
	Hint float64
	// Steps are the speeds that the pulleys allow, Hz; nil for any. With no Hint a line further than 8 % from all
	// of them is not the spindle's.
	Steps []float64
	// Range is the largest magnitude that the sensor can show, m/s², 0 if unknown.
	Range float64

	state
}

// Add takes the next samples, t in s strictly increasing and one to three columns in
// m/s², all of one length, and returns the revolutions that are complete with them,
// four a second of data, oldest first, good until the next call. The slices are not kept. Samples that are not
// finite, are 1e9 or more, or whose time does not come after the last one's, are passed over: give times since the start.
// ahead is what a Scout of this Tracker has made of the same samples, if there is one.
// It panics if a field is not finite, if the lengths differ, if there are no or more than three columns, or if their
// number changes.
func (tr *Tracker) Add(t []float64, axes [][]float64, ahead ...Glance) []Revolution {
	tr.check(t, axes)
	tr.ahead = append(tr.ahead[:0], ahead...)
	out := tr.out[:0]
	for u := range tr.due(t, axes) {
		if rev, ok := tr.reading(u); ok {
			out = append(out, rev)
		}
	}
	for _, g := range tr.ahead {
		g.scout.spare.Put(g.look)
	}
	tr.ahead, tr.out = tr.ahead[:0], out
	return out
}

// absurd times (s) and accelerations (m/s²) are passed over like those that are not finite:
// 30 years, a hundred million g. Chosen: their squares must not overflow.
const absurd = 1e9

func (tr *Tracker) check(t []float64, axes [][]float64) {
	for _, v := range [...]float64{tr.Low, tr.High, tr.Hint, tr.Range} {
		if !(math.Abs(v) < absurd) {
			panic(fmt.Sprintf("dsp: Add with a field of %g", v))
		}
	}
	for _, v := range tr.Steps {
		if !(math.Abs(v) < absurd) {
			panic(fmt.Sprintf("dsp: Add with a step of %g", v))
		}
	}
	tr.ear.check(t, axes)
	tr.slowest, _ = tr.bounds()
	if !tr.begun {
		tr.topped.at = math.Inf(-1)
	}
}

// Flush returns what the last samples allow when no more will come: one Revolution if Add
// has returned none so far and there are any samples, else nothing.
func (tr *Tracker) Flush() []Revolution {
	if tr.made || len(tr.levels) == 0 || len(tr.levels[0].t) == 0 {
		return nil
	}
	base := &tr.levels[0]
	now := base.t[len(base.t)-1]
	tr.made = true
	if tr.learn() {
		tr.climb(now)
		tr.hear(now)
		tr.forget()
		return []Revolution{tr.revolution(now)}
	}
	span := now - base.t[0]
	return []Revolution{{Axes: tr.axes, Time: now - span/2, Span: span, Faults: []Fault{Gap}}}
}

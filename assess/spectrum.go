package assess

import (
	"math"

	"vibe/dsp"
)

// Spectrum is how hard the headstock moves at each speed of turning, for a picture: what moves
// it once per turn of the spindle stands at the spindle's speed, its multiples beyond, belt and
// motor beside.
type Spectrum struct {
	First RPM       // of the first value
	Step  RPM       // from one to the next
	Shake []float64 // mm/s rms, all axes together; a line can show up to 15 % low, see dsp.Amplitudes
}

// slowestShown is where a spectrum begins, Hz (chosen: below it velocity is made of drift).
const slowestShown = 1.0

// SpectrumOf is the spectrum of samples, as dsp.Amplitudes takes them, up to a speed:
// each shake is 1000·a/(2πf)/√2, as in Read. It is empty where there are too few of them.
func SpectrumOf(t []float64, axes [][]float64, upTo RPM) Spectrum {
	df, amp := dsp.Amplitudes(t, axes)
	if len(amp) == 0 {
		return Spectrum{}
	}
	// The window and the slope that is taken out leave nothing true in the first two bins.
	from := max(3, int(math.Ceil(slowestShown/df)))
	s := Spectrum{First: Turns(float64(from) * df), Step: Turns(df)}
	for k := from; k < len(amp) && Turns(float64(k)*df) <= upTo; k++ {
		s.Shake = append(s.Shake, shakeOf(amp[k], float64(k)*df))
	}
	return s
}

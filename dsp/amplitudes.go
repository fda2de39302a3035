package dsp

import (
	"fmt"
	"math"
)

// Amplitudes returns the one-sided amplitude spectrum of samples at times t, s, strictly
// increasing, in one to three columns of one length: amp[k] stands at k·df Hz, the peak
// amplitude of a sine there in the unit of x, all axes together (root of the sum of their
// squares). It ends at half the rate of the samples. The mean and a slope are taken out before, with a periodic Hann window after:
//
//	amp = √(2·1.5·P/T), P the power spectral density, T the length of the window in s
//
// (coherent gain 0.5, noise bandwidth 1.5 bins: Harris, Proc. IEEE 66 (1978), Table 1), so a
// line on a bin reads true and one between two bins up to 15 % low (scallop loss 1.42 dB, the
// same table): for a picture, not to measure with. It is empty below 24 samples. Amplitudes
// panics as Tracker.Add does. The slices returned are the caller's.
func Amplitudes(t []float64, axes [][]float64) (df float64, amp []float64) {
	if len(axes) == 0 || len(axes) > 3 {
		panic(fmt.Sprintf("dsp: %d axes", len(axes)))
	}
	for _, x := range axes {
		if len(x) != len(t) {
			panic(fmt.Sprintf("dsp: %d values at %d times", len(x), len(t)))
		}
	}
	n := len(t)
	if n < fewest {
		return 0, nil
	}
	steps := make([]float64, n-1)
	for i := range steps {
		steps[i] = t[i+1] - t[i]
	}
	step := median(steps) // which a gap does not move
	var power [3][]float64
	df = new(spectrum).density(t, axes, 1/step, uneven*step, &power)
	amp = make([]float64, min(len(power[0]), int(0.5/step/df)+1))
	seconds := (t[n-1] - t[0]) * float64(n) / float64(n-1)
	for k := range amp {
		sum := 0.0
		for a := range axes {
			sum += power[a][k]
		}
		amp[k] = math.Sqrt(2 * 1.5 * sum / seconds)
	}
	return df, amp
}

// uneven is how far, in steps, the times of a picture may stray from an even grid and still be
// counted (chosen: at a quarter of the rate that costs 0.4 % of a line's amplitude).
const uneven = 0.05

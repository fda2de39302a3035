package dsp

import "math"

// circle fills cos and sin with those of the phase 2π(f·τ + ½·drift·τ²) at the times tau. Where even says that those stand on
// an even grid each is the one before, turned: by a turn that itself turns.
func circle(cos, sin, tau []float64, f, drift float64, even bool) {
	const anew = 32 // samples, then from the phase itself. Chosen: rounding adds up to 1e-14 by then
	phase := func(u float64) float64 { return 2 * math.Pi * u * (f + drift/2*u) }
	n := len(tau)
	cos, sin = cos[:n], sin[:n]
	if !even {
		for i, u := range tau {
			sin[i], cos[i] = math.Sincos(phase(u))
		}
		return
	}
	dt := (tau[n-1] - tau[0]) / float64(n-1)
	bendIm, bendRe := math.Sincos(2 * math.Pi * drift * dt * dt)
	for from := 0; from < n; from += anew {
		u := tau[from]
		im, re := math.Sincos(phase(u))
		turnIm, turnRe := math.Sincos(phase(u+dt) - phase(u))
		for i := from; i < min(from+anew, n); i++ {
			cos[i], sin[i] = re, im
			re, im = re*turnRe-im*turnIm, re*turnIm+im*turnRe
			turnRe, turnIm = turnRe*bendRe-turnIm*bendIm, turnRe*bendIm+turnIm*bendRe
		}
	}
}

// isEven reports whether the times t are so even that circle may count them: no line below half their rate is then off by more than
// a millionth of a half turn.
func isEven(t []float64) bool {
	n := len(t)
	return n > 2 && onGrid(t, (t[n-1]-t[0])/float64(n-1), 1e-6)
}

// turn multiplies each re + i·im by cos + i·sin.
func turn(re, im, cos, sin []float64) {
	im, cos, sin = im[:len(re)], cos[:len(re)], sin[:len(re)]
	for i, r := range re {
		re[i], im[i] = r*cos[i]-im[i]*sin[i], r*sin[i]+im[i]*cos[i]
	}
}

package dsp

import "math"

// clean takes out of look l, of the samples t, x, what its strongest lines spread over it where samples are missing or
// their times uneven, and reports whether it did. That is noise, but the same on all axes, of which thresholds count
// each anew, and it covers what stands there. A fit at the samples' own times has no part in it: beside those lines
// the spectrum becomes that of what the fit leaves.
func (tr *Tracker) clean(l *look, t []float64, x [][]float64, stray float64) bool {
	const lobe = 2.0 // widths 1/seconds from the middle of a Hann line to its first zero

	if 1/tr.dt < unfiltered || !tr.spilling(l, t) { // where lines fold, which is which is asked elsewhere
		return false
	}
	s := &tr.probe
	s.t, s.x, s.drift = t, append(s.x[:0], x...), 0
	s.ks, s.steers = append(s.ks[:0], 1), [maxTooth + 1]bool{1: true}
	for a := range tr.axes {
		s.weight[a] = 1
	}
	if !s.run(false) {
		return false
	}
	rest := &tr.under
	tr.spectrum.density(t, s.residual[:tr.axes], l.rate, stray, &rest.power)
	own := func(f float64) bool {
		near := math.Abs(f - s.f)
		for _, g := range s.foreign {
			near = min(near, math.Abs(f-g))
		}
		return near*l.seconds < lobe
	}
	for k := range l.power[0] {
		if own(float64(k) * l.df) {
			continue
		}
		for a := range l.axes {
			l.power[a][k] = rest.power[a][k]
		}
	}
	return true
}

// spilling starts the probe with the lines of l that uneven or missing times t spread over it, the strongest first, and
// reports whether there are any.
func (tr *Tracker) spilling(l *look, t []float64) bool {
	const (
		most   = 4     // lines beside the strongest
		little = 0.2   // of the noise there is without it. Chosen
		least  = 0.002 // of the line's amplitude, in a bin: what is smaller is no rival of anything. Chosen
	)
	if l.off <= 1e-3*l.seconds/float64(len(t)-1) {
		return false
	}
	dt := l.seconds / intervals(t, 1/l.rate)
	spread, _ := unevenness(t, dt, 1)
	missing := 1 - float64(len(t)-1)*dt/l.seconds
	s, strongest := &tr.probe, 0.0
	s.f, s.foreign = 0, s.foreign[:0]
	for p := range l.lines(plain*thresholds[l.axes], 1.5*l.df, 0.45*l.rate) {
		turned := 4 * math.Pi * p.f * spread // between a line and its image, which an even grid does not tell apart
		share := missing + turned*turned
		k, spills := int(math.Round(p.f/l.df)), tr.struck // what is missing at once stays beside the line
		for a := range l.axes {
			// So much of a line's power becomes noise, spread from 0 to rate/2.
			noise := 1.5 * l.power[a][k] * l.df * share / (l.rate / 2)
			spills = spills || noise > little*l.noise[a][k]
		}
		if !spills || !tr.struck && share/float64(len(t)/2) < least*least {
			continue
		}
		f := p.f
		if l.strength(f) > strongest {
			strongest, s.f, f = l.strength(f), f, s.f
		}
		if f > 0 && len(s.foreign) < most {
			s.foreign = append(s.foreign, f)
		}
	}
	return strongest > 0
}

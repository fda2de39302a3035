package dsp

import "math"

// clean takes out of look l, of the samples t, x, what its strongest lines leave all over it where samples are missing or
// their times uneven: noise that is the same on all axes, so that what is a chance in a thousand million on one axis is one in a hundred,
// and that covers what stands there. It reports whether it did. A fit at the samples' own times has no part in it: the spectrum beside those lines is that of what it leaves.
func (tr *Tracker) clean(l *look, t []float64, x [][]float64, stray float64) bool {
	const (
		most   = 4   // lines
		little = 0.2 // of the noise there is without it. Chosen
		lobe   = 2.5 // widths 1/seconds, half of what a Hann line covers
	)
	if 1/tr.dt < unfiltered { // where lines fold, which is which is asked elsewhere
		return false
	}
	dt := l.seconds / intervals(t, 1/l.rate)
	if onGrid(t, dt) {
		return false
	}
	spread, _ := unevenness(t, dt, 1)
	missing := 1 - float64(len(t)-1)*dt/l.seconds
	s := &tr.probe
	s.foreign = s.foreign[:0]
	strongest := 0.0
	for p := range l.lines(plain*thresholds[l.axes], 1.5*l.df, 0.45*l.rate) {
		turned := 4 * math.Pi * p.f * spread // of a line and its image, which an even grid does not tell apart
		share := missing + turned*turned
		leaks := false
		for a := range l.axes {
			k := int(math.Round(p.f / l.df))
			// Of a line of power P a share so large becomes noise from 0 to rate/2.
			leaks = leaks || 1.5*l.power[a][k]*l.df*share*2/l.rate > little*l.noise[a][k]
		}
		switch {
		case !leaks:
		case l.strength(p.f) > strongest:
			if strongest > 0 && len(s.foreign) < most {
				s.foreign = append(s.foreign, s.f)
			}
			strongest, s.f = l.strength(p.f), p.f
		case len(s.foreign) < most:
			s.foreign = append(s.foreign, p.f)
		}
	}
	if strongest == 0 {
		return false
	}
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
		for _, g := range s.foreign {
			if math.Abs(f-g)*l.seconds < lobe {
				return true
			}
		}
		return math.Abs(f-s.f)*l.seconds < lobe
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

// onGrid reports whether the times t stand every dt s, within a thousandth.
func onGrid(t []float64, dt float64) bool {
	for i, u := range t {
		if math.Abs(u-t[0]-float64(i)*dt) > 1e-3*dt {
			return false
		}
	}
	return true
}

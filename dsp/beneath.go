package dsp

import (
	"math"
	"slices"
)

// beneath reports whether, when the line of the fit just made is taken out, another line within the dial's reach
// comes to light that is strong enough to be the spindle's. In a short look, or where samples are missing, a
// strong line covers it.
func (tr *Tracker) beneath(c hypothesis, now float64) bool {
	const (
		lost  = 0.002 // samples, from which share on a line spreads over all of a look. Chosen
		pair  = 3.0   // times the power of the other, from which on it is no pair. Chosen
		aside = 1.0   // widths 1/seconds beside a line from which on what is left is another's. Chosen
	)
	if tr.Hint == 0 || !tr.young() && tr.health.missing < lost {
		return false
	}
	s, p, l, rest := &tr.fit, &tr.probe, tr.shown[0], &tr.under
	seconds := max(s.span, min(l.seconds, tr.track.age())) // no longer than the speed has held
	if !tr.fitLine(p, l, s.f, s.drift, now, seconds, c.anchor, max(c.anchor, maxMultiple)) {
		return false
	}
	low, high := tr.bounds()
	known := len(p.foreign)
	p.foreign = slices.DeleteFunc(p.foreign, func(g float64) bool { return g >= low && g <= high })
	if len(p.foreign) < known && !p.run(true) {
		return false
	}
	rate := float64(len(p.t)) / p.span
	rest.axes, rest.rate, rest.seconds = tr.axes, rate, p.span
	rest.df = tr.spectrum.density(p.t, p.residual[:tr.axes], rate, 0.3/(2*math.Pi*high), &rest.power)
	tr.spectrum.whiten(rest, 10/p.span, high+10/p.span)
	amp, _ := worst(p.phasor[1], [3]float64{})
	own := amp / (2 * math.Pi * p.f * math.Sqrt2)
	for q := range rest.lines(thresholds[tr.axes], low, high) {
		// What comes in pairs, above and below, is a change of the line itself.
		paired := rest.strength(q.f) < pair*rest.strength(max(0, 2*p.f-q.f))
		if math.Abs(q.f-p.f)*p.span > aside && rest.velocity(q.f) > within*own && !paired {
			return true
		}
	}
	return false
}

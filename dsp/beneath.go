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
		aside = 1.0   // widths 1/seconds beside a line from which on what is left is another's. Chosen
	)
	if tr.Hint == 0 || !tr.young() && tr.health.missing < lost {
		return false
	}
	s, p, l := &tr.fit, &tr.probe, tr.shown[0]
	seconds := max(s.span, min(l.seconds, tr.track.age())) // no longer than the speed has held
	if !tr.fitLine(p, l, s.f, s.drift, now, seconds, c.anchor, max(c.anchor, maxMultiple)) {
		return false
	}
	low, high := tr.bounds()
	if !p.spare(func(g float64) bool { return g >= low && g <= high }) {
		return false
	}
	rest := tr.uncovered(p, high)
	amp, _ := worst(p.phasor[1], [3]float64{})
	own := amp / (2 * math.Pi * p.f * math.Sqrt2)
	for q := range rest.lines(thresholds[tr.axes], low, high) {
		if math.Abs(q.f-p.f)*p.span > aside && rest.velocity(q.f) > within*own && !rest.paired(q.f, p.f) {
			return true
		}
	}
	return false
}

// spare takes the foreign lines that are named out of the fit again, and fits anew if there were any. It reports whether
// there is a fit.
func (s *fit) spare(named func(f float64) bool) bool {
	known := len(s.foreign)
	s.foreign = slices.DeleteFunc(s.foreign, named)
	return len(s.foreign) == known || s.run(true)
}

// uncovered is the spectrum of what fit p leaves, for lines up to high Hz.
func (tr *Tracker) uncovered(p *fit, high float64) *look {
	rest, rate := &tr.under, float64(len(p.t))/p.span
	rest.axes, rest.rate, rest.seconds = tr.axes, rate, p.span
	rest.df = tr.spectrum.density(p.t, p.residual[:tr.axes], rate, 0.3/(2*math.Pi*high), &rest.power)
	tr.spectrum.whiten(rest, 10/p.span, high+10/p.span)
	return rest
}

// paired reports whether what is left at f has about its like on the other side of own: a change of the line that was
// there, and not another line.
func (l *look) paired(f, own float64) bool {
	const pair = 3.0 // times the power of the other, from which on it is none. Chosen
	return l.strength(f) < pair*l.strength(max(0, 2*own-f))
}

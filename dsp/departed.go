package dsp

import "math"

// departed reports whether the line that was followed stands in the end of the window no more, while another does that came up there,
// clear and steady: a step in speed too large for a fit to go along. It is asked where the fit just made left much over, or is another's.
func (tr *Tracker) departed(now, have float64) bool {
	const (
		less = 0.5 // of its amplitude: no cut takes that off in half a second. Chosen
		away = 1.2 // widths 1/seconds: nearer the one leaks into the other. Chosen
	)
	s, p, was := &tr.fit, &tr.probe, tr.track.clear
	odd := s.misfit > tr.change.most() || math.Abs(s.f-was.f) > stepping*s.f
	if !odd || tr.unseen() || now-was.at > longest || tr.since > was.at || least(was.f) > 0.9*s.span {
		return false
	}
	came := tr.newest(now, least(was.f), have)
	seconds := least(min(came.f, was.f))
	if came.f == 0 || seconds > have || !tr.fitLine(p, came.look, came.f, 0, now, seconds, 1, maxMultiple) {
		return false
	}
	amp, se := worst(p.phasor[1], p.variance())
	sure := se < tooWeak*amp && p.misfit < tr.change.most() && !p.changing()
	other := math.Abs(p.f-was.f)*p.span > away && !multiple(p.f, was.f) && !multiple(was.f, p.f)
	if !sure || !other || p.stranger(was.f)+3*se > less*was.amp {
		return false
	}
	tr.change.begin(tr.track.home, now)
	tr.change.from, tr.change.after = 0, p.middle-p.span/2
	return true
}

// newest returns the strongest line of the last seconds before now that is neither the mains' nor was there beside the spindle; f is 0 if
// there is none.
func (tr *Tracker) newest(now, seconds, have float64) (best peak) {
	low, high := tr.bounds()
	l := &tr.end
	if !tr.sketch(&tr.spectrum, l, now, seconds, have, high, false) {
		return best
	}
	for p := range l.lines(2*thresholds[l.axes], low, high) {
		if beside, _ := tr.bystander(p.f, 0.7*tr.looks[0].df); p.z > best.z && !beside && !isMains(p.f, 0) {
			best = p
		}
	}
	return best
}

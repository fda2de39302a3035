package dsp

import (
	"math"
	"slices"
)

// enough is the relative standard error of the amplitude at which a window is long enough:
// four of them are 5 %. Chosen.
const enough = 0.012

// partly: with no word of the dial either of two lines of which one is nearly a multiple of the other may be the spindle's, from this
// share of the velocity on. Chosen.
const partly = 0.1

// measure fits the line of hypothesis c over a window that ends now, as long as it needs to
// be, and fills in rev. It reports whether there is a fit.
func (tr *Tracker) measure(rev *Revolution, c hypothesis, now, have float64) bool {
	s := &tr.fit
	f, drift, seconds := tr.outset(c, now, have)
	fit := func() (excess float64, ok bool) {
		s.disputed, s.unsettled = false, false
		ok = tr.fitLine(s, c.look, f, drift, now, seconds, c.anchor, max(c.anchor, maxMultiple))
		led := ok && s.led()
		if ok && s.split() {
			s.disputed, s.unsettled = s.outdone(1) > 0 || tr.Hint == 0 && s.outdone(partly) > 0, s.changing()
			// Multiples that say another speed than the line itself do not set it. But a step in speed parts them too.
			s.steers = [maxTooth + 1]bool{1: true}
			ok = s.run(true)
			if led && !s.unsettled && s.middle-s.span/2 > tr.change.at {
				tr.disagreed = sighting{f: s.f, at: now}
			}
		} else if led {
			s.disputed = tr.contradicted(s, now)
		}
		s.disputed = s.disputed || ok && tr.Hint == 0 && s.nearly()
		amp, se := worst(s.phasor[1], s.variance())
		return se / (enough * amp), ok
	}
	excess, ok := fit()
	for try := 0; ok && excess > 1 && seconds < have-1e-9 && try < 3; try++ {
		was, start, bend, before := excess, f, drift, seconds
		// The error falls with the root of the length, while the speed holds.
		seconds = min(max(1.2*seconds*excess*excess, 1.3*seconds), have)
		if math.Sqrt(s.fVar)*seconds < 0.3 {
			f, drift = s.f+s.drift*(before-seconds)/2, s.drift
		}
		if excess, ok = fit(); !ok || excess > was {
			// It does not hold: the shorter window said more.
			f, drift, seconds = start, bend, before
			_, ok = fit()
			break
		}
	}
	// A window that holds two speeds seems to change, or leaves much beside the line. Its end alone then stands elsewhere, than what was
	// known or than the whole, and leaves little. A line beside this one moves it too, but by less.
	changed := ok && s.changing()
	if recent := tr.least(c, changed || tr.change.underway(now)); ok && seconds > recent && (changed || s.misfit > tr.change.most()) {
		was, wasVar, start, bend, before, said := s.f, s.fVar, f, drift, seconds, tr.disagreed
		f, drift, seconds = s.f, 0, recent
		excess, ok = fit()
		moved := math.Abs(s.f-was) > max(4*math.Sqrt(s.fVar+wasVar), stepping/2*s.f)
		away := math.Abs(s.f-tr.known.f) > stepping*s.f && !multiple(s.f, tr.known.f) && !multiple(tr.known.f, s.f)
		if ok && excess*enough < tooWeak && s.misfit < tr.change.most() && (changed && !s.changing() && away || moved) {
			tr.change.begin(tr.track.home, now)
		} else {
			f, drift, seconds, tr.disagreed = start, bend, before, said
			_, ok = fit()
		}
	}
	if !ok {
		return false
	}
	s.disputed = s.disputed || tr.covered(s)
	g, bend, same := tr.images(c, s.f, s.drift, now, seconds, have)
	tr.ambiguous = same
	if g != s.f {
		f, drift = g, bend
		was := s.disputed
		if _, ok = fit(); !ok {
			return false
		}
		s.disputed = was || s.disputed || tr.overlooked(s)
	}
	s.disputed = s.disputed || tr.twin(c, now) || tr.beneath(c, now)
	tr.report(rev, s)
	return true
}

// contradicted reports whether the line of the fit s, made at time now, alone says another frequency than it and its multiples together,
// or did so a window ago: those may be a belt's or a motor's that is nearly as many times as fast.
func (tr *Tracker) contradicted(s *fit, now float64) bool {
	const much = 3.0 // standard errors, by chance once in 370 readings. Chosen
	last := tr.disagreed
	return s.off*s.off > much*much*s.offVar || now-last.at < longest && math.Abs(last.f-s.f) < 0.05*s.f
}

// outset returns where to start the fit of c: frequency, its rate of change and the length of
// the window, from the track where c agrees with it.
func (tr *Tracker) outset(c hypothesis, now, have float64) (f, drift, seconds float64) {
	// No longer for what stands beside than the speed has held, or that is the speed before.
	parting := min(tr.parting(c), tr.track.age())
	seconds = min(max(tr.least(c, tr.change.underway(now)), apart/tr.beside(c.f), parting, tr.clock.enough()), have)
	if _, _, followed := tr.onTrack(c.f, c.look.df, now-seconds/2); !followed {
		return c.f, 0, min(seconds, 1.5*c.look.seconds)
	}
	if math.Abs(tr.track.drift) < settled*c.f {
		seconds = min(max(seconds, tr.track.span), have)
	}
	return tr.track.predict(now - seconds/2), tr.track.drift, seconds
}

// least returns the fewest s that a window for c is long; changing: while the speed changes.
func (tr *Tracker) least(c hypothesis, changing bool) float64 {
	if changing && !tr.unseen() { // of the new speed there is hardly more yet
		return least(c.f)
	}
	return max(turns/c.f, shortest)
}

// least is how many s the shortest window is for a line at f Hz.
func least(f float64) float64 { return max(1.1*fewestTurns/f, soonest) }

// onTrack reports whether a line seen at f Hz, df wide, is the one that is followed, and not at the speed before a step, and returns where
// that is at time at, Hz, and its rate of change, Hz/s; else f, and no change.
func (tr *Tracker) onTrack(f, df, at float64) (g, drift float64, followed bool) {
	p := tr.track.predict(at)
	if p > 0 && math.Abs(p-f) < max(df, 0.02*f) && tr.track.time > tr.since {
		return p, tr.track.drift, true
	}
	return f, 0, false
}

// parting returns how many seconds part the line of c from the nearest strong one beside it, as
// the longest look shows them, if it shows c best; 0 if no such line does.
func (tr *Tracker) parting(c hypothesis) float64 {
	const (
		widths = 1.7 // that part two lines in a fit. Chosen
		near   = 2.5 // Hz: what is further off is parted by the shortest window
	)
	l, need := tr.shown[0], 0.0
	if c.look != l {
		return 0
	}
	for p := range l.lines(2*thresholds[l.axes], c.f-near, c.f+near) {
		if d := math.Abs(p.f - c.f); !l.lobe(p.f, c.f) {
			need = max(need, widths/d)
		}
	}
	return need
}

// lobe reports whether a peak at f may be but a part of the line at own Hz: its main lobe, or the first lobe beside it,
// a fortieth of the amplitude (Harris, Proc. IEEE 66 (1978), Table 1).
func (l *look) lobe(f, own float64) bool {
	const strong = 0.01 // of the power
	d := math.Abs(f-own) / l.df
	return d < 1.5 || d < 2.5 && l.strength(f) < strong*l.strength(own)
}

// fitLine fits the line near f (Hz, in the middle of the window) and its multiples up to
// most over the last seconds. The multiples that stand clear in look l, and anchor, set the
// frequency. The result is refused when the frequency runs away from its start.
func (tr *Tracker) fitLine(s *fit, l *look, f, drift, now, seconds float64, anchor, most int) bool {
	return tr.fitLossy(s, l, f, drift, now, seconds, min(lag*seconds, lagMost), anchor, most)
}

// fitLossy is fitLine on samples of which the halving filters may take so many s.
func (tr *Tracker) fitLossy(s *fit, l *look, f, drift, now, seconds, loss float64, anchor, most int) bool {
	if !(f > 0) { // a track that runs down
		return false
	}
	rate := float64(most) * f / passband
	if tr.health.missing > 0.005 {
		rate *= 4 // bridging what is missing costs accuracy near the end of the passband
	}
	t, x, fs := tr.window(now, seconds, rate, loss)
	s.t, s.x = t, append(s.x[:0], x...)
	s.f, s.drift = f, drift
	if !tr.multiples(s, l, f, 0.47*fs, seconds, anchor, most) {
		return false
	}
	k := int(math.Round(tr.fold(f) / l.df))
	for a := range tr.axes {
		s.weight[a] = 1 / max(l.noise[a][min(k, len(l.noise[a])-1)], 1e-30)
	}
	tr.strangers(s, l, f, fs, seconds)
	const away = 1.5 // widths 1/seconds. Chosen: a start is good to half a width
	if s.run(drift != 0) && math.Abs(s.f-f)*seconds < away {
		return true
	}
	// Lines too close to be told apart: without the strangers their leak shows as error.
	s.f, s.drift, s.foreign = f, drift, s.foreign[:0]
	return s.run(drift != 0) && math.Abs(s.f-f)*seconds < away
}

// multiples picks the multiples of f for the fit s: those that show below limit Hz, as they
// are or folded, and not on top of each other. It reports whether anchor is among them.
func (tr *Tracker) multiples(s *fit, l *look, f, limit, seconds float64, anchor, most int) bool {
	var places [maxTooth + 1]float64
	s.ks = append(s.ks[:0], 1)
	s.steers = [maxTooth + 1]bool{1: anchor == 1 || s == &tr.fit}
	places[0] = tr.fold(f)
	for k := 2; k <= most; k++ {
		g := float64(k) * f
		folded := tr.fold(g)
		if folded > limit || folded*seconds < 1 { // at 0 Hz it would be the offset
			continue
		}
		if s == &tr.probe && k != anchor && l.at(folded, 2) < murmur {
			continue // a probe does without what is not there
		}
		tooClose := func(h float64) bool { return math.Abs(h-folded)*seconds < 0.8 }
		at := slices.IndexFunc(places[:len(s.ks)], tooClose)
		if at >= 0 && !tr.parted(s.t, g) {
			s.steers[s.ks[at]] = at == 0 && s.steers[1] // they blur each other
			continue
		}
		places[len(s.ks)] = folded
		s.ks = append(s.ks, k)
		s.steers[k] = k == anchor || !isMains(g, 1/seconds) && l.at(folded, 1) > 3*thresholds[tr.axes]
	}
	return slices.Contains(s.ks, anchor)
}

// strangers puts the lines that would leak most into the one at own Hz, and are not of its
// family, into the fit of samples of rate fs Hz, if their filters leave them. A line of amplitude ratio r at a distance d leaks
// about r/(π·d·seconds) (the sidelobes of a window without taper).
func (tr *Tracker) strangers(s *fit, l *look, own, fs, seconds float64) {
	const (
		little = 0.002 // leak that may stay. Chosen: a tenth of the error allowed
		closer = 1.2   // widths 1/seconds: those cannot be told apart. Chosen
	)
	s.foreign = s.foreign[:0]
	low, high := tr.bounds()
	strength := l.strength(own)
	var leaks [maxForeign]float64
	top := min(fading*fs, 0.45/tr.dt)
	for p := range l.lines(2*thresholds[l.axes], 0, top) {
		near := math.Round(p.f / own)
		// What cannot be the spindle is another line wherever it shows as one.
		other := near == 1 && (p.f < low || p.f > high || isMains(p.f, 0)) && !l.lobe(p.f, own)
		family := !other && near >= 1 && near <= float64(s.ks[len(s.ks)-1]) && math.Abs(p.f-near*own) < 2.5*l.df
		// Where they show, so that a line and its image have the same strangers.
		distance := math.Abs(tr.fold(p.f)-tr.fold(own)) * seconds
		image := !other && distance < 2.5*l.df*seconds
		leak := math.Sqrt(l.strength(p.f)/strength) / (math.Pi * distance)
		if family || image || distance < closer || leak < little {
			continue
		}
		at := 0
		for at < len(s.foreign) && leaks[at] > leak {
			at++
		}
		if at < maxForeign {
			s.foreign = slices.Insert(s.foreign, at, p.f)
			s.foreign = s.foreign[:min(len(s.foreign), maxForeign)]
			copy(leaks[at+1:], leaks[at:])
			leaks[at] = leak
		}
	}
}

// report copies the fit into rev.
func (tr *Tracker) report(rev *Revolution, s *fit) {
	rev.Time, rev.Span = s.middle, s.span
	rev.Freq, rev.FreqSE, rev.Drift = s.f, math.Sqrt(s.fVar), s.drift
	v := s.variance()
	rev.Phasor = s.phasor[1]
	rev.Amp, rev.AmpSE = s.amplitude(1)
	rev.Floor = math.Sqrt(max(v[0], v[1], v[2]))
	for i := 1; i < min(len(s.ks), maxMultiple) && s.ks[i] == i+1; i++ {
		rev.Seen = i
		rev.Multiples[i-1] = s.phasor[i+1]
		rev.MultipleAmp[i-1], _ = s.amplitude(i + 1)
	}
}

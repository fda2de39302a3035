package dsp

import "math"

const (
	// familiar: a track that held for so many seconds, two looks, without a doubt. Chosen.
	familiar = 2 * longest
	// tardy: so much of the window may be lost to the halving filters where it is only asked whether a line is there. Chosen:
	// standard errors grow by 7 %.
	tardy = 0.125
	// shown is the amplitude over its standard error at which a line at a known frequency
	// is more than noise: for six Gaussian numbers (three axes) χ² > 30 has probability 4e-5.
	shown = 5.5
	// hinted is the same for a line that only casts doubt on another: 0.2 %.
	hinted = 4.5
	// crowded: below so many widths 1/seconds a look has no bins to itself. Chosen.
	crowded = 6.0
	// murmur is the whitened power below which no line hides that a fit would find: one of shown
	// standard errors has 15 and more, one of the three bins looked at in a look as long. Chosen.
	murmur = 6.0
	// exactly at a part of another is a line within so much of it: of belts, whose ratio may
	// be any from a quarter to a half, one in two thousand is. Chosen.
	exactly = 1.5e-4
	// faint: a line this much smaller than its multiple is not believed without a doubt.
	// Chosen: cutters put up to a hundred times more into a multiple, accidents too.
	faint = 0.02
	// seen: with fewer turns in a window a line is not believed, what lies beside is not parted from it; but it is a doubt on its
	// multiples. With fewer than felt it may as well be a trend. Chosen.
	seen = 2.5
	felt = 1.0
	// crumbs, in steps of the sensor: the largest line that rounding leaves of a sine many steps large, wherever it folds to.
	// (2/π)·J_m(2πA/q) for one (Widrow and Kollár, Quantization Noise, 2008, app. G; from memory) is less than a tenth from
	// A = 4q on; a few may fall together.
	crumbs = 0.2
)

// suspicion is a line that was seen at a whole part of another, and how exactly it stands there.
type suspicion struct {
	f, at     float64 // Hz, s
	off, sure float64 // mean of how far it stood from that part, as a fraction of f, and 1 over its variance
}

// again takes in that the line was seen at f at time now, off Hz from the part with variance offVar in Hz²,
// in a look of some seconds, of which only what is new tells something new.
func (s *suspicion) again(f, off, offVar, now, seconds float64) {
	const kept = 1.0 // s. Chosen: four readings
	fresh := min(1, (now-s.at)/seconds)
	if now-s.at > kept || math.Abs(s.f-f) > 0.02*f {
		*s, fresh = suspicion{}, 1
	}
	s.f, s.at = f, now
	more := fresh * f * f / max(offVar, 1e-30)
	s.sure += more
	s.off += (off/f - s.off) * more / max(s.sure, 1e-30)
}

// exact reports whether the line stands so exactly at the part that it is no accident.
func (s *suspicion) exact() bool {
	reach := 4 / math.Sqrt(s.sure)
	return reach < exactly && math.Abs(s.off) < reach
}

// aside reports whether the line stands beside the part, all looks at it taken together.
func (s *suspicion) aside() bool { return math.Abs(s.off) > 4/math.Sqrt(s.sure) }

// suspected reports whether a line was seen at f Hz, a part of another, not long ago.
func (tr *Tracker) suspected(f, now float64) bool {
	return now-tr.undertone.at < suspectFor && math.Abs(f-tr.undertone.f) < 0.02*f
}

// worthAsking reports whether a line at 1/m of p is looked for by a fit: always where one
// shows; where none can be excluded, each time until the track is steady, and then one m a
// time; and always one that was seen not long ago, and on a steady track that of the track.
func (tr *Tracker) worthAsking(p peak, m int, now float64) bool {
	f, l := p.f/float64(m), p.look
	if l.tooth(f, 0.7*l.df) > thresholds[l.axes] || tr.suspected(f, now) {
		return true
	}
	expected := tr.track.predict(now)
	if tr.track.count >= steady && expected > 0 {
		if math.Abs(f-expected) < max(0.02*f, 1.5*l.df/float64(m)) {
			return true
		}
		rounds := 1
		if tr.track.age() > familiar { // in its window all is seen that comes
			rounds = 2
		}
		if tr.question%(rounds*(maxTooth-1)) != rounds*(m-2) {
			return false
		}
	}
	return f < crowded/l.seconds || l.at(f, 1) > murmur
}

// answer is what a fit said about a line at f Hz at time at, s.
type answer struct {
	f, at    float64
	sure, ok bool
}

// stands reports whether a is about the line at f Hz and still holds: on a track as old as its looks for a quarter of the longest,
// in which that hardly changes.
func (tr *Tracker) stands(a *answer, f, now float64) bool {
	return tr.track.age() > familiar && math.Abs(f-a.f)*longest < 0.5 && now-a.at < longest/4
}

// ask is part, or what that said a moment ago.
func (tr *Tracker) ask(p peak, m int, now float64) (sure, ok bool) {
	a := &tr.parts[m]
	if !tr.stands(a, p.f, now) {
		*a = answer{f: p.f, at: now}
		a.sure, a.ok = tr.part(p, m, now)
	}
	return a.sure, a.ok
}

// part reports whether a line stands at 1/m of p, and whether it is sure to be no accident: it
// is faster (m/s) than all its multiples, or at that part exactly, or another multiple that p does not explain
// stands too.
func (tr *Tracker) part(p peak, m int, now float64) (sure, ok bool) {
	s := &tr.probe
	seconds := p.look.seconds
	switch {
	case p.f/float64(m)*seconds < seen:
		seconds = tr.holds(p.look)
	case tr.track.count > 0: // no longer than the speed has held
		seconds = min(seconds, max(turns*float64(m)/p.f, tr.track.age()))
	}
	f, drift, _ := tr.onTrack(p.f, p.look.df, now-seconds/2)
	if !tr.fitLossy(s, p.look, f/float64(m), drift/float64(m), now, seconds, tardy*seconds, m, max(m, maxMultiple)) {
		return false, false
	}
	v := s.variance()
	amp, se := worst(s.phasor[1], v)
	least := hinted
	if tr.familiar(p, now) { // what was not there in so many looks is more likely an accident
		least = shown
	}
	if amp < hinted*se && tr.suspected(p.f/float64(m), now) && now-tr.undertone.at > s.span {
		tr.undertone.at = math.Inf(-1) // it was an accident: none of what showed it is in this window
	}
	if amp < least*se || math.Abs(s.off) > 4*math.Sqrt(s.offVar)+0.02/s.span {
		return false, false
	}
	strong, _ := worst(s.phasor[m], v)
	switch {
	case amp < faint*strong: // nor at all where it may be what rounding makes of that
		return false, amp > crumbs*tr.health.step
	case s.outdone(1) == 0: // no belt is the fastest of all
		return amp > 2*shown*se || tr.wandered(p, m, now, seconds), true
	}
	suspect := &tr.suspects[m]
	suspect.again(s.f, s.off, s.offVar, now, s.span)
	if suspect.exact() {
		return amp > 2*shown*se, true
	}
	// The spindle at d times this, with a belt at 1/d and its second multiple, explains the lines just as well
	// if all others are multiples of d.
	d := m
	for _, k := range s.ks {
		if a, _ := worst(s.phasor[k], v); k > 2 && a > 2*shown*se {
			d = gcd(d, k)
		}
	}
	return d == 1, true
}

// undertones returns the frequency of the line that was known to be the spindle's and stays in its place, where that of the fit just made came
// to light at a whole part of it; 0 if it did not. A spindle does not halve its speed so; what comes loose hits every second or third turn, and
// has lines there and at the multiples of that (Ehrich, J. Vib. Acoust. 110 (1988); from memory). But the line may have been too small before
// as well: either may be the spindle's, and for so long as the known line is the faster (m/s).
func (tr *Tracker) undertones(now float64) float64 {
	const grown = 3.0 // times as large a cut, or what is loose, makes a line. Chosen
	s, known := &tr.fit, &tr.known
	ago := now - known.at
	moved := settled * max(1, ago) // of its frequency: within that a line is a multiple of another
	for _, k := range s.ks {
		amp, _ := s.amplitude(k)
		f, times := float64(k)*s.f, amp/known.amp
		if ago > longest || math.Abs(f-known.f) > moved*f || times > grown || times < 1/grown {
			continue
		}
		known.f, known.at = f, now
		if k == 1 {
			known.amp = amp
			return 0
		}
		if now-tr.change.at > longest { // else the speed may have stepped to just that part
			tr.apart = now
		}
		return f
	}
	if k := s.outdone(1); k > 0 && now-tr.apart < toppedFor {
		tr.apart = now
		return float64(k) * s.f
	}
	return 0
}

// holds returns how many seconds a line that l shows may be fitted over: as long as the speed has held, if that is longer.
func (tr *Tracker) holds(l *look) float64 {
	return max(l.seconds, min(tr.shown[0].seconds, tr.track.age()))
}

// wandered reports whether the line at 1/m of p stands clear in the window of the track's last fit, if that is shorter
// than seconds: where the speed wanders a long window leaves more beside the line than a ramp explains.
func (tr *Tracker) wandered(p peak, m int, now, seconds float64) bool {
	s, short := &tr.probe, max(tr.track.span, turns*float64(m)/p.f)
	if tr.track.count < steady || short >= seconds || !tr.fitLossy(s, p.look, p.f/float64(m), 0, now, short, tardy*short, m, max(m, maxMultiple)) {
		return false
	}
	amp, se := worst(s.phasor[1], s.variance())
	return amp > 2*shown*se && s.outdone(1) == 0 && !s.split()
}

// familiar reports whether p is the line that was followed for long, or what that became in a step, and no part of it was seen meanwhile.
func (tr *Tracker) familiar(p peak, now float64) bool {
	k := &tr.track
	followed := k.age() > familiar && math.Abs(p.f-k.predict(now))*p.look.seconds < 1
	return tr.Hint == 0 && (followed || now-tr.since < familiar) && !(now-tr.undertone.at < familiar && multiple(p.f, tr.undertone.f))
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

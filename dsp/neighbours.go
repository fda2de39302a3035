package dsp

import (
	"math"
	"slices"
)

// neighbour is a line that was seen beside the spindle's.
type neighbour struct {
	f      float64 // Hz
	seen   float64 // s, last time
	beside int     // readings in which the spindle was known and was another line
	lo, hi float64 // Hz, range of the spindle's speed in those
	// In the last of these: where it and the spindle were, Hz, and its share of the spindle's velocity.
	was, spin, share float64
}

// Chosen.
const (
	neighbourAlive = 3.0  // s: not seen for so long, and it is forgotten
	neighbourCount = 4    // readings beside a known spindle
	noted          = 1.05 // of the fastest speed that is looked for, up to where lines are remembered: it may turn a little faster
	companionKept  = 60.0 // s: the same of what was beside a spindle that the dial means, and of where that was
)

// bystander reports whether f belongs to a line that was there beside the spindle (beside), and
// whether it stood still while the spindle's speed changed (proven). The dial's word overrules that.
func (tr *Tracker) bystander(f, resolution float64) (beside, proven bool) {
	if tr.Hint > 0 {
		return false, false
	}
	for _, b := range tr.neighbours {
		if math.Abs(b.f-f) < resolution {
			beside = beside || b.beside >= neighbourCount
			proven = proven || b.hi > 1.1*b.lo
		}
	}
	return beside || proven, proven
}

// remember updates the neighbours with the lines of the longest of looks at time now, where the spindle
// is known to turn at spin Hz (0: it is not known).
func (tr *Tracker) remember(looks []*look, now, spin float64) {
	tr.neighbours = slices.DeleteFunc(tr.neighbours, func(b neighbour) bool {
		companion := tr.Hint > 0 && b.beside >= neighbourCount
		return now-b.seen > neighbourAlive && !(companion && now-b.seen < companionKept)
	})
	if now-max(tr.known.at, tr.missed) > companionKept { // or nothing would be believed again
		tr.known = line{}
	}
	l := looks[0]
	own := max(l.velocity(tr.fold(spin)), 1e-30)
	for p := range l.lines(2*thresholds[l.axes], 0, noted*tr.high()) {
		if gone(looks, p) || tr.passed(p.f, l.df, now) { // the spindle's own, before its speed changed
			continue
		}
		if spin == 0 || !tr.belongs(p, hypothesis{f: spin, look: l}) {
			tr.note(p.f, l.velocity(p.f)/own, now, spin, l.df)
		}
	}
}

// passed reports whether the spindle turned at about f Hz in the last seconds before now, as near as a look of resolution df Hz tells.
func (tr *Tracker) passed(f, df, now float64) bool {
	return slices.ContainsFunc(tr.good, func(l line) bool { return now-l.at <= longest && math.Abs(l.f-f) < df })
}

// note enters a line at f Hz of so much share of the spindle's velocity, seen in a look of resolution df Hz.
func (tr *Tracker) note(f, share, now, spin, df float64) {
	const most = 64 // more lines than that are noise. Chosen.
	i := slices.IndexFunc(tr.neighbours, func(b neighbour) bool { return math.Abs(b.f-f) <= 0.6*df })
	switch {
	case i >= 0:
		tr.neighbours[i].f += 0.3 * (f - tr.neighbours[i].f)
	case len(tr.neighbours) < most:
		i = len(tr.neighbours)
		tr.neighbours = append(tr.neighbours, neighbour{f: f})
	default:
		return
	}
	b := &tr.neighbours[i]
	b.seen = now
	if spin == 0 {
		return
	}
	if b.beside == 0 {
		b.lo, b.hi = spin, spin
	}
	b.beside++
	b.lo, b.hi = min(b.lo, spin), max(b.hi, spin)
	if tr.looks[0].end == now { // an older look shows where they were before a change of speed
		b.was, b.spin, b.share = f, spin, share
	}
}

// line is one of the spindle's: Hz, 0 if there is none, m/s² peak, and when it was there, s.
type line struct{ f, amp, at float64 }

// still reports whether rev is k, in its place and as large.
func (k line) still(rev *Revolution) bool {
	const moved, grown = 0.005, 0.1 // more than a cut does to a spindle from one reading to the next. Chosen
	return math.Abs(rev.Freq-k.f) < moved*k.f+3*rev.FreqSE && math.Abs(rev.Amp-k.amp) < grown*k.amp+3*rev.AmpSE
}

// arrived returns the frequency of a line that was not beside the spindle when that was last known, where rev is not what was known
// then: the spindle may have gone there, out of the dial's reach, and rev be another line that came within; or, where rev was there beside
// it, that of the spindle then. 0 if there is none.
func (tr *Tracker) arrived(looks []*look, rev *Revolution) float64 {
	left := tr.change.at > max(tr.known.at, rev.Time+rev.Span/2-longest)
	if tr.Hint == 0 || tr.known.f == 0 || tr.known.still(rev) && !left {
		return 0
	}
	if tr.bided(rev.Freq) {
		return tr.known.f
	}
	for _, l := range looks {
		best, own := hypothesis{f: rev.Freq, look: l}, max(l.velocity(tr.fold(rev.Freq)), 1e-30)
		for p := range l.lines(2*thresholds[l.axes], tr.low(), noted*tr.high()) {
			share := l.velocity(p.f) / own
			other := share > singles && tr.fold(p.f) >= tr.low() && !isMains(p.f, 0) && (!tr.belongs(p, best) || tr.swallows(best, p, rev.Time+rev.Span/2))
			if other && !gone(looks, p) && !tr.accompanies(p, share, rev.Freq) {
				return p.f
			}
		}
	}
	return 0
}

// bided reports whether the line at f Hz stood there beside the spindle when that was known: the spindle may have gone, and it stayed.
func (tr *Tracker) bided(f float64) bool {
	return slices.ContainsFunc(tr.neighbours, func(b neighbour) bool {
		return b.beside >= neighbourCount && math.Abs(b.was-f) < 0.3/longest && math.Abs(b.spin-f)*longest > 1
	})
}

// accompanies reports whether p, of so much share of the spindle's velocity, was beside the spindle when that was known, and is where it
// would be if the spindle turned at spin Hz now: another machine's keeps its speed, a belt's or motor's its ratio to the spindle's.
func (tr *Tracker) accompanies(p peak, share, spin float64) bool {
	near := func(f float64) bool { return math.Abs(f-p.f) < 0.3*p.look.df }
	return slices.ContainsFunc(tr.neighbours, func(b neighbour) bool {
		return b.beside >= neighbourCount && share < outrun*b.share && (near(b.was) || near(b.was*spin/b.spin))
	})
}

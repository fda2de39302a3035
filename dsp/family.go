package dsp

import (
	"cmp"
	"math"
	"slices"
)

const (
	// certain is the most that one line adds to a score, in nats over the threshold: a
	// line 20 times (e³) over it is simply there. Chosen.
	certain = 3.0
	// margin is the difference in worth, in nats, below which two explanations are as good
	// as each other. Chosen: a factor of ten.
	margin = 2.3
	// familiar: a track that held for so many seconds, two looks, without a doubt. Chosen.
	familiar = 2 * longest
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
	// plain: a line so many times over the threshold cannot be overlooked. Chosen.
	plain = 50.0
	// outrun: a line so many times faster (m/s) than the one the dial means casts doubt on
	// the dial. Chosen: belts and motors stay below.
	outrun = 3.0
	// singles: of two lines without multiples the lesser is a rival from this share of the
	// greater one's velocity. Chosen.
	singles = 0.3
	// within the dial's reach either of two lines may be the spindle, from this share of the
	// velocity on. Chosen: belts and motors are not that close, another machine may be.
	within = 0.05
	// blurred: in less than so many seconds multiples may agree by accident. Chosen.
	blurred = 1.4
	// suspectFor seconds after a line was seen at a part of another, the other is not
	// believed alone. Chosen.
	suspectFor = 10.0
	// toppedFor seconds a blank is expected to keep a multiple as its strongest line. Chosen.
	toppedFor = 60.0
	// faint: a line this much smaller than its multiple is not believed without a doubt.
	// Chosen: cutters put up to a hundred times more into a multiple, accidents too.
	faint = 0.02
	// mostAsked parts are looked for in one reading; what was not asked stays a doubt. Chosen: knocks
	// show dozens of lines, and each fit of them costs more than all else.
	mostAsked = 8
	// contest: seconds for which a rival within the dial's reach stays one when it is not seen. Chosen: four readings.
	contest = 1.0
	// steady readings in a row make a track that is only checked, not questioned, each time.
	steady = 4
)

// hypothesis is a frequency that may be the spindle's.
type hypothesis struct {
	f       float64 // Hz
	anchor  int     // the multiple that is its strongest line
	look    *look
	score   float64 // Σ ln(z/threshold) over the line and its multiples, each at most certain
	speed   float64 // m/s rms, velocity of the strongest line of the family
	lines   int     // lines of the family that stand
	fastest int     // the multiple that is its fastest line (m/s)
	doubt   float64 // Hz, another reading of the same lines that is as good; 0 none
	beside  bool    // was there beside a spindle that was known
}

// peaks lists the lines between low and high Hz that stand above the noise in any of the
// looks and are still there in the latest, strongest first, each in the longest look that
// shows it well.
func (tr *Tracker) peaks(looks []*look, low, high float64) []peak {
	found := tr.found[:0]
	for _, l := range looks {
		for p := range l.lines(thresholds[l.axes], low, high) {
			if gone(looks, p) {
				continue
			}
			same, near := -1, 2.5/l.seconds
			for i, q := range found {
				if d := math.Abs(q.f - p.f); d < near {
					same, near = i, d
				}
			}
			switch {
			case same < 0:
				found = append(found, p)
			case found[same].look == l && found[same].z < p.z:
				found[same] = p
			case found[same].look != l && found[same].smeared(p): // and what lies around are its pieces
				found = slices.DeleteFunc(found, func(q peak) bool { return q.look != l && math.Abs(q.f-p.f) < 2.5/l.seconds && q.smeared(p) })
				found = append(found, p)
			}
		}
	}
	tr.found = found
	slices.SortStableFunc(found, func(a, b peak) int { return cmp.Compare(b.z*float64(b.look.seconds), a.z*float64(a.look.seconds)) })
	return found
}

// smeared reports whether p, from a longer look, holds less than half of the velocity of q,
// from a shorter one: its speed changed in between. A steady line holds the same in both.
func (p peak) smeared(q peak) bool {
	return p.look.velocity(p.f)*p.f < 0.5*q.look.velocity(q.f)*q.f
}

// gone reports whether p, strong in its look, no longer stands in the shorter looks, where it
// should: a speed that was.
func gone(looks []*look, p peak) bool {
	for _, s := range looks {
		expected := p.z * thresholds[s.axes] * s.seconds / p.look.seconds
		if s.seconds < p.look.seconds && expected > 3*thresholds[s.axes] && p.f > 3/s.seconds && s.at(p.f, 0) < 0.15*expected {
			return true
		}
	}
	return false
}

// choose returns the hypothesis to believe, with f 0 if there is none, and the frequency of a rival
// that explains the data about as well, 0 if there is none.
func (tr *Tracker) choose(looks []*look, now float64) (best hypothesis, rival float64) {
	tr.latest = looks[len(looks)-1]
	all := tr.groups(looks, now)
	expected := tr.track.predict(now)
	best = believe(all, expected)
	if best.f == 0 {
		if tr.Hint > 0 || tr.Steps != nil {
			rival = tr.contested(best, tr.outside(looks, 0), now)
		}
		return hypothesis{}, rival
	}
	if f := tr.mistaken(best, looks); f > 0 {
		return best, f
	}
	if tr.Hint > 0 {
		if best.doubt > 0 {
			return best, best.doubt
		}
		if rival = tr.outside(looks, best.f); rival > 0 {
			return best, rival
		}
		if rival = tr.divided(best, now); rival > 0 {
			return best, rival
		}
	} else if rival = tr.suspicious(best, now); rival > 0 {
		return best, rival
	}
	// A line that was followed and is still there is not left for another on one look.
	if tr.track.count >= steady && expected > 0 && math.Abs(best.f-expected) > 0.03*expected {
		if tr.latest.tooth(tr.fold(expected), 0.6*tr.latest.df) > 2*thresholds[tr.axes] {
			return best, expected
		}
	}
	rival = tr.rivalOf(best, all, looks[0].seconds)
	if tr.Hint > 0 {
		rival = tr.contested(best, rival, now)
	}
	return best, rival
}

// dispute is the last time that two lines could have been the spindle's.
type dispute struct {
	first, at  float64 // s, since when without a break, and last
	own, rival float64 // Hz: the better one, 0 if none was good, and the other
	lesser     float64 // Hz, the slower (m/s) of the two, when both were there for longer than a step in speed leaves two
}

// contested returns rival, and where there is none, the one that best had a moment ago, or that best itself was, if it
// is not what was followed: a speed that changes blurs its line, and leaves another's as the only one. And if best was
// the lesser of two lines for long, the other may have left the dial's reach since.
func (tr *Tracker) contested(best hypothesis, rival, now float64) float64 {
	d, same := &tr.dispute, func(f float64) bool { return best.f > 0 && math.Abs(best.f-f)*longest < 1 }
	recent := now-d.at < max(contest, min(longest, d.at-d.first)) // what was long in doubt is not clear at once
	if rival > 0 {
		if !recent {
			d.first, d.lesser = now, 0
		}
		d.at, d.own, d.rival = now, best.f, rival
		if best.f > 0 && now-d.first > longest+contest {
			d.lesser = rival
			if tr.latest.velocity(rival) > best.speed {
				d.lesser = best.f
			}
		}
		return rival
	}
	switch stood := d.at-max(d.first, tr.track.since) > contest; { // and it is no step in speed
	case recent && stood && same(d.rival) && !same(tr.track.predict(now)):
		return cmp.Or(d.own, d.rival)
	case recent && stood && same(tr.track.home), now-d.at < toppedFor && same(d.lesser):
		return d.rival
	}
	return 0
}

// worth is a hypothesis' score, less for being slower (m/s) than the fastest line, top.
func (h hypothesis) worth(top float64) float64 { return h.score + max(-4, math.Log(h.speed/top)) }

func fastest(all []hypothesis) float64 {
	top := 0.0
	for _, h := range all {
		top = max(top, h.speed)
	}
	return top
}

// believe picks the hypothesis worth most, the track's own a little more (expected, Hz; 0
// none), none that was there beside another. f is 0 if there is none.
func believe(all []hypothesis, expected float64) hypothesis {
	top := fastest(all)
	liking := func(h hypothesis) float64 {
		if expected > 0 && math.Abs(h.f-expected) < max(0.03*expected, 1.5*h.look.df) {
			return h.worth(top) + margin/2
		}
		return h.worth(top)
	}
	slices.SortStableFunc(all, func(a, b hypothesis) int { return cmp.Compare(liking(b), liking(a)) })
	var best hypothesis
	for _, h := range all {
		switch {
		case h.beside:
		case best.f == 0:
			best = h
		case multiple(best.f, h.f):
			// Both are readings of the same lines, and the slower one has a line more.
			h.score, h.speed = max(h.score, best.score), max(h.speed, best.speed)
			best = h
		}
	}
	return best
}

// suspicious returns the frequency of another reading of the lines of best that cannot be
// ruled out: found with it, found a while ago, or, where a multiple was the strongest line
// before, best itself, which may be that multiple again. 0 if there is none.
func (tr *Tracker) suspicious(best hypothesis, now float64) float64 {
	switch {
	case best.doubt > 0:
		return best.doubt
	case now-tr.suspect.at < suspectFor && multiple(best.f, tr.suspect.f):
		return tr.suspect.f
	case best.anchor == 1 && tr.track.count < steady && now-tr.topped < toppedFor:
		return best.f
	}
	return 0
}

// rivalOf returns the frequency of the hypothesis in all that is about as good as best, or is
// faster (m/s), or, if both are single lines, not much slower; 0 if there is none. In a look of few seconds
// more must speak for best.
func (tr *Tracker) rivalOf(best hypothesis, all []hypothesis, seconds float64) float64 {
	lead := margin
	if seconds < blurred {
		lead *= 3
	}
	top, weighs := fastest(all), 1.0 // a line of the mains
	if tr.Hint > 0 {
		weighs = singles
	}
	for _, h := range all {
		if h.f == best.f || h.lines == 0 && h.speed <= weighs*best.speed || tr.belongs(peak{f: h.f, look: h.look}, best) && !tr.swallows(best, peak{f: h.f, look: h.look}) {
			continue
		}
		// What would be its multiple has been asked for its parts by an exact fit.
		if tooth(best.f, h.f, max(best.look.df, h.look.df)) {
			continue
		}
		single := h.lines == 1 && best.lines == 1 && h.speed > singles*best.speed || tr.Hint > 0 && h.speed > within*best.speed
		if h.speed > weighs*best.speed && h.lines == 0 || h.speed > best.speed || !h.beside && (single || h.worth(top) > best.worth(top)-lead) {
			return h.f
		}
	}
	return 0
}

// outside returns the frequency of a line in the lathe's range that makes the dial's word
// doubtful where best Hz is the line it stands for (0: none): any line where there is
// none, a line that best would be the multiple of, and one several times as fast. 0 if there
// is no such line.
func (tr *Tracker) outside(looks []*look, best float64) float64 {
	l := looks[0]
	own, most, found := 0.0, 0.0, 0.0
	if best > 0 {
		own = l.velocity(best)
	}
	for p := range l.lines(plain*thresholds[l.axes], tr.low(), tr.high()) {
		v := l.velocity(p.f)
		if best > 0 && (tr.belongs(p, hypothesis{f: best, look: l}) || v < outrun*own && !multiple(best, p.f) || v < own) {
			continue
		}
		if v > most && !isMains(p.f, 0) && tr.fold(p.f) >= tr.low() && !gone(looks, p) {
			most, found = v, p.f
		}
	}
	return found
}

// divided returns the frequency of a line at a half or a third of best, which makes best its multiple and
// the dial's word wrong, 0 if none stands there.
func (tr *Tracker) divided(best hypothesis, now float64) float64 {
	const lowest = 3 // dials are misread by a pulley step or a gear, a factor of two or three. Chosen
	for m := 2; m <= lowest; m++ {
		l, f := best.look, best.f/float64(m)
		if f < tr.low() || l.tooth(f, 0.7*l.df) < thresholds[l.axes] {
			continue
		}
		if _, ok := tr.part(peak{f: best.f, look: l}, m, now); ok && !tr.suspect.aside() {
			return f
		}
	}
	return 0
}

// multiple reports whether f is twice, three times, … up to maxTooth times g, within 1 %.
func multiple(f, g float64) bool {
	if g <= 0 {
		return false
	}
	k := math.Round(f / g)
	return k >= 2 && k <= maxTooth && math.Abs(f-k*g) < 0.01*f
}

// groups sorts the lines into families, the strongest line of each deciding what else
// belongs to it, and returns for each family the spindle speed that it would mean.
func (tr *Tracker) groups(looks []*look, now float64) []hypothesis {
	const most = 4 // families that are weighed. Chosen: a lathe has spindle, belt, motor, mains
	low, high := tr.bounds()
	top := high
	if tr.Hint == 0 {
		top = min(maxTooth*high, looks[0].df*float64(len(looks[0].z)-4))
	}
	all := tr.all[:0]
	tr.asked = 0
	for _, p := range tr.peaks(looks, low, top) {
		if len(all) == most {
			break
		}
		if tr.fold(p.f) < tr.low() { // the image of the slow drift of a sensor
			continue
		}
		beside, proven := tr.bystander(p.f, 0.7*p.look.df)
		owner := slices.IndexFunc(all, func(h hypothesis) bool { return tr.belongs(p, h) })
		if owner >= 0 && p.f <= high && tr.swallows(all[owner], p) {
			all[owner].doubt = p.f
		}
		if proven || owner >= 0 {
			continue
		}
		if h := tr.family(p, now, low, high); h.f > 0 {
			h.beside = beside
			all = append(all, h)
		}
	}
	tr.all = all
	return all
}

// belongs reports whether p is a multiple of h, as it is or, up to the fifth, folded.
func (tr *Tracker) belongs(p peak, h hypothesis) bool {
	df := max(p.look.df, h.look.df)
	for k := 1; k <= maxMultiple; k++ {
		if math.Abs(tr.fold(float64(k)*h.f)-tr.fold(p.f)) < df {
			return true
		}
	}
	return tooth(p.f, h.f, df)
}

// swallows reports whether p, which belongs to h, does so only as a folded multiple, and as a line of its own
// would be the faster one (m/s).
func (tr *Tracker) swallows(h hypothesis, p peak) bool {
	df := max(p.look.df, h.look.df)
	own := tooth(p.f, h.f, df) || math.Abs(tr.fold(p.f)-tr.fold(h.f)) < df
	return !own && p.look.velocity(p.f) > h.look.velocity(h.f)
}

// tooth reports whether f is a multiple of g, or g itself, as well as bins of df Hz can tell.
func tooth(f, g, df float64) bool {
	k := math.Round(f / g)
	return k >= 1 && k <= maxTooth && math.Abs(k*g-f) < (0.5+0.1*k)*df
}

// family asks whether p may be the spindle's own line or a multiple of it, and returns the
// best reading. A slower line that fits p exactly is looked for by a fit in which
// p sets the frequency, so that it need not be found in noise: there is only one place
// where it can be.
func (tr *Tracker) family(p peak, now, low, high float64) hypothesis {
	var best hypothesis
	if p.f >= low && p.f <= high && tr.stepped(p.f) {
		best = tr.rate(hypothesis{f: p.f, anchor: 1, look: p.look})
	}
	if tr.Hint > 0 {
		return best
	}
	if k := best.fastest; k > 1 { // which may be the spindle, and p a belt's
		if sure, ok := tr.part(peak{f: float64(k) * p.f, look: p.look}, k, now); !sure || !ok {
			best.doubt = float64(k) * p.f
		}
	}
	unasked := 0.0
	for m := 2; m <= maxTooth; m++ {
		f := p.f / float64(m)
		if f < low || f < 2.5/p.look.seconds {
			break
		}
		if f > high || !tr.stepped(f) || !tr.worthAsking(p, m, now) {
			continue
		}
		if tr.asked++; tr.asked > mostAsked {
			unasked = f
			continue
		}
		sure, ok := tr.part(p, m, now)
		if !ok {
			continue
		}
		h := tr.rate(hypothesis{f: f, anchor: m, look: p.look})
		h.score = max(h.score, best.score)
		tr.suspect.f, tr.suspect.at = f, now
		if !sure {
			h.doubt = p.f
		}
		if best.f > 0 && best.anchor > 1 && m%best.anchor != 0 {
			h.doubt = best.f
		}
		best = h
	}
	if unasked > 0 && best.f > 0 {
		best.doubt = unasked
	}
	return best
}

// stepped reports whether the pulleys allow f Hz, or nobody said what they allow. Belts and motors slip, and plates on
// lathes are round numbers: 8 %, as for a dial.
func (tr *Tracker) stepped(f float64) bool {
	return tr.Hint > 0 || tr.Steps == nil || slices.ContainsFunc(tr.Steps, func(s float64) bool { return math.Abs(f-s) <= 0.08*s })
}

// rate scores h in its look.
func (tr *Tracker) rate(h hypothesis) hypothesis {
	l := h.look
	limit := thresholds[l.axes]
	h.score, h.speed, h.lines, h.fastest = 0, 0, 0, 0
	for k := 1; k <= maxTooth; k++ {
		g := tr.fold(float64(k) * h.f)
		mains := isMains(g, l.df) && (k > 1 || isMains(g, 0))
		if k > 1 && float64(k)*h.f > 0.5/tr.dt { // folded it may be anything
			break
		}
		if k == 1 && mains && h.anchor == 1 { // not believed, but a doubt if it is the fastest
			h.speed = l.velocity(g)
		}
		if g < tr.low()/2 || g > l.df*float64(len(l.z)-4) || mains {
			continue
		}
		if beside, _ := tr.bystander(g, 0.7*l.df); beside && k > 1 {
			continue
		}
		if z := l.tooth(g, (0.4+0.06*float64(k))*l.df); z > limit {
			h.score += min(certain, math.Log(z/limit))
			if v := l.velocity(g); v > h.speed {
				h.speed, h.fastest = v, k
			}
			// A long look blurs a speed that changed.
			if tr.latest.tooth(g, 0.6*tr.latest.df) > thresholds[l.axes] {
				h.speed = max(h.speed, tr.latest.velocity(g))
			}
			h.lines++
		}
	}
	return h
}

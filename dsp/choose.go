package dsp

import (
	"cmp"
	"math"
	"slices"
)

const (
	// margin is the difference in worth, in nats, below which two explanations are as good
	// as each other. Chosen: a factor of ten.
	margin = 2.3
	// plain: a line so many times over the threshold cannot be overlooked. Chosen.
	plain = 50.0
	// stands: noise in a mode of the lathe's is seldom so many times over the threshold. Chosen.
	stands = 5.0
	// chance: noise reaches so many times the threshold once in a billion bins.
	chance = 2.0
	// outrun: a line so many times faster (m/s) than the one the dial means casts doubt on
	// the dial. Chosen: belts and motors stay below.
	outrun = 3.0
	// singles: of two lines without multiples the lesser is a rival from this share of the
	// greater one's velocity, and so is one that has multiples. Chosen.
	singles = 0.3
	// within the dial's reach either of two lines may be the spindle, from this share of the
	// velocity on. Chosen: belts and motors are not that close, another machine may be.
	within = 0.05
	// blurred: in less than so many seconds multiples may agree by accident. Chosen.
	blurred = 1.4
	// suspectFor seconds after a line was seen at a part of another, the other is not
	// believed alone, unless a window without anything of that does not show the part. Chosen.
	suspectFor = 10.0
	// toppedFor seconds a blank is expected to keep a multiple as its strongest line. Chosen.
	toppedFor = 60.0
	// contest: seconds for which a rival within the dial's reach stays one when it is not seen. Chosen: four readings.
	contest = 1.0
	// highest, Hz: no lathe for wood turns faster, and the mains hum above. Chosen.
	highest = 100.0
	// steady readings in a row make a track that is only checked, not questioned, each time.
	steady = 4
	// turnedUp seconds after the greater of two lines is gone the lesser is not believed. Chosen.
	turnedUp = 60.0
)

// choose returns the hypothesis to believe, with f 0 if there is none, and the frequency of a rival
// that explains the data about as well, 0 if there is none.
func (tr *Tracker) choose(looks []*look, now float64) (best hypothesis, rival float64) {
	tr.latest = looks[len(looks)-1]
	all := tr.groups(looks, now)
	expected := tr.track.predict(now)
	best = believe(all, expected)
	if best.f == 0 {
		if tr.Hint > 0 || tr.Steps != nil {
			rival = tr.contested(best, tr.outside(looks, 0, now), now)
		}
		return hypothesis{}, rival
	}
	best = tr.whole(best, now)
	if f := tr.mistaken(best, looks, now); f > 0 {
		return best, f
	}
	if tr.Hint > 0 {
		if best.doubt > 0 {
			return best, tr.contested(best, best.doubt, now)
		}
		if rival = tr.outside(looks, best.f, now); rival > 0 {
			return best, tr.contested(best, rival, now)
		}
		if rival = tr.divided(best, now); rival > 0 {
			return best, rival
		}
	} else if rival = tr.suspicious(best, now); rival > 0 {
		return best, rival
	}
	// A line that was followed and is still there is not left for another on one look.
	if tr.track.count >= steady && expected > 0 && math.Abs(best.f-expected) > max(0.03*expected, best.look.df) {
		const still = 0.6 // bins
		l, was, is := tr.latest, tr.fold(expected), tr.fold(best.f)
		beside := math.Abs(best.f-expected) < 2*still*l.df
		for p := range l.lines(2*thresholds[l.axes], was-still*l.df, was+still*l.df) {
			if !beside || math.Abs(p.f-was) < math.Abs(p.f-is) {
				return best, expected
			}
		}
	}
	return best, tr.contested(best, tr.rivalOf(best, all, looks[0].seconds, now), now)
}

// whole returns best, or what best is a multiple of itself: of the dozens of lines that knocks make any may be the strongest, and
// that was asked for its parts to the eighth only.
func (tr *Tracker) whole(best hypothesis, now float64) hypothesis {
	low, high := tr.bounds()
	for tr.Hint == 0 && best.anchor > 1 {
		tr.asked = 0
		slower := tr.family(peak{f: best.f, look: best.look}, now, low, high)
		slower.doubt = cmp.Or(slower.doubt, best.doubt)
		if slower.anchor <= 1 {
			best.doubt = slower.doubt
			break
		}
		if slower.doubt == 0 && tr.gathers(slower, now) {
			slower.doubt = best.f
		}
		best = slower
	}
	return best
}

// dispute is the last time that two lines could have been the spindle's.
type dispute struct {
	first, at  float64 // s, since when without a break, and last
	own, rival float64 // Hz: the better one, 0 if none was good, and the other
	slower     line    // the slower (m/s) of the two, and since when it is
	lesser     line    // what was the slower last for longer than a step in speed leaves two, and when it was there last
}

// contested returns rival, and where there is none, the one that best had a moment ago, or that best itself was, if it
// is not what was followed: a speed that changes blurs its line, and leaves another's as the only one. And if best was
// the lesser of two lines for long, the other may have left the dial's reach, or what is looked for, or the lathe was stopped.
func (tr *Tracker) contested(best hypothesis, rival, now float64) float64 {
	d, near := &tr.dispute, func(f, g float64) bool { return math.Abs(f-g)*longest < 1 }
	same := func(f float64) bool { return best.f > 0 && near(best.f, f) }
	recent := now-d.at < max(contest, min(longest, d.at-d.first)) // what was long in doubt is not clear at once
	if rival > 0 {
		if !recent {
			d.first, d.lesser, d.slower = now, line{}, line{}
		}
		d.at, d.own, d.rival = now, best.f, rival
		if same(d.lesser.f) || near(rival, d.lesser.f) {
			d.lesser.at = now
		}
		if best.f > 0 {
			f := rival
			if tr.latest.velocity(rival) > best.speed {
				f = best.f
			}
			if !near(f, d.slower.f) {
				d.slower = line{f: f, at: now}
			}
			if now-d.slower.at > longest+contest {
				d.lesser = line{f: f, at: now}
			}
		}
		return rival
	}
	switch stood := d.at-max(d.first, tr.track.since) > contest; { // and it is no step in speed
	case recent && d.at-d.first > contest && same(d.rival) && !same(tr.track.predict(now)):
		return cmp.Or(d.own, d.rival)
	case recent && stood && same(tr.track.home), now-d.at < turnedUp && d.at-d.lesser.at < longest && same(d.lesser.f):
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
	case now-tr.undertone.at < suspectFor && multiple(best.f, tr.undertone.f):
		return tr.undertone.f
	case best.anchor == 1 && tr.track.count < steady && now-tr.topped.at < toppedFor:
		return best.f
	}
	return 0
}

// rivalOf returns the frequency of the hypothesis in all that is about as good as best, or is
// faster (m/s), or, if it has multiples or best has none, not much slower; 0 if there is none. In a look of few seconds
// more must speak for best.
func (tr *Tracker) rivalOf(best hypothesis, all []hypothesis, seconds, now float64) float64 {
	lead := margin
	if seconds < blurred {
		lead *= 3
	}
	top, weighs, faster := fastest(all), 1.0, 1/math.Sqrt2 // a line of the mains; what goes round has √2 of the shake in all axes
	if tr.Hint > 0 {
		weighs, faster = singles, 1
	}
	for _, h := range all {
		p, df := peak{f: h.f, look: h.look}, max(best.look.df, h.look.df)
		if h.f == best.f || h.lines == 0 && h.speed <= weighs*best.speed || tr.belongs(p, best) && !tr.swallows(best, p, now) {
			continue
		}
		// What would be its multiple has been asked for its parts by an exact fit. But what else the lines of h may mean stands.
		if tooth(best.f, p.f, df) {
			if p.f = h.doubt; p.f == 0 || tooth(best.f, p.f, df) || tr.belongs(p, best) {
				continue
			}
		}
		lesser := (h.lines > 1 || best.lines == 1) && h.speed > singles*best.speed || tr.Hint > 0 && h.speed > within*best.speed
		if h.speed > weighs*best.speed && h.lines == 0 || h.speed > faster*best.speed || !h.beside && (lesser || h.worth(top) > best.worth(top)-lead) {
			return p.f
		}
	}
	_, high := tr.bounds()
	if tr.Hint == 0 && tr.High == 0 { // it may turn faster than is looked for
		high = highest
	}
	for _, p := range tr.found { // knocks make more of them than are weighed
		_, proven := tr.bystander(p.f, 0.7*p.look.df)
		spins := p.f <= high && tr.fold(p.f) >= tr.low() && tr.stepped(p.f) && !proven
		if spins && p.look.velocity(p.f) > best.speed && !tr.belongs(p, best) {
			return p.f
		}
	}
	return 0
}

// outside returns the frequency of a line in the lathe's range that makes the dial's word
// doubtful where best Hz is the line it stands for (0: none): any line where there is
// none, one as fast that best would be the multiple of or that the dial would mean if it were misread, one
// several times as fast, and one as plain that explains more. 0 if there is no such line.
func (tr *Tracker) outside(looks []*look, best, now float64) float64 {
	l := looks[0]
	own, most, found, times := 0.0, 0.0, 0.0, outrun
	if tr.unseen() { // no look shows yet what explains more
		times = 1
	}
	if best > 0 {
		own = l.velocity(best)
	}
	for p := range l.lines(chance*thresholds[l.axes], tr.low(), tr.high()) {
		v, meant := l.velocity(p.f), best > 0 && geared(best, p.f)
		other := v > own && meant || p.z > plain && (v > times*own || v > own && multiple(best, p.f)) ||
			p.z > stands && v > singles*own && best > 0 && tr.tells(l, p.f, best, v > own)
		h := hypothesis{f: best, look: l}
		if !other || best > 0 && tr.belongs(p, h) && !(tr.swallows(h, p, now) && tr.aside(h, p.f, now)) {
			continue
		}
		if v > most && !isMains(p.f, 0) && tr.fold(p.f) >= tr.low() && !gone(looks, p) {
			most, found = v, p.f
		}
	}
	return found
}

// tells reports whether the line at f Hz explains more of what l shows than the one at g, which the dial means: two multiples more, or, if
// it is the faster (m/s), no fewer. Of multiples that the sensor could not show of both, and of what is one of both, neither is asked.
func (tr *Tracker) tells(l *look, f, g float64, faster bool) bool {
	teeth := func(f, g float64) (n int) {
		for k := 2.0; k <= maxTooth && k*max(f, g) < 0.45/tr.dt; k++ {
			if !tooth(k*f, g, l.df) && !isMains(k*f, l.df) && l.tooth(k*f, (0.4+0.06*k)*l.df) > chance*thresholds[l.axes] {
				n++
			}
		}
		return n
	}
	more := teeth(f, g) - teeth(g, f)
	return more >= 2 || faster && more >= 0
}

// beyond returns the frequency of the line of l that shakes most (m/s) of those that are none of the lathe's range, but may be a
// spindle's all the same; 0 if there is none.
func (tr *Tracker) beyond(l *look) float64 {
	most, found := 0.0, 0.0
	for p := range l.lines(plain*thresholds[l.axes], 1, min(highest, l.rate/2)) {
		v, inside := l.velocity(p.f), p.f >= tr.low() && p.f <= tr.high()
		if v > most && !inside && !isMains(p.f, 0) {
			most, found = v, p.f
		}
	}
	return found
}

// geared reports whether a dial that means f is off by a factor of two or three if it should mean g: dials are misread by a pulley
// step or a gear.
func geared(f, g float64) bool {
	k := max(f, g) / min(f, g)
	return math.Abs(k/2-1) < Reach || math.Abs(k/3-1) < Reach
}

// divided returns the frequency of a line at a half or a third of best, which makes best its multiple and
// the dial's word wrong, 0 if none stands there.
func (tr *Tracker) divided(best hypothesis, now float64) float64 {
	const lowest = 3 // dials are misread by a pulley step or a gear, a factor of two or three. Chosen
	for m := 2; m <= lowest; m++ {
		l, f := best.look, best.f/float64(m)
		shows := func(l *look) bool { return l.tooth(f, 0.7*l.df) > thresholds[l.axes] }
		if !shows(l) { // in the noise of a while ago
			l = tr.latest
		}
		if f < tr.low() || !shows(l) {
			continue
		}
		_, ok := tr.part(peak{f: best.f, look: l}, m, now)
		s := &tr.suspects[m]
		if own := s.at == now && math.Abs(s.f-f) < 0.02*f; ok && !(own && s.aside()) {
			return f
		}
	}
	return 0
}

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
	// mostAsked parts are looked for in one reading; what was not asked stays a doubt. Chosen: knocks
	// show dozens of lines, and each fit of them costs more than all else.
	mostAsked = 8
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
		expected := s.expects(p)
		if s.seconds < p.look.seconds && expected > 3*thresholds[s.axes] && p.f > 3/s.seconds && s.at(p.f, 0) < 0.15*expected {
			return true
		}
	}
	return false
}

// expects returns the whitened power that p, of a longer look and steady, has in s. The noise there is s's own: lines that the
// longer look parts, as knocks make them, lie side by side in it.
func (s *look) expects(p peak) float64 {
	k, at, sum := int(math.Round(p.f/p.look.df)), int(math.Round(p.f/s.df)), 0.0
	for a := range s.axes {
		if n := s.noise[a]; at < len(n) && n[at] > 0 {
			sum += p.look.power[a][k] / n[at]
		}
	}
	return sum * s.seconds / p.look.seconds
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
		// The image of the slow drift of a sensor; and beside a steady track no part of what may be noise is looked for.
		if tr.fold(p.f) < tr.low() || p.f > high && p.z < chance && tr.track.count >= steady {
			continue
		}
		beside, proven := tr.bystander(p.f, 0.7*p.look.df)
		owner := slices.IndexFunc(all, func(h hypothesis) bool { return tr.belongs(p, h) })
		own := owner < 0 || isMains(all[owner].f, 0) // of which no multiple is taken at its word
		if !own && p.f <= high && tr.swallows(all[owner], p, now) {
			own, all[owner].doubt = true, p.f
		}
		if proven || !own {
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
// would be the faster one (m/s), or is none where the dial means either.
func (tr *Tracker) swallows(h hypothesis, p peak, now float64) bool {
	df := max(p.look.df, h.look.df)
	if tooth(p.f, h.f, df) || math.Abs(tr.fold(p.f)-tr.fold(h.f)) < df {
		return false
	}
	low, high := tr.bounds()
	v, own := p.look.velocity(p.f), h.look.velocity(h.f)
	return v > own || tr.Hint > 0 && p.f >= low && p.f <= high && v > within*own && tr.aside(h, p.f, now)
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
		turned := f * tr.holds(p.look)
		if f < low || turned < felt {
			break
		}
		if f > high || !tr.stepped(f) || turned < seen && tr.familiar(p, now) || turned >= seen && !tr.worthAsking(p, m, now) {
			continue
		}
		if tr.asked++; tr.asked > mostAsked {
			unasked = f
			continue
		}
		sure, ok := tr.ask(p, m, now)
		if ok && turned < seen { // jaws may knock so many times a turn
			best.doubt = f
			continue
		}
		if !ok || !sure && p.f > high && p.look.tooth(f, 0.7*p.look.df) > thresholds[tr.axes] {
			continue // or p is nobody's, and the line at that place is asked by itself
		}
		h := tr.rate(hypothesis{f: f, anchor: m, look: p.look})
		h.score = max(h.score, best.score)
		if !tr.suspected(f, now) {
			tr.undertone.first = now
		}
		tr.undertone.f, tr.undertone.at = f, now
		if !sure {
			h.doubt = p.f
		}
		if best.f > 0 && best.anchor > 1 && m%best.anchor != 0 {
			h.doubt = best.f
		}
		best = h
	}
	if unasked > 0 && best.f > 0 { // what is above the range and not the strongest line, which is asked first, is no doubt
		best.doubt = unasked
	}
	return best
}

// stepped reports whether the pulleys allow f Hz, or nobody said what they allow. Belts and motors slip, and plates on
// lathes are round numbers.
func (tr *Tracker) stepped(f float64) bool {
	return tr.Hint > 0 || tr.Steps == nil || slices.ContainsFunc(tr.Steps, func(s float64) bool { return math.Abs(f-s) <= Reach*s })
}

// rate scores h in its look.
func (tr *Tracker) rate(h hypothesis) hypothesis {
	l := h.look
	limit := thresholds[l.axes]
	h.score, h.speed, h.lines, h.fastest = 0, 0, 0, 0
	for k := 1; k <= maxTooth; k++ {
		g := tr.fold(float64(k) * h.f)
		truly := g / (float64(k) * h.f) // of the velocity that the fold shows
		mains := isMains(g, l.df) && (k > 1 || isMains(g, 0))
		if k > 1 && float64(k)*h.f > 0.5/tr.dt { // folded it may be anything
			break
		}
		if k == 1 && mains && h.anchor == 1 { // not believed, but a doubt if it is the fastest
			h.speed = l.velocity(g) * truly
		}
		if g < tr.low()/2 || g > l.df*float64(len(l.z)-4) || mains {
			continue
		}
		if beside, _ := tr.bystander(g, 0.7*l.df); beside && k > 1 {
			continue
		}
		if z := l.tooth(g, (0.4+0.06*float64(k))*l.df); z > limit {
			h.score += min(certain, math.Log(z/limit))
			if v := l.velocity(g) * truly; v > h.speed {
				h.speed, h.fastest = v, k
			}
			// A long look blurs a speed that changed.
			if tr.latest.tooth(g, 0.6*tr.latest.df) > thresholds[l.axes] {
				h.speed = max(h.speed, tr.latest.velocity(g)*truly)
			}
			h.lines++
		}
	}
	return h
}

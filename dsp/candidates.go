package dsp

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

const (
	// certain is the most that one line adds to a score, in nats over the threshold: a
	// line 20 times (e³) over it is simply there. Chosen.
	certain = 3.0
	// mostTeeth is how many multiples a score looks at, and the highest that may be the
	// strongest of a family.
	mostTeeth = 8
	// margin is the difference in worth, in nats, below which two explanations are as good
	// as each other. Chosen: a factor of ten.
	margin = 2.3
	// shown is the amplitude over its standard error at which a line at a known frequency
	// is more than noise: for six Gaussian numbers (three axes) χ² > 30 has probability 4e-5.
	shown = 5.5
	// plain: a line so many times over the threshold is measured best in the longest look.
	plain = 50.0
	// singles: of two lines without multiples the lesser is a rival from this share of the
	// greater one's velocity. Chosen.
	singles = 0.3
	// blurred: in less than so many seconds multiples may agree by accident. Chosen.
	blurred = 1.4
	// partedFor seconds after a line was seen at a part of another, the other is not
	// believed alone. Chosen.
	partedFor = 3.0
	// steady readings in a row make a track that is only checked, not questioned, each time.
	steady = 4
)

// peak is a line in a look.
type peak struct {
	f    float64 // Hz
	z    float64 // whitened power over the threshold
	look *look
}

// hypothesis is a frequency that may be the spindle's.
type hypothesis struct {
	f      float64 // Hz
	anchor int     // the multiple that is its strongest line
	look   *look
	score  float64 // Σ ln(z/threshold) over the line and its multiples, each at most certain
	speed  float64 // m/s rms, velocity of the strongest line of the family
	lines  int     // lines of the family that stand
	doubt  float64 // Hz, another reading of the same lines that is as good; 0 none
}

// fold returns where frequency f shows in even samples: |f − m·rate|.
func (tr *Tracker) fold(f float64) float64 {
	rate := 1 / tr.dt
	return math.Abs(f - rate*math.Round(f/rate))
}

// peaks lists the lines between low and high Hz that stand above the noise in any of the
// looks and are still there in the latest, strongest first, each in the longest look that
// shows it well.
func (tr *Tracker) peaks(looks []*look, low, high float64) []peak {
	found := tr.found[:0]
	for _, l := range looks {
		from, to := max(int(low/l.df), 2), min(int(high/l.df)+1, len(l.z)-3)
		for k := from; k <= to; k++ {
			z := l.z[k]
			if z < thresholds[l.axes] || z < l.z[k-1] || z <= l.z[k+1] {
				continue
			}
			f := (float64(k) + peakOffset(l.z[k-1], z, l.z[k+1])) * l.df
			if f < low || f > high || gone(looks, l, f, z) {
				continue
			}
			p := peak{f: f, z: z / thresholds[l.axes], look: l}
			same := slices.IndexFunc(found, func(q peak) bool { return math.Abs(q.f-f) < 2.5/l.seconds })
			switch {
			case same < 0:
				found = append(found, p)
			case found[same].look == l && found[same].z < p.z, found[same].look != l && 4*found[same].z < p.z && found[same].z < plain:
				found[same] = p
			}
		}
	}
	tr.found = found
	slices.SortStableFunc(found, func(a, b peak) int { return cmp.Compare(b.z*float64(b.look.seconds), a.z*float64(a.look.seconds)) })
	return found
}

// peakOffset interpolates a Hann peak between bins from the whitened powers beside it, in
// bins (Grandke, IEEE Trans. Instrum. Meas. 32 (1983): (2a−1)/(a+1), a the ratio of the
// amplitudes of the larger neighbour and the peak).
func peakOffset(left, mid, right float64) float64 {
	side, sign := right, 1.0
	if left > right {
		side, sign = left, -1.0
	}
	a := math.Sqrt(side / mid)
	return sign * max(0, min(0.5, (2*a-1)/(a+1)))
}

// gone reports whether the line at f, strong in look l, no longer stands in the shorter
// looks, where it should: a speed that was.
func gone(looks []*look, l *look, f, z float64) bool {
	for _, s := range looks {
		expected := z * s.seconds / l.seconds
		if s.seconds < l.seconds && expected > 3*thresholds[s.axes] && f > 3/s.seconds && s.at(f, 1) < 0.15*expected {
			return true
		}
	}
	return false
}

// choose returns the hypothesis to believe, with f 0 if there is none, and the frequency of a rival
// that explains the data about as well, 0 if there is none.
func (tr *Tracker) choose(looks []*look, now, low, high float64) (best hypothesis, rival float64) {
	all := tr.groups(looks, now, low, high)
	if len(all) == 0 {
		return hypothesis{}, 0
	}
	top := 0.0
	for _, h := range all {
		top = max(top, h.speed)
	}
	worth := func(h hypothesis) float64 { return h.score + max(-4, math.Log(h.speed/top)) }
	expected := tr.track.predict(now)
	liking := func(h hypothesis) float64 {
		if expected > 0 && math.Abs(h.f-expected) < max(0.03*expected, 1.5*h.look.df) {
			return worth(h) + margin/2
		}
		return worth(h)
	}
	slices.SortStableFunc(all, func(a, b hypothesis) int { return cmp.Compare(liking(b), liking(a)) })
	best = all[0]
	for _, h := range all[1:] {
		if multiple(best.f, h.f) {
			// Both are readings of the same lines, and the slower one has a line more.
			h.score, h.speed = max(h.score, best.score), max(h.speed, best.speed)
			best = h
		}
	}
	if tr.Hint == 0 && best.doubt == 0 && now-tr.partedAt < partedFor && multiple(best.f, tr.parted) {
		best.doubt = tr.parted
	}
	if Debug {
		for _, h := range all {
			fmt.Printf("   %.2f: f %.3f anchor %d score %.2f worth %.2f speed %.5f doubt %.2f look %.1f\n", now, h.f, h.anchor, h.score, worth(h), h.speed, h.doubt, h.look.seconds)
		}
	}
	switch {
	case best.doubt > 0:
		return best, best.doubt
	case tr.Hint == 0 && tr.mains(best.f, 0):
		return best, best.f
	}
	enough := margin
	if looks[0].seconds < blurred {
		enough = 3 * margin
	}
	for _, h := range all {
		if h.f == best.f || h.lines == 0 || multiple(h.f, best.f) {
			continue
		}
		if worth(h) > worth(best)-enough || h.lines == 1 && best.lines == 1 && h.speed > singles*best.speed {
			return best, h.f
		}
	}
	return best, 0
}

// multiple reports whether f is twice, three times, … up to mostTeeth times g, within 1 %.
func multiple(f, g float64) bool {
	if g <= 0 {
		return false
	}
	k := math.Round(f / g)
	return k >= 2 && k <= mostTeeth && math.Abs(f-k*g) < 0.01*f
}

// groups sorts the lines into families, the strongest line of each deciding what else
// belongs to it, and returns for each family the spindle speed that it would mean.
func (tr *Tracker) groups(looks []*look, now, low, high float64) []hypothesis {
	top := high
	if tr.Hint == 0 {
		top = min(mostTeeth*high, looks[0].df*float64(len(looks[0].z)-4))
	}
	var all []hypothesis
	for _, p := range tr.peaks(looks, low, top) {
		if len(all) == 4 {
			break
		}
		if slices.ContainsFunc(all, func(h hypothesis) bool { return tr.belongs(p, h) }) || tr.bystander(p.f, 1.5*p.look.df) {
			continue
		}
		if h := tr.family(p, now, low, high); h.f > 0 {
			all = append(all, h)
		}
	}
	return all
}

// belongs reports whether p is a multiple of h, as it is or, up to the fifth, folded.
func (tr *Tracker) belongs(p peak, h hypothesis) bool {
	df := max(p.look.df, h.look.df)
	for k := 1; k <= mostTeeth; k++ {
		g := float64(k) * h.f
		if math.Abs(g-p.f) < (1+0.1*float64(k))*df || k <= maxMultiple && math.Abs(tr.fold(g)-tr.fold(p.f)) < df {
			return true
		}
	}
	return false
}

// family asks whether p may be the spindle's own line or a multiple of it, and returns the
// best reading. A slower line that fits p exactly is looked for by a fit in which
// p sets the frequency, so that it need not be found in noise: there is only one place
// where it can be.
func (tr *Tracker) family(p peak, now, low, high float64) hypothesis {
	var best hypothesis
	if p.f >= low && p.f <= high {
		best = tr.rate(hypothesis{f: p.f, anchor: 1, look: p.look})
	}
	if tr.Hint > 0 {
		return best
	}
	from, to := tr.questions(p, now)
	for m := from; m <= to; m++ {
		f := p.f / float64(m)
		if f < low || f < 2.5/p.look.seconds {
			break
		}
		if f > high || f > 6/p.look.seconds && p.look.at(f, 1) < 6 {
			continue
		}
		sure, ok := tr.part(p, m, now)
		if !ok {
			continue
		}
		h := tr.rate(hypothesis{f: f, anchor: m, look: p.look})
		h.score = max(h.score, best.score)
		tr.parted, tr.partedAt = f, now
		if !sure {
			h.doubt = p.f
		}
		if best.f > 0 && best.anchor > 1 && m%best.anchor != 0 {
			h.doubt = best.f
		}
		best = h
	}
	return best
}

// questions returns which parts of p are looked for: all while nothing is sure; afterwards
// the one that the track says, or another one each time.
func (tr *Tracker) questions(p peak, now float64) (from, to int) {
	expected := tr.track.predict(now)
	if tr.track.count < steady || expected == 0 {
		return 2, mostTeeth
	}
	k := int(math.Round(p.f / expected))
	switch {
	case k > mostTeeth || math.Abs(p.f-float64(k)*expected) > max(0.02*p.f, 1.5*p.look.df):
		return 2, 1
	case k > 1:
		return k, k
	}
	tr.turn = (tr.turn + 1) % (mostTeeth - 1)
	return 2 + tr.turn, 2 + tr.turn
}

// part reports whether a line stands at 1/m of p, and whether it is sure to be no accident:
// another multiple that p does not explain stands too, or the line is strong, or it fits so
// exactly that chance is out of the question.
func (tr *Tracker) part(p peak, m int, now float64) (sure, ok bool) {
	s := &tr.probe
	if !tr.fitLine(s, p.look, p.f/float64(m), 0, now, p.look.seconds, m, max(m, 3)) {
		return false, false
	}
	v := s.phasorVar()
	amp, se := worst(s.phasor[1], v)
	if amp < shown*se || math.Abs(s.off[1]) > 4*math.Sqrt(s.offVar[1])+0.02/s.span {
		return false, false
	}
	strong, _ := worst(s.phasor[m], v)
	if amp*float64(m) > 0.5*strong || 4*math.Sqrt(s.offVar[1]) < 0.002*s.f {
		return amp > 2*shown*se, true
	}
	for _, k := range s.ks {
		if k > 1 && k != m {
			if a, _ := worst(s.phasor[k], v); a > 2*shown*se {
				return amp > shown*se, true
			}
		}
	}
	return false, true
}

// rate scores h in its look.
func (tr *Tracker) rate(h hypothesis) hypothesis {
	l := h.look
	limit := thresholds[l.axes]
	h.score, h.speed, h.lines = 0, 0, 0
	for k := 1; k <= mostTeeth; k++ {
		g := tr.fold(float64(k) * h.f)
		if g < tr.low()/2 || g > l.df*float64(len(l.z)-4) || tr.mains(g, l.df) || tr.bystander(g, l.df) {
			continue
		}
		half := 1
		if k > 4 {
			half = 2
		}
		if z := l.at(g, half); z > limit {
			h.score += min(certain, math.Log(z/limit))
			h.speed = max(h.speed, l.velocity(g))
			h.lines++
		}
	}
	return h
}

// velocity returns the velocity in m/s rms of the line at f, all axes together: Hann lines
// spread over 1.5 bins.
func (l *look) velocity(f float64) float64 {
	k := int(math.Round(f / l.df))
	sum := 0.0
	for a := range l.axes {
		for j := max(k-1, 1); j <= min(k+1, len(l.z)-2); j++ {
			sum += l.power[a][j] * l.df
		}
	}
	return math.Sqrt(sum) / (2 * math.Pi * f)
}

// mains reports whether f is the mains' or twice that, 50 or 60 Hz within 0.25 % (grids
// hold 0.4 %; chosen) and half of the resolution, as it is or folded.
func (tr *Tracker) mains(f, resolution float64) bool {
	for _, m := range [4]float64{50, 60, 100, 120} {
		if math.Abs(f-m) < 0.0025*m+resolution/2 {
			return true
		}
	}
	return false
}

// neighbour is a line that was seen beside the spindle's.
type neighbour struct {
	f      float64 // Hz
	seen   float64 // s, last time
	beside int     // readings in which the spindle was known and was another line
	lo, hi float64 // Hz, range of the spindle's speed in those
}

const (
	neighbourAlive = 3.0 // s: not seen for so long, and it is forgotten
	neighbourCount = 4   // readings beside a known spindle
)

// bystander reports whether f belongs to a line that was there beside the spindle and has not
// moved since. The dial's word overrules that.
func (tr *Tracker) bystander(f, resolution float64) bool {
	if tr.Hint > 0 {
		return false
	}
	return slices.ContainsFunc(tr.neighbours, func(b neighbour) bool {
		return math.Abs(b.f-f) < resolution && (b.beside >= neighbourCount || b.hi > 1.1*b.lo)
	})
}

// remember updates the neighbours with the lines of look l at time now, where the spindle
// is known to turn at spin Hz (0: it is not known).
func (tr *Tracker) remember(l *look, now, spin float64) {
	for k := 2; k < len(l.z)-2; k++ {
		z := l.z[k]
		if float64(k)*l.df > tr.high()*1.05 {
			break
		}
		if z < 2*thresholds[l.axes] || z < l.z[k-1] || z <= l.z[k+1] {
			continue
		}
		f := (float64(k) + peakOffset(l.z[k-1], z, l.z[k+1])) * l.df
		if spin > 0 && tr.belongs(peak{f: f, look: l}, hypothesis{f: spin, look: l}) {
			continue
		}
		tr.note(f, now, spin, l.df)
	}
	tr.neighbours = slices.DeleteFunc(tr.neighbours, func(b neighbour) bool { return now-b.seen > neighbourAlive })
}

func (tr *Tracker) note(f, now, spin, df float64) {
	for i := range tr.neighbours {
		b := &tr.neighbours[i]
		if math.Abs(b.f-f) > 0.6*df {
			continue
		}
		b.f += 0.3 * (f - b.f)
		b.seen = now
		if spin > 0 {
			b.beside++
			if b.lo == 0 {
				b.lo, b.hi = spin, spin
			}
			b.lo, b.hi = min(b.lo, spin), max(b.hi, spin)
		}
		return
	}
	if len(tr.neighbours) < 64 {
		b := neighbour{f: f, seen: now}
		if spin > 0 {
			b.beside, b.lo, b.hi = 1, spin, spin
		}
		tr.neighbours = append(tr.neighbours, b)
	}
}

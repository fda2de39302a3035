package dsp

import (
	"cmp"
	"math"
	"slices"
)

const (
	// Reach: a line is looked for within so much of the dial's word, or of a pulley's, relative. Common practice, no source.
	Reach = 0.08
)

// state is what a Tracker keeps between calls.
type state struct {
	ear

	track      track
	known      line    // the spindle's, as it was last known
	good       []line  // of readings of the last seconds: fine ones, those where the speed may have moved, and weak ones whose speed is sure
	missed     float64 // s, when what was known was not where it should be, last; -Inf never
	neighbours []neighbour
	suspects   [maxTooth + 1]suspicion // of a line at 1/m of another
	parts      [maxTooth + 1]answer    // whether a line stands at 1/m of another
	alone      answer                  // that no other line is so close to the spindle's that the two look like one
	undertone  sighting                // of a line at a part of another, or where one may be
	topped     topping
	apart      float64  // s, when the line was at a part of the one that was known, last; -Inf never
	question   int      // readings so far: which part of the line is looked for, see worthAsking
	asked      int      // parts looked for in this reading
	other      sighting // of a line so close to the spindle's that the two look like one
	bends      sighting // of one as close that is too small to be the spindle's
	disagreed  sighting // of a line that said another speed than its multiples

	dispute dispute
	doubt   sighting // of a line that was in doubt
	change  change
	meant   line // the spindle's, when the dial's word held last

	ahead      []Glance // of the samples at hand
	spectrum   spectrum
	looks      [3]look
	under      look    // of what the line leaves
	end        look    // of the end of the window
	shown      []*look // those of the reading at hand, longest first
	latest     *look   // the shortest of them
	found      []peak
	all        []hypothesis
	out        []Revolution
	fit, probe fit
	ambiguous  bool // the line just measured may be the image of another
	health     health
	shares     [3]float64  // of the line's amplitude on each axis, in the last good reading
	rest       []remainder // of the window, oldest first
}

// track is the spindle as it was followed so far.
type track struct {
	f, drift, time float64 // Hz, Hz/s, s
	span           float64 // s, window that the next fit needs
	count          int     // revolutions in a row that agreed
	home, since    float64 // Hz, s: a speed, and since when it was left by no more than the longest window can tell
	clear          line    // where it stood clear enough for a number last
}

// predict returns where the track should be at time t, Hz; 0 if there is none or it is old.
func (k *track) predict(t float64) float64 {
	const old = 1.5 // s. Chosen: one unseen reading is bridged, a change of speed is not.
	if k.count == 0 || t-k.time > old+longest/2 {
		return 0
	}
	return k.f + k.drift*(t-k.time)
}

// age is how long the track has held, in s.
func (k *track) age() float64 { return shortest + every*float64(k.count) }

// agrees reports whether rev is where the track should be.
func (k *track) agrees(rev *Revolution) bool {
	p := k.predict(rev.Time)
	return p > 0 && math.Abs(p-rev.Freq) < max(0.03*p, 3*rev.FreqSE)
}

// follow takes rev into the track.
func (k *track) follow(rev *Revolution) {
	switch agrees := k.agrees(rev); {
	case rev.AmpSE > 0.3*rev.Amp: // hardly a line at all
		k.count = 0
		return
	case rev.Has(Doubtful) && k.count >= steady && !agrees && k.predict(rev.Time) > 0:
		return // the track ends by itself if the line does not come back
	case agrees:
		k.count++
	default:
		k.count = 1
	}
	k.f, k.drift, k.time = rev.Freq, rev.Drift, rev.Time
	if !rev.Has(Weak) {
		k.clear = line{rev.Freq, rev.Amp, rev.Time}
	}
	if math.Abs(k.f-k.home)*longest > 1 {
		k.home, k.since = k.f, k.time
	}
	// A window longer than the error needs shrinks, a little at a time.
	excess := rev.AmpSE / (enough * rev.Amp)
	k.span = rev.Span * max(0.8, min(1, excess*excess))
}

// change is the last change of the speed.
type change struct {
	at    float64 // s, when the speed was seen to change last; -Inf never
	from  float64 // Hz, the speed before; 0 unknown, or the change is over
	after float64 // s, since when the speed is what it is; -Inf unknown
	usual float64 // misfit while it does not change
}

// see takes in the fit s of the window that ends at now, home the speed that held before it, Hz. It reports whether that window is
// the first that holds nothing of the speed before.
func (c *change) see(s *fit, home, now float64) (over bool) {
	recent := c.recent(now)
	amp, se := worst(s.phasor[1], s.variance())
	switch {
	case s.changing():
		c.begin(home, now)
	case recent && se < tooWeak*amp && math.Abs(s.f-c.from) > stepping*s.f && s.misfit < c.most():
		over, c.from, c.after = true, 0, s.middle-s.span/2
	case !recent:
		// A window of two speeds that nobody saw is not usual at once.
		c.usual += max(-misfits, min(s.misfit-c.usual, misfits)) / steady
	}
	return over
}

// recent reports whether a change was seen not long ago and is not over.
func (c *change) recent(now float64) bool { return now-c.at < longest && c.from > 0 }

// begin takes in that the speed was seen to change, from home Hz if that is new.
func (c *change) begin(home, now float64) {
	if !c.recent(now) {
		c.from = home
	}
	c.at = now
}

// most returns the misfit from which on there is more beside the line than there is while the speed holds.
func (c *change) most() float64 { return misfits + max(0, c.usual) }

// topping is the last time that a multiple was the spindle's strongest line.
type topping struct {
	at    float64 // s, -Inf never
	own   line    // the spindle's own line of the last steady track then
	times float64 // how many times as large as that the multiple was, at most
}

// hiding returns what share of the line of rev the one may be at time now that it is a multiple of: as small as it was
// before, if that is less than usual and the line is not the spindle's own of then.
func (o *topping) hiding(rev *Revolution, now float64) float64 {
	const moved, grown = 0.03, 3.0 // as a track agrees; and more than a cut makes of a line. Chosen
	own := math.Abs(rev.Freq-o.own.f) < moved*rev.Freq && rev.Amp < grown*o.own.amp
	if own || now-o.at > toppedFor {
		return hiding
	}
	return min(hiding, 1/o.times)
}

// underway reports whether the speed was seen to change a reading ago.
func (c *change) underway(now float64) bool { return now-c.at < 1.5*every }

func (tr *Tracker) low() float64 {
	if tr.Low > 0 {
		return tr.Low
	}
	return 1
}

func (tr *Tracker) high() float64 {
	if tr.High > 0 {
		return tr.High
	}
	return 70
}

// bounds returns the range that is searched, Hz.
func (tr *Tracker) bounds() (low, high float64) {
	if tr.Hint > 0 {
		return tr.Hint * (1 - Reach), tr.Hint * (1 + Reach)
	}
	return tr.low(), tr.high()
}

// reading is the revolution that is due at time u, if anything may be said.
func (tr *Tracker) reading(u float64) (rev Revolution, ok bool) {
	why, ok := tr.ready(u)
	if tr.anew {
		tr.anew = false
		tr.rest = tr.rest[:0]
		tr.forget()
	}
	switch {
	case !ok:
		return rev, false
	case why != "":
		return tr.without(u, why), true
	}
	tr.hear(u)
	return tr.revolution(u), true
}

// without returns a reading that has no samples to go by, and ends the track.
func (tr *Tracker) without(now float64, why Fault) Revolution {
	tr.track.count = 0
	span := min(longest, max(every, now-max(tr.gapAt, now-longest)))
	rev := Revolution{Axes: tr.axes, Time: now - span/2, Span: span, Faults: []Fault{why}}
	if tr.dt > 0 {
		rev.Rate = 1 / tr.dt
	}
	return rev
}

// forget leaves nothing of the lines that were followed. Only that a multiple was the strongest line still counts: it
// is the blank's; and where the dial's word held: the dial may have been turned since.
func (tr *Tracker) forget() {
	never := math.Inf(-1)
	tr.track, tr.known, tr.missed, tr.health, tr.neighbours = track{clear: line{at: never}}, line{}, never, health{}, tr.neighbours[:0]
	tr.good = tr.good[:0]
	for m := range tr.suspects {
		tr.suspects[m], tr.parts[m] = suspicion{at: never}, answer{at: never}
	}
	for _, s := range [...]*sighting{&tr.doubt, &tr.other, &tr.bends, &tr.disagreed, &tr.undertone} {
		*s = sighting{at: never}
	}
	tr.alone, tr.dispute, tr.apart = answer{at: never}, dispute{at: never}, never
	tr.change, tr.since = change{at: never, after: never}, never
}

// revolution does all the work for one reading at time now.
func (tr *Tracker) revolution(now float64) Revolution {
	rev := Revolution{Axes: tr.axes, Rate: 1 / tr.dt}
	have := tr.have(now)
	rev.Time, rev.Span = now-have/2, have
	looks := tr.look(now, have)
	if len(looks) == 0 { // too few samples to say anything
		rev.Faults = append(rev.Faults, Gap)
		tr.track.count = 0
		return rev
	}
	if tr.times(looks[0], now) { // what was followed was seen at other times
		tr.forget()
		looks = tr.look(now, have)
	}
	rev.Total, rev.Band = tr.total(looks[len(looks)-1], now)
	tr.question++
	best, rival := tr.choose(looks, now)
	found := best.f > 0
	known := found && tr.measure(&rev, best, now, min(have, now-tr.change.after))
	under := 0.0
	if known && tr.Hint == 0 && !tr.fit.disputed {
		under = tr.undertones(now)
	}
	// Once more of what came since alone: so much later each time that this ends.
	if known && (tr.change.see(&tr.fit, tr.track.home, now) || tr.departed(now, have)) && tr.change.after > tr.since+every/2 {
		tr.since = tr.change.after
		if tr.undertone.first > tr.since { // in a window of two speeds
			tr.undertone.at = math.Inf(-1)
		}
		return tr.revolution(now)
	}
	t, x := tr.samples(rev.Time+rev.Span/2, rev.Span)
	tr.diagnose(&rev, t, x)
	switch {
	case !found && rival > 0:
		rev.Rival = rival
		rev.Faults = append(rev.Faults, Doubtful)
	case !found:
		rev.Rival = tr.beyond(looks[0])
		rev.Faults = append(rev.Faults, NoTurn)
	case !known:
		rev.Faults = append(rev.Faults, Weak)
	default:
		rev.Crest = tr.crest(t, x) // before anything else is fitted: x is good until then
		rev.Rival = cmp.Or(tr.besides(rev.Freq, best.f, rival, 1/rev.Span), under)
		if rev.Rival == 0 {
			if rev.Rival = tr.arrived(looks, &rev); rev.Rival > 0 { // as long as that stays, what was known is not forgotten
				tr.missed = now
			}
		}
		tr.judge(&rev, best)
		tr.track.follow(&rev)
	}
	if best.anchor > 1 && known && rev.Amp > hinted*rev.AmpSE && !tr.fit.changing() && tr.fit.towers(best.anchor) { // a change blurs the line, and its multiples not alike
		tr.topped.at = now
		if tr.track.count >= steady && rev.Amp > 2*shown*rev.AmpSE { // no accident
			top, _ := worst(tr.fit.phasor[best.anchor], [3]float64{})
			tr.topped.own, tr.topped.times = line{rev.Freq, rev.Amp, now}, top/(rev.Amp-2*rev.AmpSE)
		}
	}
	if rev.OK && best.anchor == 1 && tr.topped.own.f == 0 { // what was seen there was an accident
		tr.topped.at = math.Inf(-1)
	}
	if !known {
		tr.track.count = 0
	}
	if rev.OK || tr.Hint > 0 && tr.known.f == 0 && tr.track.count >= steady && !rev.Has(Changing) {
		tr.known = line{rev.Freq, rev.Amp, now}
	}
	spin := 0.0
	if rev.OK || tr.Hint > 0 && tr.track.count >= steady && !rev.Has(Weak) && !rev.Has(Changing) && tr.known.still(&rev) {
		spin = rev.Freq
	}
	tr.remember(looks, now, spin)
	return rev
}

// besides returns the frequency to name as the rival of a line that was fitted at f Hz, where a line is width Hz wide, and best
// and rival (0 if none) were chosen before the fit. If the fit ran from the one to the other, it is the one; if to an image
// of best, none.
func (tr *Tracker) besides(f, best, rival, width float64) float64 {
	switch {
	case math.Abs(best-f) < width || math.Abs(rival-f) > width:
		return rival
	case math.Abs(tr.fold(best)-tr.fold(f)) > width:
		return best
	}
	return 0
}

// look computes the spectra of the last 4, 2 and 1 s, as far as there are so many. On a
// steady track the longest is kept for a while, and the middle one would say nothing new.
func (tr *Tracker) look(now, have float64) []*look {
	_, high := tr.bounds()
	steadily := tr.track.count >= steady && have > 0.95*longest
	lengths := tr.windows(have)
	tr.shown = tr.shown[:0]
	for i, seconds := range lengths {
		l := &tr.looks[i]
		if i == 1 && steadily {
			continue
		}
		if !(i == 0 && steadily && !tr.outdated(l.end, now)) && !tr.compute(l, now, seconds, have, high, i == len(lengths)-1) {
			break
		}
		tr.shown = append(tr.shown, l)
	}
	return tr.shown
}

// compute fills l with the spectrum of the last seconds before now, for lines up to high Hz
// and some multiples, or (wide) for broadband as well. It reports whether there are samples enough.
func (tr *Tracker) compute(l *look, now, seconds, have, high float64, wide bool) bool {
	t, x, rate, stray := tr.sight(now, seconds, have, high, wide)
	// Of another rate are the samples whose times a clock has told, and a scout knows neither of a step in speed nor of knocks.
	same := func(g Glance) bool {
		return !tr.struck && g.seconds == seconds && g.look.end == now && g.look.rate == rate && len(t) > 0 && g.look.seconds == t[len(t)-1]-t[0]
	}
	if made := slices.IndexFunc(tr.ahead, same); made >= 0 {
		*l, *tr.ahead[made].look = *tr.ahead[made].look, *l
	} else if !tr.sketch(&tr.spectrum, l, now, seconds, have, high, wide) {
		return false
	}
	if tr.clean(l, t, x, stray) {
		tr.spectrum.whiten(l, 10/l.seconds, max(4*high, 150))
	}
	return true
}

package dsp

import (
	"math"
)

const (
	every    = 0.25 // s between revolutions
	turns    = 8.0  // turns in a window, where that gives
	shortest = 0.7  // s
	longest  = 4.0  // s
	// restart: after a hole of so many s what came before says nothing of what comes.
	// Chosen: a lathe's dial can change the speed by a tenth in that time.
	restart = 0.5
	// reach: a line is looked for within so much of the dial's word, or of a pulley's. Common practice, no source.
	reach = 0.08
)

// state is what a Tracker keeps between calls.
type state struct {
	axes   int
	dt     float64 // s, usual interval of fresh samples; 0 until known
	levels []level
	hold   bool       // values repeat because a slow sensor is read too often
	last   [3]float64 // last row, to see repeats
	begun  bool
	made   bool    // a revolution was put out
	next   float64 // s, time of the next revolution
	gapAt  float64 // s, end of the last hole; -Inf none
	heard  float64 // s, time of the last row, fresh or not

	track      track
	neighbours []neighbour
	suspects   [maxTooth + 1]suspicion // of a line at 1/m of another
	partF      float64                 // Hz, where a line was seen at a part of another last, or may be
	partAt     float64                 // s
	topped     float64                 // s, last time a multiple was the spindle's strongest line; -Inf never
	question   int                     // readings so far: which part of the line is looked for, see worthAsking
	asked      int                     // parts looked for in this reading
	other      sighting                // of a line so close to the spindle's that the two look like one

	dispute dispute

	spectrum   spectrum
	looks      [3]look
	under      look      // of what the line leaves
	lengths    []float64 // s, of the looks
	shown      []*look   // those of the reading at hand, longest first
	latest     *look     // the shortest of them
	found      []peak
	all        []hypothesis
	out        []Revolution
	fit, probe fit
	ambiguous  bool // the line just measured may be the image of another
	health     health
	rest       []remainder // of the window, oldest first
	cols       [3][]float64
	sort       []float64
}

// track is the spindle as it was followed so far.
type track struct {
	f, drift, time float64 // Hz, Hz/s, s
	span           float64 // s, window that the next fit needs
	count          int     // revolutions in a row that agreed
	home, since    float64 // Hz, s: a speed, and since when it was left by no more than the longest window can tell
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
	if math.Abs(k.f-k.home)*longest > 1 {
		k.home, k.since = k.f, k.time
	}
	// A window longer than the error needs shrinks, a little at a time.
	excess := rev.AmpSE / (enough * rev.Amp)
	k.span = rev.Span * max(0.8, min(1, excess*excess))
}

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
		return tr.Hint * (1 - reach), tr.Hint * (1 + reach)
	}
	return tr.low(), tr.high()
}

// row takes one sample of all axes at time u and reports whether a reading is due with it.
func (tr *Tracker) row(u float64, x *[3]float64) (due bool) {
	base := &tr.levels[0]
	if n := len(base.t); n > 0 && !(u > base.t[n-1]) {
		return false
	}
	if !tr.begun {
		tr.begun, tr.next = true, u+shortest
		tr.gapAt, tr.topped = math.Inf(-1), math.Inf(-1)
		tr.forget()
	}
	tr.push(u, x)
	return u >= tr.next
}

// reading is the revolution that is due at time u, if anything may be said.
func (tr *Tracker) reading(u float64) (rev Revolution, ok bool) {
	tr.next += every * math.Ceil((u-tr.next+1e-9)/every)
	switch {
	case tr.frozen(u):
		return tr.without(u, Stuck), true
	case u < tr.gapAt+shortest:
		return tr.without(u, Gap), true
	case !tr.learn():
		return tr.without(u, Gap), tr.made
	}
	tr.climb(u)
	tr.made = true
	return tr.revolution(u), true
}

// push takes one row into the lowest level of the pyramid.
func (tr *Tracker) push(t float64, x *[3]float64) {
	base := &tr.levels[0]
	if n := len(base.t); n > 0 && t-tr.heard > restart {
		tr.reset(t)
	}
	tr.heard = t
	if tr.hold && len(base.t) > 0 && *x == tr.last {
		return
	}
	if n := len(base.t); n > 0 && t-base.t[n-1] > restart { // it was frozen
		tr.reset(t)
	}
	tr.last = *x
	base.add(t, *x, tr.axes)
}

// frozen reports whether a slow sensor that is read too often has given no new value for longer than it takes.
func (tr *Tracker) frozen(now float64) bool {
	t := tr.levels[0].t
	return tr.hold && len(t) > 0 && now-t[len(t)-1] > max(stuckSeconds, stuckSamples*tr.dt)
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

// reset forgets all samples and what was followed: what comes after a hole stands alone. Only that a multiple was the
// strongest line still counts: it is the blank's.
func (tr *Tracker) reset(t float64) {
	for i := range tr.levels {
		tr.levels[i].empty()
	}
	tr.rest = tr.rest[:0]
	tr.gapAt = t
	tr.next = max(tr.next, t+every)
	tr.forget()
}

// forget leaves nothing of the lines that were followed.
func (tr *Tracker) forget() {
	never := math.Inf(-1)
	tr.track, tr.health, tr.neighbours = track{}, health{}, tr.neighbours[:0]
	for m := range tr.suspects {
		tr.suspects[m] = suspicion{at: never}
	}
	tr.other, tr.dispute, tr.partAt = sighting{at: never}, dispute{at: never}, never
}

// rebuild makes the pyramid over the lowest level anew.
func (tr *Tracker) rebuild() {
	base := tr.levels[0]
	base.next = 0
	tr.levels = append(tr.levels[:0], base)
	for rate := 1 / tr.dt / 2; rate >= lowestRate; rate /= 2 {
		tr.levels = append(tr.levels, level{})
	}
}

// climb fills the upper levels with what has come and forgets what is old.
func (tr *Tracker) climb(now float64) {
	dt := tr.dt
	for i := range tr.levels {
		if i+1 < len(tr.levels) {
			tr.levels[i].halve(&tr.levels[i+1], tr.axes, dt)
		}
		tr.levels[i].forget(now - keepSeconds)
		dt *= 2
	}
}

// columns returns the axes of samples from to to of l, good until the next call.
func (tr *Tracker) columns(l *level, from, to int) [][]float64 {
	for a := range tr.axes {
		tr.cols[a] = l.x[a][from:to]
	}
	return tr.cols[:tr.axes]
}

// window returns the samples of the last seconds before now on the slowest level that is
// at least rate Hz fast and complete, and that level's rate.
func (tr *Tracker) window(now, seconds, rate float64) (t []float64, x [][]float64, fs float64) {
	begin := max(now-seconds, tr.levels[0].t[0])
	for i := len(tr.levels) - 1; i >= 0; i-- {
		l := &tr.levels[i]
		fs = 1 / (tr.dt * float64(int(1)<<i))
		if i > 0 && fs < rate {
			continue
		}
		from, to := firstAfter(l.t, now-seconds), firstAfter(l.t, now)
		if i > 0 && float64(to-from) < 0.98*(now-begin)*fs-float64(len(halfband)) {
			continue
		}
		return l.t[from:to], tr.columns(l, from, to), fs
	}
	return nil, nil, 0
}

// revolution does all the work for one reading at time now.
func (tr *Tracker) revolution(now float64) Revolution {
	rev := Revolution{Axes: tr.axes, Rate: 1 / tr.dt}
	have := min(now-tr.levels[0].t[0]+tr.dt, longest)
	rev.Time, rev.Span = now-have/2, have
	looks := tr.look(now, have)
	if len(looks) == 0 { // too few samples to say anything
		rev.Faults = append(rev.Faults, Gap)
		tr.track.count = 0
		return rev
	}
	rev.Total, rev.Band = looks[len(looks)-1].broadband()
	tr.question++
	best, rival := tr.choose(looks, now)
	found := best.f > 0
	known := found && tr.measure(&rev, best, now, have)
	t, x, _ := tr.window(rev.Time+rev.Span/2, rev.Span, math.Inf(1))
	tr.diagnose(&rev, t, x)
	switch {
	case !found && rival > 0:
		rev.Rival = rival
		rev.Faults = append(rev.Faults, Doubtful)
	case !found:
		rev.Faults = append(rev.Faults, NoTurn)
	case !known:
		rev.Faults = append(rev.Faults, Weak)
	default:
		rev.Rival = tr.besides(rev.Freq, best.f, rival, 1/rev.Span)
		rev.Crest = tr.crest(t, x)
		tr.judge(&rev, best)
		tr.track.follow(&rev)
	}
	spin := 0.0
	if rev.OK {
		spin = rev.Freq
	}
	if best.anchor > 1 && known && !rev.Has(Changing) && !rev.Has(Weak) {
		tr.topped = now
	}
	if !known {
		tr.track.count = 0
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
// steady track the longest is kept for a while, and the middle one would say nothing new. The
// shortest is computed at a rate that serves broadband too.
func (tr *Tracker) look(now, have float64) []*look {
	const fresh = 0.6 // s. Chosen: three readings
	_, high := tr.bounds()
	steadily := tr.track.count >= steady && have > 0.95*longest
	lengths := append(tr.lengths[:0], have)
	for i, seconds := range [2]float64{2, 1} {
		if have < 2*seconds/1.4 {
			seconds = have / float64(int(2)<<i)
		}
		if seconds < 0.5 {
			break
		}
		lengths = append(lengths, seconds)
	}
	tr.lengths, tr.shown = lengths, tr.shown[:0]
	for i, seconds := range lengths {
		l := &tr.looks[i]
		if i == 1 && steadily {
			continue
		}
		if !(i == 0 && steadily && now-l.end < fresh) && !tr.compute(l, now, seconds, high, i == len(lengths)-1) {
			break
		}
		tr.shown = append(tr.shown, l)
	}
	return tr.shown
}

// compute fills l with the spectrum of the last seconds before now, for lines up to high Hz
// and some multiples, or (wide) for broadband as well. It reports whether there are samples enough.
func (tr *Tracker) compute(l *look, now, seconds, high float64, wide bool) bool {
	rate, stray := max(2*high/passband, 150), 0.3/(2*math.Pi*high)
	if wide {
		rate, stray = max(rate, broad/passband), min(stray, 0.2/(2*math.Pi*broad))
	}
	if high > 0.45/tr.dt {
		stray = -1 // show what lies above half the rate
	}
	t, x, fs := tr.window(now, seconds, rate)
	if len(t) < 24 {
		return false
	}
	l.axes, l.rate = tr.axes, fs
	l.df = tr.spectrum.density(t, x, fs, stray, &l.power)
	l.end, l.seconds = now, t[len(t)-1]-t[0]
	tr.spectrum.whiten(l, 10/l.seconds, max(4*high, 150))
	if l.cleaned = tr.clean(l, t, x, stray); l.cleaned {
		tr.spectrum.whiten(l, 10/l.seconds, max(4*high, 150))
	}
	return true
}

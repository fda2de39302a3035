package dsp

import (
	"fmt"
	"gonum.org/v1/gonum/floats"
	"math"
	"slices"
)

const (
	every    = 0.25 // s between revolutions
	turns    = 8.0  // turns in a window, where that gives
	shortest = 0.7  // s
	longest  = 4.0  // s
	// enough is the relative standard error of the amplitude at which a window is long
	// enough; above tooWeak within the longest the line is weak. Chosen: enough is 5 %
	// at four standard errors.
	enough  = 0.012
	tooWeak = 0.05
	// tooVague, relative standard error of the speed: chosen so that two are 0.4 %.
	tooVague = 0.002
	// toldApart is the difference in χ² at which uneven times tell a frequency from its
	// image: chance reaches 30 with probability 3e-7 (two Gaussian numbers). Chosen.
	toldApart = 30.0
	// quietest, m/s rms: with no word of the dial a single line below this may as well be a
	// motor's. Chosen.
	quietest = 1e-4
	// fewest turns in a window shorter than the longest. Chosen.
	fewest = 5.0
	// settled: a speed that changes by less than 1 % a second is settled. Chosen: a window
	// of 4 s then holds less than 4 %, and the fit follows that.
	settled = 0.01
	// restart: after a hole of so many s what came before says nothing of what comes.
	restart = 0.5
)

// state is what a Tracker keeps between calls.
type state struct {
	axes   int
	dt     float64 // s, usual interval of fresh samples; 0 until known
	levels []level
	hold   bool
	last   [3]float64 // last row, to see repeats
	next   float64    // s, time of the next revolution
	begun  bool
	gapAt  float64 // s, end of the last hole

	spectrum         spectrum
	looks            [3]look
	found            []peak
	neighbours       []neighbour
	fit, probe       fit
	ambiguous        bool    // the last line measured may be the image of another
	parted, partedAt float64 // Hz, s: the last line seen at a part of another
	turn             int     // which part of a turn is tested next: see parts
	health           health
	sort             []float64
	wide             [3][]float64

	track track
}

// track is the spindle as it was followed so far.
type track struct {
	f, drift, time float64
	span           float64 // s, window of the last fit
	count          int     // readings in a row that agreed
}

// predict returns where the track should be at time t, Hz; 0 if there is none or it is old.
func (k *track) predict(t float64) float64 {
	if k.count == 0 || t-k.time > 1.5 {
		return 0
	}
	return k.f + k.drift*(t-k.time)
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
		return tr.Hint * 0.92, tr.Hint * 1.08
	}
	return tr.low(), tr.high()
}

// push takes one row into the lowest level of the pyramid.
func (tr *Tracker) push(t float64, x [3]float64) {
	base := &tr.levels[0]
	if n := len(base.t); n > 0 && t-base.t[n-1] > restart {
		tr.reset(t)
	}
	if tr.hold && len(base.t) > 0 && x == tr.last {
		return
	}
	tr.last = x
	base.add(t, x, tr.axes)
}

// reset forgets all samples: what comes next stands alone.
func (tr *Tracker) reset(t float64) {
	for i := range tr.levels {
		l := &tr.levels[i]
		l.t, l.next = l.t[:0], 0
		for a := range l.x {
			l.x[a] = l.x[a][:0]
		}
	}
	tr.gapAt = t
	tr.next = t + shortest
}

// learn finds the usual interval and whether values are held, and sets up the pyramid for
// them.
func (tr *Tracker) learn() bool {
	base := &tr.levels[0]
	n := len(base.t)
	if n < 16 {
		return false
	}
	if !tr.hold {
		from := max(0, n-400)
		tr.health.step = 0
		if held(tr.columns(base, from, n), stepOf(tr.columns(base, from, n), &tr.sort), &tr.sort) {
			tr.hold = true
			tr.dropRepeats(base)
			n = len(base.t)
			tr.dt = 0
		}
	}
	d := tr.sort[:0]
	for i := max(1, n-201); i < n; i++ {
		d = append(d, base.t[i]-base.t[i-1])
	}
	if len(d) < 8 {
		return false
	}
	tr.sort = d
	dt := median(d)
	if tr.hold { // steps of the delivery, not of the sensor: their mean tells
		dt = (base.t[n-1] - base.t[max(0, n-201)]) / float64(min(n-1, 201))
	}
	if tr.dt == 0 || math.Abs(dt/tr.dt-1) > 0.1 {
		tr.dt = dt
		tr.rebuild()
	}
	return true
}

func (tr *Tracker) dropRepeats(l *level) {
	kept := 0
	for i := range l.t {
		same := i > 0
		for a := range tr.axes {
			same = same && l.x[a][i] == l.x[a][kept-1+b2i(kept == 0)]
		}
		if same && kept > 0 {
			continue
		}
		l.t[kept] = l.t[i]
		for a := range tr.axes {
			l.x[a][kept] = l.x[a][i]
		}
		kept++
	}
	l.t = l.t[:kept]
	for a := range tr.axes {
		l.x[a] = l.x[a][:kept]
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
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

// columns returns the axes of samples from to to of l.
func (tr *Tracker) columns(l *level, from, to int) [][]float64 {
	cols := make([][]float64, tr.axes)
	for a := range cols {
		cols[a] = l.x[a][from:to]
	}
	return cols
}

// window returns the samples of the last seconds before now on the slowest level that is
// at least rate Hz fast and complete, and that level's rate.
func (tr *Tracker) window(now, seconds, rate float64) (t []float64, x [][]float64, fs float64) {
	for i := len(tr.levels) - 1; i >= 0; i-- {
		l := &tr.levels[i]
		fs = 1 / (tr.dt * float64(int(1)<<i))
		if i > 0 && fs < rate {
			continue
		}
		from, to := firstAfter(l.t, now-seconds), firstAfter(l.t, now)
		if i > 0 && float64(to-from) < 0.98*(now-tr.start(now, seconds))*fs-float64(len(halfband)) {
			continue
		}
		return l.t[from:to], tr.columns(l, from, to), fs
	}
	return nil, nil, 0
}

// start returns the time of the first sample within seconds before now.
func (tr *Tracker) start(now, seconds float64) float64 {
	base := &tr.levels[0]
	return max(now-seconds, base.t[0])
}

// revolution does all the work for one reading at time now.
func (tr *Tracker) revolution(now float64) Revolution {
	base := &tr.levels[0]
	rev := Revolution{Axes: tr.axes}
	have := now - base.t[0] + tr.dt
	rev.Rate = 1 / tr.dt
	t, x, _ := tr.window(now, min(have, longest), math.Inf(1))
	if len(t) < 8 {
		return tr.blind(rev, now, min(have, longest))
	}
	low, high := tr.bounds()
	looks := tr.look(now, have, high)
	tr.broadband(&rev, now, have)
	if len(looks) == 0 {
		return tr.blind(rev, now, have)
	}
	best, rival := tr.choose(looks, now, low, high)
	if best.f == 0 {
		rev.Time, rev.Span = now-min(have, longest)/2, min(have, longest)
		tr.diagnose(&rev, t, x)
		rev.Faults = append(rev.Faults, NoTurn)
		tr.track.count = 0
		tr.remember(looks[0], now, 0)
		return rev
	}
	if !tr.measure(&rev, best, now, have) {
		rev.Time, rev.Span = now-min(have, longest)/2, min(have, longest)
		tr.diagnose(&rev, t, x)
		rev.Faults = append(rev.Faults, Weak)
		tr.track.count = 0
		return rev
	}
	rev.Rival = rival
	if rival > 0 {
		rev.Faults = append(rev.Faults, Doubtful)
	}
	ft, fx, _ := tr.window(now, rev.Span, math.Inf(1))
	tr.diagnose(&rev, ft, fx)
	tr.crest(&rev, ft, fx)
	tr.judge(&rev, best)
	spin := 0.0
	if rev.OK {
		spin = rev.Freq
	}
	tr.remember(looks[0], now, spin)
	return rev
}

// blind is a revolution without enough samples to say anything.
func (tr *Tracker) blind(rev Revolution, now, seconds float64) Revolution {
	rev.Time, rev.Span = now-seconds/2, seconds
	rev.Faults = append(rev.Faults, Gap)
	tr.track.count = 0
	return rev
}

// look computes the spectra of the last 4, 2 and 1 s, as far as there are so many.
func (tr *Tracker) look(now, have, high float64) []*look {
	var looks []*look
	for i, seconds := range [3]float64{4, 2, 1} {
		if i > 0 && have < 2*seconds/1.4 {
			seconds = have / float64(int(1)<<i)
			if seconds < 0.5 {
				break
			}
		}
		seconds = min(seconds, have)
		t, x, fs := tr.window(now, seconds, max(2*high/passband, 150))
		if len(t) < 24 {
			break
		}
		l := &tr.looks[i]
		l.axes = tr.axes
		stray := 0.3 / (2 * math.Pi * high)
		if high > 0.45/tr.dt {
			stray = -1 // show what lies above half the rate
		}
		l.df = tr.spectrum.density(t, x, fs, stray, &l.power)
		l.seconds = t[len(t)-1] - t[0]
		tr.spectrum.whiten(l, 10/l.seconds)
		looks = append(looks, l)
	}
	return looks
}

// measure fits the line of hypothesis c over a window that ends now and fills in rev.
func (tr *Tracker) measure(rev *Revolution, c hypothesis, now, have float64) bool {
	s := &tr.fit
	seconds := min(max(turns/c.f, shortest), longest, have)
	f, drift := c.f, 0.0
	p := tr.track.predict(now - seconds/2)
	if p > 0 && math.Abs(p-c.f) < max(c.look.df, 0.02*c.f) {
		seconds = min(max(seconds, tr.track.span), longest, have)
		f, drift = tr.track.predict(now-seconds/2), tr.track.drift
	} else {
		seconds = min(seconds, 1.5*c.look.seconds)
	}
	for try := 0; ; try++ {
		if !tr.fitLine(s, c.look, f, drift, now, seconds, c.anchor, max(c.anchor, maxMultiple)) {
			return false
		}
		amp, se := worst(s.phasor[1], s.phasorVar())
		if se <= enough*amp || seconds >= min(longest, have)-1e-9 || try == 3 {
			break
		}
		need := seconds * (se / (0.9 * enough * amp)) * (se / (0.9 * enough * amp))
		seconds = min(max(need, 1.3*seconds), longest, have)
		if math.Sqrt(s.fVar)*seconds < 0.3 {
			f, drift = s.f, 0
		}
	}
	s.disputed = false
	if s.split() {
		s.disputed = s.outdone()
		// Multiples that say another speed than the line itself do not set it.
		s.steers = [9]bool{1: true}
		if !s.run(true) {
			return false
		}
	}
	c.f = s.f
	tr.ambiguous = tr.images(c, now, seconds)
	if Debug {
		fmt.Println("      fit", s.f, math.Sqrt(s.fVar), "drift", s.drift, "span", s.span, "ks", s.ks, s.steers, "foreign", s.foreign, s.foreignAmp[:len(s.foreign)], "near", s.near, "far", s.far, "thin", s.thin, "disputed", s.disputed, "off", s.off, "n", len(s.t))
	}
	tr.report(rev, s)
	return true
}

// images compares the fit just made with fits at the other frequencies that even samples could
// not tell from it, all in the range that is searched. Uneven times do tell: the best one is
// kept in tr.fit. It reports whether another is as good.
func (tr *Tracker) images(c hypothesis, now, seconds float64) bool {
	low, high := tr.bounds()
	rate, f, drift := 1/tr.dt, tr.fit.f, tr.fit.drift
	same := false
	for m := 1.0; m*rate-f < high; m++ {
		for side, g := range [2]float64{m*rate - f, m*rate + f} {
			if g < low || g > high || math.Abs(g-f)*seconds < 2 {
				continue
			}
			bend := drift
			if side == 0 {
				bend = -drift
			}
			if !tr.fitLine(&tr.probe, c.look, g, bend, now, seconds, 1, maxMultiple) {
				same = true
				continue
			}
			better, expected := tr.compare(m)
			switch {
			case expected < toldApart || math.Abs(better) < max(toldApart, 0.8*expected):
				same = true
			case better > 0:
				tr.fit, tr.probe = tr.probe, tr.fit
				same = false
			}
		}
	}
	return same
}

// compare returns the χ² of tr.fit less that of tr.probe, its image m rates away, and what the
// unevenness of the sample times lets expect for that: χ² of the whole line times 1−|mean
// exp(2πi·m·δ/dt)|², δ the time of a sample less that of an even one. Unevenness no larger
// than the stamps' own rounding is none: the stamps may be to blame, not the samples.
func (tr *Tracker) compare(m float64) (better, expected float64) {
	t := tr.fit.t
	n := float64(len(t))
	for a := range tr.axes {
		mine, its := sumSquares(tr.fit.residual[a]), sumSquares(tr.probe.residual[a])
		noise := max(min(mine, its), 1e-30) / n
		better += (mine - its) / noise
		p := tr.fit.phasor[1][a]
		expected += n * (real(p)*real(p) + imag(p)*imag(p)) / 2 / noise
	}
	spread, mean := unevenness(t, tr.dt, m)
	if spread < 1.5*tick(t)/math.Sqrt(12) {
		return better, 0
	}
	return better, expected * (1 - mean*mean)
}

// unevenness returns the standard deviation in s of the times t about the best even grid of
// about dt s, and |mean exp(2πi·m·δ/dt)| of their deviations δ.
func unevenness(t []float64, dt, m float64) (spread, mean float64) {
	var sk, st, skk, skt float64
	n := float64(len(t))
	for _, u := range t {
		k := math.Round((u - t[0]) / dt)
		sk, st, skk, skt = sk+k, st+u-t[0], skk+k*k, skt+k*(u-t[0])
	}
	step := (n*skt - sk*st) / (n*skk - sk*sk)
	first := (st - step*sk) / n
	var re, im float64
	for _, u := range t {
		d := u - t[0] - first - step*math.Round((u-t[0])/dt)
		spread += d * d
		sin, cos := math.Sincos(2 * math.Pi * m * d / step)
		re, im = re+cos, im+sin
	}
	return math.Sqrt(spread / n), math.Hypot(re, im) / n
}

// tick returns the largest of 10, 1, 0.1 ms of which all t are whole multiples, 0 if none.
func tick(t []float64) float64 {
	for _, s := range [3]float64{0.01, 0.001, 0.0001} {
		if !slices.ContainsFunc(t, func(u float64) bool { return math.Abs(u/s-math.Round(u/s)) > 0.01 }) {
			return s
		}
	}
	return 0
}

func sumSquares(v []float64) float64 { return floats.Dot(v, v) }

func (s *fit) phasorVar() (v [3]float64) {
	for a := range s.x {
		v[a] = s.density[a] / s.span * s.thin
	}
	return v
}

// fitLine fits the line near f (Hz, in the middle of the window) and its multiples up to
// most over the last seconds. The multiples that stand clear in look l, and anchor, set the
// frequency.
func (tr *Tracker) fitLine(s *fit, l *look, f, drift, now, seconds float64, anchor, most int) bool {
	rate := float64(most) * f / passband
	if tr.health.missing > 0.005 {
		rate *= 4 // bridging what is missing costs accuracy near the end of the passband
	}
	t, x, fs := tr.window(now, seconds, rate)
	s.t, s.x = t, x
	s.f, s.drift = f, drift
	s.ks = append(s.ks[:0], 1)
	s.steers = [9]bool{1: anchor == 1 || s == &tr.fit}
	taken := []float64{tr.fold(f)}
	for k := 2; k <= most; k++ {
		g := float64(k) * f
		folded := tr.fold(g)
		if folded > 0.47*fs || slices.ContainsFunc(taken, func(h float64) bool { return math.Abs(h-folded)*seconds < 0.8 }) {
			continue
		}
		taken = append(taken, folded)
		s.ks = append(s.ks, k)
		s.steers[k] = k == anchor || !tr.mains(g, 1/seconds) && l.at(folded, 1) > 3*thresholds[tr.axes]
	}
	if anchor > 1 && !slices.Contains(s.ks, anchor) {
		return false
	}
	k := int(math.Round(tr.fold(f) / l.df))
	for a := range tr.axes {
		s.weight[a] = 1 / max(l.noise[a][min(k, len(l.noise[a])-1)], 1e-30)
	}
	tr.strangers(s, l, f, seconds)
	start, bend := s.f, s.drift
	if s.run(drift != 0) && math.Abs(s.f-start)*seconds < 1.5 {
		return true
	}
	// Lines too close to be told apart: without the strangers their leak shows as error.
	s.f, s.drift, s.foreign = start, bend, s.foreign[:0]
	return s.run(drift != 0) && math.Abs(s.f-start)*seconds < 1.5
}

// strangers puts the lines that would leak most into the first one, and are not of its
// family, into the fit.
func (tr *Tracker) strangers(s *fit, l *look, own, seconds float64) {
	s.foreign = s.foreign[:0]
	strength := 0.0
	for a := range l.axes {
		strength += l.power[a][min(int(math.Round(own/l.df)), len(l.power[a])-1)]
	}
	type leak struct{ f, size float64 }
	var worstOnes [maxForeign]leak
	count := 0
	top := float64(len(l.z)-3) * l.df
	for k := 2; k < len(l.z)-3; k++ {
		z := l.z[k]
		f := float64(k) * l.df
		if z < 2*thresholds[l.axes] || z < l.z[k-1] || z <= l.z[k+1] || f > min(top, 0.45/tr.dt) {
			continue
		}
		f += peakOffset(l.z[k-1], z, l.z[k+1]) * l.df
		near := math.Round(f / own)
		if near >= 1 && near <= float64(s.ks[len(s.ks)-1]) && math.Abs(f-near*own) < 2.5*l.df || math.Abs(f-own)*seconds < 1.2 {
			continue
		}
		p := 0.0
		for a := range l.axes {
			p += l.power[a][k]
		}
		size := math.Sqrt(p/strength) / (math.Pi * math.Abs(f-own) * seconds)
		if size < 0.002 {
			continue
		}
		at := count
		for at > 0 && worstOnes[at-1].size < size {
			at--
		}
		if at < maxForeign {
			copy(worstOnes[at+1:], worstOnes[at:maxForeign-1])
			worstOnes[at] = leak{f, size}
			count = min(count+1, maxForeign)
		}
	}
	for _, w := range worstOnes[:count] {
		s.foreign = append(s.foreign, w.f)
	}
}

// report copies the fit into rev.
func (tr *Tracker) report(rev *Revolution, s *fit) {
	rev.Time, rev.Span = s.middle, s.span
	rev.Freq, rev.FreqSE, rev.Drift = s.f, math.Sqrt(s.fVar), s.drift
	v := s.phasorVar()
	rev.Phasor = s.phasor[1]
	rev.Seen = maxMultiple - 1
	rev.Amp, rev.AmpSE = worst(s.phasor[1], v)
	for i := range rev.Seen {
		rev.Multiples[i] = s.phasor[i+2]
		rev.MultipleAmp[i], _ = worst(s.phasor[i+2], v)
	}
	rev.Floor = math.Sqrt(max(v[0], v[1], v[2]))
}

// diagnose fills in what the health of the window's samples t, x says.
func (tr *Tracker) diagnose(rev *Revolution, t []float64, x [][]float64) {
	h := &tr.health
	h.inspect(t, x, tr.dt, tr.Range, &tr.sort)
	rev.Step = h.step
	if h.clipped {
		rev.Faults = append(rev.Faults, Clipped)
	}
	if h.stuck {
		rev.Faults = append(rev.Faults, Stuck)
	}
	if h.missing > 0.01 || (tr.gapAt > 0 && tr.gapAt >= t[0]-1e-9) {
		rev.Faults = append(rev.Faults, Gap)
	}
}

// judge decides whether rev may be used and keeps the track.
func (tr *Tracker) judge(rev *Revolution, best hypothesis) {
	s := &tr.fit
	add := func(f Fault) { rev.Faults = append(rev.Faults, f) }
	alone := tr.Hint == 0 && tr.track.count < steady+2 && rev.AmpSE > enough*rev.Amp
	if !(rev.AmpSE <= tooWeak*rev.Amp) || !(rev.FreqSE <= tooVague*rev.Freq) || alone || rev.Span*rev.Freq < fewest && rev.Span < 0.95*longest {
		add(Weak)
	}
	if math.Abs(rev.Drift) > settled*rev.Freq && math.Abs(rev.Drift) > 2*math.Sqrt(s.driftVar) {
		add(Changing)
	}
	if tr.ambiguous {
		add(Folded)
	}
	sigma := 0.0
	for a := range s.x {
		sigma = max(sigma, rms(s.residual[a]))
	}
	if stepBias(rev.Amp, rev.Step, math.Sqrt(max(0, sigma*sigma-rev.Step*rev.Step/12))) > 0.04 {
		add(Coarse)
	}
	quiet := rev.Amp < quietest*2*math.Pi*rev.Freq*math.Sqrt2 && best.lines == 1
	if !rev.Has(Doubtful) && (s.disputed || s.dying() || tr.Hint == 0 && (quiet || tr.mains(rev.Freq, 0))) {
		add(Doubtful)
	}
	rev.OK = !slices.ContainsFunc(rev.Faults, func(f Fault) bool { return f != Gap }) && tr.health.missing < 0.3
	if tr.Hint > 0 && !tr.ambiguous && rev.Freq > 0.5/tr.dt {
		add(Folded) // seen through its image, but the dial says which
	}
	p := tr.track.predict(rev.Time)
	if p > 0 && math.Abs(p-rev.Freq) < max(0.03*p, 3*rev.FreqSE) {
		tr.track.count++
	} else {
		tr.track.count = 1
	}
	tr.track.f, tr.track.drift, tr.track.time, tr.track.span = rev.Freq, rev.Drift, rev.Time, rev.Span
	if rev.Has(Weak) && rev.AmpSE > 0.3*rev.Amp {
		tr.track.count = 0
	}
}

func rms(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum / float64(max(len(v), 1)))
}

// split reports whether the first line says clearly of itself another frequency than the
// fit.
func (s *fit) split() bool {
	return math.Abs(s.off[1]) > 4*math.Sqrt(s.offVar[1]) && math.Abs(s.off[1])*s.span > 0.05
}

// outdone reports whether a multiple is faster (m/s) than the line itself.
func (s *fit) outdone() bool {
	own, _ := worst(s.phasor[1], [3]float64{})
	return slices.ContainsFunc(s.ks[1:], func(k int) bool {
		amp, _ := worst(s.phasor[k], [3]float64{})
		return amp > own*float64(k)
	})
}

// dying reports whether the line rings down like a struck mode: weaker at a steady
// frequency.
func (s *fit) dying() bool {
	return s.swell < -0.07 && s.swell < -4*math.Sqrt(s.swellVar) && math.Abs(s.drift) < 0.01*s.f
}

// broadband fills in the total velocity over the last second: each bin of the acceleration
// spectrum over (2πf)².
func (tr *Tracker) broadband(rev *Revolution, now, have float64) {
	t, x, fs := tr.window(now, min(1, have), 1000/passband)
	if len(t) < 24 {
		return
	}
	rev.Band = [2]float64{10, min(1000, 0.45*fs)}
	if rev.Band[1] <= rev.Band[0] {
		rev.Band = [2]float64{}
		return
	}
	power := &tr.wide
	df := tr.spectrum.density(t, x, fs, 0.2/(2*math.Pi*rev.Band[1]), power)
	sum := 0.0
	for a := range x {
		for k := int(math.Ceil(rev.Band[0] / df)); k < len(power[a]) && float64(k)*df <= rev.Band[1]; k++ {
			w := 2 * math.Pi * float64(k) * df
			sum += power[a][k] * df / (w * w)
		}
	}
	rev.Total = math.Sqrt(sum)
}

// crest fills in peak over rms of the last samples less the line and its multiples.
func (tr *Tracker) crest(rev *Revolution, t []float64, x [][]float64) {
	s := &tr.fit
	if len(t) < 30 || rev.Freq == 0 {
		return
	}
	for a := range x {
		mean, slope := trend(t, x[a])
		peak, sum := 0.0, 0.0
		for i, u := range t {
			tau := u - s.middle
			sin, cos := math.Sincos(2 * math.Pi * tau * (s.f + s.drift/2*tau))
			v := x[a][i] - mean - slope*(u-t[0])
			re, im := cos, sin
			next := 1
			for _, k := range s.ks {
				for ; next < k; next++ {
					re, im = re*cos-im*sin, re*sin+im*cos
				}
				v -= real(s.phasor[k][a])*re - imag(s.phasor[k][a])*im
			}
			peak = max(peak, math.Abs(v))
			sum += v * v
		}
		if sum > 0 {
			rev.Crest = max(rev.Crest, peak/math.Sqrt(sum/float64(len(t))))
		}
	}
}

var Debug bool

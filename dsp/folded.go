package dsp

import (
	"math"
	"math/cmplx"
	"slices"
)

// A sensor slower than unfiltered Hz shows what turns faster than half its rate, lower down:
// the multiples of the line too. Chosen: faster ones have a filter against that.
const unfiltered = 150.0

// beside returns how far from the line at f, in Hz, the nearest of its multiples shows that is
// folded.
func (tr *Tracker) beside(f float64) float64 {
	nearest := math.Inf(1)
	for k := 2.0; k <= maxMultiple && 1/tr.dt < unfiltered; k++ {
		if k*f > 0.5/tr.dt {
			nearest = min(nearest, math.Abs(tr.fold(k*f)-tr.fold(f)))
		}
	}
	return nearest
}

// apart is the number of widths 1/seconds at which the line and a folded multiple are told apart.
// Chosen.
const apart = 2.0

// covered reports whether a folded multiple of the line that was fitted shows where that does, so that nobody can tell how large it is.
func (tr *Tracker) covered(s *fit) bool {
	return tr.beside(s.f)*s.span < 0.9*apart && !tr.parted(s.t, 1/tr.dt)
}

// blurs reports whether the rival of rev is one whose second or third multiple, folded, would show at its line, and so close to it that
// a window does not part the two.
func (tr *Tracker) blurs(rev *Revolution) bool {
	const close, same = 0.05, 0.3 // of the line, and widths 1/Span. Chosen
	if 1/tr.dt >= unfiltered || math.Abs(rev.Rival-rev.Freq) > close*rev.Freq {
		return false
	}
	shows := func(k float64) bool { return math.Abs(tr.fold(k*rev.Rival)-tr.fold(rev.Freq))*rev.Span < same }
	return shows(2) || shows(3)
}

// mistaken returns a frequency in the range that is searched, a folded multiple of which is what
// shows at best, and which itself shows too or cannot show, being folded to nothing; 0 if there is
// none.
func (tr *Tracker) mistaken(best hypothesis, looks []*look, now float64) float64 {
	rate := 1 / tr.dt
	low, high := tr.bounds()
	shows := tr.fold(best.f)
	exact := best
	exact.look = looks[0] // a short one does not part a line from the one beside it
	var mine sole
	for k := 2.0; k <= maxMultiple; k++ {
		for m := 1.0; m*rate-shows <= k*max(high, tr.high()); m++ {
			for _, f := range [2]float64{(m*rate - shows) / k, (m*rate + shows) / k} {
				within := f >= low && f <= high
				if !within && (f < tr.low() || f > tr.high()) || math.Abs(f-best.f) < 0.3*looks[0].df {
					continue
				}
				if rate >= unfiltered || !within {
					if within && tr.impersonates(best, f, looks[0]) || tr.folds(exact, f, k, now) {
						return f
					}
					continue
				}
				g := tr.fold(f)
				if k <= 3 && math.Abs(g-shows) < 2*looks[0].df { // the two would blur each other
					return f
				}
				stands := func(least float64) bool {
					return slices.ContainsFunc(looks, func(l *look) bool {
						return math.Abs(g-shows) > 1.5*l.df && l.tooth(g, 0.6*l.df) > thresholds[l.axes] && l.strength(g) > least*l.strength(shows)
					})
				}
				// Where it would be a multiple of best as well, it is one if it is a small one.
				// Chosen: a cutter's line may be a hundred times the spindle's, and lie between bins.
				const little, small = 5e-5, 0.1 // of the power of what shows
				belongs := tr.belongs(peak{f: g, look: looks[0]}, exact)
				if g < max(tr.low(), 2*looks[0].df) || stands(small) || stands(little) && !(belongs && tr.explained(best, g, now)) || !belongs && tr.hidden(&mine, best, f, k, now) {
					return f
				}
			}
		}
	}
	return 0
}

// explained reports whether the line that shows at g stands where a multiple of h is folded to, as well as a fit can tell, and whether
// a fit can tell it from g: the spindle's own image may be that close.
func (tr *Tracker) explained(h hypothesis, g, now float64) bool {
	const least = 8.0 // standard errors between the two. Chosen: four of each
	f, fVar, ok := tr.place(h.f, h.look, now)
	own, ownVar, fits := tr.place(g, h.look, now)
	if !ok || !fits {
		return false
	}
	k := 1.0
	for n := 2.0; n <= maxMultiple; n++ {
		if math.Abs(tr.fold(n*f)-g) < math.Abs(tr.fold(k*f)-g) {
			k = n
		}
	}
	sure, place := math.Sqrt(ownVar+k*k*fVar), tr.fold(k*f)
	return math.Abs(own-place) < least/2*sure && math.Abs(g-place) > least*sure
}

// impersonates reports whether best may be no more than the folded multiple of a faster line at f Hz (m/s), of which it
// seems to be a whole part. Where one multiple folds onto that, so do all, and a filter that is not sharp lets them.
func (tr *Tracker) impersonates(best hypothesis, f float64, l *look) bool {
	part := math.Round(f / best.f)
	return part > 1 && math.Abs(f-part*best.f) < l.df && l.velocity(f) > l.velocity(best.f)
}

const (
	// onto: widths 1/seconds. Chosen: what wanders is fitted no better, and a chance line is as near in one of a hundred cases.
	onto = 0.1
	// telling: a fit that is no surer than so many widths says nothing. Chosen.
	telling = 0.4
)

// folds reports whether best stands where multiple k of a line at f Hz, which stands too, is folded to, as nearly as fits tell; and whether
// those tell it from what lies beside that.
func (tr *Tracker) folds(best hypothesis, f, k, now float64) bool {
	l := best.look
	if tr.fold(f) < tr.low() || l.tooth(tr.fold(f), 0.6*l.df) < thresholds[l.axes] || tr.belongs(peak{f: f, look: l}, best) {
		return false
	}
	off, sure, ok := tr.lands(f, k, l, now)
	return ok && off < max(onto, sure) && sure < telling
}

// aside reports whether what shows at g, about where a multiple of h is folded to, is another line beside that.
func (tr *Tracker) aside(h hypothesis, g, now float64) bool {
	k := 2.0
	for n := k; n <= maxMultiple; n++ {
		if math.Abs(tr.fold(n*h.f)-g) < math.Abs(tr.fold(k*h.f)-g) {
			k = n
		}
	}
	off, sure, ok := tr.lands(h.f, k, h.look, now)
	return ok && off > max(onto, sure)
}

// lands fits the line at f Hz, and what shows where its multiple k is folded to, over look l, and returns how far that is from the multiple,
// and four standard errors of it, in widths 1/seconds.
func (tr *Tracker) lands(f, k float64, l *look, now float64) (off, sure float64, ok bool) {
	f, fVar, stands := tr.place(f, l, now)
	g, gVar, shows := tr.place(k*f, l, now) // by the samples' own times
	return math.Abs(g-k*f) * l.seconds, 4 * math.Sqrt(gVar+k*k*fVar) * l.seconds, stands && shows
}

// place fits the line at f Hz, alone, over look l, and returns its frequency and the variance of that.
func (tr *Tracker) place(f float64, l *look, now float64) (g, variance float64, ok bool) {
	p := &tr.probe
	ok = tr.fitLine(p, l, f, 0, now, l.seconds, 1, 1)
	return p.f, p.fVar, ok
}

// hidden reports whether what shows as h may be the multiple k, folded, of a line at f Hz: uneven times say so, or that
// line comes to light when what shows is taken out, or, where the dial means either, it could not if it were least times
// smaller. Uneven times may also say that it is not. Of h mine is kept for the next.
func (tr *Tracker) hidden(mine *sole, h hypothesis, f, k, now float64) bool {
	const least = 5.0 // the size of a cutter's line, times that of the spindle's. Chosen: more costs a slow sensor many readings
	p, l, g := &tr.probe, tr.shown[0], tr.fold(f)
	if math.Abs(g-tr.fold(h.f)) < l.df {
		return false
	}
	_, high := tr.bounds()
	h.look = l
	m := max(1, math.Round(math.Abs(k*f-h.f)*tr.dt)) // rates that lie between the two
	better, expected, ok := tr.compare(mine, h, h.f, 0, k*f, 0, m, now, l.seconds)
	switch {
	case expected > toldApart && better < -toldApart && !tr.hold:
		return false
	case expected > toldApart && better > toldApart && k*f > high: // else it may be the spindle's line itself
		return true
	}
	near := func(h float64) bool { return math.Abs(tr.fold(h)-g) < 2*l.df }
	if !ok && !tr.fitLine(p, l, k*f, 0, now, l.seconds, 1, 1) || !p.spare(near) {
		return true
	}
	rest := tr.uncovered(p, 0.45/tr.dt)
	if rest.at(g, 1) > thresholds[tr.axes] {
		return !rest.paired(g, tr.fold(k*f))
	}
	would, at := 0.0, min(int(math.Round(g/rest.df)), len(rest.z)-1) // whitened power of a line that small
	for a := range tr.axes {
		amp := cmplx.Abs(p.phasor[1][a]) / least
		would += amp * amp / 2 / (1.5 * rest.df) / max(rest.noise[a][at], 1e-300)
	}
	return tr.Hint > 0 && would < 2*thresholds[tr.axes]
}

// gathers reports whether the sample rate is a multiple of h, as well as a fit can tell: all that a sensor without a filter folds of
// the many multiples of a faster spindle that knocks then lies on multiples of h, which need not turn at all.
func (tr *Tracker) gathers(h hypothesis, now float64) bool {
	s, rate := &tr.probe, 1/tr.dt
	if !tr.fitLine(s, h.look, h.f, 0, now, h.look.seconds, h.anchor, max(h.anchor, maxMultiple)) {
		return true
	}
	n := math.Round(rate / s.f)
	return math.Abs(rate-n*s.f) < 1/s.span+4*n*math.Sqrt(s.fVar)
}

// overrun reports whether multiples of the line that the sensor is too slow to show may bend it: those next to the sample rate are
// folded beside the line, and knocks, unlike cutters, have a hundred of them. So large as the last that show they may be.
func (tr *Tracker) overrun(rev *Revolution) bool {
	const last = 4 // multiples. Chosen: knocks that are not alike leave out one or two
	l, f := tr.shown[0], rev.Freq
	top, beyond := math.Floor(0.45*rev.Rate/f), math.Round(rev.Rate/f)
	if top < maxTooth+last || top*f > l.df*float64(len(l.z)-3) {
		return false
	}
	sum := 0.0
	for k := top; k > top-last; k-- {
		if l.at(k*f, 1) > thresholds[l.axes] { // and is not noise
			sum += l.standing(k * f)
		}
	}
	distance := max(0, math.Abs(rev.Rate-beyond*f)-3*beyond*rev.FreqSE) * rev.Span
	leak := min(1, 1/(math.Pi*distance)) // of a window without taper
	return leak*leak*sum > last*bearable*bearable*rev.Amp*rev.Amp
}

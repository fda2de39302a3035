package dsp

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"github.com/viterin/vek"
)

const (
	// tooWeak is the relative standard error of the amplitude above which there is no
	// number: two of them are 10 %. Chosen; too high shows noise as shake.
	tooWeak = 0.05
	// blended is the relative standard error that two lines make which are not yet told apart: from
	// there on a misfit counts; where the dial means either, at any time if it is plainly so many standard errors large:
	// chance reaches that once in a hundred thousand (the mean of four exponential variables). Chosen.
	blended = 0.015
	plainly = 6.0
	// hiding: where the dial says nothing, a line of so much of this one's size, of which it might be a multiple, would be
	// seen (at hinted standard errors, and two and a half more). Chosen.
	hiding = 0.1
	// tooVague is the same for the speed: two of them are 0.4 %. Chosen.
	tooVague = 0.002
	// fewestTurns in a window shorter than the longest. Chosen: fewer do not part the line
	// from its second multiple and a slow wander.
	fewestTurns = 5.0
	// firstTurns are needed as long as no look was long enough to show what stands beside.
	// Chosen: fewer do not part the line from a belt's at three quarters of its speed.
	firstTurns = 7.0
	// settled: a speed that changes by less than 1 % a second. Chosen: a window of 4 s then
	// holds less than 4 %, and the fit follows that.
	settled = 0.01
	// stepping: a speed that differs by so much from one end of the window to the other. Chosen: if it was a step, the
	// middle is less than 1 % off.
	stepping = 0.02
	// bearable is the most that rounding may bend the amplitude. Chosen.
	bearable = 0.04
	// quietest, m/s rms: with no word of the dial a single line below this may as well be a
	// motor's. Chosen.
	quietest = 1e-4
	// straight lines through the samples of a sensor take less than 4 % off a line up to this share of its rate: sinc².
	straight = 0.1
	// farOff from what the dial says a line is not believed at first. Chosen: few dials lie by more.
	farOff = 0.06
	// narrow is the most that the dial's reach may cover of what the sensor shows, or whatever shows is taken for the line. Chosen.
	narrow = 0.4
	// missingMost is the share of missing samples that forbids a number. Chosen.
	missingMost = 0.3
	// knocking is a crest that noise does not reach: 1e-6 for 4000 samples of a Gaussian on
	// three axes.
	knocking = 6.5
	// missingMuch is the share of missing samples that is worth a word. Chosen.
	missingMuch = 0.01
)

// FilledIn is the warning of samples that were not all taken: somebody drew straight lines between them.
const FilledIn = "rows were filled in between the sensor's own by straight lines: record, or export, at its own rate"

// Numb is the warning of an axis that has shown the line and says the same all the time since. What the others shake is as it was.
const Numb = "an axis of the sensor has stopped: look at its wires"

// Mains is the warning of a line that is where the mains hum.
const Mains = "this may be the hum of the mains, 50 or 60 times a second, and not the spindle: go 100 rpm slower for a number"

// Covered is the warning of a line on which a multiple of it falls.
const Covered = "at this speed and rate of samples a multiple of the turn falls on the turn itself: go 3 % faster or slower for a number"

// Knocks is the warning of blows that noise does not explain.
const Knocks = "something knocks"

// diagnose fills in what the health of the window's samples t, x says.
func (tr *Tracker) diagnose(rev *Revolution, t []float64, x [][]float64) {
	h := &tr.health
	if len(t) == 0 {
		return
	}
	h.inspect(t, x, tr.dt, tr.clock.tick(), tr.Range, &tr.sort)
	rev.Step = h.step
	if h.clipped {
		rev.Faults = append(rev.Faults, Clipped)
	}
	if h.stuck {
		rev.Faults = append(rev.Faults, Stuck)
	}
	if h.holes || tr.gapAt >= t[0]-1e-9 {
		rev.Faults = append(rev.Faults, Gap)
	}
}

// judge decides whether rev, just measured, may be used.
func (tr *Tracker) judge(rev *Revolution, best hypothesis) {
	s := &tr.fit
	add := func(f Fault, found bool) {
		if found && !rev.Has(f) {
			rev.Faults = append(rev.Faults, f)
		}
	}
	numb := tr.numb(rev)
	add(Stuck, numb)
	beyond := rev.Rate >= unfiltered && rev.Freq > 0.5*rev.Rate // a filter lets nothing of that through: it is the image of what is slower
	add(Folded, tr.ambiguous || beyond || tr.health.filled > 0 && (tr.Hint == 0 || rev.Freq > straight*tr.health.filled))
	coarse := tr.coarse(rev)
	add(Weak, tr.weak(rev, best) || tr.battered(rev))
	rough := tr.clock.unsure(len(tr.levels[0].t)) || tr.rounded(rev) || tr.misstamped(rev)
	add(Coarse, coarse || rough)
	quiet := tr.Hint == 0 && rev.Amp < quietest*2*math.Pi*rev.Freq*math.Sqrt2 && best.lines == 1
	mixed := rev.AmpSE > blended*rev.Amp && (s.misfit > plainly && tr.Hint > 0 || s.misfit > 3 && tr.young())
	young := tr.young() && s.beating()
	wide := 2*Reach*tr.Hint > narrow*rev.Rate/2
	add(Doubtful, quiet || wide || young || mixed || tr.strayed(rev) || isMains(rev.Freq, 0) || rev.Rival > 0 || s.disputed || s.dying() || tr.overrun(rev))
	// With no word of the dial a line counts when it was there a reading ago as well, or half of one; but so is an image.
	fresh := tr.Hint == 0 && !tr.track.agrees(rev) && !(rev.Rate >= unfiltered && tr.stood(best))
	add(Doubtful, tr.lingers(rev))
	add(Changing, fresh || s.changing())
	add(Changing, tr.moved(rev))
	rev.OK = tr.fine(rev)
	if rev.OK {
		tr.share(rev)
	}
	tr.confirm(rev)
	// Seen only through its image, but the dial says which: a number, with a mark.
	add(Folded, tr.Hint > 0 && rev.Freq > 0.5*rev.Rate)
	rev.Warnings = tr.reservations(rev)
	if rough {
		rev.Warnings = append(rev.Warnings, RoughTimes)
	}
	if numb {
		rev.Warnings = append(rev.Warnings, Numb)
	}
}

// lingers reports whether rev, in which nothing casts doubt on its line, comes so soon after others in which that was in doubt for long that
// this may be chance; a part of it that was an accident is none any more. It keeps that for those to come.
func (tr *Tracker) lingers(rev *Revolution) bool {
	if tr.Hint > 0 || tr.young() {
		return false
	}
	d, now := &tr.doubt, rev.Time+rev.Span/2
	lasted := min(longest, d.at-d.first)
	same := math.Abs(rev.Freq-d.f)*longest < 1 && d.first > tr.since && now-d.at < max(contest, lasted)
	if rev.Has(Folded) || rev.Rival > 0 && !multiple(rev.Freq, rev.Rival) {
		if !same {
			d.first = now
		}
		d.f, d.at = rev.Freq, now
		return false
	}
	return same && lasted > contest
}

// fine reports whether none of the faults that rev has so far forbids a number.
func (tr *Tracker) fine(rev *Revolution) bool {
	return len(rev.Faults) == 0 || len(rev.Faults) == 1 && rev.Faults[0] == Gap && tr.health.missing < missingMost
}

// moved reports whether rev, fine but for this, may be the mean of two speeds, and keeps its own for those to come: noise leaves open
// whether the speed changed in its window, and it seems to, or another was known a moment ago, in what that window holds too.
func (tr *Tracker) moved(rev *Revolution) bool {
	const shared = 0.2 // of the window, from which on another speed bends the line's by more than a tenth of the difference. Chosen
	s, now := &tr.fit, rev.Time+rev.Span/2
	tr.good = slices.DeleteFunc(tr.good, func(l line) bool { return now-l.at > longest })
	seems := math.Abs(s.drift)*s.span > stepping*s.f
	for _, l := range tr.good {
		seems = seems || now-l.at < (1-shared)*rev.Span && math.Abs(l.f-rev.Freq) > stepping/2*rev.Freq
	}
	fine := tr.fine(rev)
	weak := len(rev.Faults) == 1 && rev.Faults[0] == Weak && rev.Span*rev.Freq > turns && 3*rev.FreqSE < stepping/2*rev.Freq
	if fine || weak {
		tr.good = append(tr.good, line{rev.Freq, rev.Amp, now})
	}
	return fine && seems && 4*math.Sqrt(s.driftVar)*s.span > stepping*s.f
}

// stood reports whether the line of the fit just made, the first after a step in speed, or after another that was followed for long,
// stood where it is half a reading ago as well. Most of the samples are the same, so that the two may differ by no more than their
// variances do (Hausman, Econometrica 46 (1978), 1251; from memory), and by what the speed drifts meanwhile.
func (tr *Tracker) stood(best hypothesis) bool {
	s, p := &tr.fit, &tr.probe
	end := s.middle + s.span/2
	if end-tr.track.clear.at > longest || end-tr.since > longest && tr.track.count < steady {
		return false
	}
	if !tr.fitLine(p, best.look, s.f, 0, end-every/2, s.span-every/2, best.anchor, max(best.anchor, maxMultiple)) {
		return false
	}
	amp, se := worst(p.phasor[1], p.variance())
	drifted := math.Abs(s.drift) * (s.middle - p.middle)
	return se < enough*amp && math.Abs(p.f-s.f) < drifted+3*math.Sqrt(max(0, p.fVar-s.fVar))
}

// numb reports whether an axis that has shown the line says the same for longer than a line of some steps could. What the
// axes had of it is as in the last good reading.
func (tr *Tracker) numb(rev *Revolution) bool {
	const steps = 2.0 // of the sensor: a line of that amplitude stays in one at its crest for 0.34 turns
	for a, stays := range tr.health.stays {
		if stays > max(0.5/rev.Freq, stuckSamples*tr.dt) && tr.shares[a]*rev.Amp > steps*tr.health.step {
			return true
		}
	}
	return false
}

// share takes in how much of the line each axis has in rev, a good reading: nothing where it stays in one step again and again. One
// that says the same just now may have stopped, and keeps what it had.
func (tr *Tracker) share(rev *Revolution) {
	long := 0.25 / rev.Freq
	for a := range tr.axes {
		switch {
		case tr.health.stayed[a] >= long:
			tr.shares[a] = 0
		case tr.health.stays[a] < long:
			tr.shares[a] = math.Sqrt(power(rev.Phasor[a])) / rev.Amp
		}
	}
}

// changing reports whether the speed was not settled: it changes fast, or by too much over the window, in which it may have
// stepped instead. A step shows in the line itself too: it swells or fades, and not at the frequency of its multiples.
func (s *fit) changing() bool {
	sure, drift := math.Sqrt(s.driftVar), math.Abs(s.drift)
	parted := s.beating() && math.Abs(s.off) > 3*math.Sqrt(s.offVar)
	return s.unsettled && s.misfit > misfits || parted || drift > settled*s.f && drift > 4*sure || drift*s.span > stepping*s.f && drift > 3*sure
}

// strayed reports whether rev is not where the dial or the pulleys say at all, the side of a stronger line having looked like one that
// is; or is far from that, and no look was long enough yet, nor the line followed so long, to show what stands closer.
func (tr *Tracker) strayed(rev *Revolution) bool {
	if tr.Hint > 0 && (tr.unseen() || tr.track.age() < longest) && math.Abs(rev.Freq-tr.Hint) > farOff*tr.Hint {
		return true
	}
	low, high := tr.bounds()
	return rev.Freq < low-3*rev.FreqSE || rev.Freq > high+3*rev.FreqSE || !tr.stepped(rev.Freq)
}

// coarse reports whether the sensor's steps leave no number: the line is small beside them, or rounding may have bent
// it too far and what was before it cannot be told. Where it can, rev says that.
func (tr *Tracker) coarse(rev *Revolution) bool {
	if rev.Step == 0 {
		return false
	}
	s := &tr.fit
	t, x, _ := tr.window(rev.Time+rev.Span/2, rev.Span, math.Inf(1), 0) // not thinned out
	var bent, unseen float64
	each := float64(len(t)) / float64(len(s.t)) // of the sensor's samples for one of the fit, which is a mean of them
	for a := range s.x {
		if vek.Max(x[a])-vek.Min(x[a]) < 1.5*rev.Step { // may hold half a step that nobody can see
			unseen += rev.Step * rev.Step / 4
			continue
		}
		// What dithers the steps is the noise that the fit left over: so much in each of the sensor's own samples if it is
		// white, but no more than they hold.
		left := min(each*sumSquares(s.residual[a])/float64(len(s.t)), tr.left(a))
		amp := cmplx.Abs(s.phasor[1][a])
		bend := amp * stepBias(amp, rev.Step, dither(left, amp, rev.Step))
		bent += bend * bend
	}
	if math.Sqrt(rev.Amp*rev.Amp+unseen) > (1+bearable)*rev.Amp {
		return true
	}
	if math.Sqrt(bent) <= bearable*rev.Amp {
		return false
	}
	if rev.Amp < fewestSteps*rev.Step {
		return true
	}
	s.t, s.x = t, append(s.x[:0], x...)
	if !s.run(true) || !s.unround(rev.Step) {
		return true
	}
	tr.report(rev, s)
	return rev.Amp < fewestSteps*rev.Step
}

// ByDial is the warning of a number that is one of several which look alike to a slow sensor.
const ByDial = "the sensor is too slow to tell this speed from others that look the same to it: of these it is the one near what the dial says"

// byDial reports whether another speed that is searched without the dial's word would show as rev does, as far as its times tell.
func (tr *Tracker) byDial(rev *Revolution) bool {
	rate := 1 / tr.dt
	if tr.Hint == 0 || rate >= unfiltered {
		return rev.Has(Folded)
	}
	image := math.Abs(rate - rev.Freq)
	t, _ := tr.samples(rev.Time+rev.Span/2, rev.Span)
	return image > tr.low() && image < tr.high() && !tr.parted(t, max(image, rev.Freq))
}

// reservations says in words what a number is to be taken with.
func (tr *Tracker) reservations(rev *Revolution) []string {
	var say []string
	if rev.OK && tr.byDial(rev) {
		say = append(say, ByDial)
	}
	if rev.OK && tr.health.holes {
		say = append(say, fmt.Sprintf("%.0f %% of the samples are missing", 100*tr.health.missing))
	}
	if tr.health.filled > 0 {
		say = append(say, FilledIn)
	}
	if isMains(rev.Freq, 0) {
		say = append(say, Mains)
	}
	if tr.covered(&tr.fit) || tr.blurs(rev) {
		say = append(say, Covered)
	}
	if rev.Crest > knocking {
		say = append(say, Knocks)
	}
	return say
}

// young reports whether no look was long enough yet to show what stands close beside a line.
func (tr *Tracker) young() bool { return tr.shown[0].seconds < 0.95*longest }

// unseen reports whether that was so at the speed before a step too, when what stands close beside turned with the spindle as well.
func (tr *Tracker) unseen() bool { return tr.young() && math.IsInf(tr.since, -1) }

// weak reports whether the line does not stand clear enough for a number.
func (tr *Tracker) weak(rev *Revolution, best hypothesis) bool {
	if !(rev.AmpSE <= tooWeak*rev.Amp) || !(rev.FreqSE <= tooVague*rev.Freq) {
		return true
	}
	turned := rev.Span * rev.Freq
	if turned < fewestTurns && rev.Span < 0.95*longest || turned < firstTurns && tr.unseen() {
		return true
	}
	// A line of which the dial says nothing may be the multiple of one that is still too
	// small to be seen: it must stand clearer, most of all when it was just found.
	if tr.Hint > 0 {
		return false
	}
	if rev.Rate < unfiltered && tr.track.count < steady { // nor on first sight what may be folded
		return true
	}
	share := hiding
	if best.anchor == 1 {
		share = tr.topped.hiding(rev, rev.Time)
	}
	return rev.AmpSE > share/(hinted+2.5)*rev.Amp || tr.track.count < steady+2 && rev.AmpSE > enough*rev.Amp
}

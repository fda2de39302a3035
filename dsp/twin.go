package dsp

import (
	"math"
	"math/cmplx"

	"github.com/viterin/vek"
)

// Chosen; distances in widths 1/span.
const (
	twinNear  = 4.0  // a line closer than this may hide in the spindle's in every look
	twinFar   = 0.8  // and one closer than this cannot be told from a change of the line itself
	twinFirst = 2.5  // s: a shorter look shows the window's shape and little else
	twinReach = 4    // what is left over is looked at so far on either side
	twinTells = 0.95 // share of what is left over that a twin explains, and nothing that swells or wanders does
	twinSwung = 0.75 // share of what is left over that is more than a twin's, half of which swings the phase and half the size
	twinShows = 0.03 // amplitude beside a line's own shape in a look, to its own, from which on it is asked
)

// twinKept seconds a twin is remembered: two beats of the closest two that are told apart.
const twinKept = 2 * longest / twinFar

// sighting is a line that was seen beside the spindle's, or the spindle's beside it.
type sighting struct {
	f         float64 // Hz
	first, at float64 // s, since when it was seen without a break of twinKept, and last
}

// proven reports whether it was there for longer than the speed before a step stays in a look.
func (s sighting) proven() bool { return s.at-s.first > longest }

// near reports whether f is this line, or one beside it.
func (s sighting) near(f, now float64) bool {
	return now-s.at < twinKept && math.Abs(f-s.f)*longest < twinNear
}

// twin reports whether the line of the fit just made is two, too close to show as two in a look,
// the other strong enough to be the spindle's. A line that swells, fades or wanders leaves as much on one side of itself
// as on the other, of which a line beside it explains half; another line leaves all of it on its side.
// The longest look tells whether to ask, and a fit as long answers. A step in speed makes two lines too, but not for longer than
// that.
func (tr *Tracker) twin(c hypothesis, now float64) bool {
	s, p, l := &tr.fit, &tr.probe, tr.shown[0]
	if tr.other.near(s.f, now) && tr.other.proven() {
		return true
	}
	if l.seconds < twinFirst || tr.stands(&tr.alone, s.f, now) || !l.broadened(tr.fold(s.f)) {
		return false
	}
	g, share := tr.second(c, now)
	if share == 0 && tr.bends.near(s.f, now) && now-tr.bends.at < contest { // noise may hide it in a look
		return math.Abs(tr.bends.f-s.f)*s.span < twinFar
	}
	switch {
	case share < bearable:
		tr.alone = answer{f: s.f, at: now}
		return false
	case share < tr.counts(g): // not the spindle's itself, but it bends the line in a window that does not part them
		tr.bends = sighting{f: g, at: now}
		return math.Abs(g-s.f)*s.span < twinFar
	}
	if tr.young() { // nobody knows yet what was before
		return true
	}
	if !tr.other.near(p.f, now) {
		tr.other.first = now
	}
	if !s.changing() && now-tr.track.since > longest && math.Abs(s.f-tr.track.home)*longest < 1 {
		tr.other.first = math.Inf(-1)
	}
	tr.other.f, tr.other.at = g, now
	return tr.other.proven() || math.IsInf(tr.change.at, -1) // of no step that anybody saw
}

// second returns the frequency in Hz of a line close to that of the fit just made that explains what this one leaves over, and its share of
// that line; 0 if there is none.
func (tr *Tracker) second(c hypothesis, now float64) (g, share float64) {
	s, p, l := &tr.fit, &tr.probe, tr.shown[0]
	if !tr.fitLine(p, l, s.f, 0, now, l.seconds, c.anchor, max(c.anchor, maxMultiple)) {
		return 0, 0
	}
	if !p.spare(func(g float64) bool { return math.Abs(g-p.f)*p.span < twinNear }) || len(p.foreign) == maxForeign || !p.splits() {
		return 0, 0
	}
	g = p.foreign[len(p.foreign)-1]
	apart := math.Abs(g-p.f) * p.span
	low, high := tr.bounds()
	if apart < twinFar || apart > twinNear || g < low || g > high {
		return 0, 0
	}
	return g, p.strength(len(p.ks)+len(p.foreign)-1) / p.strength(0)
}

// counts returns from which share of the spindle's line on a line at g Hz, close to it, may be the spindle's instead: one of
// the mains only if it is the larger, or the dial says so.
func (tr *Tracker) counts(g float64) float64 {
	mains := isMains(g, 0)
	switch {
	case mains && tr.Hint == 0:
		return 1
	case mains || tr.Hint == 0:
		return singles
	}
	return within
}

// splits adds a line to the fit where most is left over beside its first, and reports whether
// that explains it.
func (s *fit) splits() bool {
	before, swung, side := s.around()
	if swung > twinSwung*vek.Dot(s.weight[:], before[:]) {
		return false
	}
	s.foreign = append(s.foreign, s.f+side/s.span)
	if !s.run(true) {
		return false
	}
	after, _, _ := s.around()
	return vek.Dot(s.weight[:], after[:]) < (1-twinTells)*vek.Dot(s.weight[:], before[:]) // by the noise that is left
}

// around returns the power left over within twinReach widths of the line on each axis, how much of it, weighted,
// is the line's own whose phase swings, and the side and distance in widths where most of it is.
func (s *fit) around() (sum [3]float64, swung, side float64) {
	weight := &s.weight
	most, own := 0.0, 1e-300
	for a := range s.x {
		own += weight[a] * power(s.phasor[1][a])
	}
	for j := 1; j <= twinReach && float64(j+1)/s.span < s.f; j++ {
		above, below := s.above[j-1], s.below[j-1]
		var up, down float64
		var turn complex128
		for a, p := range s.phasor[1] {
			sum[a] += power(above[a]) + power(below[a])
			up += weight[a] * power(above[a])
			down += weight[a] * power(below[a])
			turn += complex(weight[a], 0) * (cmplx.Conj(p)*above[a] - p*cmplx.Conj(below[a]))
		}
		swung += power(turn) / (2 * own)
		if max(up, down) > most {
			most, side = max(up, down), math.Copysign(float64(j), up-down)
		}
	}
	return sum, swung, side
}

func power(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

// broadened reports whether there is more beside the line at f than noise and the window's own shape, sinc(u)/(1−u²) at u bins
// (Harris, Proc. IEEE 66 (1978)). Of what stands there a twin explains all but 1−twinTells: noise alone does not ask for it.
func (l *look) broadened(f float64) bool {
	k := int(math.Round(f / l.df))
	if k <= twinReach || k >= len(l.z)-twinReach {
		return true
	}
	shape := func(u float64) float64 {
		if math.Abs(math.Abs(u)-1) < 1e-6 {
			return 0.5
		}
		if u == 0 {
			return 1
		}
		return math.Sin(math.Pi*u) / (math.Pi * u * (1 - u*u))
	}
	width := 1 / (l.seconds * l.df) // bins
	own := l.strength(f) / math.Pow(shape((f/l.df-float64(k))/width), 2)
	for j := -twinReach; j <= twinReach; j++ {
		if j >= -1 && j <= 1 {
			continue
		}
		w := shape((f/l.df - float64(k+j)) / width)
		if l.z[k+j] > thresholds[l.axes] && l.strength(float64(k+j)*l.df) > (2*w*w+twinShows*twinShows)*own {
			return true
		}
	}
	return false
}

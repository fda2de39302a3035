package dsp

import (
	"math"
	"slices"

	"github.com/viterin/vek"
)

// toldApart is the difference in χ² at which uneven times tell a frequency from its image:
// chance reaches 30 with probability 3e-7 (two Gaussian numbers). Chosen.
const toldApart = 30.0

// fold returns where frequency f shows in even samples: |f − m·rate|, m whole.
func (tr *Tracker) fold(f float64) float64 {
	rate := 1 / tr.dt
	return math.Abs(f - rate*math.Round(f/rate))
}

// images asks whether the line just fitted at f, drift is the image of another in the range
// that is searched, or in the lathe's if the dial's word is of another moment, m rates away, which even samples could not tell from it. Uneven times do
// tell, if it is not too close, in a window of some seconds or, where that is too few, of the seconds one has. It returns
// the frequency and drift that fit best and whether another is as good, or one that is not searched, a multiple maybe, better.
func (tr *Tracker) images(c hypothesis, f, drift, now, seconds, have float64) (best, bend float64, same bool) {
	low, high := tr.bounds()
	rate := 1 / tr.dt
	best, bend = f, drift
	var mine, longer sole
	for m := 1.0; m*rate-f < maxMultiple*max(high, tr.high()); m++ {
		for _, g := range [2]float64{m*rate - f, m*rate + f} {
			searched := g >= low && g <= high || g >= tr.low() && g <= tr.high() && !tr.kept(f, drift, now-seconds/2)
			if !searched && (tr.hold || tr.even(now, seconds)) {
				continue
			}
			its := drift
			if g < m*rate {
				its = -drift
			}
			better, expected, _ := tr.compare(&mine, c, f, drift, g, its, m, now, seconds)
			if searched && !told(better, expected) && 2*seconds <= have {
				before := (have - seconds) / 2 // the middle of the longer window
				better, expected, _ = tr.compare(&longer, c, f-drift*before, drift, g-its*before, its, m, now, have)
			}
			switch {
			case !searched:
				same = same || better > 0 && told(better, expected)
			case tr.hold || !told(better, expected):
				same = true // the times of held values are their delivery's
			case better > 0:
				best, bend = g, its
			}
		}
	}
	return best, bend, same
}

// kept reports whether the line at f Hz, changing by drift Hz/s at time at, is where the dial's word held last: it never left, but may have
// drifted, or is back; or, to begin with, close to that word. Else the dial may have been turned, and its word is of another moment.
func (tr *Tracker) kept(f, drift, at float64) bool {
	const (
		back = 0.005 // as a line is still. Chosen
		near = 0.05  // most dials are that good. Common practice, no source
	)
	was, moved := tr.meant, 0.0
	if ago := math.Abs(at - was.at); ago < contest {
		moved = max(settled*f, math.Abs(drift)) * ago
	}
	if was.f == 0 {
		return tr.Hint == 0 || math.Abs(f-tr.Hint) < near*tr.Hint
	}
	return math.Abs(f-was.f) < back*was.f+moved
}

// confirm takes in that rev is where the dial says: given as a number, or followed from there.
func (tr *Tracker) confirm(rev *Revolution) {
	followed := tr.track.count >= steady && !rev.Has(Weak) && tr.kept(rev.Freq, rev.Drift, rev.Time)
	if tr.Hint > 0 && (rev.OK || followed) {
		tr.meant = line{rev.Freq, rev.Amp, rev.Time}
	}
}

// even reports whether the last seconds before now have samples at even times.
func (tr *Tracker) even(now, seconds float64) bool {
	t, _ := tr.samples(now, seconds)
	return len(t) < 2 || onGrid(t, (t[len(t)-1]-t[0])/float64(len(t)-1), 1e-3)
}

// told reports whether a difference in χ² tells two frequencies apart, of which expected is to be expected: else something other than
// the one's being the other's image is the difference.
func told(better, expected float64) bool {
	size := math.Abs(better)
	return expected >= toldApart && size >= max(toldApart, 0.85*expected) && size <= 1.5*expected
}

// overlooked reports whether, where the line turned out to be an image, another of the lines that show,
// taken at its word, is faster (m/s): it was weighed against the wrong frequency.
func (tr *Tracker) overlooked(s *fit) bool {
	low, high := tr.bounds()
	amp, _ := worst(s.phasor[1], [3]float64{})
	own := amp / (2 * math.Pi * s.f * math.Sqrt2)
	return slices.ContainsFunc(tr.found, func(p peak) bool {
		return p.f >= low && p.f <= high && math.Abs(tr.fold(p.f)-tr.fold(s.f)) > p.look.df && p.look.velocity(p.f) > own
	})
}

// sole is what a fit of a line alone leaves, and the mean square of that line, of each axis. It is made when it is first asked for.
type sole struct {
	made, ok      bool
	square, power [3]float64
}

// sole fits the line at f, alone, into the probe.
func (tr *Tracker) sole(c hypothesis, f, drift, now, seconds float64) (o sole) {
	s := &tr.probe
	o.made, o.ok = true, tr.fitLine(s, c.look, f, drift, now, seconds, 1, 1)
	for a := range tr.axes {
		if o.ok {
			o.square[a], o.power[a] = sumSquares(s.residual[a]), power(s.phasor[1][a])/2
		}
	}
	return o
}

// compare fits the lines at f, of which mine is kept for the next with that, and at g, which is left in the probe, each alone, and
// returns by how much χ² is smaller for g, and the
// size of that difference that the unevenness of the sample times lets expect: χ² of the line
// times 1−|mean exp(2πi·m·δ/dt)|², δ the time of a sample less that of an even one, less
// the share that the unknowns take up. Unevenness no larger than the stamps' own rounding is
// none: the stamps may be to blame, not the samples. It reports whether there are both fits.
func (tr *Tracker) compare(mine *sole, c hypothesis, f, drift, g, bend, m, now, seconds float64) (better, expected float64, ok bool) {
	if !mine.made {
		*mine = tr.sole(c, f, drift, now, seconds)
	}
	if !mine.ok {
		return 0, 0, false
	}
	its := tr.sole(c, g, bend, now, seconds)
	if !its.ok {
		return 0, 0, false
	}
	s := &tr.probe
	n := float64(len(s.t))
	for a := range tr.axes {
		least := max(min(mine.square[a], its.square[a]), 1e-30)
		line := mine.power[a]
		if its.square[a] < mine.square[a] { // an image has but a part of the line's power
			line = its.power[a]
		}
		better += (mine.square[a] - its.square[a]) / least * n
		expected += n * line / least * n
	}
	spread, mean := unevenness(s.t, tr.dt, m)
	if spread < 1.5*tick(s.t)/math.Sqrt(12) {
		return better, 0, true
	}
	unknowns := float64(4 + 2*len(s.foreign))
	return better, expected * (1 - mean*mean) * (1 - unknowns/n), true
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

func sumSquares(v []float64) float64 { return vek.Dot(v, v) }

// parted reports whether the times t are so uneven that a line at f, above half the rate of a slow sensor, is told from
// its image, if with a larger error.
func (tr *Tracker) parted(t []float64, f float64) bool {
	const (
		least  = 7.0 // samples' worth of difference between the two, and
		fewest = 60  // samples. Chosen
	)
	m := math.Round(f * tr.dt)
	if m == 0 || 1/tr.dt >= unfiltered || len(t) < fewest || tr.hold {
		return false
	}
	spread, mean := unevenness(t, tr.dt, m)
	return spread > 1.5*tick(t)/math.Sqrt(12) && float64(len(t))*(1-mean*mean) > least
}

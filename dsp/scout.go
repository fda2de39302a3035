package dsp

import (
	"math"
	"sync"
)

// Scout makes a part of what a Tracker needs ahead of it, so that two goroutines can share its work: the spectra before each
// reading in which nothing matters that was followed, and nothing is struck out. It takes the same samples as its Tracker, before it.
type Scout struct {
	high float64 // Hz, end of the search
	ear
	spectrum spectrum
	longAt   float64   // s, end of the last longest look
	spare    sync.Pool // of looks that were used
}

// Glance is what a Scout has seen before one reading.
type Glance struct {
	seconds float64 // asked for
	look    *look
	scout   *Scout // whose it is again once it was used
}

// Scout returns one for tr, whose fields stay as they are from now on.
func (tr *Tracker) Scout() *Scout {
	_, high := tr.bounds()
	return &Scout{high: high, ear: ear{lowest: showing(high)}, longAt: math.Inf(-1), spare: sync.Pool{New: func() any { return new(look) }}}
}

// Add takes the next samples as Tracker.Add does, and returns what to give to that with them.
func (s *Scout) Add(t []float64, axes [][]float64) []Glance {
	s.check(t, axes)
	var out []Glance
	for u := range s.due(t, axes) {
		if why, _ := s.ready(u); why != "" {
			continue
		}
		have := s.have(u)
		lengths := s.windows(have)
		glance := func(i int) {
			g := Glance{seconds: lengths[i], look: s.spare.Get().(*look), scout: s}
			if s.sketch(&s.spectrum, g.look, u, g.seconds, have, s.high, i == len(lengths)-1) {
				out = append(out, g)
			}
		}
		if have >= longest && s.outdated(s.longAt, u) {
			s.longAt = u
			glance(0)
		}
		glance(len(lengths) - 1)
	}
	return out
}

// outdated reports whether on a steady track the longest look, which ended at time end, is made anew at time now: every so many
// seconds from the first sample on, so that a Scout knows when.
func (e *ear) outdated(end, now float64) bool {
	const anew = 0.75 // s. Chosen: three readings
	return math.Floor((now-e.start)/anew) > math.Floor((end-e.start)/anew)
}

// windows returns how many seconds long the looks are when there are so many s of samples, longest first.
func (e *ear) windows(have float64) []float64 {
	e.lengths = append(e.lengths[:0], have)
	for i, seconds := range [2]float64{2, 1} {
		if have < 2*seconds/1.4 {
			seconds = have / float64(int(2)<<i)
		}
		if seconds < 0.5 || seconds >= e.lengths[i] {
			break
		}
		e.lengths = append(e.lengths, seconds)
	}
	return e.lengths
}

// showing is the rate in Hz of samples that show lines up to high Hz, and some multiples.
func showing(high float64) float64 { return max(2*high/passband, 150) }

// sight returns the samples t, x of about the last seconds before now, if one has more than those, on a level of rate Hz that
// serves lines up to high Hz and some multiples, or (wide) broadband as well, and how far in s their times may stray from
// an even grid.
func (e *ear) sight(now, seconds, have, high float64, wide bool) (t []float64, x [][]float64, rate, stray float64) {
	rate, stray = showing(high), 0.3/(2*math.Pi*high)
	if wide {
		rate, stray = max(rate, broad/passband), min(stray, 0.2/(2*math.Pi*broad))
	}
	if high > 0.45/e.dt {
		stray = -1 // show what lies above half the rate
	}
	l, from, to, rate := e.stretch(now, seconds, rate, lag*seconds)
	if n := nearPower(to - from); n <= to && (seconds < have || have >= longest) {
		from = to - n
	}
	return l.t[from:to], e.columns(l, from, to), rate, stray
}

// sketch makes of l, with s, the spectrum of what sight returns. It reports whether there are samples enough.
func (e *ear) sketch(s *spectrum, l *look, now, seconds, have, high float64, wide bool) bool {
	const least = 0.05 // of the samples that their usual interval lets expect: else that is no interval. Chosen
	t, x, rate, stray := e.sight(now, seconds, have, high, wide)
	if len(t) < fewest || float64(len(t)) < least*rate*(t[len(t)-1]-t[0]) {
		return false
	}
	l.axes, l.rate = e.axes, rate
	l.df = s.density(t, x, rate, stray, &l.power)
	l.end, l.seconds, l.off = now, t[len(t)-1]-t[0], s.off
	s.whiten(l, 10/l.seconds, max(4*high, 150))
	return true
}

package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"vibe/assess"
	"vibe/dsp"
)

// stretch is a run of neighbouring readings that say much the same: one row of the table
// over time. A long recording is a few hundred of them.
type stretch struct {
	from, to   float64 // s, middles of the first window and the last
	start, end float64 // s, what their samples reach over
	ok         bool
	still      bool // nothing turns
	n          int
	away       int     // readings with nothing near the dial's word, but with a line elsewhere
	speed      float64 // sum of the speeds, rpm
	slow, fast assess.RPM
	least      float64        // mm/s, the smallest shake
	most       assess.Reading // the one that shook most
	faults     []dsp.Fault    // all that occurred
}

// A stretch goes on while the speed stays within 1 % of its mean and the shake within 1.3
// times of its first (both chosen: less than a person would call a change).
const (
	oneSpeed = 0.01
	oneShake = 1.3
)

// rowsShown is what fits on a screen; a longer table hides what matters in it.
const rowsShown = 24

// blip is how many unusable readings, at most a second of them, may lie within a stretch
// without ending it (chosen; they are named in its row).
const blip = 4

// together adds r to the stretches so far.
func together(all []stretch, r assess.Reading) []stretch {
	all = bridge(all, r)
	if n := len(all); n == 0 || !all[n-1].fits(r) {
		from := r.T
		if n > 0 {
			from = max(from, all[n-1].to) // the middle of a longer window may lie before it
		}
		all = append(all, stretch{from: from, to: from, start: r.T - r.Span/2, ok: r.OK, still: r.Has(dsp.NoTurn), slow: r.Speed, least: r.Shake, most: r})
	}
	all[len(all)-1].add(r)
	return all
}

// bridge takes the last stretch out where r proves it to be a blip: in a good stretch that
// goes on, or in a bad one that is bad again in another way.
func bridge(all []stretch, r assess.Reading) []stretch {
	n := len(all)
	if n < 2 || all[n-1].ok || all[n-1].n > blip || all[n-1].fits(r) || all[n-2].ok != r.OK || all[n-2].hole(all[n-1].start) {
		return all
	}
	before, last := &all[n-2], all[n-1]
	switch {
	case !r.OK:
		before.to, before.end, before.speed = last.to, last.end, before.speed+last.speed
		before.n, before.away = before.n+last.n, before.away+last.away
		before.reach(last.slow, last.fast)
	case last.still || !before.fits(r):
		return all
	}
	before.note(last.faults)
	return all[:n-1]
}

func (s *stretch) fits(r assess.Reading) bool {
	if s.ok != r.OK || s.still != r.Has(dsp.NoTurn) || s.hole(r.T-r.Span/2) {
		return false
	}
	mean := s.speed / float64(s.n)
	return !r.OK || math.Abs(float64(r.Speed)-mean) <= oneSpeed*mean &&
		r.Shake <= oneShake*s.least && r.Shake >= s.most.Shake/oneShake
}

// hole reports whether samples are missing between s and a window that starts at start; the
// windows of neighbouring readings overlap.
func (s *stretch) hole(start float64) bool { return start-s.end > longHole }

func (s *stretch) add(r assess.Reading) {
	s.to, s.end = max(s.to, r.T), r.T+r.Span/2 // the middle of a window that grows steps back
	s.n++
	if r.Speed == 0 && r.Rival > 0 && !r.Has(dsp.NoTurn) {
		s.away++
	}
	s.speed += float64(r.Speed)
	s.reach(r.Speed, r.Speed)
	s.least = min(s.least, r.Shake)
	if r.Shake > s.most.Shake {
		s.most = r
	}
	s.note(r.Faults)
}

// elsewhere reports whether for long nothing turned near the dial's word, and something did elsewhere, in
// most of its readings: a rival of what does turn there is no sign of another speed.
func (s stretch) elsewhere() bool { return !s.ok && s.to-s.from > turnedAway && 2*s.away > s.n }

// reach widens the range of speeds; 0 is unknown.
func (s *stretch) reach(slow, fast assess.RPM) {
	s.fast = max(s.fast, fast)
	if slow > 0 && (s.slow == 0 || slow < s.slow) {
		s.slow = slow
	}
}

func (s *stretch) note(faults []dsp.Fault) {
	for _, f := range faults {
		if !slices.Contains(s.faults, f) {
			s.faults = append(s.faults, f)
		}
	}
}

// tableHead and row are the columns of the table; a dash is what is not known, a question
// mark what may not be relied on.
const tableHead = "    from       to         rpm    shake mm/s   total   feel"

func (s *stretch) row(p *page) string {
	line := fmt.Sprintf("%8s %8s  ", clock(s.from), clock(s.to))
	if !s.ok {
		return line + p.paint(dim, fmt.Sprintf("%10s  %12s  %6s   %s", s.guess(), "–", "–", s.codes(p.width-beforeFeel)))
	}
	feel, faults := string(s.most.Feel), s.codes(p.width-afterFeel-len("()"))
	if faults != "" {
		feel, faults = fmt.Sprintf("%-8s ", feel), "("+faults+")" // in some of its readings
	}
	shake := number(s.least)
	if most := number(s.most.Shake); most != shake {
		shake += "–" + most
	}
	return line + fmt.Sprintf("%10.0f  %12s  %6s   %s%s", s.speed/float64(s.n), shake, number(s.most.Total),
		p.paint(feelStyle[s.most.Feel], feel), faults)
}

// The columns that a row takes before the feel, and with it.
const (
	beforeFeel = 54
	afterFeel  = beforeFeel + 9
)

// codes are the faults in at most width columns, as many as there is room for.
func (s *stretch) codes(width int) string {
	text := ""
	for i, f := range s.faults {
		longer := strings.TrimLeft(text+" "+string(f), " ")
		more := i < len(s.faults)-1
		if n := len(longer); n > width || more && n+len(" …") > width {
			return text + " …"
		}
		text = longer
	}
	return text
}

// guess is what may be said of a speed that is not to be used. Speeds more than twice apart, as a spindle that runs down and the noise after
// it make them, are no guess of one (chosen: with less a belt on its next step would be none).
func (s *stretch) guess() string {
	switch {
	case s.fast == 0 || s.still || s.fast > 2*s.slow:
		return "–"
	case s.fast > 1.02*s.slow:
		return fmt.Sprintf("%.0f–%.0f?", s.slow, s.fast)
	}
	return fmt.Sprintf("%.0f?", s.fast)
}

// telling returns at most n of the stretches, in their order: the roughest first, then
// the longest.
func telling(all []stretch, n int) []stretch {
	if len(all) <= n {
		return all
	}
	shakes := func(s stretch) int {
		if s.ok && (s.most.Feel == assess.Rough || s.most.Feel == assess.Violent) {
			return 1
		}
		return 0
	}
	kept := slices.Clone(all)
	slices.SortStableFunc(kept, func(a, b stretch) int {
		return cmp.Or(cmp.Compare(shakes(b), shakes(a)), cmp.Compare(b.n, a.n))
	})
	kept = kept[:n]
	slices.SortStableFunc(kept, func(a, b stretch) int { return cmp.Compare(a.from, b.from) })
	return kept
}

// clock writes a time in s: 12.5 s, and from ten minutes on 10:00 or 1:02:03.
func clock(t float64) string {
	if t < 600 {
		return fmt.Sprintf("%.1f s", t)
	}
	s := int(math.Round(t))
	if s < 3600 {
		return fmt.Sprintf("%d:%02d", s/60, s%60)
	}
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}

// number writes mm/s with the digits that mean something; 0 is unknown, a dash.
func number(v float64) string {
	switch {
	case !(v > 0):
		return "–"
	case v < 0.1:
		return fmt.Sprintf("%.3f", v)
	case v < 10:
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.1f", v)
}

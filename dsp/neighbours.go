package dsp

import (
	"math"
	"slices"
)

// neighbour is a line that was seen beside the spindle's.
type neighbour struct {
	f      float64 // Hz
	seen   float64 // s, last time
	beside int     // readings in which the spindle was known and was another line
	lo, hi float64 // Hz, range of the spindle's speed in those
}

// Chosen.
const (
	neighbourAlive = 3.0 // s: not seen for so long, and it is forgotten
	neighbourCount = 4   // readings beside a known spindle
)

// bystander reports whether f belongs to a line that was there beside the spindle (beside), and
// whether it stood still while the spindle's speed changed (proven). The dial's word overrules that.
func (tr *Tracker) bystander(f, resolution float64) (beside, proven bool) {
	if tr.Hint > 0 {
		return false, false
	}
	for _, b := range tr.neighbours {
		if math.Abs(b.f-f) < resolution {
			beside = beside || b.beside >= neighbourCount
			proven = proven || b.hi > 1.1*b.lo
		}
	}
	return beside || proven, proven
}

// remember updates the neighbours with the lines of the longest of looks at time now, where the spindle
// is known to turn at spin Hz (0: it is not known).
func (tr *Tracker) remember(looks []*look, now, spin float64) {
	tr.neighbours = slices.DeleteFunc(tr.neighbours, func(b neighbour) bool { return now-b.seen > neighbourAlive })
	l := looks[0]
	for p := range l.lines(2*thresholds[l.axes], 0, tr.high()*1.05) {
		if gone(looks, p) { // the spindle's own, before a step in speed
			continue
		}
		if spin == 0 || !tr.belongs(p, hypothesis{f: spin, look: l}) {
			tr.note(p.f, now, spin, l.df)
		}
	}
}

// note enters a line at f Hz, seen in a look of resolution df Hz.
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
	const most = 64 // more lines than that are noise. Chosen.
	if len(tr.neighbours) < most {
		b := neighbour{f: f, seen: now}
		if spin > 0 {
			b.beside, b.lo, b.hi = 1, spin, spin
		}
		tr.neighbours = append(tr.neighbours, b)
	}
}

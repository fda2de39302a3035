package dsp

import (
	"math"

	"github.com/viterin/vek"
)

// Something that hits the machine now and then, a tool that catches or a chuck key that falls, shows for a tenth of a second,
// a hundred times as large as the line. All lines of a spectrum are then its own, and a fit takes them for lines; so its samples
// are left out, like missing ones.

const (
	struckBy  = 8.0  // times the usual distance from the middle: of sines and noise one sample in ten million is that far out
	rings     = 4.0  // times that, while it rings down. Chosen
	ringsFor  = 0.05 // s without that, and it is over. Chosen
	sizedFor  = 0.9  // s, that what is usual in 4 s is good for. Chosen
	longKnock = 0.25 // s: what lasts longer is no knock. Chosen
	tooOften  = 2.0  // knocks a second, from which on too little is left between them. Chosen
	ofTurn    = 0.5  // knocks a turn of the slowest spindle that is looked for, from which on they may be a part of it. Chosen
	everyTurn = 0.7  // knocks a turn, from which on they come each turn, some too weak to be heard. Chosen
	seldom    = 0.2  // knocks a turn, up to which the line hardly changes if they are left out, whatever they are. Chosen
	tooMuch   = 0.25 // of the samples, which may not be left out. Chosen
)

// knock is when something hit the machine, s.
type knock struct{ from, to float64 }

// hear finds the knocks up to time now, and decides whether they are left out of this reading's samples: not where they may come
// once a turn of the slowest spindle.
func (e *ear) hear(now float64) {
	l := &e.levels[0]
	if !(now-e.sized < sizedFor) || e.kept(now) < longest {
		e.sized = now
		for a := range e.axes {
			e.middle[a], e.usual[a] = e.typical(l.x[a])
		}
	}
	from, near := firstAfter(l.t, e.listened), true // a shortcut: mostly nothing is far out, as the largest and the least tell
	for a := range e.axes {
		v := l.x[a][from:]
		near = near && (e.usual[a] == 0 || len(v) == 0 || max(vek.Max(v)-e.middle[a], e.middle[a]-vek.Min(v)) <= rings*e.usual[a])
	}
	if near {
		from = len(l.t)
	}
	far := func(i int, times float64) bool {
		for a := range e.axes {
			if e.usual[a] > 0 && math.Abs(l.x[a][i]-e.middle[a]) > times*e.usual[a] {
				return true
			}
		}
		return false
	}
	for i := from; i < len(l.t); i++ {
		u, last := l.t[i], len(e.knocks)-1
		switch {
		case last >= 0 && u-e.knocks[last].to < ringsFor && far(i, rings):
			e.knocks[last].to = u
		case far(i, struckBy):
			e.knocks = append(e.knocks, knock{u, u})
		}
	}
	e.listened = now
	old := 0
	for old < len(e.knocks) && e.knocks[old].to < now-keepSeconds {
		old++
	}
	e.knocks = append(e.knocks[:0], e.knocks[old:]...)
	short, lost := 0.0, 0.0
	for _, k := range e.knocks {
		if k.short() {
			short, lost = short+1, lost+k.to-k.from
		}
	}
	have := e.kept(now)
	e.struck = short > 0 && short < max(2, min(tooOften, ofTurn*e.slowest)*have) && lost < tooMuch*have
}

func (k knock) short() bool { return k.to-k.from < longKnock }

// total returns the broadband velocity and its band as broadband does, l the last look, of all samples: what is left out for the
// line's sake shook the lathe all the same. The band is empty too where those are too few.
func (tr *Tracker) total(l *look, now float64) (total float64, band [2]float64) {
	if !tr.struck {
		return l.broadband()
	}
	t, x := tr.samples(now, l.seconds)
	if len(t) < fewest {
		return 0, band
	}
	all := &tr.under
	all.axes, all.rate = tr.axes, 1/tr.dt
	all.df = tr.spectrum.density(t, x, all.rate, 0.2/(2*math.Pi*broad), &all.power)
	return all.broadband()
}

// blows returns how many knocks came in a window of span s before now.
func (e *ear) blows(now, span float64) (n float64) {
	for _, k := range e.knocks {
		if k.short() && k.to > now-span && k.from <= now {
			n++
		}
	}
	return n
}

// battered reports whether knocks spoil rev: they are in it, and come less often than once a turn, so that they are no part of
// what turns, and no noise either; or they are left out of it, and so many that they may be a part.
func (e *ear) battered(rev *Revolution) bool {
	turned := rev.Span * rev.Freq
	n := e.blows(rev.Time+rev.Span/2, rev.Span)
	if e.struck {
		return n > seldom*turned
	}
	return rev.Crest > struckBy && n > 0 && n < everyTurn*turned
}

// typical returns the median of v, and the median of the distances from it, of a hundred samples. They are picked at random, the
// same each time: evenly spaced ones may all stand at the same place of a turn.
func (e *ear) typical(v []float64) (middle, usual float64) {
	d := e.sort[:0]
	pick := uint32(1)
	for range 101 {
		pick = 1664525*pick + 1013904223 // Knuth and Lewis (Press et al., Numerical Recipes, 2nd ed., 7.1; from memory)
		d = append(d, v[uint64(pick)*uint64(len(v))>>32])
	}
	e.sort = d
	middle = median(d)
	for i := range d {
		d[i] = math.Abs(d[i] - middle)
	}
	return middle, median(d)
}

// unstruck returns level i without what was struck.
func (e *ear) unstruck(i int) *level {
	for len(e.spared) < len(e.levels) {
		e.spared = append(e.spared, level{})
	}
	l, kept := &e.levels[i], &e.spared[i]
	if len(kept.t) > 0 {
		return kept
	}
	blur := float64(len(halfband)-1) * e.dt * float64(int(1)<<i-1) // of the filters
	next := 0
	for j, u := range l.t {
		for next < len(e.knocks) && (u > e.knocks[next].to+blur+ringsFor/2+e.dt || !e.knocks[next].short()) {
			next++
		}
		if next < len(e.knocks) && u >= e.knocks[next].from-blur-e.dt {
			continue
		}
		kept.add(u, &[3]float64{l.at(0, j), l.at(1, j), l.at(2, j)}, e.axes)
	}
	return kept
}

func (l *level) at(axis, i int) float64 {
	if i < len(l.x[axis]) {
		return l.x[axis][i]
	}
	return 0
}

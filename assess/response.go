package assess

import (
	"cmp"
	"math"
	"slices"
)

// MapPoint is the shake at one speed, measured or predicted, with its edges, mm/s rms: 95 % of what was
// measured, and of what is predicted for a lathe of two modes; too narrow for one that answers otherwise.
type MapPoint struct {
	Speed RPM     `json:"speed_rpm"`
	Shake float64 `json:"shake_mm_s"`
	Low   float64 `json:"low_mm_s"`
	High  float64 `json:"high_mm_s"`
	Seen  bool    `json:"seen"` // measured at this speed, not predicted
}

// MarshalJSON writes null for what is not known.
func (p MapPoint) MarshalJSON() ([]byte, error) {
	return jsonObject(field{"speed_rpm", p.Speed}, field{"shake_mm_s", known(p.Shake, 3)},
		field{"low_mm_s", known(p.Low, 3)}, field{"high_mm_s", known(p.High, 3)}, field{"seen", p.Seen})
}

// response is shake against speed for the blank as it is now.
type response struct {
	bins   map[int]bin
	now    float64 // s
	walked float64 // mm, last one known, see throw
	room   []cell  // for a fit on its way, so that no fit begins with an empty megabyte
	fit
}

// fit is the model as fitted last. It is replaced as a whole.
type fit struct {
	cells  []cell           // nil before the first
	fitted []observed       // what it was fitted to
	when   float64          // s
	edges  map[int]float64  // upper edges already taken from the cells, by ln n in 1/200
	points map[RPM]MapPoint // predictions, likewise, by speed
}

// bin is what was measured near one speed.
type bin struct {
	speed RPM
	shake float64 // mm/s rms, running mean
	se    float64 // mm/s rms, of one reading
	count float64 // readings in the mean, at most mostCount
	last  float64 // s
	doubt float64 // relative standard error that a change of the blank has added
}

// Constants of the map, all chosen. Cutting makes the shake of one speed wander for a
// second or two, beyond its standard error (too small: edges too narrow); misfit is what
// no model of two modes gets below; wood coming off is a random walk of ageing per
// √minute; distance widens the edges by a share of the logarithm of the ratio to the
// nearest speed seen.
const (
	binWidth   = 0.01 // of the speed
	mostCount  = 32
	wander     = 0.04
	misfit     = 0.02
	ageing     = 0.07
	distance   = 0.80
	oldest     = 1200.0 // s, after which a bin is forgotten
	mostBins   = 20
	refitEvery = 1.0  // s, unless the shake jumps
	refitAfter = 60.0 // s, where a reading only says more than it did
	another    = 1.2  // times a standard error that is none of the same
)

// add takes a settled reading.
func (m *response) add(r Reading) {
	if m.bins == nil {
		m.bins = map[int]bin{}
	}
	m.now = r.T
	k := int(math.Round(math.Log(float64(r.Speed)) / math.Log1p(binWidth)))
	b := m.bins[k]
	if r.T-b.last > 10 || b.doubt > 0 { // an old value says less than the first new one
		b.count, b.doubt = 0, 0
	}
	b.count = min(b.count+1, mostCount)
	b.speed += (r.Speed - b.speed) / RPM(b.count)
	b.shake += (r.Shake - b.shake) / b.count
	b.se, b.last = r.ShakeSE, r.T
	m.bins[k] = b
	m.forget()
}

// forget drops what is too old and all but the newest bins.
func (m *response) forget() {
	for k, b := range m.bins {
		if m.now-b.last > oldest {
			delete(m.bins, k)
		}
	}
	for len(m.bins) > mostBins {
		first := true
		var old int
		for k, b := range m.bins {
			if first || b.last < m.bins[old].last || b.last == m.bins[old].last && k < old {
				old, first = k, false
			}
		}
		delete(m.bins, old)
	}
}

// sigma is the standard error in mm/s of the mean of b as a measurement of the shake now.
// Eight readings, two seconds, count as one independent look at the cutting.
func (b bin) sigma(now float64) float64 {
	looks := 1 + b.count/8
	age := max(0, now-b.last) / 60
	return math.Hypot(b.se, b.shake*math.Sqrt(wander*wander/looks+misfit*misfit+ageing*ageing*age+b.doubt*b.doubt))
}

// seen lists what the bins say of now, by rising speed.
func (m *response) seen() []observed {
	out := make([]observed, 0, len(m.bins))
	for _, b := range m.bins {
		out = append(out, observed{b.speed, b.shake, b.sigma(m.now)})
	}
	slices.SortFunc(out, func(a, b observed) int { return cmp.Compare(a.speed, b.speed) })
	return out
}

// refit brings the cells up to date when a new speed was seen, the shake of one changed, or
// one says less than it did. It reports whether there is anything to predict from.
func (m *response) refit() bool {
	if len(m.bins) == 0 {
		return false
	}
	seen := m.seen()
	if m.cells == nil || !m.same(seen) {
		if m.room == nil {
			m.room = make([]cell, 0, mostCells)
		}
		m.fit = fit{posterior(seen, m.room), seen, m.now, map[int]float64{}, map[RPM]MapPoint{}}
	}
	return true
}

// same reports whether the last fit still stands.
func (m *response) same(seen []observed) bool {
	within, age := wander, m.now-m.when
	if age < refitEvery {
		within = 0.1
	}
	return slices.EqualFunc(seen, m.fitted, func(x, y observed) bool {
		less, more := x.sigma > another*y.sigma && age >= refitEvery, x.sigma < y.sigma/another && age >= refitAfter
		return near(x.speed, y.speed, binWidth/2) && near(RPM(x.shake), RPM(y.shake), within) && !less && !more
	})
}

// extra is by how much the edges at n widen with the distance from the nearest speed seen,
// as a standard error of the logarithm.
func (m *response) extra(n RPM) float64 {
	far := math.Inf(1)
	for _, o := range m.fitted {
		far = min(far, math.Abs(math.Log(float64(n/o.speed))))
	}
	return math.Hypot(wander, distance*far)
}

// predict gives the shake at each speed with its edges, see edge. There must be a fit.
func (m *response) predict(speeds []RPM) []MapPoint {
	out := make([]MapPoint, len(speeds))
	for i, n := range speeds {
		p, ok := m.points[n]
		if !ok {
			p = predict(m.cells, n, m.extra(n))
			m.points[n] = p
		}
		out[i] = p
	}
	return out
}

// edge is the upper edge of the shake at n, to the nearest half percent of n: 95 % of a lathe of two
// modes, the truth more often above it on others (DEVELOPERS.md). There must be a fit.
func (m *response) edge(n RPM) float64 {
	k := int(math.Round(math.Log(float64(n)) * 200))
	edge, ok := m.edges[k]
	if !ok {
		n = RPM(math.Exp(float64(k) / 200))
		edge = quantiles(m.cells, func(c cell) float64 { return c.gain(n) }, m.extra(n), 0.975)[0]
		m.edges[k] = edge
	}
	return edge
}

// flank is what the last two speeds seen say of a narrow resonance further up, even one
// that the fit does not know of.
type flank struct {
	shake float64 // at the speed seen last, mm/s rms
	slope float64 // of the shake over ln n, beyond what is explained: upper 95 % edge
	gap   float64 // between the two speeds, in ln n; 0: only one was seen
}

// flank looks at n and below. Where the shake still fell up to the speed below and falls no
// more, another direction has come out from under the first, as the larger of the two shows:
// how small it was below nobody knows, and the slope says nothing. Explained is the slope of v ∝ n³, a stiff headstock, or of
// the fit where that is less, above a resonance. There must be a fit.
func (m *response) flank(n RPM) flank {
	seen := m.seen()
	here := closest(seen, n)
	below := nextDown(seen, here.speed)
	if before := nextDown(seen, below.speed); below.speed == 0 || before.shake > below.shake && here.shake > turned*below.shake {
		return flank{shake: here.shake}
	}
	gap := math.Log(float64(here.speed / below.speed))
	explained := min(3*(here.shake+below.shake)/2, (m.mean(here.speed)-m.mean(below.speed))/gap)
	slope := (here.shake-below.shake)/gap - explained + 1.96*math.Hypot(here.sigma, below.sigma)/gap
	return flank{here.shake, max(0, slope), gap}
}

// mean is the mean of the shake at n over the posterior. There must be a fit.
func (m *response) mean(n RPM) float64 {
	var shake, sum float64
	for _, c := range m.cells {
		shake, sum = shake+c.weight*c.amp*c.gain(n), sum+c.weight
	}
	return shake / sum
}

// highest is the largest shake that a narrow resonance could make on the way up by d in
// ln n. A mode of share K at a distance δ adds K/δ to the shake and K/δ² to its slope,
// and K/ζ at its peak. The slope e is measured half a gap h below, so that the peak is at
// most
//
//	v·exp(3d) + e·(d + h/2)²/ζ
//
// (derived here from Thomson, eq. 3.2-4, for r near 1). The shake alone is a bound too: at
// most all of it is the mode's, so its peak is at most v·d/ζ. The lower one counts.
func (f flank) highest(d float64) float64 {
	alone := f.shake * d / narrowest
	if f.gap > 0 {
		alone = min(alone, f.slope*(d+f.gap/2)*(d+f.gap/2)/narrowest)
	}
	return f.shake*math.Exp(3*d) + alone
}

// narrowest is the least damping ratio that a lathe on its stand is believed to have
// (chosen; lower makes the steps of a raise smaller).
const narrowest = 0.015

// The speeds next below: not the neighbouring bin of the same speed, and not so far that the
// slope between says nothing of a narrow resonance (both chosen).
const (
	nextBelow = 1.009
	farBelow  = 1.2
)

// turned is the share of the shake at the speed below from which on it falls no more (chosen:
// at less it may still be the fall that goes on behind a resonance).
const turned = 0.95

// closest is what was seen at the speed closest to n; its speed is 0 if there is nothing.
func closest(seen []observed, n RPM) (here observed) {
	for _, o := range seen {
		if here.speed == 0 || math.Abs(float64(o.speed-n)) < math.Abs(float64(here.speed-n)) {
			here = o
		}
	}
	return here
}

// nextDown is what was seen at the next speed at least 1 % and at most 20 % below n; its speed
// is 0 if there is none. Seen rises with speed.
func nextDown(seen []observed, n RPM) (below observed) {
	for _, o := range seen {
		if o.speed <= n/nextBelow && o.speed >= n/farBelow {
			below = o
		}
	}
	return below
}

// throw is by how much the lathe moves far above its resonance, mm: X = m·e/M of all that
// moves, M (Thomson, eq. 3.2-4, for large r), its upper 95 % edge. It must be known to within
// a third; until it is again, the last one stands. 0 before the first.
func (m *response) throw() float64 {
	if m.cells == nil {
		return m.walked
	}
	if x := quantiles(m.cells, func(cell) float64 { return math.Sqrt2 }, misfit, 0.5, 0.975); x[1] <= 1.33*x[0] {
		m.walked = x[1]
	}
	return m.walked
}

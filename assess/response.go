package assess

import (
	"cmp"
	"math"
	"slices"
)

// MapPoint is the shake at one speed, measured or predicted, with its 95 % edges, mm/s rms.
type MapPoint struct {
	Speed RPM
	Shake float64
	Low   float64
	High  float64
	Seen  bool // measured at this speed, not predicted
}

// MarshalJSON writes null for what is not known.
func (p MapPoint) MarshalJSON() ([]byte, error) {
	return jsonObject(field{"speed_rpm", p.Speed}, field{"shake_mm_s", known(p.Shake, 3)},
		field{"low_mm_s", known(p.Low, 3)}, field{"high_mm_s", known(p.High, 3)}, field{"seen", p.Seen})
}

// response is shake against speed for the blank as it is now.
type response struct {
	bins map[int]bin
	now  float64 // s
}

// bin is what was measured near one speed.
type bin struct {
	speed RPM
	shake float64 // mm/s rms, running mean
	se    float64 // mm/s rms
	count float64
	last  float64 // s
}

// Constants of the map, all chosen. Wander is what the shake of one speed varies by beyond
// its standard error (too small: edges too narrow); wood coming off is a random walk of
// ageing per √minute; distance widens the edges by a share of the logarithm of the
// ratio to the nearest speed seen.
const (
	binWidth = 0.02 // of the speed
	wander   = 0.04
	ageing   = 0.10
	distance = 0.30
	oldest   = 1200.0 // s, after which a bin is forgotten
	mostBins = 24
)

// add takes a settled reading.
func (m *response) add(r Reading) {
	if m.bins == nil {
		m.bins = map[int]bin{}
	}
	m.now = r.T
	k := int(math.Round(math.Log(float64(r.Speed)) / math.Log1p(binWidth)))
	b := m.bins[k]
	if r.T-b.last > 10 { // an old value says less than the first new one
		b.count = 0
	}
	b.count = min(b.count+1, 8)
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

// seen lists what the bins say of now, by rising speed.
func (m *response) seen() []observed {
	out := make([]observed, 0, len(m.bins))
	for _, b := range m.bins {
		age := max(0, m.now-b.last) / 60
		out = append(out, observed{b.speed, b.shake, math.Hypot(b.se, b.shake*math.Hypot(wander, ageing*math.Sqrt(age)))})
	}
	slices.SortFunc(out, func(a, b observed) int { return cmp.Compare(a.speed, b.speed) })
	return out
}

// predict gives the shake at each speed with its 95 % edges, which widen with the distance
// from the nearest speed seen. There must be something seen.
func (m *response) predict(speeds []RPM) []MapPoint {
	seen := m.seen()
	cells := posterior(seen)
	out := make([]MapPoint, len(speeds))
	for i, n := range speeds {
		far := math.Inf(1)
		for _, o := range seen {
			far = min(far, math.Abs(math.Log(float64(n/o.speed))))
		}
		out[i] = predict(cells, n, math.Hypot(wander, distance*far))
	}
	return out
}

package assess

import (
	"cmp"
	"math"
	"math/cmplx"
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
	bins  map[int]bin
	cells []cell // the posterior, heaviest first; nil until fitted
	now   float64
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

// seen lists the bins by rising speed.
func (m *response) seen() []bin {
	out := make([]bin, 0, len(m.bins))
	for _, b := range m.bins {
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b bin) int { return cmp.Compare(a.speed, b.speed) })
	return out
}

// sigma is the standard error in mm/s of b as a measurement of the shake now.
func (m *response) sigma(b bin) float64 {
	age := max(0, m.now-b.last) / 60
	return math.Hypot(b.se, b.shake*math.Hypot(wander, ageing*math.Sqrt(age)))
}

// modes are the parameters of a headstock that yields in two directions at right angles.
type modes struct {
	f1, f2 float64 // Hz, natural frequencies
	kappa  float64 // compliance of the second relative to the first
	zeta   float64 // damping ratio of both
}

// cell is a part of the posterior: the modes at its middle and the amplitude that fits.
type cell struct {
	modes
	step     float64 // half its width in ln f
	zetaStep float64 // half its width in ln ζ
	weight   float64
	amp, sd  float64 // mm, motion far above resonance times √½, and its standard error
}

// gain is the shake in mm/s rms for an amplitude of 1: ω·a, where the directions move by
//
//	H = r²/(1 − r² + 2iζr), r = f/fₙ
//
// (rotating imbalance: Thomson, Theory of Vibration with Applications, 4th ed., eq. 3.2-4),
// a quarter turn apart, and a is the amplitude in the worst direction of p = (H₁, iH₂).
func (s modes) gain(n RPM) float64 {
	h1, h2 := unbalance(n, s.f1, s.zeta), complex(s.kappa, 0)*unbalance(n, s.f2, s.zeta)
	sq := func(h complex128) float64 { return real(h)*real(h) + imag(h)*imag(h) }
	return n.omega() * math.Sqrt((sq(h1)+sq(h2)+cmplx.Abs(h1*h1-h2*h2))/2)
}

func unbalance(n RPM, fn, zeta float64) complex128 {
	r := float64(n) / 60 / fn
	return complex(r*r, 0) / complex(1-r*r, 2*zeta*r)
}

// UnbalanceGain is M·X/(m·e) = r²/√((1−r²)² + (2ζr)²), the motion of a mass on a spring
// under a rotating imbalance, r the speed over the natural one and zeta the damping
// ratio (Thomson, Theory of Vibration with Applications, 4th ed., eq. 3.2-4). The map of
// shake against speed is made of it.
func UnbalanceGain(r, zeta float64) float64 {
	return cmplx.Abs(unbalance(RPM(60*r), 1, zeta))
}

// The prior, chosen: natural frequencies about 25 Hz, most within a factor of two, as
// lathes on their stands have; far above the speeds it is the power law of a stiff
// headstock, v ∝ n³.
const (
	priorFreq   = 25.0
	priorSpread = 0.7 // of ln f
	lowestFreq  = 5.0
	highestFreq = 120.0
	freqCells   = 20
)

// prior lists the coarse cells.
func prior() []cell {
	var out []cell
	ratio := math.Log(highestFreq/lowestFreq) / freqCells
	at := func(i int) float64 { return lowestFreq * math.Exp((float64(i)+0.5)*ratio) }
	logp := func(f float64) float64 { z := math.Log(f/priorFreq) / priorSpread; return -z * z / 2 }
	for i := range freqCells {
		for j := range freqCells {
			for _, kappa := range []float64{0.3, 1} {
				for _, zeta := range []float64{0.02, 0.04, 0.08} {
					s := modes{at(i), at(j), kappa, zeta}
					out = append(out, cell{modes: s, step: ratio / 2, zetaStep: math.Ln2 / 2, weight: logp(s.f1) + logp(s.f2)})
				}
			}
		}
	}
	return out
}

// fit finds the posterior: every coarse cell weighed, the heaviest split and weighed
// again, twice. It costs a few milliseconds and depends on nothing but the bins.
func (m *response) fit() {
	seen := m.seen()
	cells := prior()
	m.weigh(cells, seen)
	for range 2 {
		slices.SortFunc(cells, func(a, b cell) int { return cmp.Compare(b.weight, a.weight) })
		const split = 24
		fine := cells[split:]
		var parts []cell
		for _, c := range cells[:split] {
			parts = append(parts, c.split()...)
		}
		m.weigh(parts, seen)
		cells = append(parts, fine...)
	}
	m.cells = heaviest99(cells)
}

// split cuts a cell into 27: three in each frequency and three in damping.
func (c cell) split() []cell {
	out := make([]cell, 0, 27)
	for i := -1.0; i <= 1; i++ {
		for j := -1.0; j <= 1; j++ {
			for k := -1.0; k <= 1; k++ {
				p := c
				p.f1 *= math.Exp(i * c.step * 2 / 3)
				p.f2 *= math.Exp(j * c.step * 2 / 3)
				p.zeta *= math.Exp(k * c.zetaStep * 2 / 3)
				p.step, p.zetaStep = c.step/3, c.zetaStep/3
				out = append(out, p)
			}
		}
	}
	return out
}

// weigh sets amplitude and log weight of each cell. With the amplitude linear and its
// logarithm flat before the data, exp(−χ²/2)·sd/amp is left when it is integrated out.
func (m *response) weigh(cells []cell, seen []bin) {
	for i := range cells {
		c := &cells[i]
		var gg, gy, yy float64
		for _, b := range seen {
			s := m.sigma(b)
			g := c.gain(b.speed)
			gg += g * g / (s * s)
			gy += g * b.shake / (s * s)
			yy += b.shake * b.shake / (s * s)
		}
		c.amp, c.sd = gy/gg, 1/math.Sqrt(gg)
		lp := func(f float64) float64 { z := math.Log(f/priorFreq) / priorSpread; return -z * z / 2 }
		c.weight = lp(c.f1) + lp(c.f2) - (yy-gy*gy/gg)/2 + math.Log(c.sd/c.amp) + 2*math.Log(c.step) + math.Log(c.zetaStep)
	}
}

// heaviest99 turns log weights into weights and keeps those that hold 99.5 % of them, at
// most 300, heaviest first.
func heaviest99(cells []cell) []cell {
	slices.SortFunc(cells, func(a, b cell) int { return cmp.Compare(b.weight, a.weight) })
	top, sum := cells[0].weight, 0.0
	for i := range cells {
		cells[i].weight = math.Exp(cells[i].weight - top)
		sum += cells[i].weight
	}
	kept, have := 0, 0.0
	for kept < min(len(cells), 300) && have < 0.995*sum {
		have += cells[kept].weight
		kept++
	}
	return slices.Clone(cells[:kept])
}

// predict is the shake at n with its 95 % edges: quantiles of the mixture over the cells,
// each widened by wander and by the distance from the nearest speed seen. It needs a fit.
func (m *response) predict(n RPM, seen []bin) MapPoint {
	far := math.Inf(1)
	for _, b := range seen {
		far = min(far, math.Abs(math.Log(float64(n/b.speed))))
	}
	extra := math.Hypot(wander, distance*far)
	type node struct{ v, w float64 }
	nodes := make([]node, 0, 3*len(m.cells))
	for _, c := range m.cells {
		g := c.gain(n)
		mean := c.amp * g
		spread := math.Exp(2 * math.Hypot(c.sd/c.amp, extra))
		nodes = append(nodes, node{mean / spread, c.weight / 6}, node{mean, c.weight * 2 / 3}, node{mean * spread, c.weight / 6})
	}
	slices.SortFunc(nodes, func(a, b node) int { return cmp.Compare(a.v, b.v) })
	var sum float64
	for _, d := range nodes {
		sum += d.w
	}
	quantile := func(q float64) float64 {
		var have float64
		for _, d := range nodes {
			if have += d.w; have >= q*sum {
				return d.v
			}
		}
		return nodes[len(nodes)-1].v
	}
	return MapPoint{n, quantile(0.5), quantile(0.025), quantile(0.975), false}
}

package assess

import (
	"math"
	"slices"
)

// unbalance is M·X/(m·e) with its phase, r²/(1 − r² + 2iζr), the motion of a mass on a spring
// under a rotating imbalance, r the speed over the natural one and zeta the damping ratio
// (Thomson, Theory of Vibration with Applications, 4th ed., eq. 3.2-4). The map of shake
// against speed is made of it. Infinite at r = 1 without damping.
func unbalance(r, zeta float64) (re, im float64) {
	c, d := 1-r*r, 2*zeta*r
	q := r * r / (c*c + d*d)
	return q * c, -q * d
}

// modes are a headstock that yields in two directions at right angles.
type modes struct {
	f1, f2 float64 // Hz, natural frequencies
	kappa  float64 // compliance of the second relative to the first
	zeta   float64 // damping ratio of both
}

// gain is the shake in mm/s rms at n for an amplitude of 1 mm, ω·a: the directions move
// by H₁ and κ·H₂ of unbalance, a quarter turn apart, and a = √((|p|² + |p·p|)/2) is the
// amplitude in the worst direction of p = (H₁, iκH₂).
func (s modes) gain(n RPM) float64 {
	f := n.Hz()
	a, b := unbalance(f/s.f1, s.zeta)
	c, d := unbalance(f/s.f2, s.zeta)
	c, d = s.kappa*c, s.kappa*d
	minus, plus := (a-c)*(a-c)+(b-d)*(b-d), (a+c)*(a+c)+(b+d)*(b+d) // |H₁² − H₂²|² is their product
	return n.omega() * math.Sqrt((a*a+b*b+c*c+d*d+math.Sqrt(minus*plus))/2)
}

// cell is a part of the space of modes: its middle, its half widths, how well it explains
// what was seen, and the amplitude that does so best.
type cell struct {
	modes
	freqStep            float64 // in ln f
	zetaStep, kappaStep float64 // in ln ζ and ln κ
	fit                 float64 // logarithm of prior times likelihood at the middle
	mass                float64 // logarithm of the posterior in the cell, up to a constant
	chi2                float64 // misfit to what was seen
	weight              float64 // of a point drawn
	amp, rel            float64 // mm, and its standard error over it
}

// The prior, chosen: natural frequencies about 25 Hz, most within a factor of two, as
// lathes on their stands have. Modes far above the speeds seen make the power law of a
// stiff headstock, v ∝ n³, so few readings leave the edges wide from there to a resonance.
const (
	priorFreq   = 25.0
	priorSpread = 0.7 // of ln f
	lowestFreq  = 5.0
	highestFreq = 120.0
	freqCells   = 20
	refined     = 24 // cells split in each round
	rounds      = 8
	draws       = 500  // of the posterior, that predictions use
	mostCells   = 8192 // 7584 in a fit where no two at the edge weigh the same
)

// prior appends the cells of the prior to out.
func prior(out []cell) []cell {
	ratio := math.Log(highestFreq/lowestFreq) / freqCells
	at := func(i int) float64 { return lowestFreq * math.Exp((float64(i)+0.5)*ratio) }
	for i := range freqCells {
		for j := range freqCells {
			for _, kappa := range []float64{0.2, 0.6} {
				for _, zeta := range []float64{0.02, 0.04, 0.08} {
					out = append(out, cell{modes: modes{at(i), at(j), kappa, zeta},
						freqStep: ratio / 2, zetaStep: math.Ln2 / 2, kappaStep: math.Log(3) / 2})
				}
			}
		}
	}
	return out
}

// posterior draws from the modes that explain what was seen. When not even the best of
// them does to within the standard errors, χ² per degree of freedom above 1, the lathe is
// not as simple as that and the standard errors count as larger by its root (Birge's
// ratio, Phys. Rev. 40, 207, 1932). Room, which is written over, is for the cells on the way.
func posterior(seen []observed, room []cell) []cell {
	cells := explain(seen, room)
	best := math.Inf(1)
	for _, c := range cells {
		best = min(best, c.chi2)
	}
	if birge := math.Sqrt(best / max(1, float64(len(seen)-freedoms))); birge > 1 {
		seen = slices.Clone(seen)
		for i := range seen {
			seen[i].sigma *= birge
		}
		cells = explain(seen, room)
	}
	return cells
}

// freedoms of the model: two frequencies, damping, compliance, amplitude.
const freedoms = 5

// explain draws from the modes as the readings leave them: every cell of the prior is
// weighed, the heaviest are split and weighed again, a few times, and points are drawn
// evenly from all. It depends on nothing else: the same readings give the same map.
func explain(seen []observed, room []cell) []cell {
	cells := prior(room[:0])
	weigh(cells, seen, blurred)
	for round := range rounds {
		from := len(cells)
		edge := refinedFrom(cells)
		for i := range from {
			if c := &cells[i]; c.mass >= edge {
				cells = c.split(cells, round%2 == 1)
				cells[i].freqStep = 0 // its parts stand for it
				cells[i].mass = math.Inf(-1)
			}
		}
		weigh(cells[from:], seen, blurred)
	}
	weigh(cells, seen, 0)
	return draw(cells, seen)
}

// refinedFrom is the mass that the few heaviest cells reach.
func refinedFrom(cells []cell) float64 {
	var heaviest [refined]float64 // rising
	for i := range heaviest {
		heaviest[i] = math.Inf(-1)
	}
	for i := range cells {
		if mass := cells[i].mass; mass > heaviest[0] {
			at, _ := slices.BinarySearch(heaviest[:], mass)
			copy(heaviest[:], heaviest[1:at])
			heaviest[at-1] = mass
		}
	}
	return heaviest[0]
}

// draw takes points from the cells in proportion to their mass, each at its own place in
// the cell, and weighs each for the difference between there and the middle (importance
// sampling; the places are a Kronecker sequence, even without chance).
func draw(cells []cell, seen []observed) []cell {
	top := math.Inf(-1)
	for _, c := range cells {
		top = max(top, c.mass)
	}
	sum := 0.0
	for i := range cells {
		cells[i].weight = math.Exp(cells[i].mass - top)
		sum += cells[i].weight
	}
	out := make([]cell, 0, draws)
	k, have := 0, cells[0].weight
	place := func(i int, step float64) float64 { return 2*math.Mod(float64(i)*step, 1) - 1 }
	for i := range draws {
		for k < len(cells)-1 && have < (float64(i)+0.5)/draws*sum {
			k++
			have += cells[k].weight
		}
		c := cells[k]
		c.f1 *= math.Exp(c.freqStep * place(i, 0.8566748838)) // powers of 1/1.1673039783, the root of x⁵ = x + 1
		c.f2 *= math.Exp(c.freqStep * place(i, 0.7338918566))
		c.zeta *= math.Exp(c.zetaStep * place(i, 0.6287067210))
		c.kappa *= math.Exp(c.kappaStep * place(i, 0.5385972573))
		c.weight = c.fit
		out = append(out, c)
	}
	weigh(out, seen, 0)
	for i := range out {
		out[i].weight = math.Exp(min(0.7, out[i].fit-out[i].weight))
	}
	return out
}

// split appends a cell cut into 27 to out: three in each frequency, and three in damping or
// in compliance.
func (c cell) split(out []cell, damping bool) []cell {
	for i := -1.0; i <= 1; i++ {
		for j := -1.0; j <= 1; j++ {
			for k := -1.0; k <= 1; k++ {
				p := c
				p.f1 *= math.Exp(i * c.freqStep * 2 / 3)
				p.f2 *= math.Exp(j * c.freqStep * 2 / 3)
				p.freqStep = c.freqStep / 3
				if damping {
					p.zeta *= math.Exp(k * c.zetaStep * 2 / 3)
					p.zetaStep = c.zetaStep / 3
				} else {
					p.kappa *= math.Exp(k * c.kappaStep * 2 / 3)
					p.kappaStep = c.kappaStep / 3
				}
				out = append(out, p)
			}
		}
	}
	return out
}

// weigh sets amplitude, fit and mass of each cell. The amplitude A is linear in the model;
// with ln A flat beforehand, exp(−χ²/2)·σ(A)/A is left of the likelihood when it is
// integrated out. While cells are still wide, blur makes the standard errors larger by
// what the shake changes across the cell, so that no good corner is passed over.
func weigh(cells []cell, seen []observed, blur float64) {
	logPrior := func(f float64) float64 { z := math.Log(f/priorFreq) / priorSpread; return -z * z / 2 }
	for i := range cells {
		c := &cells[i]
		wide := blur * c.freqStep
		var gg, gy, yy float64
		for _, o := range seen {
			w := 1 / (o.sigma*o.sigma + wide*wide*o.shake*o.shake)
			g := c.gain(o.speed)
			gg, gy, yy = gg+w*g*g, gy+w*g*o.shake, yy+w*o.shake*o.shake
		}
		c.amp, c.rel = gy/gg, math.Sqrt(gg)/gy
		c.chi2 = max(0, yy-gy*gy/gg)
		c.fit = logPrior(c.f1) + logPrior(c.f2) - c.chi2/2 + math.Log(c.rel)
		c.mass = c.fit + math.Log(c.freqStep*c.freqStep*c.zetaStep*c.kappaStep)
	}
}

// blurred is the change of ln(shake) over that of ln(f) that counts across a cell, as on
// the flank of a resonance (chosen; less passes good corners over, more needs more rounds).
const blurred = 4

// observed is the shake at a speed with its standard error, mm/s rms.
type observed struct {
	speed        RPM
	shake, sigma float64
}

// predict is the shake at n with its 95 % edges. extra is as for quantiles.
func predict(cells []cell, n RPM, extra float64) MapPoint {
	q := quantiles(cells, func(c cell) float64 { return c.gain(n) }, extra, 0.5, 0.025, 0.975)
	return MapPoint{n, q[0], q[1], q[2], false}
}

// quantiles of amplitude × gain over the cells, in which each is widened by its own
// standard error and by extra, a standard error of the logarithm. Right to 1/200 of the
// range in logarithms.
func quantiles(cells []cell, gain func(cell) float64, extra float64, at ...float64) []float64 {
	const parts = 200
	type span struct{ middle, reach float64 }
	logs := make([]span, 0, draws)
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range cells {
		l := span{math.Log(c.amp * gain(c)), 2 * math.Sqrt(c.rel*c.rel+extra*extra)}
		logs, low, high = append(logs, l), min(low, l.middle-l.reach), max(high, l.middle+l.reach)
	}
	var hist [parts + 1]float64
	scale := parts / (high - low)
	put := func(v, w float64) { hist[int((v-low)*scale+0.5)] += w }
	var sum float64
	for i, c := range cells { // three points stand for the normal curve
		l := logs[i]
		put(l.middle-l.reach, c.weight/6)
		put(l.middle, c.weight*2/3)
		put(l.middle+l.reach, c.weight/6)
		sum += c.weight
	}
	out := make([]float64, len(at))
	for i, q := range at {
		k, have := 0, hist[0]
		for ; k < parts && have < q*sum; k++ {
			have += hist[k+1]
		}
		out[i] = math.Exp(low + (high-low)*float64(k)/parts)
	}
	return out
}

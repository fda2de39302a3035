package assess

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"
)

// try is one run, brought to the common speed.
type try struct {
	w         [5]complex128 // g·mm, at its place and off it by slips
	shake, se float64       // mm/s
}

// model is the likelihood of an imbalance.
type model struct {
	tries []try
	place float64 // rad, standard error of an angle; see slips
	unit  float64 // g·mm, the largest trial
}

// point is one imbalance, judged by the runs.
type point struct {
	angle, size float64 // rad; ln of the imbalance over the unit
	u           complex128
	h, rel      float64 // mm/s per g·mm that explains the runs best; its relative standard error
	chi2        float64
	fit         float64 // logarithm of the likelihood
	weight      float64
}

// found is one mode of the likelihood: a grid over all of it that matters, and its mean, the
// imbalance that leaves least on the average when it is taken away.
type found struct {
	best   point
	points []point
	mass   float64 // logarithm of its probability, up to a constant
	share  float64 // its probability beside the others, 0 to 1; of all together 1
}

// The range of ln(imbalance/trial) that is searched: 1/50 to 50 (chosen; beyond it the
// trial is of no use whatever the readings).
var sizeRange = math.Log(50)

// slips are the nodes and weights of Gauss and Hermite's rule for a normal error, five
// points (Abramowitz and Stegun, table 25.10, for the standard normal).
var slips = [5][2]float64{{0, 8.0 / 15}, {1.3556262, 0.2220759}, {-1.3556262, 0.2220759}, {2.8569700, 0.0112574}, {-2.8569700, 0.0112574}}

// expect is what each run measures per mm/s of h: mean and variance of |u + w·exp(iα)| with
// α as far off its place as masses are. Where the mass all but balances the blank the mean is
// not the value at the mean, and no straight line will do.
func (m model) expect(u complex128, mean, variance []float64) {
	for k, t := range m.tries {
		var sum, squares float64
		for j, w := range t.w {
			z := u + w
			g2 := real(z)*real(z) + imag(z)*imag(z)
			sum, squares = sum+slips[j][1]*math.Sqrt(g2), squares+slips[j][1]*g2
		}
		mean[k], variance[k] = sum, max(0, squares-sum*sum)
	}
}

// at judges the imbalance of the given angle and size by the likelihood of normal errors;
// h is linear in the model and taken at its best. blur is a further relative error, for a
// coarse look.
func (m model) at(angle, size, blur float64) point {
	var room [3][16]float64
	n := len(m.tries)
	mean, slip, v := room[0][:0], room[1][:0], room[2][:0]
	for range n {
		mean, slip, v = append(mean, 0), append(slip, 0), append(v, 0)
	}
	p := point{angle: angle, size: size, u: cmplx.Rect(m.unit*math.Exp(size), angle)}
	m.expect(p.u, mean, slip)
	for range 3 { // the errors depend on h
		for k, t := range m.tries {
			v[k] = t.se*t.se + p.h*p.h*slip[k] + blur*blur*t.shake*t.shake
		}
		p = m.against(p, mean, v)
	}
	return p
}

// against fits the h of p to the runs, which expect mean·h with variances v.
func (m model) against(p point, mean, v []float64) point {
	var gg, gy, yy float64
	logs := 1.0
	for k, t := range m.tries {
		g := mean[k]
		gg, gy, yy, logs = gg+g*g/v[k], gy+g*t.shake/v[k], yy+t.shake*t.shake/v[k], logs*v[k]/(m.tries[0].shake*m.tries[0].shake)
	}
	p.h, p.rel = gy/gg, math.Sqrt(gg)/gy
	p.chi2 = max(0, yy-gy*gy/gg)
	p.fit = -(p.chi2 + math.Log(logs)) / 2
	return p
}

// answers finds every mode of the likelihood, the most probable first.
func (m model) answers() []found {
	var out []found
	for _, p := range m.peaks() {
		f, higher := m.around(m.climb(p))
		for higher != nil {
			f, higher = m.around(m.climb(*higher))
		}
		if !slices.ContainsFunc(out, func(g found) bool { return g.holds(f.best) }) {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b found) int { return cmp.Compare(b.mass, a.mass) })
	sum := 0.0
	for _, f := range out {
		sum += math.Exp(f.mass - out[0].mass)
	}
	for i, f := range out {
		out[i].share = math.Exp(f.mass-out[0].mass) / sum
	}
	return slices.DeleteFunc(out, func(f found) bool { return f.share < rareAnswer })
}

// peaks are the local maxima on a coarse grid, highest first.
func (m model) peaks() []point {
	const turns, sizes = 72, 40
	step := 2 * sizeRange / sizes
	var grid [turns][sizes + 1]point
	for i := range grid {
		for j := range grid[i] {
			grid[i][j] = m.at(2*math.Pi*float64(i)/turns, float64(j)*step-sizeRange, step/2)
		}
	}
	var out []point
	for i := range grid {
		for j, p := range grid[i] {
			top := true
			for _, n := range [8][2]int{{1, 0}, {turns - 1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {turns - 1, 1}, {turns - 1, -1}} {
				if k := j + n[1]; k >= 0 && k <= sizes && grid[(i+n[0])%turns][k].fit > p.fit {
					top = false
				}
			}
			if top {
				out = append(out, p)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b point) int { return cmp.Compare(b.fit, a.fit) })
	return out[:min(len(out), 6)]
}

// climb goes from p to the top of the likelihood: steps along both directions and across,
// halved when none goes up (pattern search: Hooke and Jeeves, J. ACM 8, 1961).
func (m model) climb(p point) point {
	p = m.at(p.angle, p.size, 0)
	for step := 0.05; step > 1e-6; {
		next := p
		for _, d := range [8][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			size := min(max(p.size+step*d[1], -sizeRange), sizeRange)
			if q := m.at(p.angle+step*d[0], size, 0); q.fit > next.fit {
				next = q
			}
		}
		if next.fit > p.fit {
			p = next
			continue
		}
		step /= 2
	}
	return p
}

// depth is how far below its peak the likelihood still matters: exp(−8) (chosen).
const depth = 8

// around lays a grid over the mode whose peak is p: a box that grows until the likelihood
// has died away at its edges. Where they come upon a higher point, that is returned and p
// was no mode of its own.
func (m model) around(p point) (f found, higher *point) {
	lowA, highA, lowS, highS := 1e-5, 1e-5, 1e-5, 1e-5 // half widths
	const parts = 24
	alive := func(a0, a1, s0, s1 float64) bool {
		for i := range parts + 1 {
			f := float64(i) / parts
			q := m.at(p.angle+a0+f*(a1-a0), p.size+s0+f*(s1-s0), 0)
			if q.fit > p.fit+0.01 {
				higher = &q
			}
			if q.fit > p.fit-depth {
				return true
			}
		}
		return false
	}
	for grown := true; grown && higher == nil; {
		grown = false
		grow := func(edge *float64, limit float64, a0, a1, s0, s1 float64) {
			if *edge < limit && alive(a0, a1, s0, s1) {
				*edge, grown = min(1.5**edge, limit), true
			}
		}
		grow(&lowA, math.Pi, -lowA, -lowA, -lowS, highS)
		grow(&highA, math.Pi, highA, highA, -lowS, highS)
		grow(&lowS, max(0, p.size+sizeRange), -lowA, highA, -lowS, -lowS)
		grow(&highS, max(0, sizeRange-p.size), -lowA, highA, highS, highS)
	}
	if higher != nil {
		return found{}, higher
	}
	return m.grid(p, [2]float64{-lowA, highA}, [2]float64{-lowS, highS}), nil
}

// boxParts is into how many parts a box is cut each way.
const boxParts = 48

// grid samples a box about p, each point with its probability.
func (m model) grid(p point, a, s [2]float64) found {
	var f found
	sum := 0.0
	for i := range boxParts {
		for j := range boxParts {
			x, y := (float64(i)+0.5)/boxParts, (float64(j)+0.5)/boxParts
			q := m.at(p.angle+a[0]+x*(a[1]-a[0]), p.size+s[0]+y*(s[1]-s[0]), 0)
			// h integrated out, with ln h flat beforehand; 1/u flat, see centre.
			q.weight = math.Exp(q.fit-p.fit-2*q.size) * q.rel
			sum += q.weight
			f.points = append(f.points, q)
		}
	}
	f.mass = p.fit + math.Log(sum*(a[1]-a[0])*(s[1]-s[0]))
	f.best = m.centre(f.points)
	return f
}

// all is every mode together.
func (m model) all(modes []found) found {
	out := found{share: 1}
	for _, f := range modes {
		sum := 0.0
		for _, p := range f.points {
			sum += p.weight
		}
		for _, p := range f.points {
			p.weight *= f.share / sum
			out.points = append(out.points, p)
		}
	}
	out.best = m.centre(out.points)
	return out
}

// centre is the mean of the points, taken of 1/u: that is what the squares of the shakes are
// linear in (see Circles), so the mean agrees with the closed form where the errors are
// small, and wanders least where they are not. Where they lie all round the mean means
// nothing, and its size is kept to theirs.
func (m model) centre(points []point) point {
	var x complex128
	sum, low, high := 0.0, math.Inf(1), math.Inf(-1)
	for _, p := range points {
		x, sum = x+complex(p.weight, 0)/cmplx.Conj(p.u), sum+p.weight
		low, high = min(low, p.size), max(high, p.size)
	}
	u := complex(sum, 0) / cmplx.Conj(x)
	return m.at(cmplx.Phase(u), min(max(math.Log(cmplx.Abs(u)/m.unit), low), high), 0)
}

// holds reports whether p is within what f already covers: the same mode.
func (f found) holds(p point) bool {
	first, last := f.points[0], f.points[len(f.points)-1]
	angle, size := (first.angle+last.angle)/2, (first.size+last.size)/2
	const whole = 1 + 1.0/(boxParts-1) // to the ends of the box
	return math.Abs(math.Remainder(p.angle-angle, 2*math.Pi)) <= whole*(last.angle-first.angle)/2 && math.Abs(p.size-size) <= whole*(last.size-first.size)/2
}

// answer is f in shop words.
func (f found) answer() Answer {
	turn := f.quantiles(func(p point) float64 { return math.Remainder(p.angle-f.best.angle, 2*math.Pi) }, 0.025, 0.975)
	size := f.quantiles(func(p point) float64 { return cmplx.Abs(p.u) }, 0.025, 0.975)
	return Answer{Heavy: degrees(f.best.angle), Within: min(180, max(-turn[0], turn[1])*180/math.Pi),
		Imbalance: cmplx.Abs(f.best.u), Edges: [2]float64{size[0], size[1]}, Share: f.share}
}

// quantiles of a value over the points.
func (f found) quantiles(value func(point) float64, at ...float64) []float64 {
	type weighed struct{ v, w float64 }
	all := make([]weighed, len(f.points))
	sum := 0.0
	for i, p := range f.points {
		all[i] = weighed{value(p), p.weight}
		sum += p.weight
	}
	slices.SortFunc(all, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
	out := make([]float64, len(at))
	for i, q := range at {
		have := 0.0
		for _, a := range all {
			out[i] = a.v
			if have += a.w; have >= q*sum {
				break
			}
		}
	}
	return out
}

// birge is by how much the errors must grow for the runs to agree with the best answer,
// √(χ²/freedom) where that is more than chance allows in one of a hundred, else 1 (Birge,
// Phys. Rev. 40, 207, 1932).
func (m model) birge(modes []found) float64 {
	least := math.Inf(1)
	for _, f := range modes {
		for _, p := range f.points {
			least = min(least, p.chi2)
		}
	}
	free := float64(len(m.tries) - 3)
	if free < 1 || least <= rareChi2(free) {
		return 1
	}
	return math.Sqrt(least / free)
}

// rareChi2 is the 99 % point of χ² (Wilson and Hilferty, PNAS 17, 684, 1931; 4 % low at one
// degree of freedom).
func rareChi2(free float64) float64 {
	c := 2 / (9 * free)
	x := 1 - c + 2.326*math.Sqrt(c)
	return free * x * x * x
}

// residual is the root mean square of the runs' distance from p, mm/s.
func (m model) residual(p point) float64 {
	sum := 0.0
	for _, t := range m.tries {
		d := t.shake - p.h*cmplx.Abs(p.u+t.w[0])
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(m.tries)))
}

package assess

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"
)

// try is one run, brought to the common speed.
type try struct {
	w         complex128 // g·mm
	shake, se float64    // mm/s
}

// model is the likelihood of an imbalance.
type model struct {
	tries []try
	place float64 // rad, standard error of an angle
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

// found is one mode of the likelihood: its peak and a grid over all of it that matters.
type found struct {
	best   point
	points []point
	mass   float64 // logarithm of its probability, up to a constant
}

// The range of ln(imbalance/trial) that is searched: 1/50 to 50 (chosen; beyond it the
// trial is of no use whatever the readings).
var sizeRange = math.Log(50)

// at judges the imbalance of the given angle and size. blur is a further relative error,
// for a coarse look.
func (m model) at(angle, size, blur float64) point {
	p := point{angle: angle, size: size, u: cmplx.Rect(m.unit*math.Exp(size), angle)}
	for range 3 { // the errors depend on h
		p = m.against(p, m.errors(p, blur))
	}
	return p
}

// errors are the variances of the runs as p has them: their own, and what a mass out of
// its place changes, (w·∂(h·|u + w·exp(iα)|)/∂α)².
func (m model) errors(p point, blur float64) []float64 {
	v := make([]float64, len(m.tries))
	for k, t := range m.tries {
		z := p.u + t.w
		slip := 0.0
		if g := cmplx.Abs(z); g > 0 {
			slip = p.h * m.place * imag(cmplx.Conj(z)*t.w) / g
		}
		v[k] = t.se*t.se + slip*slip + blur*blur*t.shake*t.shake
	}
	return v
}

// against fits p to the runs with variances v: h is linear in the model and taken at its
// best.
func (m model) against(p point, v []float64) point {
	var gg, gy, yy, logs float64
	for k, t := range m.tries {
		g := cmplx.Abs(p.u + t.w)
		gg, gy, yy, logs = gg+g*g/v[k], gy+g*t.shake/v[k], yy+t.shake*t.shake/v[k], logs+math.Log(v[k])/2
	}
	p.h, p.rel = gy/gg, math.Sqrt(gg)/gy
	p.chi2 = max(0, yy-gy*gy/gg)
	p.fit = -p.chi2/2 - logs
	return p
}

// answers finds every mode of the likelihood, the most probable first.
func (m model) answers() []found {
	var out []found
	for _, p := range m.peaks() {
		p = m.climb(p)
		if !slices.ContainsFunc(out, func(f found) bool { return f.holds(p) }) {
			out = append(out, m.around(p))
		}
	}
	slices.SortFunc(out, func(a, b found) int { return cmp.Compare(b.mass, a.mass) })
	sum := 0.0
	for i := range out {
		sum += math.Exp(out[i].mass - out[0].mass)
	}
	for i := range out {
		out[i].mass = math.Exp(out[i].mass-out[0].mass) / sum
	}
	return slices.DeleteFunc(out, func(f found) bool { return f.mass < rareAnswer })
}

// peaks are the local maxima on a coarse grid, highest first.
func (m model) peaks() []point {
	const turns, sizes = 120, 80
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

// climb goes from p to the top of the likelihood, and from there to the least squares with
// the errors as they are there (reweighted until it stands still; the likelihood itself
// leans to where the errors are small).
func (m model) climb(p point) point {
	p = m.top(p, func(angle, size float64) point { return m.at(angle, size, 0) })
	for range 4 {
		v := m.errors(p, 0)
		p = m.top(p, func(angle, size float64) point {
			return m.against(point{angle: angle, size: size, u: cmplx.Rect(m.unit*math.Exp(size), angle)}, v)
		})
	}
	return m.at(p.angle, p.size, 0)
}

// top is the highest point near p: steps along both directions and across, halved when none
// goes up (pattern search: Hooke and Jeeves, J. ACM 8, 1961).
func (m model) top(p point, at func(angle, size float64) point) point {
	p = at(p.angle, p.size)
	for step := 0.05; step > 1e-8; {
		next := p
		for _, d := range [8][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			size := min(max(p.size+step*d[1], -sizeRange), sizeRange)
			if q := at(p.angle+step*d[0], size); q.fit > next.fit {
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
// has died away at its edges.
func (m model) around(p point) found {
	lowA, highA, lowS, highS := 1e-5, 1e-5, 1e-5, 1e-5 // half widths
	const parts = 24
	alive := func(a0, a1, s0, s1 float64) bool {
		for i := range parts + 1 {
			f := float64(i) / parts
			if m.at(p.angle+a0+f*(a1-a0), p.size+s0+f*(s1-s0), 0).fit > p.fit-depth {
				return true
			}
		}
		return false
	}
	for grown := true; grown; {
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
	return m.grid(p, [2]float64{-lowA, highA}, [2]float64{-lowS, highS})
}

// grid samples a box about p, each point with its probability.
func (m model) grid(p point, a, s [2]float64) found {
	const parts = 48
	f := found{best: p}
	sum := 0.0
	for i := range parts {
		for j := range parts {
			x, y := (float64(i)+0.5)/parts, (float64(j)+0.5)/parts
			q := m.at(p.angle+a[0]+x*(a[1]-a[0]), p.size+s[0]+y*(s[1]-s[0]), 0)
			q.weight = math.Exp(q.fit-p.fit) * q.rel // h integrated out, with ln h flat beforehand
			sum += q.weight
			f.points = append(f.points, q)
		}
	}
	f.mass = p.fit + math.Log(sum*(a[1]-a[0])*(s[1]-s[0]))
	return f
}

// holds reports whether p is within what f already covers: the same mode.
func (f found) holds(p point) bool {
	first, last := f.points[0], f.points[len(f.points)-1]
	off := math.Remainder(p.angle-f.best.angle, 2*math.Pi) + f.best.angle
	return off >= first.angle && off <= last.angle && p.size >= first.size && p.size <= last.size
}

// answer is f in shop words.
func (f found) answer() Answer {
	turn := f.quantiles(func(p point) float64 { return p.angle - f.best.angle }, 0.025, 0.975)
	size := f.quantiles(func(p point) float64 { return cmplx.Abs(p.u) }, 0.025, 0.975)
	return Answer{Heavy: degrees(f.best.angle), Within: min(180, max(-turn[0], turn[1])*180/math.Pi),
		Imbalance: cmplx.Abs(f.best.u), Edges: [2]float64{size[0], size[1]}, Share: f.mass}
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
func (m model) birge(p point) float64 {
	free := float64(len(m.tries) - 3)
	if free < 1 || p.chi2 <= rareChi2(free) {
		return 1
	}
	return math.Sqrt(p.chi2 / free)
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
		d := t.shake - p.h*cmplx.Abs(p.u+t.w)
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(m.tries)))
}

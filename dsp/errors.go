package dsp

import (
	"math"
	"math/cmplx"
	"slices"

	"github.com/viterin/vek"
	"gonum.org/v1/gonum/floats"
)

// misfits is how many standard errors more noise near the line than further out is no accident. Chosen.
const misfits = 2.0

// noise measures what the fit left over beside the line: near it (within 2.5/span) and
// further out (3 to 7/span). Noise that has colour, or a line that is not quite steady,
// shows as near above far, and then near counts.
func (s *fit) noise() {
	s.survey()
	var near, far [3]float64
	var nears, fars float64
	for j := -7; j <= 7; j++ {
		if g := s.f + float64(j)/s.span; j == 0 || g < 1.5/s.span || s.taken(g) {
			continue
		}
		if j >= -2 && j <= 2 {
			s.beside(j, &near)
			nears++
		} else {
			s.beside(j, &far)
			fars++
		}
	}
	n := float64(len(s.tau))
	excess, q := 0.0, max(fars, 3)
	for a := range s.x {
		white := 2 * vek.Dot(s.residual[a], s.residual[a]) / n * s.span / n
		near[a] = mean(near[a], s.nearOwn(nears), white)
		out := (far[a] + (q-fars)*white) / q // where lines leave few bins all that is left over stands for the others
		far[a] = mean(far[a], fars, white)
		if out > 0 {
			excess += near[a] / out / float64(len(s.x))
		}
	}
	// The ratio of the means of p and q exponential variables is F distributed with 2p and 2q degrees of freedom. It has a variance from
	// three q on (Abramowitz and Stegun, 26.6.3; from memory).
	p := max(nears, 1)
	usual := q / (q - 1)
	spread := usual * math.Sqrt((p+q-1)/(p*(q-2))/float64(len(s.x)))
	s.excess, s.misfit = excess, (excess-usual)/spread
	for a := range s.x {
		s.density[a] = (near[a]*nears + far[a]*fars) / max(nears+fars, 1)
		if nears+fars == 0 {
			s.density[a] = near[a]
		}
		if s.misfit > misfits {
			s.density[a] = max(near[a], s.density[a])
		}
	}
}

// beside adds to sum the one-sided density of each residual j/span from the line,
// 2|Σ r·e|²·span/n², (m/s²)²/Hz.
func (s *fit) beside(j int, sum *[3]float64) {
	n := float64(len(s.tau))
	left := &s.above[max(j, -j)-1]
	if j < 0 {
		left = &s.below[-j-1]
	}
	for a := range s.x {
		sum[a] += 2 * power(left[a]) * s.span / (n * n)
	}
}

// survey fills above and below with Σ r·exp(−iφ∓2πi·j·τ/span) of each residual r, m/s².
func (s *fit) survey() {
	n := len(s.tau)
	s.cos, s.sin = grow(s.cos, n), grow(s.sin, n)
	for a := range s.x {
		re, im := grow(s.turned[a][0], n), grow(s.turned[a][1], n)
		s.turned[a] = [2][]float64{floats.MulTo(re, s.residual[a], s.cols[2]), floats.MulTo(im, s.residual[a], s.cols[3])}
	}
	one := grow(s.work, 2*n)
	s.work = one
	cos, sin := one[:n], one[n:]
	circle(cos, sin, s.tau, 1/s.span, 0, s.even)
	copy(s.cos, cos)
	copy(s.sin, sin)
	for j := range s.above {
		if j > 0 {
			turn(s.cos, s.sin, cos, sin)
		}
		for a := range s.x {
			re, im := s.turned[a][0], s.turned[a][1]
			cc, ss, cs, sc := vek.Dot(re, s.cos), vek.Dot(im, s.sin), vek.Dot(re, s.sin), vek.Dot(im, s.cos)
			s.above[j][a] = complex(cc-ss, -cs-sc)
			s.below[j][a] = complex(cc+ss, cs-sc)
		}
	}
}

// nearOwn is the number of near bins less the share that f and drift, being fitted,
// have taken out of them: of an odd and an even course of the phase over the window about
// 0.76 each lies within ±2/span (Fourier series of τ: 6/π²·(1+1/4)); each is one
// real number of the 2·axes that a bin holds.
func (s *fit) nearOwn(bins float64) float64 {
	fitted := 0.76
	if s.ramp {
		fitted *= 2
	}
	return max(bins-fitted/(2*float64(len(s.x))), 0.5)
}

func mean(sum, n, otherwise float64) float64 {
	if n <= 0.5 {
		return otherwise
	}
	return sum / n
}

// taken reports whether frequency g lies within 1/span of a line of the fit other than
// the first, whose own noise has been fitted away.
func (s *fit) taken(g float64) bool {
	for _, k := range s.ks[1:] {
		if math.Abs(float64(k)*s.f-g)*s.span < 1 {
			return true
		}
	}
	for _, h := range s.foreign {
		if math.Abs(h-g)*s.span < 1 {
			return true
		}
	}
	return false
}

// errors fills the variances: of the frequency from the normal equations with the measured
// noise as weight, of the phasors from the densities.
func (s *fit) errors() {
	n := float64(len(s.tau))
	for a := range s.x {
		s.weight[a] = 0
		if s.density[a] > 0 {
			s.weight[a] = 1 / s.density[a]
		}
	}
	// A white noise of one-sided density S has variance S·n/(2·span) a sample.
	perSample := 2 * s.span / n
	p := len(s.step)
	if !s.settled {
		p = s.jacobian()
		s.project(p)
	}
	s.fVar, s.driftVar = math.Inf(1), math.Inf(1)
	if s.combine(p) {
		s.work = grow(s.work, p)
		s.fVar = inverse(s.hess, p, 0, s.work) / perSample
		s.driftVar = 0
		if s.ramp {
			s.driftVar = inverse(s.hess, p, 1, s.work) / perSample
		}
	}
	lines := s.lines()
	s.work = grow(s.work, lines)
	s.thin = (inverse(s.gram, lines, 2, s.work) + inverse(s.gram, lines, 3, s.work)) * n / 4
	s.courses(perSample)
}

// inverse returns element i, i of (LLᵀ)⁻¹.
func inverse(l []float64, n, i int, work []float64) float64 {
	clear(work)
	work[i] = 1
	forward(l, n, work)
	return vek.Dot(work, work)
}

// courses finds, to first order, what the first line alone says of its frequency (off) and
// how it swells or dies (swell), from what is left over along the derivative.
func (s *fit) courses(perSample float64) {
	n := len(s.tau)
	s.cos, s.sin = grow(s.cos, n), grow(s.sin, n)
	turn, grown := s.cos, s.sin
	var offTop, offBottom, swellTop, swellBottom float64
	for a := range s.x {
		re, im := s.coef[a][2], s.coef[a][3]
		for i, u := range s.tau {
			c, d := s.cols[2][i], s.cols[3][i]
			turn[i] = 2 * math.Pi * u * (im*c - re*d)
			grown[i] = u * (re*c + im*d)
		}
		offTop += s.weight[a] * vek.Dot(turn, s.residual[a])
		offBottom += s.weight[a] * vek.Dot(turn, turn)
		swellTop += s.weight[a] * vek.Dot(grown, s.residual[a])
		swellBottom += s.weight[a] * vek.Dot(grown, grown)
	}
	s.off, s.offVar = ratio(offTop, offBottom), ratio(1, offBottom*perSample)
	s.swell, s.swellVar = ratio(swellTop, swellBottom), ratio(1, swellBottom*perSample)
}

func ratio(a, b float64) float64 {
	if b <= 0 {
		return math.Inf(1)
	}
	return a / b
}

// worst returns the amplitude of phasor p in its worst direction,
// √((|p|² + |p·p|)/2), and its standard error for independent errors of variance v[i] in the
// real and in the imaginary part of pᵢ (first order).
//
// The motion Re(p·exp(iωt)) is an ellipse; its half major axis is this (Born and Wolf,
// Principles of Optics, 1.4: complex vector of a plane ellipse).
func worst(p [3]complex128, v [3]float64) (amp, se float64) {
	var sq float64
	var dot complex128
	for _, c := range p {
		sq += real(c)*real(c) + imag(c)*imag(c)
		dot += c * c
	}
	size := math.Hypot(real(dot), imag(dot))
	amp = math.Sqrt((sq + size) / 2)
	unit := complex(0, 0)
	if size > 0 {
		unit = complex(real(dot)/size, -imag(dot)/size)
	}
	var sum float64
	for i, c := range p {
		u := unit * c
		re, im := real(c)+real(u), imag(c)-imag(u)
		sum += (re*re + im*im) * v[i]
	}
	if amp > 0 {
		return amp, math.Sqrt(sum) / (2 * amp)
	}
	return 0, math.Sqrt(max(v[0], v[1], v[2]))
}

// amplitude returns that of multiple k in its worst direction, as worst does, less what noise adds to it on the mean. That
// is half the variance of each part of the phasor p times its second derivative of A = √((|p|² + |p·p|)/2):
// Σ vᵢ·((1 + |pᵢ|²/|p·p|)/2A − |∇ᵢA²|²/8A³), for one axis the v/2A of a Rice distribution. Of a motion so round that noise
// alone says which direction is the worst no more is known than that noise. What an axis with more noise than the others
// may hold, at two standard errors of its own, is two of the result.
func (s *fit) amplitude(k int) (amp, se float64) {
	p, v := s.phasor[k], s.variance()
	amp, se = worst(p, v)
	if amp == 0 {
		return amp, se
	}
	dot := p[0]*p[0] + p[1]*p[1] + p[2]*p[2]
	apart := max(cmplx.Abs(dot), 2*se*amp)
	added := -se * se / (2 * amp)
	for i, c := range p {
		if c != 0 {
			added += v[i] * (1 + power(c)/apart) / (2 * amp)
			se = max(se, (cmplx.Abs(c)+2*math.Sqrt(v[i])-amp)/2)
		}
	}
	return max(amp-added, amp/2), se
}

// variance returns that of the real (and of the imaginary) part of the line's phasor on each
// axis, (m/s²)²: density/span, as white noise of one-sided density S gives (var A = 2σ²/n with
// σ² = S·n/(2·span)), times thin.
func (s *fit) variance() (v [3]float64) {
	for a := range s.x {
		v[a] = s.density[a] / s.span * s.thin
	}
	return v
}

// split reports whether the first line says clearly of itself another frequency than the
// fit. What that leaves near the line is no noise: it would hide itself.
func (s *fit) split() bool {
	variance := s.offVar
	if s.misfit > misfits {
		variance /= s.excess
	}
	return math.Abs(s.off) > 4*math.Sqrt(variance) && math.Abs(s.off)*s.span > 0.02
}

// outdone returns the lowest multiple that is faster (m/s) than some share of the line itself, 0 if none is.
func (s *fit) outdone(share float64) int {
	own, _ := worst(s.phasor[1], [3]float64{})
	for _, k := range s.ks[1:] {
		if amp, _ := worst(s.phasor[k], [3]float64{}); amp > share*own*float64(k) {
			return k
		}
	}
	return 0
}

// towers reports whether multiple k is so much larger than the line itself that at another speed, where resonances may lift it fivefold
// against that (chosen), the line may be too small to be seen beside it.
func (s *fit) towers(k int) bool {
	const much = 2.0 // a line of a tenth is seen: hiding
	own, _ := worst(s.phasor[1], [3]float64{})
	amp, _ := worst(s.phasor[k], [3]float64{})
	return amp > much*own
}

// nearly reports whether a line that is no multiple but nearly one, as a look takes it for one, is faster (m/s) than a part of the line itself,
// or one close to the line than a larger part: a speed that sags again and again makes such lines too.
func (s *fit) nearly() bool {
	const (
		close = 0.02 // of its frequency. Chosen
		aside = 0.5  // widths 1/span, from which on it is none. Chosen
	)
	for m, g := range s.foreign {
		k := math.Round(g / s.f)
		off, share := math.Abs(g-k*s.f), s.strength(len(s.ks)+m)*s.f/(s.strength(0)*g)
		multiple := k >= 2 && k <= maxMultiple && off < close*g && off*s.span > aside && share > partly
		if multiple || k == 1 && off < Reach*s.f && share > singles && !isMains(g, 0) {
			return true
		}
	}
	return false
}

// led reports whether a multiple that is larger than the line itself helps to set the frequency.
func (s *fit) led() bool {
	own, _ := worst(s.phasor[1], [3]float64{})
	return slices.ContainsFunc(s.ks[1:], func(k int) bool {
		amp, _ := worst(s.phasor[k], [3]float64{})
		return s.steers[k] && amp > own
	})
}

// dying reports whether the line rings down like a struck mode: weaker at a steady
// frequency.
func (s *fit) dying() bool {
	return s.swell < -0.07 && s.swell < -4*math.Sqrt(s.swellVar) && math.Abs(s.drift) < 0.01*s.f
}

// beating reports whether the line swells or fades by a quarter over the window: two lines too close
// to be told apart do.
func (s *fit) beating() bool {
	return math.Abs(s.swell)*s.span > 0.25 && math.Abs(s.swell) > 4*math.Sqrt(s.swellVar)
}

// remainder is what some samples hold besides the line, its multiples and their trend.
type remainder struct {
	until     float64 // s, time of the last of them
	n         float64
	peak, sum [3]float64 // m/s²; (m/s²)²
}

// remainder sums up samples t, x, which must lie in the window of the fit.
func (s *fit) remainder(t []float64, x [][]float64) remainder {
	n := len(t)
	r := remainder{n: float64(n)}
	if n == 0 {
		return r
	}
	r.until = t[n-1]
	s.cos, s.sin, s.work = grow(s.cos, n), grow(s.sin, n), grow(s.work, 3*n)
	tau, re, im := s.work[:n], s.work[n:2*n], s.work[2*n:]
	copy(tau, t)
	floats.AddConst(-s.middle, tau)
	circle(s.cos, s.sin, tau, s.f, s.drift, isEven(tau))
	copy(re, s.cos)
	copy(im, s.sin)
	var left [3][]float64
	for a := range x {
		left[a] = append(s.turned[a][0][:0], x[a]...)
		s.turned[a][0] = left[a]
		floats.AddConst(-s.coef[a][0], left[a])
		floats.AddScaled(left[a], -s.coef[a][1]*2/s.span, tau)
	}
	for k := 1; k <= s.ks[len(s.ks)-1]; k++ {
		if k > 1 {
			turn(re, im, s.cos, s.sin)
		}
		for a := range x { // those that were not fitted are 0
			floats.AddScaled(left[a], -real(s.phasor[k][a]), re)
			floats.AddScaled(left[a], imag(s.phasor[k][a]), im)
		}
	}
	for a := range x {
		r.peak[a], r.sum[a] = max(vek.Max(left[a]), -vek.Min(left[a])), sumSquares(left[a])
	}
	return r
}

// left returns the mean square, (m/s²)², of what the sensor's own samples on axis a hold besides the line, its multiples and
// their trend, as crest last saw them; more than anything if it did not.
func (tr *Tracker) left(a int) float64 {
	sum, n := 0.0, 0.0
	for _, r := range tr.rest {
		sum, n = sum+r.sum[a], n+r.n
	}
	if n == 0 {
		return math.Inf(1)
	}
	return sum / n
}

// crest returns peak over rms of what samples t, x of the window hold besides the line, its
// multiples and their trend, of the axis where it is largest; 0 for fewer than 30 samples. What was
// summed up before is not looked at again.
func (tr *Tracker) crest(t []float64, x [][]float64) float64 {
	if len(t) < 30 {
		return 0
	}
	tr.rest = slices.DeleteFunc(tr.rest, func(r remainder) bool { return r.until <= t[0] })
	from := 0
	if n := len(tr.rest); n > 0 {
		from = firstAfter(t, tr.rest[n-1].until)
	}
	if from < len(t) { // a sensor that is slow, and read too often, may have nothing new
		var late [3][]float64
		for a := range x {
			late[a] = x[a][from:]
		}
		tr.rest = append(tr.rest, tr.fit.remainder(t[from:], late[:len(x)]))
	}
	most := 0.0
	for a := range x {
		peak, sum, n := 0.0, 0.0, 0.0
		for _, r := range tr.rest {
			peak, sum, n = max(peak, r.peak[a]), sum+r.sum[a], n+r.n
		}
		if sum > 0 {
			most = max(most, peak/math.Sqrt(sum/n))
		}
	}
	return most
}

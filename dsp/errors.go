package dsp

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// noise measures what the fit left over beside the line: near it (within 2.5/span) and
// further out (3 to 7/span). Noise that has colour, or a line that is not quite steady,
// shows as near above far, and then near counts.
func (s *fit) noise() {
	n := len(s.tau)
	s.cos, s.sin = grow(s.cos, n), grow(s.sin, n)
	var nearDof, farDof float64
	s.near, s.far = [3]float64{}, [3]float64{}
	for j := -7; j <= 7; j++ {
		g := s.f + float64(j)/s.span
		if j == 0 || g < 1.5/s.span || s.taken(g) {
			continue
		}
		rotate(s.cos, s.sin, s.tau, g)
		for a := range s.x {
			re, im := floats.Dot(s.cos, s.residual[a]), floats.Dot(s.sin, s.residual[a])
			// One-sided density of a residual r: 2|Σ r·e|²·span/n².
			d := 2 * (re*re + im*im) * s.span / float64(n*n)
			if j >= -2 && j <= 2 {
				s.near[a] += d
			} else {
				s.far[a] += d
			}
		}
		if j >= -2 && j <= 2 {
			nearDof++
		} else {
			farDof++
		}
	}
	var rms float64
	for a := range s.x {
		rms = 2 * floats.Dot(s.residual[a], s.residual[a]) / float64(n) * s.span / float64(n)
		s.near[a] = mean(s.near[a], s.nearOwn(nearDof), rms)
		s.far[a] = mean(s.far[a], farDof, rms)
	}
	// Is near really more than far? Sums over the axes of gamma variables: the ratio's
	// standard deviation is about √(1/(axes·near) + 1/(axes·far)).
	var ratio float64
	for a := range s.x {
		if s.far[a] > 0 {
			ratio += s.near[a] / s.far[a] / float64(len(s.x))
		}
	}
	spread := math.Sqrt((1/max(nearDof, 1) + 1/max(farDof, 1)) / float64(len(s.x)))
	for a := range s.x {
		s.density[a] = (s.near[a]*nearDof + s.far[a]*farDof) / max(nearDof+farDof, 1)
		if ratio > 1+2*spread {
			s.density[a] = max(s.near[a], s.density[a])
		}
		if nearDof+farDof == 0 {
			s.density[a] = rms
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

// rotate fills cos and sin with those of 2π·g·tau.
func rotate(cos, sin, tau []float64, g float64) {
	for i, u := range tau {
		sin[i], cos[i] = math.Sincos(2 * math.Pi * g * u)
	}
}

// errors fills the variances: of the frequency from the normal equations with the measured
// noise as weight, of the phasors from the densities, of each multiple's own frequency.
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
	p := s.jacobian()
	s.fVar, s.driftVar = math.Inf(1), math.Inf(1)
	if s.normal(p) {
		s.work = grow(s.work, p)
		s.fVar = inverse(s.hess, p, 0, s.work) / perSample
		s.driftVar = 0
		if s.ramp {
			s.driftVar = inverse(s.hess, p, 1, s.work) / perSample
		}
	}
	lines := 2 + 2*len(s.ks) + 2*len(s.foreign)
	s.work = grow(s.work, lines)
	s.thin = (inverse(s.gram, lines, 2, s.work) + inverse(s.gram, lines, 3, s.work)) * n / 4
	s.courses(perSample)
}

// inverse returns element i, i of (LLᵀ)⁻¹.
func inverse(l []float64, n, i int, work []float64) float64 {
	clear(work)
	work[i] = 1
	forward(l, n, work)
	return floats.Dot(work, work)
}

// courses finds, to first order, what each line alone says of its frequency (off) and how
// the first one swells or dies (swell), from what is left over along the derivative.
func (s *fit) courses(perSample float64) {
	n := len(s.tau)
	s.cos = grow(s.cos, n)
	s.off, s.offVar = [9]float64{}, [9]float64{}
	for c, k := range s.ks {
		var top, bottom float64
		for a := range s.x {
			re, im := s.coef[a][2+2*c], s.coef[a][3+2*c]
			for i, u := range s.tau {
				s.cos[i] = 2 * math.Pi * u * (im*s.cols[2+2*c][i] - re*s.cols[3+2*c][i])
			}
			top += s.weight[a] * floats.Dot(s.cos, s.residual[a])
			bottom += s.weight[a] * floats.Dot(s.cos, s.cos)
		}
		s.off[k], s.offVar[k] = ratio(top, bottom), ratio(1, bottom*perSample)
	}
	var top, bottom float64
	for a := range s.x {
		re, im := s.coef[a][2], s.coef[a][3]
		for i, u := range s.tau {
			s.cos[i] = u * (re*s.cols[2][i] + im*s.cols[3][i])
		}
		top += s.weight[a] * floats.Dot(s.cos, s.residual[a])
		bottom += s.weight[a] * floats.Dot(s.cos, s.cos)
	}
	s.swell, s.swellVar = ratio(top, bottom), ratio(1, bottom*perSample)
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

package dsp

import (
	"math"

	"github.com/viterin/vek"
	"gonum.org/v1/gonum/floats"
)

// RoughTimes is the warning of samples whose times are not good enough for a line so fast.
const RoughTimes = "the times of the samples are too rough for this speed, and make the shake look small: record with finer times, or a steadier sensor"

// rounded reports whether the times were rounded so far that the line comes out too small: by sin(πfs)/πfs, s the step of the
// times, where they do not stand on an even grid, or on one of that step with holes as regular as rounding makes them.
func (tr *Tracker) rounded(rev *Revolution) bool {
	t, _ := tr.samples(rev.Time+rev.Span/2, rev.Span)
	step := tick(t[:min(len(t), 64)])
	half := math.Pi * rev.Freq * step
	if half == 0 || 1-math.Sin(half)/half < bearable {
		return false
	}
	spread, _ := unevenness(t, tr.dt, 1)
	return spread > 0.1*step || regular(t, 1.5*tr.dt)
}

// regular reports whether steps of more than long s come among the times t as regularly as rounding makes them. Of samples lost at
// random the numbers between two holes have a standard deviation of about their mean.
func regular(t []float64, long float64) bool {
	const (
		fewest = 3.0  // holes. Chosen
		most   = 0.35 // of the mean. Chosen
	)
	n, sum, squares, last := 0.0, 0.0, 0.0, 0
	for i := 1; i < len(t); i++ {
		if t[i]-t[i-1] < long {
			continue
		}
		if last > 0 {
			between := float64(i - last)
			n, sum, squares = n+1, sum+between, squares+between*between
		}
		last = i
	}
	return n >= fewest-1 && n*squares/(sum*sum)-1 < most*most
}

// misstamped reports whether what is left beside the line may be what errors of the times leave: even samples with uneven stamps
// make a line smaller by exp(−(2πfδ)²/2), δ the standard deviation of the stamps, and the rest of its power noise. Where the
// samples themselves are as uneven as their times, there is no such noise.
func (tr *Tracker) misstamped(rev *Revolution) bool {
	const most = 0.1 // of that noise, from which on it may be. Chosen
	s := &tr.fit
	turned := 2 * math.Pi * rev.Freq * tr.dt / 2 // at most
	if smaller(turned) < bearable {
		return false
	}
	t, _ := tr.samples(rev.Time+rev.Span/2, rev.Span)
	spread, _ := unevenness(t, tr.dt, 1)
	line, rest := 0.0, 0.0
	if missing := t[len(t)-1]-t[0] > (float64(len(t))-0.5)*tr.dt; missing { // or a clock has rounded over a tick
		spread = max(spread, tick(t[:min(len(t), 64)])/math.Sqrt(12))
		for m := range s.foreign { // which makes lines
			rest += power(complex(s.strength(len(s.ks)+m), 0)) / 2
		}
	}
	turned = 2 * math.Pi * rev.Freq * spread
	if smaller(turned) < bearable {
		return false
	}
	for a := range tr.axes {
		line += power(s.phasor[1][a]) / 2
		rest += sumSquares(s.residual[a]) / float64(max(len(s.t)-s.lines(), 1))
	}
	kept := float64(len(s.t)) * tr.dt / s.span // of the noise, where the fit has a mean of samples
	return rest > most*kept*line*math.Expm1(turned*turned) &&
		(rev.Span < 0.95*tr.clock.enough() || smaller(2*math.Pi*rev.Freq*s.strays(0.5*rev.Rate)/math.Sqrt(kept)) > bearable)
}

// strays returns how far the times of the fit's samples may stray, as a standard deviation in s, by what the fit leaves: that is larger
// where the line and its multiples up to top Hz are steep, if their times are wrong, and noise is not. It is the coefficient of the
// squares of the derivative, at their real times, in the squares of what is left, and two standard errors. Wrong times may have made what
// was taken for other lines, and for multiples beyond that.
func (s *fit) strays(top float64) float64 {
	own := 1
	for own < len(s.ks) && float64(s.ks[own])*s.f < top {
		own++
	}
	n := len(s.t)
	s.work = grow(s.work, 2*n)
	slopes, left := s.work[:n], s.work[n:]
	sum, weight := 0.0, 0.0
	for a := range s.x {
		for i := range slopes {
			slope, v := 0.0, s.residual[a][i]
			for c, k := range s.ks[:own] {
				slope += float64(k) * (s.coef[a][3+2*c]*s.cols[2+2*c][i] - s.coef[a][2+2*c]*s.cols[3+2*c][i])
			}
			for c := 2 + 2*own; c < s.lines(); c++ {
				v += s.coef[a][c] * s.cols[c][i]
			}
			slopes[i], left[i] = slope*slope, v*v
		}
		// Of white noise of variance σ² the squares have the variance 2σ⁴.
		q, e := floats.Sum(slopes)/float64(n), floats.Sum(left)/float64(n)
		w := 1 / max(2*e*e, 1e-60)
		floats.AddConst(-q, slopes)
		sum += w * vek.Dot(slopes, left)
		weight += w * vek.Dot(slopes, slopes)
	}
	turned := max(sum/weight, 0) + 2/math.Sqrt(weight) // rad²
	return math.Sqrt(turned) / (2 * math.Pi * s.f)
}

// smaller returns by how much of itself a line becomes smaller when its phase strays by a standard deviation of turned, in rad.
func smaller(turned float64) float64 { return -math.Expm1(-turned * turned / 2) }

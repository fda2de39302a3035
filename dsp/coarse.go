package dsp

import (
	"math"

	"github.com/viterin/vek"
)

// Chosen.
const (
	unroundings = 30   // steps of the expectation; the last ones move the amplitude by less than 1 %
	leastDither = 0.04 // noise, in steps of the sensor, below which the times of the samples limit what their values tell
	// fewestSteps in the amplitude of a line that is told from what rounding made of it: below, an axis shows too few values.
	fewestSteps = 2.5
)

// unround fits the line anew to what the samples were before the sensor rounded them to steps of step m/s²: by
// expectation and maximisation (Dempster, Laird and Rubin, J. R. Stat. Soc. B 39 (1977)), each sample's expected
// value inside its step being that of a normal distribution about the line, cut off at the step's edges. It reports
// whether that worked; the samples must be those of the sensor itself.
func (s *fit) unround(step float64) bool {
	n := len(s.t)
	var told [3]float64 // share of what unrounded samples would tell
	for a, x := range s.x {
		s.expected[a] = grow(s.expected[a], n)
		told[a] = s.unroundAxis(a, x, step)
		s.x[a] = s.expected[a]
	}
	if !s.run(true) {
		return false
	}
	for a := range s.x {
		// White noise of standard deviation σ has the one-sided density 2σ²·span/n.
		s.density[a] = max(s.density[a], 2*s.dither[a]*s.dither[a]*s.span/float64(n)) / max(told[a], 1e-3)
	}
	s.errors()
	return true
}

// unroundAxis fills expected[a] with the expected values of x, and dither[a] with the standard deviation of the noise
// about the line. It returns the share of the information about the line that rounding left: 1−var/σ², var that of
// a sample inside its step (Louis, J. R. Stat. Soc. B 44 (1982)).
func (s *fit) unroundAxis(a int, x []float64, step float64) (told float64) {
	n, lines := len(x), s.lines()
	y, coef, model := s.expected[a], s.coef[a], s.residual[a]
	least := leastDither * step
	sigma := max(least, math.Sqrt(sumSquares(s.residual[a])/float64(n)))
	for range unroundings {
		vek.MatMul_Into(model, coef, s.basis, lines)
		sum, spread := 0.0, 0.0
		for i, v := range x {
			mean, variance := inside(model[i], sigma, v-step/2, v+step/2)
			y[i] = mean
			sum += (mean-model[i])*(mean-model[i]) + variance
			spread += variance
		}
		told = 1 - spread/float64(n)/(sigma*sigma)
		sigma = max(least, math.Sqrt(sum/float64(n-lines)))
		for c := range lines {
			coef[c] = vek.Dot(s.cols[c], y)
		}
		solveFactored(s.gram, lines, coef)
	}
	s.dither[a] = sigma
	return told
}

// inside returns mean and variance of a normal distribution of mean m and standard deviation sigma, cut off at low
// and high (Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, vol. 1, 1994, ch. 13.10.1).
func inside(m, sigma, low, high float64) (mean, variance float64) {
	a, b := (low-m)/sigma, (high-m)/sigma
	if a > 6 { // all of it at the edge
		return low, 0
	}
	if b < -6 {
		return high, 0
	}
	density := func(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
	part := (math.Erfc(a/math.Sqrt2) - math.Erfc(b/math.Sqrt2)) / 2
	if b < 0 { // where the difference of two ones would lose its digits
		part = (math.Erfc(-b/math.Sqrt2) - math.Erfc(-a/math.Sqrt2)) / 2
	}
	da, db := density(a), density(b)
	shift := (da - db) / part
	return m + sigma*shift, sigma * sigma * max(0, 1+(a*da-b*db)/part-shift*shift)
}

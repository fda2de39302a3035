package dsp

import (
	"math"

	"github.com/viterin/vek"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
)

const (
	maxMultiple = 5 // the line and its multiples 2 to 5 are fitted
	maxTooth    = 8 // up to 8 where a high one is the strongest
	maxForeign  = 6 // and at most so many lines that are not of the spindle
	// converged: after a step in frequency of so many widths 1/span the next would be about its
	// square.
	converged = 3e-3
)

// fit is a joint least-squares fit of all axes to
//
//	offset + slope·τ + Σ_k Re(C_k·exp(ikφ)) + Σ_m Re(D_m·exp(2πi·g_m·τ)),
//	φ = 2π(f·τ + ½·drift·τ²),  τ = t − middle,
//
// with the linear unknowns of each axis solved for exactly and f, drift and the g_m, common
// to all axes, found by Gauss-Newton steps (variable projection: Golub and Pereyra, SIAM J.
// Numer. Anal. 10 (1973); for one axis and no multiples this is the four-parameter sine
// fit of IEEE Std 1057). The samples' own times are used, even or not.
//
// The fields down to weight are set by the caller, the rest by run. The slices are reused.
type fit struct {
	t       []float64          // s
	x       [][]float64        // m/s²
	f       float64            // Hz, start; result
	drift   float64            // Hz/s, start; result
	ramp    bool               // whether drift is fitted
	ks      []int              // multiples, the first is 1
	steers  [maxTooth + 1]bool // multiple k helps to set f
	foreign []float64          // Hz, start; results
	weight  [3]float64         // 1/noise density of each axis, any common scale

	middle, span float64                     // s
	phasor       [maxTooth + 1][3]complex128 // of multiple k, m/s² peak, at middle; 0 if not fitted
	residual     [3][]float64                // m/s²
	density      [3]float64                  // one-sided, of the noise that bears on the line, (m/s²)²/Hz
	thin         float64                     // variance of a phasor in units of density/span, 1 for a long window
	fVar         float64                     // Hz²
	driftVar     float64                     // (Hz/s)²
	off, offVar  float64                     // Hz, Hz²: what the line alone says of its frequency, less f
	swell        float64                     // 1/s, relative rate of change of the amplitude
	swellVar     float64                     // 1/s²
	excess       float64                     // noise near the line over that further out
	misfit       float64                     // how far the noise near the line lies above that further out, in standard errors
	disputed     bool                        // a stronger multiple says another speed than the line
	unsettled    bool                        // the multiples, which do not set it, say that the speed changes

	expected [3][]float64 // values of rounded samples, as far as they can be told, m/s²
	dither   [3]float64   // standard deviation of the noise about the line, m/s²
	settled  bool         // share is that of the result, but for the last small step
	basis    []float64    // the columns of the linear unknowns, one behind the other
	cols     [][]float64  // each of them
	sum      []float64
	gram     []float64
	coef     [3][]float64
	tau      []float64
	even     bool // tau stands on a grid
	cos, sin []float64
	turned   [3][2][]float64  // residual times cos φ and sin φ
	above    [7][3]complex128 // what is left over j/span above the line, j from 1, m/s² times samples
	below    [7][3]complex128
	jac      [3][2 + maxForeign][]float64
	proj     [3][2 + maxForeign][]float64
	share    [3][]float64
	hess     []float64
	step     []float64
	work     []float64
}

// run does the fit; ok is false when the data cannot carry it (too few samples or lines
// that cannot be told apart). Unless the start is near, the frequency is sought at constant
// speed first: with a rate of change in the fit as well a far start ends in a side minimum.
func (s *fit) run(near bool) bool {
	n := len(s.t)
	lines := s.lines()
	if n < lines+4 {
		return false
	}
	s.span = (s.t[n-1] - s.t[0]) * float64(n) / float64(n-1)
	s.middle = (s.t[n-1] + s.t[0]) / 2
	s.tau = grow(s.tau, n)
	for i, t := range s.t {
		s.tau[i] = t - s.middle
	}
	s.even = isEven(s.tau)
	s.phasor = [maxTooth + 1][3]complex128{}
	s.ramp = false
	if !near && !s.descend(4, func(float64) bool { return true }) {
		return false
	}
	s.ramp = true
	if !s.descend(6, s.arrived) {
		return false
	}
	if !s.settled {
		s.judge()
	}
	amp, se := worst(s.phasor[1], s.variance())
	sum := s.f + s.fVar + s.drift + s.driftVar + amp + se
	return !math.IsNaN(sum) && !math.IsInf(sum, 0) && s.thin < thinnest
}

// thinnest is how many times the variance of a line alone there may be where its samples do not part it from others: they may
// all stand at one place of the turn. Chosen: their sum is then known, and none of them.
const thinnest = 100.0

// lines returns the number of linear unknowns: offset, slope and two for each line.
func (s *fit) lines() int { return 2 + 2*len(s.ks) + 2*len(s.foreign) }

// descend takes at most so many steps, until one moves the frequencies by less than a few hundredths of a width 1/span
// and enough is content with that. The phasors then follow that last step to first order.
func (s *fit) descend(steps int, enough func(moved float64) bool) bool {
	const small = 0.05 // Chosen: to first order the phasors are then good to a hundredth
	for range steps {
		s.settled = false
		if !s.solve() {
			return false
		}
		size, ok := s.improve()
		if !ok {
			return false
		}
		if moved := size * s.span; moved < small {
			s.settle()
			s.settled = true
			if enough(moved) {
				return true
			}
		}
	}
	s.settled = false
	return s.solve()
}

// arrived reports whether after a step of so many widths 1/span another would change nothing: that would be about the square of it, if
// what is left over is noise, and a tenth of the standard error makes half a percent of that more.
func (s *fit) arrived(moved float64) bool {
	const near = 0.01 // Chosen: its square is a ten-thousandth of a width; where a speed changed larger steps are followed by others as large
	if moved > near {
		return false
	}
	weight := s.weight
	s.judge()
	if moved < converged || s.misfit < misfits && moved*moved < 0.1*math.Sqrt(s.fVar)*s.span {
		return true
	}
	s.weight = weight
	return false
}

// judge measures what is left over, and what errors follow from it.
func (s *fit) judge() {
	s.noise()
	s.errors()
}

// settle takes into phasors and residuals what the last step has changed, to first order: the
// columns stay those of the frequencies before it.
func (s *fit) settle() {
	lines := s.lines()
	for a := range s.x {
		s.work = grow(s.work, lines)
		clear(s.work)
		for r, step := range s.step {
			floats.AddScaled(s.residual[a], -step, s.jac[a][r])
			floats.AddScaled(s.work, step, s.proj[a][r])
		}
		backward(s.gram, lines, s.work)
		vek.Add_Inplace(s.residual[a], s.model(0, s.work))
		floats.Sub(s.coef[a], s.work)
		s.phasors(a)
	}
}

// phasors reads those of axis a from its coefficients.
func (s *fit) phasors(a int) {
	for c, k := range s.ks {
		s.phasor[k][a] = complex(s.coef[a][2+2*c], -s.coef[a][3+2*c])
	}
}

// solve sets up the columns for the current frequencies and solves for the phasors.
func (s *fit) solve() bool {
	n := len(s.tau)
	lines := s.lines()
	s.basis, s.cols = grow(s.basis, lines*n), s.cols[:0]
	for c := range lines {
		s.cols = append(s.cols, s.basis[c*n:(c+1)*n])
	}
	copy(s.cols[1], s.tau)
	floats.Scale(2/s.span, s.cols[1])
	for i := range s.cols[0] {
		s.cols[0][i] = 1
	}
	cos, sin := s.cols[2], s.cols[3]
	circle(cos, sin, s.tau, s.f, s.drift, s.even)
	for c, k := range s.ks[1:] {
		re, im := s.cols[4+2*c], s.cols[5+2*c]
		copy(re, s.cols[2+2*c])
		copy(im, s.cols[3+2*c])
		for range k - s.ks[c] {
			turn(re, im, cos, sin)
		}
	}
	for m, g := range s.foreign {
		at := lines - 2*len(s.foreign) + 2*m
		circle(s.cols[at], s.cols[at+1], s.tau, g, 0, s.even)
	}
	s.gram = grow(s.gram, lines*lines)
	for a := range lines {
		for b := 0; b <= a; b++ {
			s.gram[a*lines+b] = vek.Dot(s.cols[a], s.cols[b])
		}
	}
	if !factor(s.gram, lines) {
		return false
	}
	for a, x := range s.x {
		s.coef[a] = grow(s.coef[a], lines)
		for c := range lines {
			s.coef[a][c] = vek.Dot(s.cols[c], x)
		}
		solveFactored(s.gram, lines, s.coef[a])
		s.residual[a] = vek.Sub_Into(grow(s.residual[a], n), x, s.model(0, s.coef[a]))
		s.phasors(a)
	}
	return true
}

// model returns the sum of the columns from number first on, each times its coefficient, good until the next call.
func (s *fit) model(first int, coef []float64) []float64 {
	n := len(s.tau)
	s.sum = grow(s.sum, n)
	return vek.MatMul_Into(s.sum, coef, s.basis[first*n:(first+len(coef))*n], len(coef))
}

// improve takes one Gauss-Newton step in f, drift and the foreign frequencies, and returns
// the size of the step in Hz; weak foreign lines count less.
func (s *fit) improve() (size float64, ok bool) {
	p := s.jacobian()
	if !s.normal(p) {
		return 0, false
	}
	for r := range p {
		s.step[r] = 0
		for a := range s.x {
			s.step[r] += s.weight[a] * vek.Dot(s.jac[a][r], s.residual[a])
		}
	}
	solveFactored(s.hess, p, s.step)
	limit := func(r int, most float64) float64 {
		s.step[r] = max(-most, min(most, s.step[r]))
		return s.step[r]
	}
	s.f += limit(0, 0.5/s.span)
	size, at := math.Abs(s.step[0]), 1
	if s.ramp {
		s.drift += limit(1, 2/(s.span*s.span))
		size = max(size, math.Abs(s.step[1])*s.span/4)
		at = 2
	}
	for m := range s.foreign {
		s.foreign[m] += limit(at+m, 0.25/s.span)
		size = max(size, math.Abs(s.step[at+m])*min(1, s.strength(len(s.ks)+m)/s.strength(0)))
	}
	return size, !math.IsNaN(s.f) && s.f > 0
}

// strength returns the amplitude of line c of the fit, foreign ones last, m/s² over all axes.
func (s *fit) strength(c int) float64 {
	sum := 1e-300
	for a := range s.x {
		sum += s.coef[a][2+2*c]*s.coef[a][2+2*c] + s.coef[a][3+2*c]*s.coef[a][3+2*c]
	}
	return math.Sqrt(sum)
}

// stranger returns the amplitude of the line at f Hz that is not of the spindle, m/s² over all axes; 0 if none was fitted there.
func (s *fit) stranger(f float64) float64 {
	const near = 0.5 // widths 1/span. Chosen
	for m, g := range s.foreign {
		if math.Abs(g-f)*s.span < near {
			return s.strength(len(s.ks) + m)
		}
	}
	return 0
}

// jacobian fills jac with the derivatives of the model by f, drift (if fitted) and the
// foreign frequencies, for each axis, and returns their number.
func (s *fit) jacobian() int {
	n, p := len(s.tau), 1
	if s.ramp {
		p = 2
	}
	lines := s.lines()
	for a := range s.x {
		for r := range p + len(s.foreign) {
			s.jac[a][r] = grow(s.jac[a][r], n)
		}
		// By so much of its columns, times τ, the line at column c changes with its frequency.
		change := func(to []float64, c int, times float64) {
			to[0], to[1] = 2*math.Pi*times*s.coef[a][c+1], -2*math.Pi*times*s.coef[a][c]
		}
		s.work = grow(s.work, 2*len(s.ks))
		clear(s.work)
		for c, k := range s.ks {
			if s.steers[k] {
				change(s.work[2*c:], 2+2*c, float64(k))
			}
		}
		vek.Mul_Into(s.jac[a][0], s.model(2, s.work), s.tau)
		if s.ramp {
			vek.Mul_Into(s.jac[a][1], s.jac[a][0], s.tau)
			vek.MulNumber_Inplace(s.jac[a][1], 0.5)
		}
		for m := range s.foreign {
			at := lines - 2*len(s.foreign) + 2*m
			change(s.work, at, 1)
			vek.Mul_Into(s.jac[a][p+m], s.model(at, s.work[:2]), s.tau)
		}
	}
	return p + len(s.foreign)
}

// normal sets up and factors the normal equations of the p shared unknowns with the linear
// ones projected out: Σ_axes weight·(JᵀJ − JᵀB(BᵀB)⁻¹BᵀJ).
func (s *fit) normal(p int) bool {
	s.project(p)
	return s.combine(p)
}

// project fills share with JᵀJ − JᵀB(BᵀB)⁻¹BᵀJ of each axis.
func (s *fit) project(p int) {
	lines := s.lines()
	for a := range s.x {
		s.share[a] = grow(s.share[a], p*p)
		clear(s.share[a])
		for r := range p {
			s.proj[a][r] = grow(s.proj[a][r], lines)
			for c := range lines {
				s.proj[a][r][c] = vek.Dot(s.cols[c], s.jac[a][r])
			}
			forward(s.gram, lines, s.proj[a][r])
			for q := 0; q <= r; q++ {
				s.share[a][r*p+q] = vek.Dot(s.jac[a][r], s.jac[a][q]) - vek.Dot(s.proj[a][r], s.proj[a][q])
			}
		}
	}
}

// combine sums up share with the weights, and factors it.
func (s *fit) combine(p int) bool {
	s.hess, s.step = grow(s.hess, p*p), grow(s.step, p)
	clear(s.hess)
	for a := range s.x {
		floats.AddScaled(s.hess, s.weight[a], s.share[a])
	}
	// A line of no strength has no frequency: hold it where it is.
	for r := range p {
		if s.hess[r*p+r] < 1e-300 {
			s.hess[r*p+r] = 1
		}
		s.hess[r*p+r] *= 1 + 1e-9
	}
	return factor(s.hess, p)
}

// factor replaces the lower triangle of the n×n a by L with LLᵀ = a, and says whether a was
// safely positive definite: a column needs 1e-9 of its square for itself, or lines cannot
// be told apart.
func factor(a []float64, n int) bool {
	var own [2 + 2*maxTooth + 2*maxForeign]float64
	for i := range n {
		own[i] = 1e-9 * a[i*n+i]
	}
	if _, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Lower, N: n, Stride: n, Data: a}); !ok {
		return false
	}
	for i := range n {
		if !(a[i*n+i]*a[i*n+i] > own[i]) {
			return false
		}
	}
	return true
}

// lower returns the triangle that factor left in l.
func lower(l []float64, n int) blas64.Triangular {
	return blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: l}
}

// forward solves L·y = v in place.
func forward(l []float64, n int, v []float64) {
	blas64.Trsv(blas.NoTrans, lower(l, n), blas64.Vector{N: n, Inc: 1, Data: v})
}

// backward solves Lᵀ·y = v in place.
func backward(l []float64, n int, v []float64) {
	blas64.Trsv(blas.Trans, lower(l, n), blas64.Vector{N: n, Inc: 1, Data: v})
}

// solveFactored solves L·Lᵀ·y = v in place.
func solveFactored(l []float64, n int, v []float64) {
	forward(l, n, v)
	backward(l, n, v)
}

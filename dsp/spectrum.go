package dsp

import (
	"iter"
	"math"

	"github.com/viterin/vek"
	"gonum.org/v1/gonum/dsp/window"
	"gonum.org/v1/gonum/floats"
)

// A look is a Hann spectrum of the last seconds, all axes together, each bin measured
// against the noise beside it. Looks only find lines; they are measured by a fit.

// fewest samples make a spectrum. Chosen: it has a dozen bins.
const fewest = 24

// thresholds by number of axes: a bin of pure noise exceeds them with probability 1e-5.
// The whitened power of n axes is gamma distributed with shape n and scale 1, so they
// solve exp(−z)·Σ_{k<n} z^k/k! = 1e-5.
var thresholds = [4]float64{0, 11.51, 14.24, 16.51}

// quartile is the lower quartile of an exponential variable of mean 1, ln(4/3): the power of
// noise in a bin. The noise is found from it, since up to half of the bins may hold lines.
var quartile = math.Log(4.0 / 3)

// spectrum computes windowed power spectra and keeps its plans and work space.
type spectrum struct {
	plans map[int]*transform // by length
	even  map[int][]float64  // windows for even samples, by length
	buf   []float64
	off   float64   // s, how far the times stray from an even grid
	tau   []float64 // s, times less their mean
	flat  []float64 // samples less their trend, windowed
	hann  []float64
	coef  []complex128
	rank  rank
}

// look is one spectrum: bin k stands at k·df Hz.
type look struct {
	end     float64 // s, time of the last sample
	seconds float64 // length of the window, s
	rate    float64 // of the samples, Hz
	df      float64 // distance of the bins, Hz
	off     float64 // s, how far the times of the samples stray from an even grid
	axes    int
	power   [3][]float64 // one-sided density of each axis, (m/s²)²/Hz
	noise   [3][]float64 // the same of the noise beside the bin
	z       []float64    // Σ power/noise over the axes: "whitened"
}

// at returns the largest whitened power within half bins of f, 0 outside of the spectrum.
func (l *look) at(f float64, half int) float64 {
	k := int(math.Round(f / l.df))
	best := 0.0
	for j := max(k-half, 1); j <= min(k+half, len(l.z)-2); j++ {
		best = max(best, l.z[j])
	}
	return best
}

// tooth returns the whitened power of the peak that stands within tolerance Hz of f, 0 if
// none does.
func (l *look) tooth(f, tolerance float64) float64 {
	best := 0.0
	for p := range l.lines(0, f-tolerance, f+tolerance) {
		best = max(best, p.z*thresholds[l.axes])
	}
	return best
}

// lines yields the peaks of l from low to high Hz whose whitened power exceeds limit, lowest
// first.
func (l *look) lines(limit, low, high float64) iter.Seq[peak] {
	return func(yield func(peak) bool) {
		// A peak between bins may have its largest bin beyond the edge.
		from, to := max(int(low/l.df), 2), min(int(high/l.df)+1, len(l.z)-3)
		for k := from; k <= to; k++ {
			z := l.z[k]
			if z < limit || z < l.z[k-1] || z <= l.z[k+1] {
				continue
			}
			f := (float64(k) + peakOffset(l.z[k-1], z, l.z[k+1])) * l.df
			if f >= low && f <= high && !yield(peak{f: f, z: z / thresholds[l.axes], look: l}) {
				return
			}
		}
	}
}

// strength returns the power density at f, all axes together, (m/s²)²/Hz.
func (l *look) strength(f float64) float64 {
	k := min(int(math.Round(f/l.df)), len(l.z)-1)
	sum := 0.0
	for a := range l.axes {
		sum += l.power[a][k]
	}
	return sum
}

// velocity returns the velocity in m/s rms of the line at f, all axes together: Hann lines
// spread over 1.5 bins.
func (l *look) velocity(f float64) float64 {
	k := int(math.Round(f / l.df))
	sum := 0.0
	for a := range l.axes {
		for j := max(k-1, 1); j <= min(k+1, len(l.z)-2); j++ {
			sum += l.power[a][j] * l.df
		}
	}
	return math.Sqrt(sum) / (2 * math.Pi * f)
}

// standing returns the square of the amplitude of the line at f above the noise beside it, all axes together, (m/s²)²; without a
// line zero on the mean.
func (l *look) standing(f float64) (sum float64) {
	k := int(math.Round(f / l.df))
	for a := range l.axes {
		for j := max(k-1, 1); j <= min(k+1, len(l.z)-2); j++ {
			sum += 2 * (l.power[a][j] - l.noise[a][j]) * l.df
		}
	}
	return sum
}

// broad is the end of the band of the total velocity, Hz (ISO 20816-1).
const broad = 1000.0

// broadband returns the total velocity in m/s rms, all axes together, and the band in Hz that it
// stands for: each bin of the acceleration spectrum over (2πf)². A line at the band's lower end is in it as a whole: a Hann
// line spreads over 1.5 bins on either side. The band is empty when the sensor does not reach 10 Hz, or the look is so short that
// such a line spreads to 0 Hz.
func (l *look) broadband() (total float64, band [2]float64) {
	band = [2]float64{10, min(broad, 0.45*l.rate)}
	first := int(math.Ceil(band[0]/l.df - 1.5))
	if band[1] <= band[0] || first < 1 {
		return 0, [2]float64{}
	}
	sum := 0.0
	for k := first; k < len(l.power[0]) && float64(k)*l.df <= band[1]; k++ {
		all, w := 0.0, 2*math.Pi*float64(k)*l.df
		for a := range l.axes {
			all += l.power[a][k]
		}
		sum += all * l.df / (w * w)
	}
	return math.Sqrt(sum), band
}

// peak is a line in a look.
type peak struct {
	f    float64 // Hz
	z    float64 // whitened power over the threshold
	look *look
}

// peakOffset interpolates a Hann peak between bins from the whitened powers beside it, in
// bins (Grandke, IEEE Trans. Instrum. Meas. 32 (1983): (2a−1)/(a+1), a the ratio of the
// amplitudes of the larger neighbour and the peak).
func peakOffset(left, mid, right float64) float64 {
	side, sign := right, 1.0
	if left > right {
		side, sign = left, -1.0
	}
	a := math.Sqrt(side / mid)
	return sign * max(0, min(0.5, (2*a-1)/(a+1)))
}

// isMains reports whether f is the mains' or twice that, 50 or 60 Hz within 0.45 % (grids hold 0.4 %, and a board's clock
// may be off too; chosen) and half of the resolution.
func isMains(f, resolution float64) bool {
	for _, m := range [4]float64{50, 60, 100, 120} {
		if math.Abs(f-m) < 0.0045*m+resolution/2 {
			return true
		}
	}
	return false
}

// density fills power with the one-sided power spectral density of every axis of the
// samples t, x, in (unit of x)²/Hz at bins of width df, with a periodic Hann window over
// the samples' own span. rate is their usual rate in Hz. Times that stray from an even
// grid by more than stray seconds are spread over a finer grid instead of counted.
//
// Hann, periodic, w = 0.5(1−cos 2πn/N): coherent gain 0.5, mean square 0.375, noise bandwidth
// 1.5 bins (Harris, Proc. IEEE 66 (1978), Table 1).
func (s *spectrum) density(t []float64, x [][]float64, rate, stray float64, power *[3][]float64) (df float64) {
	n := len(t)
	dt := (t[n-1] - t[0]) / float64(n-1)
	s.off = 0
	for i, u := range t {
		if off := math.Abs(u - t[0] - float64(i)*dt); off > s.off {
			s.off = off
		}
	}
	even := math.Abs(dt*rate-1) < 0.02 && s.off <= stray
	grid, length := 1/dt, smooth(n)
	if !even {
		// Four grid points a sample: a line at the passband's end loses 1.6 % of power.
		grid = 4 * rate
		length = smooth(int((t[n-1]-t[0])*grid) + 2)
	}
	plan := s.plan(length)
	span := (t[n-1] - t[0]) * float64(n) / float64(n-1)
	hann, norm := s.window(t, span, even)
	s.tau, s.flat = grow(s.tau, n), grow(s.flat, n)
	vek.SubNumber_Into(s.tau, t, floats.Sum(t)/float64(n))
	square := vek.Dot(s.tau, s.tau)
	for a := range x {
		// Less the straight line that fits best; less the first of them before, or gravity on an axis that says the same
		// all the time leaves lines in its last digit.
		vek.SubNumber_Into(s.flat, x[a], x[a][0])
		floats.AddScaled(s.flat, -vek.Dot(s.tau, s.flat)/square, s.tau)
		vek.SubNumber_Inplace(s.flat, floats.Sum(s.flat)/float64(n))
		buf := s.buf[:length]
		if even {
			vek.Mul_Into(buf, s.flat, hann)
			clear(buf[n:])
		} else {
			vek.Mul_Inplace(s.flat, hann)
			clear(buf)
			for i, v := range s.flat {
				p := (t[i] - t[0]) * grid
				k := int(p)
				buf[k] += v * (1 - p + float64(k))
				buf[k+1] += v * (p - float64(k))
			}
		}
		plan.coefficients(s.coef[:length/2+1], buf)
		// Density: 2|X|²/(rate·Σw²).
		scale := 2 / (norm * float64(n) / span)
		bins := length/2 + 1
		if !even {
			bins = min(bins, length/8*3)
		}
		power[a] = grow(power[a], bins)
		p := power[a]
		for k, c := range s.coef[:len(p)] {
			p[k] = scale * (real(c)*real(c) + imag(c)*imag(c))
		}
	}
	return grid / float64(length)
}

// window returns the Hann window over span s at times t, and the sum of its squares.
func (s *spectrum) window(t []float64, span float64, even bool) (hann []float64, norm float64) {
	n := len(t)
	if even {
		if s.even[n] == nil {
			s.even[n] = window.NewValues(window.Hann, n+1)[:n]
		}
		return s.even[n], 0.375 * float64(n)
	}
	s.hann = grow(s.hann, n)
	for i, u := range t {
		s.hann[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(u-t[0])/span)
		norm += s.hann[i] * s.hann[i]
	}
	return s.hann, norm
}

// plan returns the transform of a length and makes room for it.
func (s *spectrum) plan(n int) *transform {
	p := s.plans[n]
	if p == nil {
		if len(s.plans) > 64 || len(s.even) > 64 || s.plans == nil { // a sensor whose rate wanders: start again
			s.plans, s.even = map[int]*transform{}, map[int][]float64{}
		}
		p = newTransform(n)
		s.plans[n] = p
	}
	s.buf = grow(s.buf, n)
	if cap(s.coef) < n/2+1 {
		s.coef = make([]complex128, n/2+1)
	}
	s.coef = s.coef[:n/2+1]
	return p
}

// whiten measures the noise beside every bin of l up to top Hz and fills l.z: the running
// lower quartile of the power over ±reach Hz, which lines do not move. Over m bins it reads the
// mean of the noise with a standard error of about 2/√m (here m ≥ 80: 22 %).
func (s *spectrum) whiten(l *look, reach, top float64) {
	bins := min(len(l.power[0]), int(top/l.df)+4)
	l.z = grow(l.z, bins)
	clear(l.z)
	half, mean := max(int(reach/l.df), 40), 1/quartile
	for a := range l.axes {
		l.noise[a] = grow(l.noise[a], bins)
		s.rank.quartiles(l.power[a], l.noise[a], half)
		for k, noise := range l.noise[a] {
			noise *= mean
			l.noise[a][k] = noise
			if noise > 0 {
				l.z[k] += l.power[a][k] / noise
			}
		}
	}
}

// rank finds running lower quartiles by a histogram that slides along (Huang, Yang and Tang,
// IEEE Trans. ASSP 27 (1979), 13–18), sixteen buckets an octave: the upper bits of the number
// itself.
type rank struct {
	count [buckets]int16
	at    int // the bucket that held the last quartile
}

const buckets = 1 << 15

func bucket(v float64) int { return int(math.Float64bits(v) >> 48 & (buckets - 1)) }

// quartiles fills q with the lower quartile of the p (none negative) within half places of each, p[0]
// left out. q is at most as long as p.
func (r *rank) quartiles(p, q []float64, half int) {
	from, to := 1, 1 // of what is in the histogram
	below := 0       // of it in the buckets below at
	at, count := r.at, &r.count
	for k := range q {
		for ; to < min(k+half+1, len(p)); to++ {
			b := bucket(p[to])
			count[b]++
			below -= (b - at) >> 63 // if b < at, without a branch that nothing foretells
		}
		for ; from < k-half; from++ {
			b := bucket(p[from])
			count[b]--
			below += (b - at) >> 63
		}
		if to-from < 3 {
			q[k] = 0
			continue
		}
		want := (to - from) / 4
		for below > want {
			at--
			below -= int(count[at&(buckets-1)])
		}
		for below+int(count[at&(buckets-1)]) <= want {
			below += int(count[at&(buckets-1)])
			at++
		}
		edge := math.Float64frombits(uint64(at) << 48)
		next := math.Float64frombits(uint64(at+1) << 48)
		q[k] = edge + (next-edge)*(float64(want-below)+0.5)/float64(count[at&(buckets-1)])
	}
	for ; from < to; from++ {
		count[bucket(p[from])]--
	}
	r.at = at
}

// median returns the middle of v, whose order it destroys (Hoare's selection).
func median(v []float64) float64 {
	k := len(v) / 2
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := v[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n, n+n/4)
	}
	return v[:n]
}

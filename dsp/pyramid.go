package dsp

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// The pyramid keeps the last seconds of samples at the sensor's rate and at a half, a
// quarter, … of it. A slow spindle needs few samples a turn, so it is looked for and
// fitted on a low step of the pyramid, where one turn costs the same whatever the sensor.

const (
	// keepSeconds of samples are held: the longest window, 4 s, and one period of
	// readings for the filters' delay. Chosen.
	keepSeconds = 4.5
	// countable, Hz: no slower samples are halved as the sensor gives them. Uneven times weigh too much there for a filter that counts
	// samples (see level.halve); each step is more even than the one before. Chosen.
	countable = 200
	// lowestRate, Hz: no step of the pyramid is slower. A spindle of 1 Hz and what is asked of its multiples need 23 Hz.
	lowestRate = 25
	// passband is the part of a step's rate up to which halving leaves a line unchanged
	// (within 0.1 %) and free of images (below -60 dB).
	passband = 0.35
	// fading is the part up to which it leaves a tenth of a line and more.
	fading = 0.57
)

// halfband holds the weights of the halving filter from its middle outwards; the filter is
// symmetric, and every second weight but the middle is zero (weigh has those that are not
// written out one by one).
//
// A sinc of half the rate under a Kaiser window (Kaiser and Schafer, IEEE Trans. ASSP 28
// (1980), 105–107: β = 0.1102(A−8.7) for A dB, length ≥ (A−8)/(2.285 Δω)+1). For A = 60 and
// Δω = 2π·0.15 that is 25.2; the next length that ends in a weight is 27.
var halfband = halfbandWeights()

func halfbandWeights() [14]float64 {
	const half, beta = 13, 0.1102 * (60 - 8.7)
	var h [half + 1]float64
	sum := 0.0
	for n := range h {
		kaiser := bessel0(beta*math.Sqrt(1-float64(n*n)/float64((half+1)*(half+1)))) / bessel0(beta)
		switch {
		case n == 0:
			h[n] = 0.5
			sum += h[n]
		case n%2 == 1:
			h[n] = math.Sin(math.Pi*float64(n)/2) / (math.Pi * float64(n)) * kaiser
			sum += 2 * h[n]
		}
	}
	floats.Scale(1/sum, h[:])
	return h
}

// bessel0 is the modified Bessel function of order 0 by its power series (Abramowitz and
// Stegun 9.6.12), good to 1e-12 for the x below 10 used here.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1; k < 40; k++ {
		term *= x * x / 4 / float64(k*k)
		sum += term
	}
	return sum
}

// level is one step of the pyramid: times in s, oldest first, and one column an axis.
type level struct {
	t []float64
	x [3][]float64
	// next is the index in this level's t of the next sample to become the middle of the
	// halving filter.
	next int
}

// add appends one sample of n axes.
func (l *level) add(t float64, x *[3]float64, n int) {
	l.t = append(l.t, t)
	for i := range n {
		l.x[i] = append(l.x[i], x[i])
	}
}

// empty drops everything.
func (l *level) empty() {
	l.t, l.next = l.t[:0], 0
	for a := range l.x {
		l.x[a] = l.x[a][:0]
	}
}

// dropRepeats drops the rows of n axes that equal the one before.
func (l *level) dropRepeats(n int) {
	kept := 0
	for i := range l.t {
		same := kept > 0
		for a := range n {
			same = same && l.x[a][i] == l.x[a][kept-1]
		}
		if same {
			continue
		}
		l.t[kept] = l.t[i]
		for a := range n {
			l.x[a][kept] = l.x[a][i]
		}
		kept++
	}
	l.t = l.t[:kept]
	for a := range n {
		l.x[a] = l.x[a][:kept]
	}
}

// forget drops what is older than before, in s, when that is at least half of what is
// held, so that the copying costs one move a sample.
func (l *level) forget(before float64) {
	k := firstAfter(l.t, before)
	if k < len(l.t)-k || k < 256 {
		return
	}
	l.t = l.t[:copy(l.t, l.t[k:])]
	for i := range l.x {
		if len(l.x[i]) > k {
			l.x[i] = l.x[i][:copy(l.x[i], l.x[i][k:])]
		}
	}
	l.next = max(l.next-k, 0)
}

// halve filters what has come since the last call into out, every second sample. dt is
// the usual interval of l in s. The times are filtered like the values, so a sample that
// came late counts where it was taken. Up to three missing samples in a row are bridged by a
// straight line for the filter's sake; where more are missing nothing is put out.
func (l *level) halve(out *level, n int, dt float64) {
	const half = len(halfband) - 1
	l.next = max(l.next, half)
	for ; l.next+half < len(l.t); l.next += 2 {
		from := l.next
		for l.next+half < len(l.t) && math.Abs(l.t[l.next+half]-l.t[l.next-half]-float64(2*half)*dt) <= 0.8*dt {
			l.next += 2
		}
		out.t = weigh(out.t, l.t, from, l.next)
		for i := range n {
			out.x[i] = weigh(out.x[i], l.x[i], from, l.next)
		}
		if l.next+half >= len(l.t) {
			break
		}
		if x, ok := l.bridge(l.next, n, dt); ok {
			out.add(l.t[l.next], &x, n)
		}
	}
}

// bridge filters around sample c as if samples stood every dt, interpolated where they
// do not.
func (l *level) bridge(c, n int, dt float64) (x [3]float64, ok bool) {
	at := c - len(halfband) + 1
	for k := 1 - len(halfband); k < len(halfband); k++ {
		h := halfband[max(k, -k)]
		if h == 0 {
			continue
		}
		t := l.t[c] + float64(k)*dt
		for at < c+len(halfband)-2 && l.t[at+1] <= t {
			at++
		}
		gap := l.t[at+1] - l.t[at]
		if gap > 4.5*dt || l.t[at] > t+dt/2 {
			return x, false
		}
		w := max(0, min(1, (t-l.t[at])/gap))
		for i := range n {
			x[i] += h * (l.x[i][at] + w*(l.x[i][at+1]-l.x[i][at]))
		}
	}
	return x, true
}

// weigh appends to out the sums of v about every second place of those from one up to another, by the weights of halfband. It makes two
// of each, as each addition waits for the one before.
func weigh(out, v []float64, from, to int) []float64 {
	h := &halfband
	h0, h1, h3, h5, h7, h9, h11, h13 := h[0], h[1], h[3], h[5], h[7], h[9], h[11], h[13] // in registers a quarter less time
	for c := from; c < to; c += 2 {
		w := (*[2*len(halfband) - 1]float64)(v[c-len(halfband)+1:])
		sum := h0*w[13] + h3*(w[10]+w[16]) + h7*(w[6]+w[20]) + h11*(w[2]+w[24])
		other := h1*(w[12]+w[14]) + h5*(w[8]+w[18]) + h9*(w[4]+w[22]) + h13*(w[0]+w[26])
		out = append(out, sum+other)
	}
	return out
}

// firstAfter returns the index of the first time after s in the rising t.
func firstAfter(t []float64, s float64) int {
	lo, hi := 0, len(t)
	for lo < hi {
		if mid := (lo + hi) / 2; t[mid] > s {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

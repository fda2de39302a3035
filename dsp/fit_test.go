package dsp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// newFit prepares a fit of the line near f with its multiples below half the rate.
func newFit(t []float64, x [][]float64, f, rate float64) *fit {
	s := &fit{t: t, x: x, f: f, weight: [3]float64{1, 1, 1}, steers: [maxTooth + 1]bool{1: true}}
	for k := 1; k <= maxMultiple && float64(k)*f < 0.45*rate; k++ {
		s.ks = append(s.ks, k)
	}
	return s
}

// trial is one kind of record of a line in noise.
type trial struct {
	f, seconds, db, rate float64 // Hz, s, signal to noise of the first axis, Hz
	axes                 int
	drift, jitter        float64 // Hz/s, share of the interval
	colour               float64 // of each noise sample that stays in the next
}

// outcome gathers errors over many records, in units of the Cramér-Rao bound.
type outcome struct{ speedRMS, speedBias, ampRMS, ampBias, speedIn, ampIn float64 }

func (c trial) run(t *testing.T, seed uint64, trials int) (o outcome) {
	r := rand.New(rand.NewPCG(seed, 2))
	n := int(c.seconds * c.rate)
	sigma := 1 / math.Sqrt2 / math.Pow(10, c.db/20)
	share := []float64{1, 0.5, 0.2} // of each axis in the amplitude
	power := 0.0
	for a := range c.axes {
		power += share[a] * share[a]
	}
	for range trials {
		times, x, p, mid := c.record(r, n, sigma, share)
		s := newFit(times, x, c.f+0.1/c.seconds*(2*r.Float64()-1), c.rate)
		require.True(t, s.run(false))
		amp, _ := worst(p, [3]float64{})
		got, se := s.amplitude(1)
		speed := s.f - (c.f + c.drift*(s.middle-mid))
		o.speedRMS += speed * speed
		o.speedBias += speed
		o.ampRMS += (got - amp) * (got - amp)
		o.ampBias += got - amp
		o.speedIn += b2f(math.Abs(speed) < 2*math.Sqrt(s.fVar))
		o.ampIn += b2f(math.Abs(got-amp) < 2*se)
	}
	// Kay, Fundamentals of Statistical Signal Processing: Estimation Theory (1993), example 3.14
	// (from memory): var A ≥ 2σ²/N, var f ≥ 12/((2π)²·η·N(N²−1)) cycles a sample, η = A²/2σ²,
	// for axes with noise of their own Σ A². The worst direction of an ellipse has the
	// bound of one axis.
	nn, m := float64(n), float64(trials)
	speedBound := c.rate * math.Sqrt(12/(4*math.Pi*math.Pi*power/(2*sigma*sigma)*nn*(nn*nn-1)))
	ampBound := math.Sqrt(2 * sigma * sigma / nn)
	return outcome{math.Sqrt(o.speedRMS/m) / speedBound, o.speedBias / m / speedBound,
		math.Sqrt(o.ampRMS/m) / ampBound, o.ampBias / m / ampBound, o.speedIn / m, o.ampIn / m}
}

func (c trial) record(r *rand.Rand, n int, sigma float64, share []float64) (t []float64, x [][]float64, p [3]complex128, mid float64) {
	t, x = make([]float64, n), make([][]float64, c.axes)
	for i := range t {
		t[i] = (float64(i) + c.jitter*r.NormFloat64()) / c.rate
	}
	mid = (t[0] + t[n-1]) / 2
	phase := 2 * math.Pi * r.Float64()
	for a := range x {
		x[a] = make([]float64, n)
		sin, cos := math.Sincos(phase + 0.8*float64(a))
		p[a] = complex(share[a]*cos, share[a]*sin)
		noise := 0.0
		for i, u := range t {
			noise = c.colour*noise + math.Sqrt(1-c.colour*c.colour)*sigma*r.NormFloat64()
			sin, cos := math.Sincos(2 * math.Pi * (c.f*(u-mid) + c.drift/2*(u-mid)*(u-mid)))
			x[a][i] = 9.8 + real(p[a])*cos - imag(p[a])*sin + noise
		}
	}
	return t, x, p, mid
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// TestCramerRao holds the fit against the bound that the noise sets: rms error at most 1.15
// of it, bias at most a tenth. With 1000 records an rms is known to 2.2 %, a mean to 0.032.
func TestCramerRao(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("statistics of thousands of records; nothing runs at once here for a race detector to see")
	}
	const trials, chance = 1000, 3 * 0.032
	for i, c := range []trial{
		{f: 10, seconds: 1, db: 10, rate: 200, axes: 3},
		{f: 10, seconds: 2, db: 20, rate: 200, axes: 3},
		{f: 2, seconds: 4, db: 20, rate: 100, axes: 1},
		{f: 40, seconds: 1, db: 0, rate: 800, axes: 1},
		{f: 40, seconds: 1, db: 40, rate: 400, axes: 3},
		{f: 12, seconds: 4, db: 5, rate: 60, axes: 3, jitter: 0.2},
		{f: 10, seconds: 1, db: 30, rate: 200, axes: 3, drift: 1},
	} {
		t.Run(fmt.Sprintf("%+v", c), func(t *testing.T) {
			t.Parallel()
			o := c.run(t, uint64(i), trials)
			t.Logf("%+v", o)
			assert.LessOrEqual(t, o.speedRMS, 1.15)
			assert.LessOrEqual(t, o.ampRMS, 1.15)
			assert.LessOrEqual(t, math.Abs(o.speedBias), 0.1+chance)
			assert.LessOrEqual(t, math.Abs(o.ampBias), 0.1+chance)
		})
	}
}

// TestStandardErrors asks whether the truth lies within two standard errors as often as it
// should, 95.4 % of the time, in white noise and in coloured. A thousand records of each
// kind know the share to 0.7 %, all together to 0.3 %.
func TestStandardErrors(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("statistics of thousands of records; nothing runs at once here for a race detector to see")
	}
	kinds := []trial{
		{f: 10, seconds: 1, db: 15, rate: 200, axes: 3},
		{f: 5, seconds: 2, db: 20, rate: 200, axes: 3},
		{f: 30, seconds: 1, db: 10, rate: 400, axes: 2},
		{f: 10, seconds: 2, db: 10, rate: 200, axes: 3, colour: 0.8},
		{f: 20, seconds: 1, db: 15, rate: 400, axes: 3, colour: 0.9},
		{f: 12, seconds: 4, db: 10, rate: 60, axes: 3, jitter: 0.1},
	}
	speed, amp := 0.0, 0.0
	for i, c := range kinds {
		o := c.run(t, uint64(100+i), 1000)
		t.Logf("%+v: speed %.3f, amplitude %.3f", c, o.speedIn, o.ampIn)
		speed, amp = speed+o.speedIn/float64(len(kinds)), amp+o.ampIn/float64(len(kinds))
	}
	assert.InDelta(t, 0.95, speed, 0.02)
	assert.InDelta(t, 0.95, amp, 0.02)
}

// TestMisfit: a line in white noise leaves more beside itself than misfits standard errors as rarely in a short window, in which few
// bins are left between its multiples, as in a long one.
func TestMisfit(t *testing.T) {
	t.Parallel()
	for _, c := range []trial{
		{f: 7, seconds: 0.8, db: 23, rate: 250, axes: 3}, {f: 13, seconds: 0.5, db: 23, rate: 500, axes: 3},
		{f: 50, seconds: 0.5, db: 23, rate: 1000, axes: 3}, {f: 10, seconds: 4, db: 23, rate: 250, axes: 3},
	} {
		t.Run(fmt.Sprintf("%g Hz, %g s", c.f, c.seconds), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(1, 2))
			const records = 1500
			over := 0.0
			for range records {
				times, x, _, _ := c.record(r, int(c.seconds*c.rate), 0.05, []float64{1, 0.5, 0.2})
				s := newFit(times, x, c.f, c.rate)
				s.ks = []int{1, 2, 3}
				require.True(t, s.run(false))
				over += b2f(s.misfit > misfits)
			}
			assert.InDelta(t, 5, 100*over/records, 2.5, "%% of records")
		})
	}
}

// TestPrintedSine repeats the example printed with M. Balda's sinfapm (MATLAB Central File
// Exchange 19902): five samples at 10 Hz of 2·sin(2π·4·t + 0.75).
func TestPrintedSine(t *testing.T) {
	t.Parallel()
	s := &fit{t: []float64{0, 0.1, 0.2, 0.3, 0.4}, x: [][]float64{{1.3633, -0.2428, -0.9705, 1.8130, -1.9631}}, f: 4, ks: []int{1}}
	s.tau, s.span, s.middle = s.t, 0.5, 0 // phase at the first sample
	require.True(t, s.solve())
	re, im := real(s.phasor[1][0]), imag(s.phasor[1][0])
	const printed = 2e-4 // the samples have four decimals, and a slope is fitted too
	assert.InDelta(t, 2, math.Hypot(re, im), printed)
	assert.InDelta(t, 0.75, math.Atan2(re, -im), printed) // Re(p·e^{iωt}) = sin(ωt + atan2(re, −im))·|p|
	assert.InDelta(t, 0, s.coef[0][0], printed)
}

// TestNeighbour parts two lines 0.7 Hz apart in 4 s, the second three times as large: it
// must not bend the first.
func TestNeighbour(t *testing.T) {
	t.Parallel()
	const n, rate = 800, 200.0
	times, x := make([]float64, n), make([]float64, n)
	for i := range times {
		times[i] = float64(i) / rate
		x[i] = math.Cos(2*math.Pi*10*times[i]) + 3*math.Cos(2*math.Pi*10.7*times[i]+1)
	}
	s := newFit(times, [][]float64{x}, 10.05, rate)
	s.foreign = []float64{10.75}
	require.True(t, s.run(false))
	amp, _ := worst(s.phasor[1], [3]float64{})
	const exact = 1e-6 // no noise: what is left is where the steps stop
	assert.InDelta(t, 10, s.f, exact)
	assert.InDelta(t, 1, amp, exact)
	assert.InDelta(t, 10.7, s.foreign[0], exact)
}

// TestWorst compares the worst direction with a search over all directions.
func TestWorst(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 5))
	for range 50 {
		var p [3]complex128
		for i := range p {
			p[i] = complex(r.NormFloat64(), r.NormFloat64())
		}
		most := 0.0
		for k := range 20000 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / 20000)
			size := 0.0
			for _, c := range p {
				v := real(c)*cos - imag(c)*sin
				size += v * v
			}
			most = max(most, math.Sqrt(size))
		}
		got, _ := worst(p, [3]float64{})
		assert.InDelta(t, most, got, 1e-6*most) // the search stops 0.01° from the extreme
	}
}

func BenchmarkFit(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	const n, rate = 500, 250.0
	t, x := make([]float64, n), [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := range t {
		t[i] = float64(i) / rate
		for a := range x {
			x[a][i] = math.Cos(2*math.Pi*10*t[i]) + 0.1*r.NormFloat64()
		}
	}
	s := newFit(t, x, 10.01, rate)
	b.ReportAllocs()
	for b.Loop() {
		s.f, s.drift = 10.01, 0
		s.run(true)
	}
}

// TestFitArrives: a fit that goes on from where one ended changes nothing that its standard errors would show.
func TestFitArrives(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	for range 300 {
		const f, rate, little = 10.0, 250.0, 0.2 // standard errors: two of a tenth each, of the step left out and the one before
		noise, x := math.Pow(10, -2*r.Float64()), [][]float64{nil, nil, nil}
		seconds := 0.8 + 3*r.Float64()
		var times []float64
		for i := range int(seconds * rate) {
			u := float64(i) / rate
			times = append(times, u)
			for a := range x {
				p := 2*math.Pi*f*u + float64(a)
				x[a] = append(x[a], math.Cos(p)+0.2*math.Cos(2*p)+noise*r.NormFloat64())
			}
		}
		s := newFit(times, x, f+0.06*(2*r.Float64()-1)/seconds, rate)
		require.True(t, s.run(true))
		g, bend, se := s.f, s.drift, s.variance()
		amp, _ := s.amplitude(1)
		s.weight = [3]float64{1, 1, 1}
		require.True(t, s.run(true))
		again, _ := s.amplitude(1)
		assert.InDelta(t, s.f, g, little*math.Sqrt(s.fVar), "Hz, noise of %g", noise)
		assert.InDelta(t, s.drift, bend, little*math.Sqrt(s.driftVar), "Hz/s, noise of %g", noise)
		assert.InDelta(t, again, amp, little*math.Sqrt(se[0]), "m/s², noise of %g", noise)
	}
}

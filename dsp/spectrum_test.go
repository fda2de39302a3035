package dsp

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/mjibson/go-dsp/spectral"
	"github.com/mjibson/go-dsp/window"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

func cosine(n int, rate, f, amp float64) (t, x []float64) {
	t, x = make([]float64, n), make([]float64, n)
	for i := range t {
		t[i] = float64(i) / rate
		x[i] = amp * math.Cos(2*math.Pi*f*t[i]+0.3)
	}
	return t, x
}

// TestSciPy compares power spectral densities with SciPy's welch (1.10.1), one segment,
// periodic Hann window, linear trend removed. testdata/spectrum.py made the numbers.
func TestSciPy(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("testdata/spectrum.json")
	require.NoError(t, err)
	var cases []struct {
		Rate, DF float64
		N, Every int
		Density  []float64
	}
	require.NoError(t, json.Unmarshal(data, &cases))
	require.NotEmpty(t, cases)
	for _, c := range cases {
		times, x := make([]float64, c.N), make([]float64, c.N)
		for i := range times {
			u := float64(i) / c.Rate
			times[i] = u
			x[i] = 9.8 + 0.3*u + 1.5*math.Cos(2*math.Pi*0.1013*c.Rate*u+0.4) + 0.2*math.Cos(2*math.Pi*0.2531*c.Rate*u)
		}
		var power [3][]float64
		df := new(spectrum).density(times, [][]float64{x}, c.Rate, 1e-6, &power)
		assert.InDelta(t, c.DF, df, 1e-9)
		top := slices.Max(c.Density)
		for k, want := range c.Density {
			if k == 0 || k*c.Every == c.N/2 {
				continue // one-sided: SciPy does not double 0 and half the rate; lines are sought in between
			}
			assert.InDelta(t, want, power[0][k*c.Every], 1e-9*top, "%g Hz", float64(k*c.Every)*df)
		}
	}
}

// TestGoDSP compares with go-dsp's Pwelch, an independent transform and window.
func TestGoDSP(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	const n, rate = 1024, 400.0
	times, x := cosine(n, rate, 51.3, 2)
	for i := range x {
		x[i] += 0.5 * r.NormFloat64()
	}
	mean, slope := stat.LinearRegression(times, x, nil, false)
	flat := make([]float64, n)
	for i := range x {
		flat[i] = x[i] - mean - slope*times[i] // Pwelch removes nothing
	}
	periodic := func(n int) []float64 { return window.Hann(n + 1)[:n] }
	want, freqs := spectral.Pwelch(flat, rate, &spectral.PwelchOptions{NFFT: n, Window: periodic})
	var power [3][]float64
	df := new(spectrum).density(times, [][]float64{x}, rate, 1e-6, &power)
	assert.InDelta(t, freqs[1], df, 1e-9)
	top := slices.Max(want)
	for k := 1; k < n/2; k++ {
		assert.InDelta(t, want[k], power[0][k], 1e-9*top)
	}
}

// TestHann checks the figures of the window: mean square of a line kept, scalloping
// 1.4236 dB, 1.5 bins of noise bandwidth (Harris, Proc. IEEE 66 (1978), Table 1: 1.42 dB, 1.50;
// closed form 20·lg(8/3π)).
func TestHann(t *testing.T) {
	t.Parallel()
	const n, rate = 4096, 1024.0
	peak := func(bin float64) (top, sum, df float64) {
		times, x := cosine(n, rate, bin*rate/n, 1)
		var power [3][]float64
		df = new(spectrum).density(times, [][]float64{x}, rate, 1e-6, &power)
		for _, p := range power[0] {
			sum += p * df
		}
		return slices.Max(power[0]), sum, df
	}
	on, sum, df := peak(400)
	between, _, _ := peak(400.5)
	assert.InDelta(t, 0.5, sum, 1e-6, "mean square of a sine of amplitude 1")
	assert.InDelta(t, 1.5, 0.5/(on*df), 1e-4, "noise bandwidth in bins")
	assert.InDelta(t, 1.4236, 10*math.Log10(on/between), 1e-3, "scalloping in dB")
}

// TestUneven spreads jittered samples over a grid: a line keeps its place, and its power
// within 10 %: uneven weights let the line's mirror image at −f in, here with 3.4 % rms
// (1.22/√480·2 of the power, of which 0.3 is not cancelled), and the grid takes 1.6 %.
func TestUneven(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	const n, rate = 480, 120.0
	times, x := make([]float64, n), make([]float64, n)
	for i := range times {
		times[i] = (float64(i) + 0.2*r.NormFloat64()) / rate
		x[i] = math.Cos(2 * math.Pi * 15 * times[i])
	}
	var power [3][]float64
	df := new(spectrum).density(times, [][]float64{x}, rate, 1e-6, &power)
	at := 0
	for k, p := range power[0][:int(50/df)] {
		if p > power[0][at] {
			at = k
		}
	}
	assert.InDelta(t, 15, float64(at)*df, df)
	sum := 0.0
	for k := at - 4; k <= at+4; k++ {
		sum += power[0][k] * df
	}
	assert.InDelta(t, 0.5, sum, 0.1*0.5)
}

// TestWhiten: noise of any strength becomes 1 an axis, whatever stands in it.
func TestWhiten(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 6))
	const n, rate = 4000, 500.0
	times, a := cosine(n, rate, 40, 5)
	b := make([]float64, n)
	for i := range a {
		a[i] += 0.3 * r.NormFloat64()
		b[i] = 0.01 * r.NormFloat64()
	}
	var s spectrum
	l := &look{axes: 2, seconds: n / rate}
	l.df = s.density(times, [][]float64{a, b}, rate, 1e-6, &l.power)
	s.whiten(l, 10/l.seconds, 250)
	sum := 0.0
	from, to := int(80/l.df), int(200/l.df)
	for _, z := range l.z[from:to] {
		sum += z
	}
	// 960 bins, correlated over 1.5: the mean of two axes is 2 ± 0.06, and the quartile
	// reads a little low in so few bins.
	assert.InDelta(t, 2, sum/float64(to-from), 0.25)
	assert.Greater(t, l.at(40, 1), 1e4)
}

func TestSmooth(t *testing.T) {
	t.Parallel()
	naive := func(n int) int {
		for ; ; n++ {
			m := n
			for _, p := range []int{2, 3, 5} {
				for m%p == 0 {
					m /= p
				}
			}
			if m == 1 && n%2 == 0 {
				return n
			}
		}
	}
	for n := 2; n < 3000; n++ {
		require.Equal(t, naive(n), smooth(n), n)
	}
}

func TestMedian(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	for range 500 {
		v := make([]float64, 1+r.IntN(50))
		for i := range v {
			v[i] = float64(r.IntN(20))
		}
		want := slices.Sorted(slices.Values(v))
		require.Equal(t, want[len(v)/2], median(slices.Clone(v)))
	}
}

// TestQuartiles: the histogram that slides says what sorting says, within its buckets of 1/16
// octave.
func TestQuartiles(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(9, 9))
	var s rank
	for range 50 {
		p := make([]float64, 40+r.IntN(200))
		for i := range p {
			p[i] = math.Exp(40*r.Float64() - 30)
		}
		half := 5 + r.IntN(40)
		q := make([]float64, len(p)-r.IntN(30))
		s.quartiles(p, q, half)
		for k, got := range q {
			want := slices.Sorted(slices.Values(p[max(1, k-half):min(k+half+1, len(p))]))
			require.InEpsilon(t, want[len(want)/4], got, 1.0/16, "%d of %d", k, len(p))
		}
		require.Zero(t, s.count)
	}
}

// TestHalving checks the filter's response: flat within 0.1 % up to the passband, and 60 dB
// down where images of it lie. Bessel function against Abramowitz and Stegun, Table 9.8.
func TestHalving(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, 1.2660658778, bessel0(1), 1e-9)
	assert.InDelta(t, 27.2398718236, bessel0(5), 1e-8)
	response := func(f float64) float64 { // f in cycles a sample of the slower rate
		sum := halfband[0]
		for n := 1; n < len(halfband); n++ {
			sum += 2 * halfband[n] * math.Cos(math.Pi*f*float64(n))
		}
		return sum
	}
	for f := 0.0; f <= passband; f += 0.005 {
		assert.InDelta(t, 1, response(f), 1.1e-3, "%g", f)
		assert.InDelta(t, 0, response(1-f), 1.1e-3, "%g", 1-f)
	}
	assert.InDelta(t, 0.1, response(fading), 0.01)
}

// TestWeigh: what is written out is the sum over all weights.
func TestWeigh(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 9))
	const half = len(halfband) - 1
	v := make([]float64, 40)
	for i := range v {
		v[i] = r.NormFloat64()
	}
	for c := half; c+half < len(v); c++ {
		sum := 0.0
		for k := -half; k <= half; k++ {
			sum += halfband[max(k, -k)] * v[c+k]
		}
		assert.InDelta(t, sum, weigh(nil, v, c, c+1)[0], 1e-14, c)
	}
}

// TestBridge: a few missing samples bend a slow line on the pyramid by less than 1 %.
func TestBridge(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 8))
	const rate = 1000.0
	var base, out level
	for i := range 4000 {
		if r.Float64() > 0.05 {
			u := float64(i) / rate
			base.add(u, &[3]float64{math.Cos(2 * math.Pi * 15 * u)}, 1)
		}
	}
	base.halve(&out, 1, 1/rate)
	require.Greater(t, len(out.t), 1700)
	for i, u := range out.t {
		assert.InDelta(t, math.Cos(2*math.Pi*15*u), out.x[0][i], 0.01)
	}
}

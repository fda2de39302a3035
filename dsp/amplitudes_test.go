package dsp_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/dsp"
)

// A sine on a bin reads its own amplitude, whatever gravity and drift there are beside it; all
// axes together are the root of the sum of their squares.
func TestAmplitudes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(60, 3200).Draw(t, "rate")
		n := rapid.SampledFrom([]int{200, 240, 400, 480, 1000, 1440, 3200}).Draw(t, "n") // lengths that are not padded
		bin := rapid.IntRange(n/10, n/3).Draw(t, "bin")
		a, b := rapid.Float64Range(0.01, 20).Draw(t, "a"), rapid.Float64Range(0.01, 20).Draw(t, "b")
		phase := rapid.Float64Range(0, 2*math.Pi).Draw(t, "phase")
		times, x, y := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range times {
			times[i] = float64(i) / rate
			p := 2 * math.Pi * float64(bin) * float64(i) / float64(n)
			x[i], y[i] = a*math.Cos(p+phase), 9.81+b*math.Sin(p+2*phase)
		}
		df, amp := dsp.Amplitudes(times, [][]float64{x, y})
		k := int(math.Round(float64(bin) * rate / float64(n) / df))
		want := math.Hypot(a, b)
		if got := amp[k]; math.Abs(got/want-1) > 1e-4 { // the slope that is taken out has a little of the sine in it
			t.Fatalf("%g at %g Hz, want %g", got, float64(k)*df, want)
		}
	})
}

// Uneven times, as a phone's, and a gap keep the line where it is and about as high.
func TestAmplitudesUneven(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	var times, x []float64
	for i := range 240 {
		if u := (float64(i) + 0.6*rng.Float64()) / 60; i < 100 || i > 103 {
			times, x = append(times, u), append(x, 9.8+0.9*math.Sin(2*math.Pi*12*u))
		}
	}
	df, amp := dsp.Amplitudes(times, [][]float64{x})
	best := 0
	for k, v := range amp {
		if v > amp[best] {
			best = k
		}
	}
	assert.InDelta(t, 12, float64(best)*df, df)
	assert.Less(t, amp[best], 0.9)
	// Scallop loss, the four samples of 240 that are missing, and what spreading over a finer
	// grid costs at a fifth of the rate (density).
	assert.Greater(t, amp[best], 0.9*math.Pow(10, -1.42/20)*236/240*math.Sqrt(1-0.016))
}

// TestAmplitudesSciPy compares with SciPy's welch (1.10.1), one segment, periodic Hann window,
// linear trend removed: its density times the noise bandwidth is half the amplitude squared.
func TestAmplitudesSciPy(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("testdata/spectrum.json")
	require.NoError(t, err)
	var cases []struct {
		Rate, DF float64
		N, Every int
		Density  []float64
	}
	require.NoError(t, json.Unmarshal(data, &cases))
	for _, c := range cases {
		times, x := make([]float64, c.N), make([]float64, c.N)
		for i := range times {
			u := float64(i) / c.Rate
			times[i] = u
			x[i] = 9.8 + 0.3*u + 1.5*math.Cos(2*math.Pi*0.1013*c.Rate*u+0.4) + 0.2*math.Cos(2*math.Pi*0.2531*c.Rate*u)
		}
		df, amp := dsp.Amplitudes(times, [][]float64{x})
		assert.InDelta(t, c.DF, df, 1e-9)
		for k, density := range c.Density {
			if at := k * c.Every; at > 0 && at != c.N/2 {
				assert.InDelta(t, math.Sqrt(2*density*1.5*c.Rate/float64(c.N)), amp[at], 1e-6)
			}
		}
	}
}

func TestAmplitudesRefuses(t *testing.T) {
	t.Parallel()
	few := make([]float64, 23)
	_, amp := dsp.Amplitudes(few, [][]float64{few})
	assert.Empty(t, amp)
	assert.Panics(t, func() { dsp.Amplitudes(few, nil) })
	assert.Panics(t, func() { dsp.Amplitudes(few, [][]float64{few[1:]}) })
	assert.Panics(t, func() { dsp.Amplitudes(few, [][]float64{few, few, few, few}) })
}

package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/dsp"
)

// TestRounded: 11.1 Hz on three axes, felt 60 times a second by a sensor that rounds to steps: what is given as a
// number is the line before the rounding, and a line that the steps hide is none.
func TestRounded(t *testing.T) {
	t.Parallel()
	const step = 0.1 // m/s²
	for _, noise := range []float64{0.02, 0.05, 0.15, 0.3} {
		for _, size := range []float64{0.6, 1, 1.5, 3, 5, 10} {
			t.Run(fmt.Sprintf("%g steps, noise %g", size, noise), func(t *testing.T) {
				t.Parallel()
				r := rand.New(rand.NewPCG(1, 5))
				all, ok, off := 0, 0, 0
				for range 10 {
					tr := &dsp.Tracker{Hint: 11.3}
					rest := [3]float64{r.Float64(), r.Float64(), 98 + r.Float64()} // steps
					start := 2 * math.Pi * r.Float64()
					for i := range 480 {
						u := float64(i)/60 + 0.0005*r.NormFloat64()
						turn := 2*math.Pi*11.1*u + start
						felt := func(v float64) []float64 { return []float64{step * math.Round(v+noise*r.NormFloat64())} }
						for _, v := range tr.Add([]float64{u}, [][]float64{felt(rest[0] + size*math.Cos(turn)),
							felt(rest[1] + 0.5*size*math.Sin(turn)), felt(rest[2] + 0.1*size*math.Cos(turn))}) {
							all++
							if v.OK {
								ok++
								if want := step * size * math.Hypot(1, 0.1); math.Abs(v.Amp/want-1) > 0.05 {
									off++
								}
							}
						}
					}
				}
				assert.LessOrEqual(t, off, all/20, "of %d with a number more than 5 %% off", ok)
				if size >= 3 {
					assert.Greater(t, ok, all*9/10)
				}
			})
		}
	}
}

// TestDithered: a line little larger than a step, felt often and with noise that dithers the steps, is a number, though the
// fit goes by means of many samples, in which hardly any of that noise is left. Without the noise it is none.
func TestDithered(t *testing.T) {
	t.Parallel()
	for _, noise := range []float64{0, 0.8} { // steps, standard deviation of a sample
		r := rand.New(rand.NewPCG(2, 5))
		all := feed(&dsp.Tracker{Hint: 6.5}, 1600, 0, 10, func(u float64) float64 {
			return 0.1 * math.Round(1.3*math.Cos(2*math.Pi*6.4*u)+0.3+noise*r.NormFloat64())
		})
		if noise == 0 {
			assert.Zero(t, share(all, isOK))
			continue
		}
		assert.Greater(t, share(all, isOK), 0.8)
		assert.InEpsilon(t, 0.13, all[len(all)-1].Amp, 0.05)
	}
}

// TestTurnsAllAlike: of samples so coarse that they change at one place of the turn alone, those that repeat pass for a slow
// sensor's, read too often. Between what is left any lines fit, thousands of times larger than what they leave of each other: that
// is no reading.
func TestTurnsAllAlike(t *testing.T) {
	t.Parallel()
	const rate, f, step = 200.0, 4.0, 0.6
	r := rand.New(rand.NewPCG(5, 3))
	var times []float64
	x := make([][]float64, 2)
	for i := range 6 * int(rate) {
		u := float64(i) / rate
		v := 0.2 * math.Cos(2*math.Pi*f*u)
		if into := math.Mod(u*f, 1) / f; into < 0.02 {
			v += 4 * math.Sin(math.Pi*into/0.02)
		}
		times = append(times, u)
		for a, v := range [2]float64{v, 9.8} {
			x[a] = append(x[a], math.Round((v+0.02*r.NormFloat64())/step)*step)
		}
	}
	revolutions := (&dsp.Tracker{Hint: 1.02 * f, Low: 3}).Add(times, x)
	require.NotEmpty(t, revolutions)
	for _, v := range revolutions {
		assert.Less(t, v.Amp, 4.6, "at %g s: more than the samples hold", v.Time)
		if v.OK {
			assert.InEpsilon(t, f, v.Freq, 0.004, "at %g s", v.Time)
		}
	}
}

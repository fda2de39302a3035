package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

// TestUneven: samples that stray from an even grid, or are missing, hardly cost a reading: what they spread of a strong line over
// the spectrum is no rival of it, jitter is no gap, and another line a twentieth as strong is still one.
func TestUneven(t *testing.T) {
	t.Parallel()
	uneven := func(jitter, missing float64) *sensor.Simulated {
		s := lathe(45.5)
		s.Imbalance *= 10
		s.Chip = sensor.Chip{Rate: 200, Noise: 1e-4, Jitter: jitter, Missing: missing}
		return s
	}
	for _, c := range []struct{ jitter, missing float64 }{{0.19, 0}, {0, 0.05}, {0.19, 0.05}} {
		for _, dial := range []float64{0, 46.5} {
			all := follow(t, &dsp.Tracker{Hint: dial}, uneven(c.jitter, c.missing))
			assert.Greater(t, share(all, isOK), 0.9, "%v, dial %g", c, dial)
			if c.missing == 0 {
				assert.Zero(t, share(all, has(dsp.Gap)), "%v, dial %g", c, dial)
			}
		}
		s := uneven(c.jitter, c.missing)
		s.Lines = []sensor.Line{{Hz: 48, Ratio: [3]complex128{0.08, 0.08, 0}}}
		all := follow(t, &dsp.Tracker{Hint: 46.5}, s)
		assert.Greater(t, share(all, func(v dsp.Revolution) bool { return v.Has(dsp.Doubtful) }), 0.8, "%v", c)
	}
}

// TestBursts: times that stand a microsecond apart, if there were three at once, and else milliseconds, have no usual
// interval, and nothing is made of one.
func TestBursts(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	tr := &dsp.Tracker{}
	readings, now := 0, 0.0
	for range 2000 {
		now += 0.0075 * r.ExpFloat64()
		var times, x []float64
		for range 3 {
			now += 1e-6
			times, x = append(times, now), append(x, math.Cos(2*math.Pi*10*now)+0.01*r.NormFloat64())
		}
		for _, v := range tr.Add(times, [][]float64{x}) {
			readings++
			assert.False(t, v.OK)
			assert.True(t, v.Has(dsp.Gap), "%v", v.Faults)
		}
	}
	assert.Greater(t, readings, 40)
}

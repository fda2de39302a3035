package dsp_test

import (
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

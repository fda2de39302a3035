package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// A spindle at 600 rpm that moves the headstock with 2 mm/s rms stands in the spectrum at 600
// with 2: v = a/ω.
func TestSpectrumOf(t *testing.T) {
	t.Parallel()
	const w = 2 * math.Pi * 10
	times, x := make([]float64, 1600), make([]float64, 1600)
	for i := range times {
		times[i] = float64(i) / 400
		x[i] = 9.81 + 2e-3*math.Sqrt2*w*math.Sin(w*times[i])
	}
	s := assess.SpectrumOf(times, [][]float64{x}, 6000)
	assert.InDelta(t, 15, float64(s.Step), 1e-9)
	assert.InDelta(t, 60, float64(s.First), 1e-9)
	require.NotEmpty(t, s.Shake)
	last := s.First + s.Step*assess.RPM(len(s.Shake)-1)
	assert.InDelta(t, 6000, float64(last), 15)
	for i, v := range s.Shake {
		switch at := s.First + s.Step*assess.RPM(i); {
		case math.Abs(float64(at)-600) < 1:
			assert.InDelta(t, 2, v, 1e-6)
		case math.Abs(float64(at)-600) > 16: // beside it the window shows half
			assert.Less(t, v, 0.01, at)
		}
	}
	assert.Empty(t, assess.SpectrumOf(times[:10], [][]float64{x[:10]}, 6000).Shake)
}

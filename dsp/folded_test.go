package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// ontoItself feeds 10 s of 12 Hz with a fourth multiple half as strong to a tracker that knows the dial, in 60 samples a
// second, at which the multiple shows at 12 Hz too.
func ontoItself(seed uint64, jitter float64) []dsp.Revolution {
	r := rand.New(rand.NewPCG(seed, 5))
	tr := &dsp.Tracker{Hint: 12.3}
	start := 2 * math.Pi * r.Float64()
	var out []dsp.Revolution
	for i := range 600 {
		u := float64(i)/60 + jitter*r.NormFloat64()
		turn := 2 * math.Pi * 12 * u
		x := math.Cos(turn) + 0.5*math.Cos(4*turn+start) + 0.01*r.NormFloat64()
		out = append(out, tr.Add([]float64{u}, [][]float64{{x}})...)
	}
	return out
}

// TestMultipleOntoItself: a multiple that folds onto the line itself is no number at even times, whatever the phase
// makes of the two, and is told from it by uneven ones.
func TestMultipleOntoItself(t *testing.T) {
	t.Parallel()
	ok, close := 0, 0
	for seed := range uint64(5) {
		for _, v := range ontoItself(seed, 0) {
			assert.False(t, v.OK, "%g Hz, %g m/s² at %g s", v.Freq, v.Amp, v.Time)
		}
		for _, v := range ontoItself(seed, 0.001) {
			if v.OK {
				ok++
				assert.InEpsilon(t, 12, v.Freq, 0.004)
				if math.Abs(v.Amp-1) < 0.05 {
					close++
				}
			}
		}
	}
	assert.Greater(t, ok, 5*20)
	assert.GreaterOrEqual(t, close, ok*95/100)
}

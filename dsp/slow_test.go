package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestSlowBesideOthers: a slow line beside two that are none of its multiples, with a right dial, keeps its long windows, in which it is
// sure: that a short one says another speed is no step.
func TestSlowBesideOthers(t *testing.T) {
	t.Parallel()
	const rate, f = 500, 2.84
	n, ok := 0, 0
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 9))
		tr, turn := &dsp.Tracker{Hint: f}, 0.0
		for i := range 20 * rate {
			u := float64(i) / rate
			turn += 2 * math.Pi * f * (1 + 0.004*math.Sin(2*u)) / rate
			w := 2 * math.Pi * f * u
			x := math.Cos(turn) + 0.4*math.Cos(2*turn+1) + 3.5*math.Cos(3.886*w+2) + 0.14*math.Cos(0.34*w) + 0.2*r.NormFloat64()
			y := 0.3*math.Cos(turn+1) + 0.2*math.Cos(3*turn) + 1.5*math.Cos(3.886*w) + 0.2*r.NormFloat64()
			z := 9.8 + 0.1*math.Sin(turn) + 0.2*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
				if u < 6 {
					continue
				}
				n++
				if v.OK {
					ok++
					assert.InEpsilon(t, f, v.Freq, 0.01, "seed %d at %.2f s", seed, u)
				}
			}
		}
	}
	t.Logf("%d of %d ok", ok, n)
	assert.Greater(t, ok, n*4/10)
}

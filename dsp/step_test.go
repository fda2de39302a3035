package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestStep: after a step in speed there is a number again within eight turns or 0.8 s, whichever is longer, and a
// few readings.
func TestStep(t *testing.T) {
	t.Parallel()
	const at = 8.1 // s
	for _, c := range []struct{ f, to, dial, late float64 }{
		{10, 1.1, 1.04, 0.3}, {20, 1.1, 1.04, 0.3}, {50, 1.1, 1.04, 0.3},
		{10, 1.1, 0, 0.3}, {10, 1.3, 0, 0.3}, {10, 0.8, 0, 0.3}, {20, 1.1, 0, 0.3}, {20, 1.3, 0, 0.3}, {20, 0.8, 0, 0.3},
		{50, 1.1, 0, 0.6}, {50, 1.3, 0, 0.6}, {50, 0.8, 0, 0.6},
		{5, 1.1, 1.04, 1}, {5, 1.1, 0, 0.3}, {5, 1.3, 0, 0.8}, {5, 0.8, 0, 1.4}, // few turns: the speed before stays in sight
	} {
		t.Run(fmt.Sprintf("%g Hz times %g, dial %g", c.f, c.to, c.dial), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(1, 5))
			tr := &dsp.Tracker{Hint: c.f * c.dial}
			turn, first := 0.0, math.Inf(1)
			for i := range 16000 {
				u, f := float64(i)/1000, c.f
				if u > at {
					f *= c.to
				}
				turn += 2 * math.Pi * f / 1000
				x := math.Cos(turn) + 0.2*math.Cos(2*turn) + 0.1*math.Cos(3*turn+1) + 0.05*r.NormFloat64()
				y := 0.5*math.Cos(turn+1) + 0.1*math.Cos(2*turn) + 0.05*r.NormFloat64()
				z := 9.8 + 0.1*math.Sin(turn) + 0.05*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
					if u > at && v.OK && math.Abs(v.Freq/f-1) < 0.004 {
						first = min(first, u-at)
					}
				}
			}
			asked := max(0.8, 8/(c.f*c.to))
			t.Logf("after %.2f s; asked %.2f", first, asked)
			assert.LessOrEqual(t, first, asked+c.late)
		})
	}
}

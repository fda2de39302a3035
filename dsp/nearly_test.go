package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestNearlyAMultiple: a belt or a motor that is nearly a whole multiple of the spindle, or of which the spindle is nearly one, is not
// taken for it, nor does it bend the speed: with the dial's word the speed is right or none is said, with none a doubt is.
func TestNearlyAMultiple(t *testing.T) {
	t.Parallel()
	const rate, f = 400, 25.0 / 3
	for _, c := range []struct{ ratio, amp, dial, spindle float64 }{
		{2.02, 4, 1, 1}, {1.98, 8, 1, 1}, {3.04, 4, 1, 1}, {2.98, 2, 1.02, 1},
		{0.335, 0.5, 0, 2}, {0.335, 2, 0, 2}, {0.495, 1, 0, 2}, {0.505, 2, 0, 2}, {0.33, 1, 0, 2}, {0.255, 2, 0, 2},
	} {
		t.Run(fmt.Sprintf("%g times as fast, %g times as large, dial %g", c.ratio, c.amp, c.dial), func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(3) {
				r := rand.New(rand.NewPCG(seed, 11))
				own, wrong := f*c.spindle, 0
				tr := &dsp.Tracker{Hint: own * c.dial}
				for i := range 15 * rate {
					u := float64(i) / rate
					p, q := 2*math.Pi*own*u, 2*math.Pi*own*c.ratio*u
					x := math.Cos(p) + c.amp*math.Cos(q+1) + 0.05*r.NormFloat64()
					y := 0.5*math.Sin(p) + 0.2*math.Cos(2*p) + 0.6*c.amp*math.Sin(q) + 0.05*r.NormFloat64()
					z := 9.8 + 0.1*math.Cos(3*p) + 0.05*r.NormFloat64()
					for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
						if v.OK && math.Abs(v.Freq/own-1) > 0.004 {
							wrong++
						}
					}
				}
				assert.Zero(t, wrong, "seed %d", seed)
			}
		})
	}
}

package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestFasterThanLookedFor: where nobody knows how fast the lathe can turn, the slower line of two is not the spindle's because the faster
// one (m/s) is beyond what is looked for. On a lathe that cannot turn so fast it is.
func TestFasterThanLookedFor(t *testing.T) {
	t.Parallel()
	const rate, f, belt = 1600, 73.0, 0.826
	for high, want := range map[float64]bool{0: false, 66: true} {
		r := rand.New(rand.NewPCG(1, 11))
		tr, ok := &dsp.Tracker{High: high}, 0
		for i := range 10 * rate {
			u := float64(i) / rate
			w := 2 * math.Pi * f * u
			x := math.Cos(w) + 0.4*math.Cos(belt*w+1) + 0.02*r.NormFloat64()
			y := 0.7*math.Cos(w+1) + 0.2*math.Cos(belt*w) + 0.02*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				if v.OK {
					ok++
					assert.InEpsilon(t, belt*f, v.Freq, 0.002)
				}
			}
		}
		assert.Equal(t, want, ok > 20, "highest %g Hz: %d ok", high, ok)
	}
}

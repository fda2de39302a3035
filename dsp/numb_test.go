package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestNumbAxis: of three axes the one that carries most of the line stands still in the midst of it, at its last value or at
// nothing: from then on there is no number, not the smaller one of the other two. An axis that never said anything is another
// matter, and so is a coarse one on which the line makes no steps.
func TestNumbAxis(t *testing.T) {
	t.Parallel()
	const end = 20.0
	readings := func(rate, f, at, first, share, step, hint float64, last bool) (ok, wrong int) {
		r := rand.New(rand.NewPCG(7, 7))
		tr, stood := &dsp.Tracker{Hint: hint}, 0.0
		for i := range int(end * rate) {
			u := float64(i) / rate
			p := 2 * math.Pi * f * u
			x := first*math.Cos(p) + 0.02*r.NormFloat64()
			if step > 0 {
				x = step * math.Round(x/step)
			}
			switch {
			case u < at:
				stood = x
			case last:
				x = stood
			default:
				x = 0
			}
			y, z := share*math.Sin(p)+0.02*r.NormFloat64(), 9.8+0.1*math.Cos(p+1)+0.02*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
				if u > at && v.OK {
					ok++
					if v.Amp < 0.9*max(first, share) {
						wrong++
					}
				}
			}
		}
		return ok, wrong
	}
	for i := range 10 { // of the moment among the readings
		for _, c := range [][2]float64{{400, 10.7}, {100, 10.7}, {400, 2.3}} {
			rate, f, at := c[0], c[1], 8+0.03*float64(i)
			last, hint := i%2 == 0, f*float64(i/2%2)
			ok, _ := readings(rate, f, at, 1, 0.3, 0, hint, last)
			assert.LessOrEqual(t, ok, 2, "%v, dial %g, at %g s", c, hint, at) // in the first half of a turn nothing can be seen of it
			ok, wrong := readings(rate, f, at, 0.02, 1, 0.1, f, last)
			assert.Greater(t, ok, 35, "%v, at %g s", c, at)
			assert.Zero(t, wrong)
		}
	}
}

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
	const rate, f, at, end = 400, 10.7, 8.0, 20.0
	readings := func(first, share, step, hint float64, last bool) (ok, wrong int) {
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
	for _, hint := range []float64{0, f} {
		for _, last := range []bool{true, false} {
			ok, _ := readings(1, 0.3, 0, hint, last)
			assert.LessOrEqual(t, ok, 1, "dial %g", hint) // in the first half of a turn nothing can be seen of it
			ok, wrong := readings(0.02, 1, 0.1, hint, last)
			assert.Greater(t, ok, 40)
			assert.Zero(t, wrong)
		}
	}
}

package dsp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestStrangersOfStep: a line that the filters of a step took out is none of a fit to it, however strong. One of which they leave
// enough to matter is.
func TestStrangersOfStep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		other float64 // Hz
		want  int
	}{{100, 0}, {80, 0}, {65, 1}, {39, 1}} {
		r := rand.New(rand.NewPCG(1, 1))
		tr := &Tracker{Hint: 4}
		for i := range 6000 {
			u := float64(i) / 1000
			tr.Add([]float64{u}, [][]float64{{math.Cos(2*math.Pi*4*u) + 5*math.Cos(2*math.Pi*c.other*u) + 0.1*r.NormFloat64()}})
		}
		s := &tr.fit
		assert.InDelta(t, 125, float64(len(s.t)-1)/(s.t[len(s.t)-1]-s.t[0]), 1e-6, "the step")
		assert.Len(t, s.foreign, c.want, "%g Hz", c.other)
		amp, _ := worst(s.phasor[1], [3]float64{})
		assert.InEpsilon(t, 1, amp, 0.01, "%g Hz", c.other)
	}
}

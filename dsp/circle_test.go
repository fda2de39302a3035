package dsp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestCircle: the cosines and sines are those of the phase, on even times and on others, which are told apart.
func TestCircle(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 8))
	for range 200 {
		n, dt := 3+r.IntN(2000), math.Pow(10, -4+2*r.Float64())
		tau := make([]float64, n)
		stray := []float64{0, 1e-7, 1e-5, 0.3}[r.IntN(4)]
		first := 1000 * r.Float64()
		for i := range tau {
			tau[i] = first + dt*(float64(i)+stray*(2*r.Float64()-1)) - first - dt*float64(n)/2
		}
		if n > 100 {
			assert.Equal(t, stray < 1e-6, isEven(tau), "%d times that stray by %g steps", n, stray)
		}
		f, drift := 0.5/dt*r.Float64(), (2*r.Float64()-1)/(dt*dt*float64(n*n))
		cos, sin := make([]float64, n), make([]float64, n)
		circle(cos, sin, tau, f, drift, isEven(tau))
		worst := 0.0
		for i, u := range tau {
			s, c := math.Sincos(2 * math.Pi * (f*u + drift*u*u/2))
			worst = max(worst, math.Abs(c-cos[i]), math.Abs(s-sin[i]))
		}
		assert.Less(t, worst, 2*math.Pi*1e-6, "%d samples %g s apart that stray by %g of that, %g Hz, %g Hz/s", n, dt, stray, f, drift)
		if !isEven(tau) {
			assert.Less(t, worst, 1e-9)
		}
	}
	assert.False(t, isEven(nil))
}

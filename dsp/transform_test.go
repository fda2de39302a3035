package dsp

import (
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/dsp/fourier"
)

// The transform of powers of two against gonum's of any length (FFTPACK: Swarztrauber, 1982), which shares nothing with it.
func TestTransform(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for n := 2; n <= 1<<14; n *= 2 {
		x := make([]float64, n)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		got, want := make([]complex128, n/2+1), make([]complex128, n/2+1)
		newTransform(n).coefficients(got, x)
		fourier.NewFFT(n).Coefficients(want, x)
		for k := range want {
			assert.LessOrEqual(t, cmplx.Abs(got[k]-want[k]), 1e-13*float64(n), "%d of %d", k, n)
		}
	}
}

func TestNearPower(t *testing.T) {
	t.Parallel()
	for n, want := range map[int]int{0: 0, 1: 1, 2: 2, 24: 24, 31: 32, 60: 60, 63: 64, 64: 64, 65: 64, 800: 800, 984: 984, 990: 1024, 1000: 1024, 1024: 1024, 1066: 1024, 1067: 1067, 2000: 2048} {
		assert.Equal(t, want, nearPower(n), n)
	}
}

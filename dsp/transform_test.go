package dsp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTransform compares with the definition at every length there is up to 640, samples that fill it or do not.
func TestTransform(t *testing.T) {
	t.Parallel()
	// Rounding: some n·ε of the largest coefficient there can be, which is n.
	const tolerance = 1e-14
	r := rand.New(rand.NewPCG(10, 10))
	for n := 2; n <= 640; n = smooth(n + 1) {
		x := make([]float64, n-r.IntN(n/2))
		for i := range x {
			x[i] = 2*r.Float64() - 1
		}
		p := make([]float64, n/2+1)
		newTransform(n).power(x, 0.5, p)
		for k, got := range p {
			var re, im float64
			for i, v := range x {
				sin, cos := math.Sincos(2 * math.Pi * float64(k*i%n) / float64(n))
				re, im = re+v*cos, im-v*sin
			}
			require.InDelta(t, 0.5*(re*re+im*im), got, tolerance*float64(n*n), "%d of %d", k, n)
		}
	}
}

// BenchmarkTransform has the samples of 1 s at 1 kHz, wherever on the stack the caller stands: what it costs must not depend on that.
func BenchmarkTransform(b *testing.B) {
	r := rand.New(rand.NewPCG(11, 11))
	x, p := make([]float64, 1000), make([]float64, 501)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	f, depth := newTransform(len(x)), 0
	for b.Loop() {
		below(depth%64, func() { f.power(x, 1, p) })
		depth++
	}
}

// below calls f so many frames of 64 bytes and more further down the stack.
//
//go:noinline
func below(n int, f func()) (kept [4]int) {
	if n == 0 {
		f()
		return kept
	}
	kept = below(n-1, f)
	kept[n%4] = n
	return kept
}

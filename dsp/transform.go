package dsp

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// transform is the discrete Fourier transform of so many real numbers. Powers of two take a quarter of the time of others.
type transform struct {
	plan  *fourier.FFT // of any length
	turns []complex128 // exp(−2πik/n) for a length n that is a power of two
}

func newTransform(n int) *transform {
	if n < 4 || bits.OnesCount(uint(n)) != 1 {
		return &transform{plan: fourier.NewFFT(n)}
	}
	turns := make([]complex128, n/2)
	for k := range turns {
		sin, cos := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		turns[k] = complex(cos, sin)
	}
	return &transform{turns: turns}
}

// coefficients fills dst, one longer than half of x, with the transform of x, unscaled. A power of two is taken as complex numbers
// of half the length, the even samples their real and the odd ones their imaginary parts (Oppenheim and Schafer,
// Discrete-Time Signal Processing, problem of the transform of a real sequence: X[k] = E[k] + exp(−2πik/n)·O[k]), and where that half
// is no power of four in two halves once more: the library's transforms of powers of two take a third longer.
func (tf *transform) coefficients(dst []complex128, x []float64) {
	if tf.plan != nil {
		tf.plan.Coefficients(dst, x)
		return
	}
	half := len(x) / 2
	z := dst[:half]
	if bits.TrailingZeros(uint(half))%2 == 0 {
		for i := range z {
			z[i] = complex(x[2*i], x[2*i+1])
		}
		fourier.CoefficientsRadix4(z)
	} else {
		even, odd := z[:half/2], z[half/2:]
		for i := range even {
			even[i], odd[i] = complex(x[4*i], x[4*i+1]), complex(x[4*i+2], x[4*i+3])
		}
		fourier.CoefficientsRadix4(even)
		fourier.CoefficientsRadix4(odd)
		for k, e := range even {
			o := odd[k] * tf.turns[2*k]
			even[k], odd[k] = e+o, e-o
		}
	}
	re, im := real(z[0]), imag(z[0])
	dst[0], dst[half] = complex(re+im, 0), complex(re-im, 0)
	for k, m := 1, half-1; k <= m; k, m = k+1, m-1 {
		a, b := z[k], z[m]
		even := complex(0.5*(real(a)+real(b)), 0.5*(imag(a)-imag(b)))
		odd := complex(0.5*(imag(a)+imag(b)), 0.5*(real(b)-real(a))) * tf.turns[k]
		dst[k] = even + odd
		dst[m] = complex(real(even)-real(odd), imag(odd)-imag(even))
	}
}

// nearPower returns the power of two next to n if that is near enough to stand for it, or else n.
func nearPower(n int) int {
	const near = 0.04 // chosen: what came before is then at the edge of a Hann window, which shows less than a thousandth of it
	next := 1 << bits.Len(uint(4*n/3)) / 2
	if math.Abs(float64(next-n)) <= near*float64(n) {
		return next
	}
	return n
}

// smooth returns the smallest length ≥ n whose only prime factors are 2, 3 and 5: others
// make the transform slow.
func smooth(n int) int {
	best := 1 << bits.Len(uint(max(n, 2)-1))
	for five := 1; five < best; five *= 5 {
		for three := five; three < best; three *= 3 {
			m := three
			for m < n {
				m *= 2
			}
			if m%2 == 0 {
				best = min(best, m)
			}
		}
	}
	return best
}

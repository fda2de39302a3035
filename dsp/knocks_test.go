package dsp_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// struck is 15 Hz of 1 m/s² along one axis and half of it across, with blows of 60 m/s² that ring at 70 Hz for a twentieth of
// a second along the first, every so many seconds, and noise.
func struck(rate, every, seconds float64, seed uint64) (t []float64, x [][]float64) {
	r := rand.New(rand.NewPCG(seed, 11))
	blow, next := math.Inf(-1), every*r.Float64()
	x = make([][]float64, 2)
	for i := range int(seconds * rate) {
		u := float64(i) / rate
		turn := 2 * math.Pi * 15 * u
		if u > next {
			blow, next = next, next+every*(0.8+0.4*r.Float64())
		}
		knock := 60 * math.Exp(-60*(u-blow)) * math.Sin(2*math.Pi*70*(u-min(u, max(blow, -1))))
		t = append(t, u)
		x[0] = append(x[0], math.Cos(turn)+knock+0.03*r.NormFloat64())
		x[1] = append(x[1], 9.8+0.5*math.Sin(turn)+0.03*r.NormFloat64())
	}
	return t, x
}

// TestKnocksNowAndThen: a blow now and then moves neither speed nor shake, and costs hardly a reading; many cost readings, and
// none is wrong. How hard it shakes in all they raise all the same: a blow of 60 m/s² at 70 Hz is 100 mm/s, the line 8.
func TestKnocksNowAndThen(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{100, 400, 1000} {
		for _, every := range []float64{3, 2, 1, 0.5, 0.25} {
			n, ok, warned, most := 0, 0, false, 0.0
			for seed := range uint64(3) {
				times, x := struck(rate, every, 20, seed)
				for _, v := range (&dsp.Tracker{Hint: 15.3}).Add(times, x) {
					n++
					most = max(most, v.Total)
					for _, w := range v.Warnings {
						warned = warned || w == "something knocks"
					}
					if !v.OK {
						continue
					}
					ok++
					assert.InEpsilon(t, 15, v.Freq, 0.004, "%g/s, each %g s, at %g s", rate, every, v.Time)
					assert.InEpsilon(t, 1, v.Amp, 0.1, "%g/s, each %g s, at %g s", rate, every, v.Time)
				}
			}
			t.Logf("%4g/s, a blow each %.2g s: %d of %d ok", rate, every, ok, n)
			assert.True(t, warned)
			assert.Greater(t, most, 0.012, "%g/s, each %g s", rate, every)
			if every >= 2 {
				assert.GreaterOrEqual(t, ok, n*8/10, "%g/s, each %g s", rate, every)
			}
		}
	}
}

// TestKnocksOfTheTurn: a knock at the same place of every turn is a part of the line, however slow that is: half a sine of w s
// and size k adds 2fk·(π/w)·(1+exp(−iωw))/((π/w)²−ω²) to its phasor.
func TestKnocksOfTheTurn(t *testing.T) {
	t.Parallel()
	const width = 0.03 // s
	for _, rate := range []float64{25, 100, 400} {
		for _, f := range []float64{1.3, 1.7, 2.2, 3} {
			for _, size := range []float64{5, 15} {
				omega, arch := 2*math.Pi*f, math.Pi/width
				want := cmplx.Abs(1 + complex(2*f*size*arch/(arch*arch-omega*omega), 0)*(1+cmplx.Rect(1, -omega*width)))
				r := rand.New(rand.NewPCG(3, 11))
				times, x := make([]float64, int(10*rate)), make([]float64, int(10*rate))
				for i := range times {
					u := float64(i) / rate
					times[i], x[i] = u, math.Cos(omega*u)+0.02*r.NormFloat64()
					if into := math.Mod(u*f, 1) / f; into < width {
						x[i] += size * math.Sin(arch*into)
					}
				}
				for _, hint := range []float64{0, 1.02 * f} {
					ok := 0
					for _, v := range (&dsp.Tracker{Hint: hint}).Add(times, [][]float64{x}) {
						if v.OK {
							ok++
							assert.InEpsilon(t, want, v.Amp, 0.1, "%g Hz by %g at %g/s, dial %g, at %g s", f, size, rate, hint, v.Time)
						}
					}
					if rate >= 100 && hint > 0 {
						assert.Positive(t, ok, "%g Hz by %g at %g/s", f, size, rate)
					}
				}
			}
		}
	}
}

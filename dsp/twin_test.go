package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// two feeds 20 s of two lines on two of three axes at 1 kHz, the spindle's at f Hz of 0.05 m/s² and another at
// g Hz of ratio times that, to a tracker whose dial says hint Hz.
func two(seed uint64, f, g, ratio, hint float64) []dsp.Revolution {
	r := rand.New(rand.NewPCG(seed, 5))
	start := 2 * math.Pi * r.Float64()
	tr := &dsp.Tracker{Hint: hint}
	var out []dsp.Revolution
	for i := range 20000 {
		u := float64(i) / 1000
		own, other := 2*math.Pi*f*u, 2*math.Pi*g*u+start
		x := 0.05*(math.Sin(own)+ratio*math.Sin(other)) + 0.01*r.NormFloat64()
		y := 0.03*math.Sin(own+1) + 0.04*ratio*math.Sin(other+0.4) + 0.01*r.NormFloat64()
		z := 9.8 + 0.01*r.NormFloat64() // has no part in it
		out = append(out, tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}})...)
	}
	return out
}

// TestTwin: another machine's line beside the spindle's, up to ten times as strong and too close to show as
// two in a look of 4 s, is not given as the spindle's, once 8 s of it were seen.
func TestTwin(t *testing.T) {
	t.Parallel()
	for _, ratio := range []float64{1, 2, 5, 10} {
		for _, apart := range []float64{0.3, 0.4, 0.5, 0.6, 0.7, 0.8} {
			t.Run(fmt.Sprintf("%g times, %g Hz", ratio, apart), func(t *testing.T) {
				t.Parallel()
				late, wrong := 0, 0
				for _, v := range two(uint64(100*apart+ratio), 10, 10+apart, ratio, 10) {
					if v.Time < 8 {
						continue
					}
					late++
					if v.OK && math.Abs(v.Freq/10-1) > 0.004 {
						wrong++
					}
				}
				assert.Greater(t, late, 30)
				// A beat in which the other line is gone for a moment may pass for one line.
				assert.LessOrEqual(t, wrong, late/20)
			})
		}
	}
}

// TestLesserTwin: a belt's line close beside the spindle's, too small to be the spindle's itself, does not bend its shake, where no word of the
// dial says what stands there: one of a twentieth bends it by about as much, and some readings are given; beside larger ones none is.
func TestLesserTwin(t *testing.T) {
	t.Parallel()
	const amp = 0.05328 // m/s², of (0.05, 0.03·exp(i)) in the worst direction
	for _, ratio := range []float64{0.05, 0.15, 0.2} {
		for _, apart := range []float64{0.25, 0.35, 0.45, 0.6} {
			ok, late := 0, 0
			for _, v := range two(uint64(100*apart), 10, 10+apart, ratio, 0) {
				if v.Time+v.Span/2 <= 4 {
					continue
				}
				late++
				if v.OK {
					ok++
					assert.InEpsilon(t, amp, v.Amp, 0.1, "%g times, %g Hz, at %.2f s", ratio, apart, v.Time)
				}
			}
			assert.Greater(t, late, 60)
			if ratio > 0.1 {
				assert.Zero(t, ok, "%g times, %g Hz", ratio, apart)
			} else {
				assert.Greater(t, ok, late/10, "%g times, %g Hz", ratio, apart)
			}
		}
	}
}

// TestWanderIsNoTwin: a line whose speed wanders broadens as well, but stays one.
func TestWanderIsNoTwin(t *testing.T) {
	t.Parallel()
	for _, swing := range []float64{0.002, 0.005} { // of the speed, once in 3 s
		r := rand.New(rand.NewPCG(1, 5))
		tr := &dsp.Tracker{Hint: 20}
		ok, late := 0, 0
		for i := range 20000 {
			u := float64(i) / 1000
			turn := 2*math.Pi*20*u - 20*swing*3*math.Cos(2*math.Pi*u/3)
			for _, v := range tr.Add([]float64{u}, [][]float64{{math.Sin(turn) + 0.01*r.NormFloat64()}}) {
				if v.Time > 5 {
					late++
					if v.OK {
						ok++
					}
				}
			}
		}
		assert.GreaterOrEqual(t, ok, late*9/10, "swing of %g", swing)
	}
}

// TestDialTwiceTooHigh: the dial means the second or third multiple, and the spindle's own line is
// there as well, however small beside it.
func TestDialTwiceTooHigh(t *testing.T) {
	t.Parallel()
	for _, k := range []float64{2, 3} {
		for _, ratio := range []float64{1, 5, 20, 40} {
			for _, v := range two(7, 20/k, 20, ratio, 20) {
				assert.False(t, v.OK, "%g times, %g as strong, at %g s: %g Hz", k, ratio, v.Time, v.Freq)
			}
		}
	}
}

// TestOtherGoesRound: with no word of the dial a machine whose motion goes round, and shows more in all axes together than the spindle
// though it shakes less, is not given as the spindle.
func TestOtherGoesRound(t *testing.T) {
	t.Parallel()
	const rate, f = 200, 8.0
	for _, c := range []struct {
		ratio, velocity float64
		seeds           uint64
	}{{0.775, 0.8, 3}, {0.62, 0.9, 3}, {1.31, 0.85, 40}, {2.3, 0.75, 40}} {
		for seed := range c.seeds {
			r := rand.New(rand.NewPCG(seed, 19))
			tr, wrong := &dsp.Tracker{}, 0
			for i := range 10 * rate {
				u := float64(i) / rate
				p, q, amp := 2*math.Pi*f*u, 2*math.Pi*c.ratio*f*u, 0.3*c.velocity*c.ratio
				x := 0.3*math.Cos(p) + amp*math.Cos(q+1) + 0.01*r.NormFloat64()
				y := amp*math.Sin(q+1) + 0.3*amp*math.Cos(2*q) + 0.01*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
					if v.OK && math.Abs(v.Freq/f-1) > 0.01 {
						wrong++
					}
				}
			}
			assert.Zero(t, wrong, "%v, seed %d", c, seed)
		}
	}
}

package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

// TestNearlyAMultiple: a belt or a motor that is nearly a whole multiple of the spindle, or of which the spindle is nearly one, is not
// taken for it, nor does it bend the speed: with the dial's word the speed is right or none is said, with none a doubt is.
func TestNearlyAMultiple(t *testing.T) {
	t.Parallel()
	const rate, f = 400, 25.0 / 3
	for _, c := range []struct{ ratio, amp, dial, spindle float64 }{
		{2.02, 4, 1, 1}, {1.98, 8, 1, 1}, {3.04, 4, 1, 1}, {2.98, 2, 1.02, 1},
		{0.335, 0.5, 0, 2}, {0.335, 2, 0, 2}, {0.495, 1, 0, 2}, {0.505, 2, 0, 2}, {0.33, 1, 0, 2}, {0.255, 2, 0, 2},
	} {
		t.Run(fmt.Sprintf("%g times as fast, %g times as large, dial %g", c.ratio, c.amp, c.dial), func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(3) {
				r := rand.New(rand.NewPCG(seed, 11))
				own, wrong := f*c.spindle, 0
				tr := &dsp.Tracker{Hint: own * c.dial}
				for i := range 15 * rate {
					u := float64(i) / rate
					p, q := 2*math.Pi*own*u, 2*math.Pi*own*c.ratio*u
					x := math.Cos(p) + c.amp*math.Cos(q+1) + 0.05*r.NormFloat64()
					y := 0.5*math.Sin(p) + 0.2*math.Cos(2*p) + 0.6*c.amp*math.Sin(q) + 0.05*r.NormFloat64()
					z := 9.8 + 0.1*math.Cos(3*p) + 0.05*r.NormFloat64()
					for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
						if v.OK && math.Abs(v.Freq/own-1) > 0.004 {
							wrong++
						}
					}
				}
				assert.Zero(t, wrong, "seed %d", seed)
			}
		})
	}
}

// TestGearedDial: a dial that is wrong by a factor of two or three, and a belt's or a motor's line where it points, which the spindle
// outdoes: that line is not given as the spindle's. Where the dial is right and the spindle is what shakes more, there are numbers.
func TestGearedDial(t *testing.T) {
	t.Parallel()
	const rate = 400
	for _, c := range []struct{ f, dial, belt, amp float64 }{
		{9, 2, 1.93, 0.4}, {9, 2.06, 2.11, 0.8}, {7, 3, 2.85, 0.5}, {7, 3.05, 3.18, 0.7},
		{24, 0.5, 0.47, 0.5}, {24, 0.48, 0.53, 0.7}, {36, 0.33, 0.32, 0.6}, {27, 0.33, 0.345, 0.12},
	} {
		for seed := range uint64(2) {
			for _, dial := range []float64{c.dial, 1} {
				r := rand.New(rand.NewPCG(seed, 17))
				tr := &dsp.Tracker{Hint: c.f * dial}
				turn, ok, wrong := 0.0, 0, 0
				for i := range 8 * rate {
					u := float64(i) / rate
					turn += 2 * math.Pi * c.f / rate
					x := math.Cos(turn) + c.amp*c.belt*math.Cos(c.belt*turn+1) + 0.03*r.NormFloat64()
					y := 0.5*math.Cos(turn+1) + 0.3*c.amp*c.belt*math.Cos(c.belt*turn+2) + 0.03*r.NormFloat64()
					for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
						if v.OK && math.Abs(v.Freq/c.f-1) > 0.01 {
							wrong++
						} else if v.OK {
							ok++
						}
					}
				}
				assert.Zero(t, wrong, "%v, dial %g, seed %d", c, dial, seed)
				if dial == 1 {
					assert.Greater(t, ok, 15, "%v, seed %d", c, seed)
				}
			}
		}
	}
}

// TestGearedAfterCut: the dial says three times the speed, whose third multiple stands there; the line itself is hidden for a while by the
// noise of a cut, and plain again as soon as that is over.
func TestGearedAfterCut(t *testing.T) {
	t.Parallel()
	const rate, f = 1000, 21.9
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 19))
		tr := &dsp.Tracker{Hint: 2.99 * f}
		turn, ok := 0.0, 0
		for i := range 14 * rate {
			u, noise := float64(i)/rate, 0.03
			turn += 2 * math.Pi * f / rate
			if u > 5 && u < 8 {
				noise = 2
			}
			x := 0.1*math.Cos(turn) + 0.25*math.Cos(3*turn+1) + noise*r.NormFloat64()
			y := 0.1*math.Sin(turn) + noise*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				if v.OK && (u < 5 || u > 9.1) { // before that each look still holds some of it
					ok++
				}
			}
		}
		assert.Zero(t, ok, "seed %d", seed)
	}
}

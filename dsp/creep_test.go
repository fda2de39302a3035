package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

// TestCreep: a dial that is turned up by a few percent, near a resonance and away from it, with no word of it. The lathe's lag of 0.5 s leaves
// where the line was, and all between, in the longest look; the line is the spindle's there, too, and not another machine's.
func TestCreep(t *testing.T) {
	t.Parallel()
	lost, all := 0, 0
	for _, from := range []float64{8, 10, 14, 18.8, 21.4, 22.58, 26, 35} {
		for _, step := range []float64{0.012, 0.022, 0.04, 0.07, -0.022, -0.05} {
			s := lathe(from)
			s.Seconds = 24
			s.Vertical = sensor.Mode{Hz: 24, Damping: 0.05, Mass: 120}
			s.Speed = []sensor.Point{{At: 0, Value: from}, {At: 8, Value: from}}
			for after := 0.1; after < 5; after += 0.1 {
				s.Speed = append(s.Speed, sensor.Point{At: 8 + after, Value: from * (1 + step*(1-math.Exp(-after/0.5)))})
			}
			s.Speed = append(s.Speed, sensor.Point{At: 24, Value: from * (1 + step)})
			var seen []dsp.Revolution
			for _, v := range follow(t, &dsp.Tracker{}, s) {
				if v.Time-v.Span/2 > 12 {
					seen = append(seen, v)
				}
			}
			all++
			if ok := share(seen, isOK); ok < 0.8 {
				lost++
				t.Logf("%g Hz, %+g %%: %.0f %% ok", from, 100*step, 100*ok)
			}
		}
	}
	assert.Zero(t, lost, "of %d", all)
}

// TestSags: a speed that a cut pulls down again and again, so fast that a spectrum shows lines side by side: with no word of the dial either
// neither of them is given, nor the part of the shake that it has.
func TestSags(t *testing.T) {
	t.Parallel()
	for _, period := range []float64{1.1, 1.25, 1.5, 1.7} {
		for _, sag := range []float64{0.04, 0.06, 0.08} {
			r := rand.New(rand.NewPCG(uint64(100*period), 23))
			tr := &dsp.Tracker{}
			const rate, f = 400.0, 30.0
			turn, now, wrong := 0.0, f, 0
			for i := range int(14 * rate) {
				u, goal := float64(i)/rate, f
				if math.Mod(u, period) < 0.4*period {
					goal *= 1 - sag
				}
				now += (goal - now) / rate / 0.15
				turn += 2 * math.Pi * now / rate
				x := math.Cos(turn) + 0.3*math.Cos(2*turn+1) + 0.03*r.NormFloat64()
				y := 0.5*math.Sin(turn) + 0.2*math.Cos(3*turn) + 0.03*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
					if v.OK && (math.Abs(v.Amp-1) > 0.1 || v.Freq < f*(1-sag) || v.Freq > 1.01*f) {
						wrong++
					}
				}
			}
			assert.Zero(t, wrong, "each %g s by %g", period, sag)
		}
	}
}

package dsp_test

import (
	"math"
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

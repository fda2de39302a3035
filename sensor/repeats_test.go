package sensor_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/sensor"
)

// TestRepeats: times in whole ticks of 10 ms repeat for each hundredth of 101 samples a second, which is too many; a few do not count.
func TestRepeats(t *testing.T) {
	t.Parallel()
	check := func(rate float64, samples int, want bool) {
		var r sensor.Repeats
		last, got := math.Inf(-1), false
		for i := range samples {
			tick := math.Floor(100 * float64(i) / rate)
			got = r.See(tick == last)
			last = tick
		}
		assert.Equal(t, want, got, "%d samples at %g/s", samples, rate)
	}
	check(99, 2000, false)
	check(100.3, 2000, false)
	check(101, 2000, true)
	check(110, 100, true)
	check(1000, 20, true)
	check(103, 100, false) // 2
}

package serial

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"vibe/sensor"
)

// TestLooks: whatever the sensor's rate and the length of its lines, the wire never holds more
// than it can between two reads, a sensor of 1 kHz wakes the computer 17 times a second at most
// in the long run, and the sample that completes a reading waits for less than 20 ms, however
// the wire bunches what it brings, and for less than 6 and a sample where it does not.
func TestLooks(t *testing.T) {
	t.Parallel()
	const seconds, from = 60.0, 0.0371
	for _, c := range []struct {
		rate, line, bunch float64 // Hz, bytes, s
		reads             float64 // a second, at most
	}{
		{20, 20, 0, 20}, {30, 20, 0, 25}, {100, 20, 0, 9}, {800, 20, 0, 9}, {1000, 22, 0, 13}, {1000, 28, 0, 17}, {3200, 22, 0, 37}, {3200, 28, 0, 45},
		{800, 22, 0.001, 17}, {800, 22, 0.016, 30}, {3200, 28, 0.016, 60},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			t.Parallel()
			// arrived is the number of samples that are there at time at.
			arrived := func(at float64) float64 {
				if c.bunch > 0 {
					at = c.bunch * math.Floor(at/c.bunch)
				}
				return math.Floor((at-from)*c.rate + 1e-6)
			}
			var l looks
			var beat sensor.Beat
			var worst, most, had float64
			reads, due := 0, from+1/c.rate+0.7
			for at := from + 0.1; at < seconds; {
				for arrived(at) == had { // a read waits
					at += 1e-4
				}
				n := arrived(at)
				newest := from + n/c.rate
				for newest > due+1e-9 { // rounded, the one at due may be too early
					worst = max(worst, at-due)
					due += 0.25
				}
				for i := had + 1; i <= n; i++ {
					beat.See(from + i/c.rate)
				}
				if at > 1 {
					most = max(most, (n-had)*c.line)
					reads++
				}
				pause := l.next(int((n-had)*c.line), newest, &beat)
				had = n
				assert.LessOrEqual(t, pause, 252*time.Millisecond)
				at += max(pause.Seconds(), 1e-4)
			}
			limit := 0.006 + 1/c.rate
			if c.bunch > 0 {
				limit = 0.020
			}
			assert.Less(t, worst, limit, "s from the sample to its read")
			assert.Less(t, most, 4095.)
			assert.Less(t, float64(reads)/(seconds-1), c.reads)
		})
	}
}

// TestLooksNoise: what is no sample does not keep the computer awake.
func TestLooksNoise(t *testing.T) {
	t.Parallel()
	var l looks
	var slept time.Duration
	for range 1000 {
		slept += l.next(100, 0, &sensor.Beat{})
	}
	assert.Greater(t, slept, 10*time.Second, "10 ms a read")
}

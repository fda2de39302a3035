package sensor_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"vibe/sensor"
)

// TestBursts: bursts are told from an even pace, whatever is missing of it, and from pairs.
func TestBursts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(20, 3200).Draw(t, "rate")
		each := rapid.SampledFrom([]int{1, 2, 4, 8, 32}).Draw(t, "in a burst")
		near := rapid.Float64Range(0, 0.08).Draw(t, "of the step within a burst")
		pauses := rapid.IntRange(0, 2).Draw(t, "pauses")
		gone := rapid.IntRange(0, 30).Draw(t, "missing, percent")
		dice := rapid.Permutation(numbers(100)).Draw(t, "dice")
		var times []float64
		at := 0.0
		for i := range 320 {
			if i%100 == 50 && i/100 < pauses {
				at += 10
			}
			when := at + (float64(i/each*each)+float64(i%each)*near)/rate
			if each > 1 || dice[i%100] >= gone {
				times = append(times, when)
			}
		}
		_, ok := sensor.Bursts(times)
		assert.Equal(t, each > 2, ok)
	})
}

func numbers(n int) []int {
	v := make([]int, n)
	for i := range v {
		v[i] = i
	}
	return v
}

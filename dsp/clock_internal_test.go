package dsp

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSettledStruck: samples that get the times of an even grid have those where a knock is left out too, at once.
func TestSettledStruck(t *testing.T) {
	t.Parallel()
	const rate, tick = 900.0, 1e-3
	e := ear{axes: 1, dt: 1 / rate, levels: make([]level, 1), struck: true, knocks: []knock{{0.5, 0.51}}}
	now := 0.0
	for i := range int(rate) {
		now = math.Floor(float64(i)/rate/tick+0.05) * tick
		e.push(now, &[3]float64{float64(i)})
	}
	e.rebuild()
	e.climb(now)
	told, _, _ := e.window(now, 1, rate)
	require.Less(t, len(told), int(rate))
	g, ok := e.clock.even(e.levels[0].t, true)
	require.True(t, ok)
	e.settle(g)
	e.climb(now)
	even, _, _ := e.window(now, 0.3, rate)
	for i := range even[1:] {
		assert.InDelta(t, 1/rate, even[i+1]-even[i], 0.01*tick)
	}
}

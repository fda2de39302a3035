package dsp

import (
	"math"
	"math/rand/v2"
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
	told, _, _ := e.window(now, 1, rate, lag)
	require.Less(t, len(told), int(rate))
	g, ok := e.clock.even(e.levels[0].t, true)
	require.True(t, ok)
	e.settle(g)
	e.climb(now)
	even, _, _ := e.window(now, 0.3, rate, 0.3*lag)
	for i := range even[1:] {
		assert.InDelta(t, 1/rate, even[i+1]-even[i], 0.01*tick)
	}
}

// TestToldForEver: a clock that stands still takes no memory, and what it tells is not relied on.
func TestToldForEver(t *testing.T) {
	t.Parallel()
	e := ear{axes: 1, levels: make([]level, 1)}
	for i := range 100 {
		e.row(float64(i)/100, &[3]float64{float64(i)})
	}
	for i := range 100000 {
		e.row(0.99, &[3]float64{float64(i)})
	}
	assert.LessOrEqual(t, len(e.clock.twice), 100)
	assert.True(t, e.clock.unsure(100))
}

// TestRoughEnds: times that nothing could be said of when a fast line shook are not in doubt for ever, once the line is so slow that they
// do not matter.
func TestRoughEnds(t *testing.T) {
	t.Parallel()
	const rate, tick, f = 480.0, 1e-3, 2.0
	r := rand.New(rand.NewPCG(1, 1))
	tr := &Tracker{Hint: f}
	for i := range int(8 * rate) {
		u := float64(i) / rate
		v := tr.Add([]float64{math.Floor(u/tick+1e-9) * tick}, [][]float64{{math.Cos(2*math.Pi*f*u) + 0.1*r.NormFloat64()}})
		if u > 5 && u < 6 {
			tr.clock.rough = true
		}
		if u > 7.5 && len(v) > 0 {
			assert.True(t, v[0].OK, "%v", v[0].Faults)
		}
	}
}

// TestLeavesNothing: lines that cannot be told apart have no fit, and nothing is said of what it leaves.
func TestLeavesNothing(t *testing.T) {
	t.Parallel()
	times, x := make([]float64, 30), make([]float64, 30)
	for i := range times {
		times[i], x[i] = float64(i)/100, math.Cos(float64(i))
	}
	_, _, ok := new(fit).leaves(times, [][]float64{x}, 16, []float64{16})
	assert.False(t, ok)
}

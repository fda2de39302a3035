package sensor_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/sensor"
)

// TestHeld: whatever is put in comes out once, in order; of too much, the newest, and what is
// missing is counted and told.
func TestHeld(t *testing.T) {
	t.Parallel()
	var h sensor.Held
	_, ok := h.Take()
	assert.False(t, ok)
	h.Note("")
	_, ok = h.Take()
	assert.False(t, ok)
	h.Note("a note")
	b, ok := h.Take()
	assert.True(t, ok)
	assert.Equal(t, sensor.Block{Notes: []string{"a note"}}, b)

	h.Put(1, [3]float64{1, 2, 3}, 20, 4)
	h.Put(2, [3]float64{4, 5, 6}, 20, 1)
	b, ok = h.Take()
	assert.True(t, ok)
	assert.Equal(t, sensor.Block{T: []float64{1, 2}, Axes: [][]float64{{1, 4}, {2, 5}, {3, 6}}, Lost: 5, Range: 20}, b)

	const n = 200_000
	for i := range n {
		h.Put(float64(i), [3]float64{float64(i)}, 0, 0)
	}
	b, ok = h.Take()
	assert.True(t, ok)
	assert.Equal(t, n, len(b.T)+b.Lost)
	assert.Equal(t, float64(n-1), b.T[len(b.T)-1])
	assert.Equal(t, float64(b.Lost), b.T[0])
	assert.Equal(t, b.T, b.Axes[0])
	assert.Len(t, b.Notes, 1)
	assert.Regexp(t, `^this computer did not keep up: \d+ samples were dropped$`, b.Notes[0])
	_, ok = h.Take()
	assert.False(t, ok)
}

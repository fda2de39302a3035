package dsp

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestWindows: each look is shorter than the one before, and none is made twice.
func TestWindows(t *testing.T) {
	t.Parallel()
	e := &ear{}
	for have := 0.5; have <= longest; have += 0.01 {
		lengths := e.windows(have)
		assert.Equal(t, have, lengths[0])
		for i := range lengths[1:] {
			assert.Less(t, lengths[i+1], lengths[i], "of %g s", have)
		}
	}
	assert.Equal(t, []float64{4, 2, 1}, e.windows(4))
}

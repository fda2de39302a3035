package dsp

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestKept: a line is where the dial's word held when it never left there, may have drifted since, or is back, be the window longer by now, whose
// middle is earlier; to begin with it is close to that word.
func TestKept(t *testing.T) {
	t.Parallel()
	tr := &Tracker{Hint: 30}
	assert.True(t, tr.kept(31.2, 0, 1))
	assert.False(t, tr.kept(32, 0, 1), "far from the dial")
	tr.meant = line{f: 30, at: 10}
	for _, at := range []float64{9, 9.5, 10, 10.5, 20} {
		assert.True(t, tr.kept(30, 0, at), "%g s", at)
	}
	assert.True(t, tr.kept(30.3, 0, 10.6), "a drift")
	assert.False(t, tr.kept(31.5, 0, 10.6), "turned")
	assert.False(t, tr.kept(30.3, 0, 12), "somewhere else later")
}

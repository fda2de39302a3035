package dsp

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestBesides: the rival of a fit is the one chosen before; or the line that was to be fitted, if the fit ran to the rival; and
// none, if it ran to its image.
func TestBesides(t *testing.T) {
	t.Parallel()
	tr := &Tracker{}
	tr.dt = 1.0 / 60
	for _, c := range []struct {
		name                 string
		f, best, rival, want float64
	}{
		{"none", 20, 20.1, 0, 0},
		{"one", 20, 20.1, 23, 23},
		{"ran to it", 22.9, 20, 23, 20},
		{"ran elsewhere", 26, 20, 23, 23},
		{"ran to its image", 40.1, 20, 40, 0},
	} {
		assert.Equal(t, c.want, tr.besides(c.f, c.best, c.rival, 0.25), c.name)
	}
}

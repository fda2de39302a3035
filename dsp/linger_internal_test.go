package dsp

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestLingers: a doubt of more than a second stays for as long as it lasted, at most for the longest window; not one that a part of the line
// stands too, nor beyond a step in speed, nor on another line, nor where the dial means the line.
func TestLingers(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		hint, rival, next float64 // Hz
		step              bool
		readings          int // in doubt
		want              int // after those
	}{
		"a glimpse":       {0, 13, 10, false, 3, 0},
		"two seconds":     {0, 13, 10, false, 9, 7},
		"ten seconds":     {0, 13, 10, false, 41, 15},
		"a part":          {0, 2.5, 10, false, 9, 0},
		"beyond a step":   {0, 13, 10, true, 9, 0},
		"another line":    {0, 13, 11, false, 9, 0},
		"the dial's line": {10, 13, 10, false, 9, 0},
	} {
		tr := &Tracker{Hint: c.hint}
		tr.shown = []*look{{seconds: longest}}
		tr.doubt, tr.since = sighting{at: math.Inf(-1)}, math.Inf(-1)
		got, now := 0, 20.0
		for range c.readings {
			assert.False(t, tr.lingers(&Revolution{Freq: 10, Rival: c.rival, Time: now}), name)
			now += every
		}
		if c.step {
			tr.since = now - every
		}
		for range 40 {
			if tr.lingers(&Revolution{Freq: c.next, Time: now}) {
				got++
			}
			now += every
		}
		assert.Equal(t, c.want, got, name)
	}
}

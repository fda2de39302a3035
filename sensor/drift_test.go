package sensor_test

import (
	"math/rand/v2"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// TestDrift: the drift of a board's clock is found through delays of up to 20 ms.
func TestDrift(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		slow   float64
		says   string // with the number that is meant
		number float64
		within float64
	}{
		{0.005, "the board's clock runs (.*) % slow against this computer's: speeds read so much too high", 0.5, 0.005},
		{-0.003, "the board's clock runs (.*) % fast against this computer's: speeds read so much too low", 0.3, 0.005},
		{0, "^the board's clock and this computer's agree within (.*) %$", 0.01, 1e-9},
		{0.0002, "the board's clock runs (.*) % slow against", 0.02, 0.005},
		{0.5, "the board's clock runs at (.*) of this computer's: every speed is off", 0.5, 0.01},
		{-11, "the board's clock runs at (.*) of this computer's: every speed is off", 12, 0.1},
	} {
		rng := rand.New(rand.NewPCG(1, 2))
		var d sensor.Drift
		var notes []string
		for i := range 60 * 200 {
			at := float64(i) / 200
			if note := d.Add("the board", 1000+at*(1-c.slow), at+0.001+0.02*rng.Float64()); note != "" {
				notes = append(notes, note)
			}
		}
		require.Len(t, notes, 1, "slow %v", c.slow)
		found := regexp.MustCompile(c.says).FindStringSubmatch(notes[0])
		require.Len(t, found, 2, notes[0])
		number, err := strconv.ParseFloat(found[1], 64)
		require.NoError(t, err)
		assert.InDelta(t, c.number, number, c.within)
	}
}

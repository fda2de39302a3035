package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/dsp"
	"vibe/sensor"
)

// Whoever hands over samples at the beats of sensor.Beat lets no reading wait: each comes with
// the sample of a beat, whatever the rate and the holes, and wherever the clock began.
func TestBeat(t *testing.T) {
	t.Parallel()
	for seed, rate := range []float64{60, 250, 400, 1000, 60, 250, 400, 1000} {
		t.Run(fmt.Sprint(seed, rate), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(uint64(seed), 1))
			var tracker dsp.Tracker
			var beat sensor.Beat
			at, before, seen := 1e4*rng.Float64(), math.Inf(-1), 0
			for range int(6 * rate) {
				if at += 1 / rate; rng.Float64() < 1/rate { // once a second
					at += 2 * rng.Float64() * rng.Float64()
				}
				a := 0.3 * math.Cos(2*math.Pi*10*at)
				came := tracker.Add([]float64{at}, [][]float64{{a}, {a / 2}, {9.8 + a/3}})
				beat.See(at)
				const rounding = 2e-6
				if due := beat.After(before - rounding); len(came) > 0 {
					require.LessOrEqual(t, due-rounding, at, "between two beats")
					seen++
				}
				before = at
			}
			assert.Greater(t, seen, 4)
		})
	}
}

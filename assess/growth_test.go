package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

// TestGrowthNeedsOneSpeed: shake that rises with the speed is no growth.
func TestGrowthNeedsOneSpeed(t *testing.T) {
	t.Parallel()
	a := turning()
	for i := range 200 {
		n := 300 + 1.5*float64(i)
		shake := 0.5 * math.Pow(n/300, 3)
		d := a.See(assess.Reading{T: 0.25 * float64(i), Span: 2, OK: true, Speed: assess.RPM(n), Shake: shake, ShakeSE: 0.01 * shake})
		assert.NotEqual(t, assess.Stop, d.Action, d.Say)
	}
}

// TestGrowthEdges: 1.6 times is the limit, what is compared is the least of the last 30 s at that
// very speed, and the difference must be beyond the noise.
func TestGrowthEdges(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		readings []assess.Reading
		stop     bool
	}{
		"1.57 times":         {append(steady(0, 12, 500, 1), steady(3, 6, 500, 1.57)...), false},
		"1.63 times":         {append(steady(0, 12, 500, 1), steady(3, 6, 500, 1.63)...), true},
		"creeping for 28 s":  {creeping(28, 1.63), true},
		"creeping for 40 s":  {creeping(40, 1.63), false},
		"at 1 % more speed":  {append(steady(0, 12, 500, 1), steady(3, 6, 505, 1.63)...), false},
		"errors of a tenth":  {unsure(append(steady(0, 12, 500, 1), steady(3, 6, 500, 1.63)...), 0.1), false},
		"errors of 5 %":      {unsure(append(steady(0, 12, 500, 1), steady(3, 6, 500, 1.63)...), 0.05), true},
		"after three":        {append(steady(0, 3, 500, 1), steady(0.75, 3, 500, 1.7)...), true},
		"one reading of 0.6": {append(append(steady(0, 12, 500, 1), steady(3, 1, 500, 0.6)...), steady(3.25, 12, 500, 1)...), false},
		"one reading of 1.8": {append(steady(0, 12, 500, 1), steady(3, 1, 500, 1.8)...), false},
	} {
		stopped := false
		a := turning()
		for _, r := range c.readings {
			d := a.See(r)
			stopped = stopped || d.Action == assess.Stop && d.Reasons[0].Code == "growth"
		}
		assert.Equal(t, c.stop, stopped, name)
	}
}

// creeping is shake that grows to so many times evenly in so many s, after 3 s at 1 mm/s, and
// holds there.
func creeping(seconds, times float64) []assess.Reading {
	out := steady(0, 12, 500, 1)
	for at := 3.0; at < 4+seconds; at += 0.25 {
		out = append(out, steady(at, 1, 500, math.Pow(times, min(1, (at-3)/seconds)))...)
	}
	return out
}

// unsure gives the readings that relative standard error.
func unsure(readings []assess.Reading, se float64) []assess.Reading {
	for i := range readings {
		readings[i].ShakeSE = se * readings[i].Shake
	}
	return readings
}

// TestGrowthGoesOnSlower: what grew by half is lowered by nobody's advice, and goes on at the
// lower speed: both together are one growth. Slower as the map expects it is none.
func TestGrowthGoesOnSlower(t *testing.T) {
	t.Parallel()
	for share, stop := range map[float64]bool{1: false, 1.4: true} {
		a, at := climbed(t)
		hear(a, steady(at, 12, 500, 2.4)...)
		hear(a, steady(at+3, 12, 500, 1.5*2.4)...)
		expected := 2.4 * math.Pow(470.0/500, math.Log(2.4/1.3)/math.Log(500.0/440)) // a power of the speed from 440 to 500
		d := hear(a, steady(at+6, 12, 470, 1.5*expected*share)...)
		assert.Equal(t, stop, d.Action == assess.Stop, "%v of what was expected: %s", share, d.Say)
	}
}

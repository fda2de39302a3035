package assess_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// TestRunOfRefuses: too short, restless or changing a stretch is no run, and the reason is named.
func TestRunOfRefuses(t *testing.T) {
	t.Parallel()
	weak := steady(0, 60, 400, 1)
	for i := range weak {
		weak[i].OK, weak[i].Faults = false, []dsp.Fault{dsp.Weak}
	}
	for name, c := range map[string]struct {
		readings []assess.Reading
		at       assess.RPM
		words    string // "": a run
	}{
		"nothing":                     {nil, 0, "0 s of steady readings are too few"},
		"5.75 s":                      {steady(0, 16, 400, 1), 0, "too few for a run (at least 6 s)"},
		"6 s":                         {steady(0, 17, 400, 1), 0, ""},
		"another speed half way":      {append(steady(0, 14, 400, 1), steady(3.5, 14, 420, 1)...), 0, "too few"},
		"a break half way":            {append(steady(0, 14, 400, 1), steady(4.75, 14, 400, 1)...), 0, "too few"},
		"shake of 1.2 times":          {append(steady(0, 20, 400, 1), steady(5, 10, 400, 1.2)...), 0, ""},
		"shake of 1.3 times":          {append(steady(0, 20, 400, 1), steady(5, 10, 400, 1.3)...), 0, "the shake changed 1.3 times within the run"},
		"weak, the first run":         {weak, 0, "; mostly weak: the shake is too small"},
		"weak, at another speed":      {weak, 420, "mostly weak"},
		"weak, at the speed as known": {weak, 410, ""},
	} {
		r, err := assess.RunOf(c.readings, c.at)
		if c.words == "" {
			require.NoError(t, err, name)
			assert.InDelta(t, 400, float64(r.Speed), 1e-6, name)
			continue
		}
		var input *assess.InputError
		require.ErrorAs(t, err, &input, name)
		assert.Contains(t, input.Text, c.words, name)
		assert.NotEmpty(t, input.Hint)
	}
	assert.Equal(t, 6.0, assess.Steady(steady(0, 17, 400, 1), 0))
}

// TestRunOfMeasures: the shake of a run is that of its readings within what it says its error is,
// also where it hides in noise, which adds to the square of an amplitude; and where the speed
// wanders, how steep the shake is, v ∝ n³ on a stiff headstock (Thomson, Theory of Vibration with
// Applications, 4th ed., eq. 3.2-4, for small r).
func TestRunOfMeasures(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 9))
	var within, steep int
	const runs, shake, noise = 200, 1.0, 0.05
	for range runs {
		var readings []assess.Reading
		for i := range 20 { // windows that do not overlap
			n := 400 * (1 + 0.015*(2*r.Float64()-1))
			re, im := shake*math.Pow(n/400, 3)+noise*r.NormFloat64(), noise*r.NormFloat64()
			readings = append(readings, assess.Reading{T: 0.9 * float64(i), Span: 0.9, OK: true, Speed: assess.RPM(n), Shake: math.Hypot(re, im), ShakeSE: noise})
		}
		run, err := assess.RunOf(readings, 400)
		require.NoError(t, err)
		truth := shake * math.Pow(float64(run.Speed)/400, 3)
		if math.Abs(run.Shake-truth) <= 2*run.ShakeSE {
			within++
		}
		require.Positive(t, run.SteepnessSE)
		if math.Abs(run.Steepness-3) <= 2.1*run.SteepnessSE { // t of 18 degrees of freedom, 95 %
			steep++
		}
	}
	t.Logf("of %d runs: shake within two standard errors %d, steepness %d", runs, within, steep)
	assert.GreaterOrEqual(t, within, runs*90/100)
	assert.GreaterOrEqual(t, steep, runs*90/100)
}

// TestRunOfLooks: one short window at the beginning makes no more independent looks of the long
// ones that follow, and no error smaller.
func TestRunOfLooks(t *testing.T) {
	t.Parallel()
	run := func(first float64) assess.Run {
		readings := steady(0, 60, 400, 1)
		for i := range readings {
			span := 4.0
			if i == 0 {
				span = first
			}
			readings[i].Span, readings[i].T = span, 4+0.25*float64(i)-span/2
		}
		r, err := assess.RunOf(readings, 0)
		require.NoError(t, err)
		return r
	}
	assert.GreaterOrEqual(t, run(1).ShakeSE, run(4).ShakeSE)
}

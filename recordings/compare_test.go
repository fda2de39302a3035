package recordings_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"vibe/assess"
	"vibe/recordings"
)

// shaking is a summary with the shake of a lathe at some speeds, from readings that scatter.
func shaking(factor float64, speeds ...assess.RPM) recordings.Summary {
	var s recordings.Summary
	for i, n := range speeds {
		s.Map = append(s.Map, recordings.Speed{Speed: n, Shake: factor * (1 + float64(i)), Square: 0.001 * factor, N: 40, Most: factor * 4})
	}
	return s
}

func TestCompare(t *testing.T) {
	t.Parallel()
	a := shaking(1, 400, 500, 640)
	for _, c := range []struct {
		name  string
		b     recordings.Summary
		ratio float64
		real  bool
		say   string
	}{
		{"the same", shaking(1, 402, 498, 645), 1, false, `^No difference can be told at the 3 speeds`},
		{"a little", shaking(1.05, 400, 500, 640), 1.05, false, `^No difference .* between \d % less and 2\d % more`},
		{"sandbags helped", shaking(0.6, 400, 500, 640), 0.6, true, `^The difference is real: .* 40 % less \(95 %: 3\d to 4\d %\)`},
		{"half at one speed", shaking(1.5, 640), 0.5, true, `^The difference is real: at 640 rpm, the one speed .* 50 % less`},
		{"no speed in common", shaking(1, 800, 900), 0, false, `^They cannot be compared`},
		{"nothing", recordings.Summary{}, 0, false, `^They cannot be compared`},
	} {
		got := recordings.Compare(a, c.b)
		assert.InDelta(t, c.ratio, got.Ratio, 0.01, c.name)
		assert.Equal(t, c.real, got.Real, c.name)
		assert.Regexp(t, c.say, got.Say, c.name)
	}
	moved := shaking(1, 400, 500, 640)
	moved.Map[0].Shake, moved.Map[2].Shake = 2, 1
	assert.Regexp(t, `^It is another picture`, recordings.Compare(a, moved).Say)
}

// To turn the question round turns the answer round, and nothing else.
func TestCompareTurnedRound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) recordings.Summary {
			return shaking(rapid.Float64Range(0.1, 10).Draw(t, name), 300, 450, 700)
		}
		a, b := draw("a"), draw("b")
		there, back := recordings.Compare(a, b), recordings.Compare(b, a)
		assert.InEpsilon(t, 1, there.Ratio*back.Ratio, 1e-9)
		assert.InEpsilon(t, 1, there.Low*back.High, 1e-9)
		assert.Equal(t, there.Real, back.Real)
		assert.True(t, there.Low < there.Ratio && there.Ratio < there.High)
	})
}

// Two sessions of one lathe with a sensor clamped anew, within what is taken for that, are
// seldom called different: at most one time in twenty, and some more for chance.
func TestCompareSeldomWrong(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(6, 6))
	wrong := 0
	const pairs = 2000
	for range pairs {
		one := func() recordings.Summary {
			s := shaking(1+0.05*rng.NormFloat64(), 400, 500, 640)
			for i := range s.Map {
				s.Map[i].Shake *= 1 + 0.02*rng.NormFloat64()
			}
			return s
		}
		if recordings.Compare(one(), one()).Real {
			wrong++
		}
	}
	assert.Less(t, float64(wrong)/pairs, 0.065)
}

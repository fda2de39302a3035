package assess_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// TestWhatIsNoEvidence: a raise rests on 2 s of good readings in the order of their time. The
// same two seconds with one thing wrong raise nothing, and hold nothing.
func TestWhatIsNoEvidence(t *testing.T) {
	t.Parallel()
	good := func() []assess.Reading { return steady(10, 10, 400, 0.1) }
	require.Equal(t, assess.Raise, hear(turning(), good()...).Action)
	spoilt := map[string]func(r []assess.Reading) []assess.Reading{
		"the last at the same time": func(r []assess.Reading) []assess.Reading { r[9].T = r[8].T; return r },
		"the last earlier":          func(r []assess.Reading) []assess.Reading { r[9].T = 3; return r },
		"a time that is none":       func(r []assess.Reading) []assess.Reading { r[9].T = math.NaN(); return r },
		"one not ok among them":     func(r []assess.Reading) []assess.Reading { r[8].OK = false; return r },
		"a gap of 1.5 s":            func(r []assess.Reading) []assess.Reading { r[9].T += 1.25; return r },
		"few and far between": func(r []assess.Reading) []assess.Reading {
			for i := range r {
				r[i].T = 1.01 * float64(i)
			}
			return r
		},
		"shake below 0.03 mm/s": func([]assess.Reading) []assess.Reading { return steady(10, 10, 400, 0.0299) },
		"an error larger than the shake": func(r []assess.Reading) []assess.Reading {
			r[9].ShakeSE = 0.11
			return r
		},
		"an error below zero": func(r []assess.Reading) []assess.Reading { r[9].ShakeSE = -0.01; return r },
	}
	for _, f := range faults {
		if f != dsp.Gap && f != dsp.Folded {
			spoilt["called ok, and "+string(f)] = func(r []assess.Reading) []assess.Reading { r[9].Faults = []dsp.Fault{f}; return r }
		}
	}
	for name, spoil := range spoilt {
		d := hear(turning(), spoil(good())...)
		assert.Equal(t, assess.Wait, d.Action, "%s: %s", name, d.Say)
	}
}

// TestStandsStill: a sensor that is stuck, loses samples or sees images cannot know that
// nothing turns, and a hand near the chuck must not be told so.
func TestStandsStill(t *testing.T) {
	t.Parallel()
	for _, f := range []dsp.Fault{"", dsp.Stuck, dsp.Gap, dsp.Folded} {
		r := assess.Reading{T: 1, Faults: []dsp.Fault{dsp.NoTurn}}
		if f != "" {
			r.Faults = append(r.Faults, f)
		}
		a := turning()
		a.Blank.Defects = []assess.Defect{assess.Crack}
		assert.Equal(t, f == "", a.See(r).Action == assess.Wait, "a cracked blank, %q", f)
		d := turning().See(r)
		assert.Equal(t, assess.Wait, d.Action)
		assert.Equal(t, f == "", slices.Contains(codes(d), "no-turn"), "%q: %s", f, d.Say)
	}
}

// TestAnotherClock: what was measured before the clock went back, or more than 30 s ago, is of
// another start, of which nobody knows with what on the lathe.
func TestAnotherClock(t *testing.T) {
	t.Parallel()
	for at, kept := range map[float64]bool{29: true, 32.9: false, -5: false} {
		a := turning()
		hear(a, steady(0, 12, 300, 0.5)...)
		hear(a, steady(2.75+at, 1, 400, 0.5)...)
		assert.Equal(t, kept, slices.Contains(speedsSeen(a.Map()), 300), "%v s later", at)
	}
}

// TestStartedAnew: after standing still another blank may be on. One that shakes more than what was
// measured says is none that this is true of: it is forgotten, nothing has grown, and 2 s of good
// readings come first. One that shakes as before is as before. Who feels a neighbour's motor while it stands says weak.
func TestStartedAnew(t *testing.T) {
	t.Parallel()
	for _, f := range []dsp.Fault{dsp.NoTurn, dsp.Weak} {
		startAnew(t, f)
	}
}

// startAnew stands for 40 s, in which the readings have fault f.
func startAnew(t *testing.T, f dsp.Fault) {
	t.Helper()
	for times, known := range map[float64]bool{0.9: true, 1: true, 1.5: false, 3: false} {
		a, at := climbed(t)
		for i := range 160 {
			a.See(assess.Reading{T: at + 0.25*float64(i), Faults: []dsp.Fault{f}})
		}
		for i, r := range steady(at+40, 20, 440, 1.3*times) {
			d := a.See(r)
			assert.NotEqual(t, assess.Stop, d.Action)
			assert.True(t, d.Action != assess.Raise || known && i >= 8 || i >= 16, "%s, %v times, reading %d: %s", f, times, i, d.Say)
		}
		assert.Equal(t, known, slices.Contains(speedsSeen(a.Map()), 300), "%s, %v times", f, times)
	}
}

// TestComfortNeverAboveRough: a limit learned above the edge of rough changes no advice.
func TestComfortNeverAboveRough(t *testing.T) {
	t.Parallel()
	bold, plain := turning(), turning()
	bold.Comfort = 9
	raised := 0
	for i, n := range []assess.RPM{300, 330, 360, 390, 420, 450} {
		for _, r := range steady(4*float64(i), 12, n, 0.9*math.Pow(float64(n/300), 3.5)) {
			d := bold.See(r)
			require.Equal(t, plain.See(r), d)
			if d.Action == assess.Raise {
				raised++
			}
		}
	}
	assert.Positive(t, raised)
}

// TestLearnedLimit: a limit learned below the edge of rough is kept to: what settles above it by
// more than a twentieth is lowered, and nothing is raised to where it may be passed.
func TestLearnedLimit(t *testing.T) {
	t.Parallel()
	for shake, action := range map[float64]assess.Action{1.55: assess.Hold, 1.6: assess.Lower, 2.2: assess.Lower} {
		a := turning()
		a.Comfort = 1.5
		d := hear(a, append(steady(0, 12, 300, 0.3), steady(4, 12, 500, shake)...)...)
		assert.Equal(t, action, d.Action, "%v mm/s: %s", shake, d.Say)
	}
	readings := steady(0, 12, 400, 0.5)
	readings[7].Shake = 1.52 // 1 s before the last
	a := turning()
	a.Comfort = 1.5
	assert.Equal(t, assess.Hold, hear(a, readings...).Action, "above the limit within the last 2 s")
	readings[7].Shake = 0.5
	a = turning()
	a.Comfort = 1.5
	assert.Equal(t, assess.Raise, hear(a, readings...).Action)

	a = turning()
	d := hear(a, steady(0, 12, 400, 1.2)...)
	require.Equal(t, assess.Raise, d.Action, d.Say)
	a = turning()
	a.Comfort = 1.3
	assert.Equal(t, assess.Hold, hear(a, steady(0, 12, 400, 1.2)...).Action)
}

package assess_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// steady is n ok readings of one speed and shake from time t on, four a second.
func steady(t float64, n int, speed assess.RPM, shake float64) []assess.Reading {
	var out []assess.Reading
	for i := range n {
		out = append(out, assess.Reading{T: t + 0.25*float64(i), Span: 2, OK: true, Speed: speed, SpeedSE: 0.1, Shake: shake, ShakeSE: 0.01 * shake})
	}
	return out
}

// hear feeds readings and returns the last advice.
func hear(a *assess.Adviser, readings ...assess.Reading) assess.Advice {
	var d assess.Advice
	for _, r := range readings {
		d = a.See(r)
	}
	return d
}

func turning() *assess.Adviser {
	return &assess.Adviser{Lathe: workshop(), Blank: bowl(), Task: assess.Finishing, Checked: true}
}

// TestSay holds the words of each kind of advice.
func TestSay(t *testing.T) {
	t.Parallel()
	noTurn := assess.Reading{T: 100, Span: 4, Faults: []dsp.Fault{dsp.NoTurn}}
	for name, c := range map[string]struct {
		readings []assess.Reading
		action   assess.Action
		say      string
		code     string
	}{
		"stands":     {[]assess.Reading{noTurn}, assess.Wait, "Wait: the sensor feels nothing turn.", "no-turn"},
		"first look": {steady(0, 3, 400, 0.5), assess.Wait, "Wait: 400 rpm, 0.50 mm/s so far, not settled for 2 s yet.", "unsettled"},
		"calm":       {steady(0, 12, 400, 0.1), assess.Raise, "Raise to 455 rpm: 0.10 mm/s, calm.", "predicted"},
		"at the top": {steady(0, 12, 680, 0.5), assess.Hold, "Hold 680 rpm: 0.50 mm/s, calm.", "ceiling"},
		"rough":      {append(steady(0, 12, 300, 0.8), steady(4, 2, 500, 6.1)...), assess.Lower, "it shakes 6.1 mm/s, rough.", "rough"},
		"violent":    {steady(0, 1, 500, 12.3), assess.Stop, "Stop: it shakes 12.3 mm/s at 500 rpm, violent.", "violent"},
		"too fast":   {steady(0, 1, 1200, 1), assess.Lower, "Lower to 680 rpm: 1200 rpm is above the ceiling (blank).", "ceiling"},
		"growing":    {append(steady(0, 12, 500, 1), steady(3, 4, 500, 1.8)...), assess.Stop, "Stop: the shake grew to 1.8 mm/s, 1.8 times, and not by the speed.", "growth"},
		"too early":  {[]assess.Reading{{T: 1, Span: 2, Faults: []dsp.Fault{dsp.Weak}}}, assess.Wait, "Wait: a first number takes about 4 s.", "early"},
		"no number":  {[]assess.Reading{{T: 2, Span: 4, Faults: []dsp.Fault{dsp.Weak}}}, assess.Wait, "Wait: the shake is too small, too unsteady or too noisy to be sure of.", "weak"},
	} {
		d := hear(turning(), c.readings...)
		assert.Equal(t, c.action, d.Action, "%s: %s", name, d.Say)
		assert.Contains(t, d.Say, c.say, name)
		assert.Equal(t, c.code, d.Reasons[0].Code, name)
		assert.NotEmpty(t, d.Reasons[0].Source, name)
	}
}

// TestViolentStops: what is violent stops at once, also while the speed changes, at the end
// of the range, and seen through its image; not what may be another's line.
func TestViolentStops(t *testing.T) {
	t.Parallel()
	for fault, stop := range map[dsp.Fault]bool{dsp.Changing: true, dsp.Clipped: true, dsp.Gap: true, dsp.Doubtful: false, dsp.Stuck: false} {
		d := turning().See(assess.Reading{T: 1, Speed: 500, Shake: 12, ShakeSE: 0.1, Faults: []dsp.Fault{fault}})
		assert.Equal(t, stop, d.Action == assess.Stop, "%s: %s", fault, d.Say)
	}
	d := turning().See(assess.Reading{T: 1, OK: true, Speed: 500, Shake: 12, ShakeSE: 0.1, Faults: []dsp.Fault{dsp.Folded}})
	assert.Equal(t, assess.Stop, d.Action, d.Say)
}

// TestRattle: many multiples that come up at one speed are looseness; those that were there
// before, that could not be seen before, that come for a moment or with another speed are
// no reason to stop.
func TestRattle(t *testing.T) {
	t.Parallel()
	with := func(multiples []float64, readings []assess.Reading) []assess.Reading {
		for i := range readings {
			readings[i].Multiples = multiples
		}
		return readings
	}
	loud, quiet := []float64{1, 2, 2, 2}, []float64{1.2, 0.1, 0.1, 0.1} // one strong from the start
	for name, c := range map[string]struct {
		before, after []assess.Reading
		stop          bool
	}{
		"come up":             {with(quiet, steady(0, 16, 500, 1)), with(loud, steady(4, 4, 500, 1)), true},
		"there before":        {with(loud, steady(0, 16, 500, 1)), with(loud, steady(4, 4, 500, 1)), false},
		"not seen before":     {with(nil, steady(0, 16, 500, 1)), with(loud, steady(4, 4, 500, 1)), false},
		"for a moment":        {with(quiet, steady(0, 16, 500, 1)), with(loud, steady(4, 2, 500, 1)), false},
		"with another speed":  {with(quiet, steady(0, 16, 500, 1)), with(loud, steady(4, 16, 520, 1)), false},
		"of next to no shake": {with(quiet, steady(0, 16, 500, 0.1)), with(loud, steady(4, 4, 500, 0.1)), false},
		"two before":          {with([]float64{1.2, 1.2, 0.1, 0.1}, steady(0, 16, 500, 1)), with(loud, steady(4, 4, 500, 1)), false},
		"two of them":         {with(quiet, steady(0, 16, 500, 1)), with([]float64{1, 2, 0.1, 0.1}, steady(4, 4, 500, 1)), false},
	} {
		a := turning()
		assert.NotEqual(t, assess.Stop, hear(a, c.before...).Action, name)
		d := hear(a, c.after...)
		assert.Equal(t, c.stop, d.Action == assess.Stop, "%s: %s", name, d.Say)
		if c.stop {
			assert.Equal(t, "loose", d.Reasons[0].Code)
			assert.Contains(t, d.Say, "rattling")
		}
	}
}

// TestStopStands: after a stop nothing but standing still, or clearly slower and settled,
// ends it.
func TestStopStands(t *testing.T) {
	t.Parallel()
	a := turning()
	require.Equal(t, assess.Stop, hear(a, steady(0, 1, 600, 12)...).Action)
	assert.Equal(t, assess.Stop, hear(a, steady(1, 16, 590, 1)...).Action, "still as fast")
	assert.Equal(t, assess.Stop, hear(a, steady(5, 2, 560, 6)...).Action, "rough is no way out of a stop")
	assert.Equal(t, assess.Stop, a.See(assess.Reading{T: 6, Faults: []dsp.Fault{dsp.Stuck}}).Action, "bad data")
	assert.Equal(t, assess.Stop, hear(a, steady(6.25, 1, 490, 1)...).Action, "hardly slower")
	assert.Equal(t, assess.Stop, hear(a, steady(6.5, 16, 490, 1)...).Action, "hardly slower, settled")
	assert.Equal(t, assess.Stop, hear(a, steady(10.5, 4, 300, 1)...).Action, "slower, not settled")
	assert.NotEqual(t, assess.Stop, hear(a, steady(11.5, 12, 300, 1)...).Action, "slower and settled")
	require.Equal(t, assess.Stop, hear(a, steady(20, 1, 600, 12)...).Action)
	for i := range 12 {
		want := assess.Stop // one reading of nothing may be a fault
		if i >= 7 {
			want = assess.Wait
		}
		assert.Equal(t, want, a.See(assess.Reading{T: 20.25 + 0.25*float64(i), Faults: []dsp.Fault{dsp.NoTurn}}).Action, "standing for %d readings", i)
	}
	require.Equal(t, assess.Stop, hear(a, append(steady(30, 12, 500, 1), steady(33, 4, 500, 1.8)...)...).Action)
	assert.Equal(t, assess.Stop, hear(a, steady(35, 16, 200, 0.1)...).Action, "what came loose is looked at, not run slower")
}

// TestCrack: a cracked blank is stopped, number or no number, and not to be started.
func TestCrack(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Blank.Defects = []assess.Defect{assess.Bark, assess.Crack}
	p, err := assess.MakePlan(a.Lathe, a.Blank, a.Task)
	require.NoError(t, err)
	assert.Zero(t, p.Start)
	assert.Zero(t, p.Window)
	assert.Empty(t, p.Ceilings, "a number would look like a way round")
	assert.Contains(t, p.Say, "Do not start: a cracked blank must not turn.")
	for _, r := range append(steady(0, 40, 300, 0.2),
		assess.Reading{T: 11, Faults: []dsp.Fault{dsp.Weak}}, assess.Reading{T: 12, Faults: []dsp.Fault{dsp.Stuck, dsp.NoTurn}}, assess.Reading{T: 13}) {
		d := a.See(r)
		assert.Equal(t, assess.Stop, d.Action, "%s on %+v", d.Say, r)
	}
	for i := range 12 {
		d := a.See(assess.Reading{T: 14 + 0.25*float64(i), Faults: []dsp.Fault{dsp.NoTurn}})
		if i >= 8 {
			assert.Equal(t, assess.Wait, d.Action)
			assert.Contains(t, d.Say, "Do not start a cracked blank.")
		}
	}
	assert.Equal(t, assess.Stop, a.See(steady(20, 1, 300, 0.2)[0]).Action)
}

// TestBand: a band that was seen to shake is named, with its middle in it.
func TestBand(t *testing.T) {
	t.Parallel()
	a := turning()
	at := 0.0
	for _, p := range []struct {
		n assess.RPM
		v float64
	}{{300, 0.3}, {350, 0.6}, {400, 1.2}, {450, 3}, {500, 9}, {540, 5}, {600, 3.5}, {660, 3}} {
		hear(a, steady(at, 12, p.n, p.v)...)
		at += 4
	}
	d := hear(a, steady(at, 12, 660, 3)...)
	require.Len(t, d.Avoid, 1)
	assert.Less(t, d.Avoid[0][0], assess.RPM(500))
	assert.Greater(t, d.Avoid[0][1], assess.RPM(500))
	assert.Less(t, d.Avoid[0][1], assess.RPM(600))
}

func TestAdviceJSON(t *testing.T) {
	t.Parallel()
	var got map[string]any
	require.NoError(t, json.Unmarshal(marshal(t, hear(turning(), assess.Reading{T: 1, Faults: []dsp.Fault{dsp.NoTurn}})), &got))
	assert.Nil(t, got["speed_rpm"])
	assert.Equal(t, []any{}, got["avoid"])
	assert.NotEmpty(t, got["ceilings"])
	assert.Equal(t, []any{map[string]any{"code": "no-turn", "text": "no turning was found: it stands still, turns too smoothly to be felt, or at a speed that was not looked for", "source": "this lathe's own readings"}}, got["reasons"])
}

// TestLookOutlastsViolence: what grew is looked at, also where it became violent after; slower is
// no way out.
func TestLookOutlastsViolence(t *testing.T) {
	t.Parallel()
	a := turning()
	require.Equal(t, assess.Stop, hear(a, append(steady(30, 12, 500, 1), steady(33, 4, 500, 1.8)...)...).Action)
	d := hear(a, steady(34, 1, 500, 12)...)
	require.Equal(t, assess.Stop, d.Action)
	assert.Contains(t, codes(d), "look", d.Say)
	d = hear(a, steady(34.25, 16, 200, 0.1)...)
	assert.Equal(t, assess.Stop, d.Action, d.Say)
}

// TestStuckIsNoStandstill: only what can know that nothing turns counts towards the 2 s of
// standing that end a stop.
func TestStuckIsNoStandstill(t *testing.T) {
	t.Parallel()
	for _, f := range []dsp.Fault{dsp.Stuck, dsp.Gap, dsp.Folded} {
		a := turning()
		require.Equal(t, assess.Stop, hear(a, steady(20, 1, 600, 12)...).Action)
		for i := range 12 {
			a.See(assess.Reading{T: 20.25 + 0.25*float64(i), Faults: []dsp.Fault{dsp.NoTurn, f}})
		}
		d := a.See(assess.Reading{T: 23.25, Faults: []dsp.Fault{dsp.NoTurn}})
		assert.Equal(t, assess.Stop, d.Action, "%s: %s", f, d.Say)
	}
}

// TestViolentIsNoStandstill: a headstock that is violent in all does not stand, though no line is
// found in it: nobody is told so, and no stop ends by it.
func TestViolentIsNoStandstill(t *testing.T) {
	t.Parallel()
	a := turning()
	require.Equal(t, assess.Stop, hear(a, steady(20, 1, 600, 12)...).Action)
	for i := range 20 {
		r := assess.Reading{T: 20.25 + 0.25*float64(i), Total: 30, Faults: []dsp.Fault{dsp.NoTurn}}
		assert.Equal(t, assess.Stop, a.See(r).Action, "reading %d", i)
		d := turning().See(r)
		assert.Equal(t, assess.Wait, d.Action)
		assert.Equal(t, []string{"total"}, codes(d), d.Say)
	}
}

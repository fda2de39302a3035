package assess_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// codes of the reasons of d.
func codes(d assess.Advice) []string {
	var out []string
	for _, r := range d.Reasons {
		out = append(out, r.Code)
	}
	return out
}

// TestRoughAboveTheCeiling: what is rough above a ceiling is lowered to where it is
// comfortable, not just to below the ceiling, or stopped.
func TestRoughAboveTheCeiling(t *testing.T) {
	t.Parallel()
	a := turning()
	top := a.See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	d := hear(a, append(steady(0.25, 12, 300, 0.5), steady(4, 4, 1.06*top, 9)...)...)
	assert.Equal(t, "rough", d.Reasons[0].Code, d.Say)
	assert.Contains(t, codes(d), "ceiling")
	assert.LessOrEqual(t, d.Speed, top)
	if d.Action == assess.Lower {
		assert.Less(t, upperEdge(t, a, d.Speed), 4.5, d.Say)
	} else {
		assert.Equal(t, assess.Stop, d.Action)
	}
	a = turning()
	a.Lathe.Low = 0.97 * top
	assert.Equal(t, assess.Stop, hear(a, steady(0, 4, 1.06*top, 9)...).Action, "nothing slower is known to be comfortable")
}

// upperEdge is the larger upper edge of the two map points about n.
func upperEdge(t *testing.T, a *assess.Adviser, n assess.RPM) float64 {
	t.Helper()
	points := a.Map()
	i := slices.IndexFunc(points, func(p assess.MapPoint) bool { return p.Speed >= n })
	require.Positive(t, i)
	return max(points[i-1].High, points[i].High)
}

// TestCloseToComfort: only a lower for the shake goes on until it is well below the limit;
// one for a ceiling ends below the ceiling.
func TestCloseToComfort(t *testing.T) {
	t.Parallel()
	a := turning()
	top := a.See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	d := hear(a, steady(1, 12, 1.3*top, 4.2)...)
	require.Equal(t, assess.Lower, d.Action)
	require.Equal(t, "ceiling", d.Reasons[0].Code)
	d = hear(a, steady(5, 12, d.Speed, 4.2)...)
	assert.Equal(t, assess.Hold, d.Action, d.Say)

	a = turning()
	d = hear(a, append(steady(0, 12, 300, 0.8), steady(4, 2, 500, 6.1)...)...)
	require.Equal(t, assess.Lower, d.Action)
	d = hear(a, steady(5, 12, d.Speed, 4.2)...)
	assert.Equal(t, "rough", d.Reasons[0].Code, d.Say)
	assert.Contains(t, d.Reasons[0].Text, "still close")
}

// TestLowerStands: on the way down, no longer rough and not settled yet, the lower stands.
func TestLowerStands(t *testing.T) {
	t.Parallel()
	a := turning()
	low := hear(a, append(steady(0, 12, 300, 0.8), steady(4, 2, 500, 6.1)...)...)
	require.Equal(t, assess.Lower, low.Action, low.Say)
	d := hear(a, steady(4.5, 1, (500+low.Speed)/2, 3)...)
	assert.Equal(t, low.Say, d.Say)
	between := (500+low.Speed)/2 - 20
	assert.Equal(t, assess.Lower, hear(a, steady(4.75, 8, between, 2)...).Action)
	assert.NotEqual(t, assess.Lower, hear(a, steady(6.75, 1, between, 2)...).Action, "settled where it is comfortable")
}

// TestLoweredToNothing: where nothing sure is felt at the lower speed the lower stands, but says so in place of what it
// shook before, and goes when something is felt there.
func TestLoweredToNothing(t *testing.T) {
	t.Parallel()
	a := turning()
	low := hear(a, append(steady(0, 12, 300, 0.8), steady(4, 2, 500, 6.1)...)...)
	require.Equal(t, assess.Lower, low.Action, low.Say)
	for i := range 40 {
		d := a.See(assess.Reading{T: 5 + 0.25*float64(i), Span: 2, Faults: []dsp.Fault{dsp.Coarse}})
		require.Equal(t, assess.Lower, d.Action, d.Say)
		require.Equal(t, "Lower to "+low.Speed.String()+", if it is not there yet: the sensor is too coarse for so small a shake.", d.Say)
		require.Len(t, d.Reasons, len(low.Reasons)+1)
	}
	assert.NotEqual(t, assess.Lower, hear(a, steady(16, 10, low.Speed, 0.5)...).Action)
}

// TestNoStep: where the line that is seen is none of the pulley's steps, it is named.
func TestNoStep(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Lathe = assess.Lathe{Steps: []assess.RPM{500, 800}}
	d := a.See(assess.Read(dsp.Revolution{Time: 1, Span: 2, Rival: 10.01, Faults: []dsp.Fault{dsp.Doubtful}}))
	assert.Equal(t, assess.Wait, d.Action)
	assert.Contains(t, d.Say, "the line at about 600 rpm is none of the lathe's steps, 500 800 rpm")
	assert.Equal(t, []string{"foreign", "doubtful"}, codes(d))
	d = a.See(assess.Read(dsp.Revolution{Time: 2, Span: 2, Rival: 8.1, Faults: []dsp.Fault{dsp.Doubtful}}))
	assert.Equal(t, []string{"doubtful"}, codes(d), "a step that the belt slips on")
	assert.Contains(t, d.Say, "another speed, about 485 rpm, explains the shake as well")
	d = a.See(assess.Read(dsp.Revolution{Time: 3, Span: 2, Freq: 8, FreqSE: 0.01, Amp: 1, AmpSE: 0.02, Rival: 8.2, Faults: []dsp.Fault{dsp.Doubtful}}))
	assert.Contains(t, d.Say, "another speed explains the shake as well", "too near to be named")
}

// TestDialTellsWhich: of two speeds that a dial tells apart both are named, until it was asked.
func TestDialTellsWhich(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		rival   float64 // Hz
		checked bool
		says    string
	}{
		{15, false, "Wait: it may turn at about 480 or 900 rpm: the dial tells which."},
		{15, true, "Wait: another speed, about 900 rpm, explains the shake as well; check what the dial shows."},
		{8.8, false, "Wait: another speed, about 530 rpm, explains the shake as well; check what the dial shows."}, // no dial parts them
	} {
		a := turning()
		a.Checked = c.checked
		d := a.See(assess.Read(dsp.Revolution{Time: 3, Span: 4, Freq: 8, FreqSE: 0.01, Amp: 1, AmpSE: 0.02, Rival: c.rival, Faults: []dsp.Fault{dsp.Doubtful}}))
		assert.Equal(t, c.says, d.Say)
	}
}

// TestRoughTimes: where the times are to blame, that is what is said, not that the shake is small.
func TestRoughTimes(t *testing.T) {
	t.Parallel()
	d := turning().See(assess.Reading{T: 1, Span: 2, Speed: 2160, Shake: 2, ShakeSE: 0.1, Faults: []dsp.Fault{dsp.Coarse}, Warnings: []string{dsp.RoughTimes}})
	assert.Equal(t, "Wait: "+dsp.RoughTimes+".", d.Say)
	assert.Equal(t, []string{"rough-times"}, codes(d))
}

// TestDialTurned: of a speed that changes while the line is blurred the change alone is said, where nothing was sure before all is, and
// before there was time for a number only that.
func TestDialTurned(t *testing.T) {
	t.Parallel()
	blurred := func(s float64) assess.Reading {
		return assess.Reading{T: s, Span: 2, Speed: 520, Shake: 2, ShakeSE: 0.3, Faults: []dsp.Fault{dsp.Weak, dsp.Doubtful, dsp.Changing}}
	}
	a := turning()
	assert.Equal(t, []string{"early"}, codes(a.See(blurred(1))))
	assert.Equal(t, []string{"weak", "doubtful", "changing"}, codes(a.See(blurred(3))), "4 s heard")
	hear(a, steady(4, 12, 500, 2)...)
	assert.Equal(t, []string{"changing"}, codes(a.See(blurred(7))))
	assert.Equal(t, []string{"weak", "doubtful", "changing"}, codes(a.See(blurred(13))), "long after")
	for s := 20.0; s <= 22; s += 0.5 {
		a.See(assess.Reading{T: s, Span: 4, Faults: []dsp.Fault{dsp.NoTurn}})
	}
	assert.Equal(t, []string{"early"}, codes(a.See(blurred(25))), "switched on again")
	assert.Equal(t, []string{"weak", "doubtful", "changing"}, codes(a.See(blurred(27))))
}

// TestMains: where the mains may be what is seen, or a multiple on the line, that is said, and what to try.
func TestMains(t *testing.T) {
	t.Parallel()
	for code, warning := range map[string]string{"mains": dsp.Mains, "covered": dsp.Covered} {
		d := turning().See(assess.Reading{T: 1, Span: 2, Speed: 2995, Shake: 2, ShakeSE: 0.1, Faults: []dsp.Fault{dsp.Doubtful}, Warnings: []string{warning}})
		assert.Equal(t, "Wait: "+warning+".", d.Say)
		assert.Equal(t, []string{code}, codes(d))
	}
}

// TestFilledIn: where rows were filled in, that is what is said, not to say the dial again.
func TestFilledIn(t *testing.T) {
	t.Parallel()
	for _, checked := range []bool{true, false} {
		a := turning()
		a.Checked = checked
		d := a.See(assess.Reading{T: 1, Span: 2, Speed: 1200, Shake: 2, ShakeSE: 0.1, Faults: []dsp.Fault{dsp.Folded}, Warnings: []string{dsp.FilledIn}})
		assert.Equal(t, "Wait: "+dsp.FilledIn+".", d.Say)
		want := []string{"filled-in", "folded"}
		if checked {
			want = want[:1]
		}
		assert.Equal(t, want, codes(d))
	}
}

// TestViolentInAll: a line that may be noise or another's stops where all vibration is
// violent too, and only standing still ends it: nobody knows which speed that was.
func TestViolentInAll(t *testing.T) {
	t.Parallel()
	for _, f := range []dsp.Fault{dsp.Doubtful, dsp.Weak, dsp.Coarse} {
		r := assess.Reading{T: 1, Speed: 1500, Shake: 12, ShakeSE: 0.5, Total: 11.2, Faults: []dsp.Fault{f}}
		a := turning()
		d := a.See(r)
		assert.Equal(t, assess.Stop, d.Action, "%s: %s", f, d.Say)
		assert.NotContains(t, d.Say, "1500", "that speed is not sure")
		assert.Contains(t, codes(d), "total")
		assert.Equal(t, assess.Stop, hear(a, steady(2, 16, 400, 0.5)...).Action, "slower than a speed that is none")

		r.Total = 11.1
		assert.Equal(t, assess.Wait, turning().See(r).Action, f)
		r.Total, r.Faults = 20, []dsp.Fault{f, dsp.Stuck}
		assert.Equal(t, assess.Wait, turning().See(r).Action, "the same value again and again is no vibration")
	}
}

// TestViolentThoughCalm: a headstock that is violent in all, with little of it once per turn,
// is no place to stay: the tool off at once, and a stop where it lasts longer than a catch.
func TestViolentThoughCalm(t *testing.T) {
	t.Parallel()
	loud := func(n int, total float64, faults ...dsp.Fault) []assess.Reading {
		out := steady(3, n, 400, 0.5)
		for i := range out {
			out[i].Total, out[i].Faults, out[i].OK = total, faults, faults == nil
		}
		return out
	}
	before := steady(0, 12, 400, 0.5)
	for name, c := range map[string]struct {
		then   []assess.Reading
		action assess.Action
	}{
		"at once":         {loud(1, 11.2), assess.Wait},
		"rough in all":    {loud(20, 11.1), assess.Hold},
		"a catch":         {loud(12, 11.2), assess.Wait}, // of 0.75 s, seen in windows of 2 s
		"goes on":         {loud(13, 11.2), assess.Stop},
		"unsure as well":  {append(loud(1, 30), loud(13, 30, dsp.Doubtful)[1:]...), assess.Stop},
		"a hand":          {loud(20, 30, dsp.Weak), assess.Wait},
		"stuck":           {loud(20, 30, dsp.Stuck), assess.Wait},
		"nothing turns":   {loud(20, 30, dsp.NoTurn), assess.Wait},
		"beyond belief":   {loud(20, 1e6), assess.Hold},
		"a pause between": {slices.Concat(loud(8, 30), loud(18, 30)[13:]), assess.Wait},
	} {
		a := turning()
		d := hear(a, append(slices.Clone(before), c.then...)...)
		assert.Equal(t, c.action, d.Action, "%s: %s", name, d.Say)
		if c.action == assess.Stop {
			assert.Contains(t, d.Say, "in all")
			assert.Contains(t, codes(d), "look")
			assert.Equal(t, assess.Stop, hear(a, steady(7, 16, 300, 0.5)...).Action, "until it stood still")
		}
	}
}

// TestTotalOfTwoSeconds: no raise while all vibration together is rough, nor in the 2 s after.
func TestTotalOfTwoSeconds(t *testing.T) {
	t.Parallel()
	loud := steady(0, 12, 400, 0.1)
	d := hear(turning(), loud...)
	require.Equal(t, assess.Raise, d.Action)
	loud[6].Total = 4.6 // 1.25 s before the last
	d = hear(turning(), loud...)
	assert.Equal(t, assess.Hold, d.Action, d.Say)
	assert.Contains(t, d.Say, "4.6 mm/s in all")
	i := slices.IndexFunc(d.Reasons, func(r assess.Reason) bool { return r.Code == "total" })
	require.GreaterOrEqual(t, i, 0)
	assert.Equal(t, assess.EdgesSource, d.Reasons[i].Source)
	assert.Contains(t, d.Reasons[i].Text, "last 2 s")
	loud[6].Total, loud[3].Total = 0, 4.5 // exactly rough, exactly 2 s before
	d = hear(turning(), loud...)
	assert.Equal(t, assess.Hold, d.Action, d.Say)
	assert.Contains(t, d.Say, "4.5 mm/s in all")
	assert.Contains(t, codes(d), "total")
	assert.NotContains(t, codes(d), "edge")
	loud[3].Total, loud[0].Total = 0, 4.6 // 2.75 s before
	assert.Equal(t, assess.Raise, hear(turning(), loud...).Action)
}

// TestGrowingHolds: what grew by a quarter and more is not raised.
func TestGrowingHolds(t *testing.T) {
	t.Parallel()
	a := turning()
	d := hear(a, append(steady(0, 12, 400, 0.30), steady(3, 14, 400, 0.42)...)...)
	assert.Equal(t, assess.Hold, d.Action, d.Say)
	assert.Contains(t, codes(d), "growing")
}

// TestJustRisen: no raise on a shake that rose by a tenth within 2 s; something may be coming
// loose, and the readings lag behind it.
func TestJustRisen(t *testing.T) {
	t.Parallel()
	for last, action := range map[float64]assess.Action{0.21: assess.Raise, 0.23: assess.Hold} {
		d := hear(turning(), append(steady(0, 12, 400, 0.2), steady(3, 1, 400, last)...)...)
		assert.Equal(t, action, d.Action, "%v mm/s: %s", last, d.Say)
		assert.Equal(t, action == assess.Hold, slices.Contains(codes(d), "growing"))
	}
	for n, action := range map[int]assess.Action{8: assess.Hold, 9: assess.Raise} { // a reading is missing: the 2 s begin before it
		d := hear(turning(), append(steady(0, 12, 400, 0.2), steady(3.25, n, 400, 0.23)...)...)
		assert.Equal(t, action, d.Action, "%d readings: %s", n, d.Say)
	}
	d := hear(turning(), append(steady(0, 12, 400, 0.2), steady(3.75, 8, 400, 0.23)...)...)
	why := slices.IndexFunc(d.Reasons, func(r assess.Reason) bool { return r.Code == "growing" })
	require.GreaterOrEqual(t, why, 0, d.Say)
	assert.Contains(t, d.Reasons[why].Text, "within 3 s", "from 2.75 s to 3.75 s nothing was heard")
}

// TestSecondDirection: past a resonance the shake of another direction lies hidden below the
// falling one, and where it comes out its slope says nothing yet. The lathe of this test
// (natural frequencies 12.3 and 16.2 Hz, damping 0.035 and 0.020) shakes 6.2 mm/s at 950 rpm.
func TestSecondDirection(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Blank.Diameter, a.Blank.Length = 100, 80
	var d assess.Advice
	for i, s := range [][2]float64{{679, 0.467}, {711, 0.908}, {727, 1.33}, {745, 1.50}, {780, 0.987}, {870, 1.462}} {
		d = hear(a, steady(4*float64(i), 12, assess.RPM(s[0]), s[1])...)
	}
	assert.LessOrEqual(t, d.Speed, assess.RPM(900), d.Say)
	d = hear(a, steady(24, 12, 895, 2.01)...)
	assert.LessOrEqual(t, d.Speed, assess.RPM(920), d.Say)
}

// TestRoughAndGrowing: what became rough at one speed is stopped, as a lower speed does not mend
// what comes loose; what grew but can hardly be felt is not.
func TestRoughAndGrowing(t *testing.T) {
	t.Parallel()
	d := hear(turning(), append(steady(0, 14, 500, 3.8), steady(3.5, 6, 500, 4.9)...)...)
	assert.Equal(t, assess.Stop, d.Action, d.Say)
	assert.Contains(t, codes(d), "growth")
	d = hear(turning(), append(steady(0, 14, 500, 0.1), steady(3.5, 6, 500, 0.27)...)...)
	assert.NotEqual(t, assess.Stop, d.Action, d.Say)
	d = hear(turning(), append(steady(0, 14, 500, 0.1), steady(3.5, 6, 500, 0.29)...)...)
	assert.Equal(t, assess.Stop, d.Action, d.Say)
}

// TestLittleOverTheCeiling: a dial is not to be had to the last rpm, but 2 % above a ceiling is
// above it.
func TestLittleOverTheCeiling(t *testing.T) {
	t.Parallel()
	top := turning().See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	assert.Equal(t, assess.Hold, hear(turning(), steady(0, 12, 1.015*top, 0.5)...).Action)
	assert.Equal(t, assess.Lower, hear(turning(), steady(0, 12, 1.025*top, 0.5)...).Action)
}

// TestReach: a step of more than 15 % takes three speeds over a third of the scale, on a lathe
// with steps; none is of more than 40 %.
func TestReach(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		seen  []assess.RPM
		steps bool
		most  assess.RPM
	}{
		"far apart": {[]assess.RPM{300, 350, 405}, true, 510},
		"too close": {[]assess.RPM{350, 375, 405}, true, 405},
		"only two":  {[]assess.RPM{300, 405}, true, 405},
		"too far":   {[]assess.RPM{300, 350, 400}, true, 400},
		"no steps":  {[]assess.RPM{300, 350, 405}, false, 465},
	} {
		a := turning()
		if c.steps {
			a.Lathe = assess.Lathe{Steps: append(slices.Clone(c.seen), 510, 570)}
		}
		if name == "too far" { // by 42 %
			a.Lathe.Steps = slices.DeleteFunc(a.Lathe.Steps, func(n assess.RPM) bool { return n == 510 })
		}
		var d assess.Advice
		for i, n := range c.seen {
			shake := 0.04 * float64(n/405) * float64(n/405) * float64(n/405)
			d = hear(a, steady(4*float64(i), 12, n, max(0.031, shake))...)
		}
		assert.LessOrEqual(t, d.Speed, c.most, "%s: %s", name, d.Say)
		assert.Greater(t, d.Speed, 0.97*c.most, "%s: %s", name, d.Say)
	}
}

// TestForeign: a speed that the lathe does not run is another machine's, or the lathe's
// speeds were said wrong.
func TestForeign(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Lathe = assess.Lathe{Steps: []assess.RPM{250, 400, 650}}
	for n, code := range map[assess.RPM]string{320: "foreign", 215: "foreign", 372: "predicted", 255: "predicted"} {
		b := *a
		d := hear(&b, steady(0, 12, n, 0.1)...)
		assert.Equal(t, code == "foreign", d.Reasons[0].Code == "foreign", "%v: %s", n, d.Say)
		assert.Equal(t, code == "foreign", d.Action == assess.Wait, "%v: %s", n, d.Say)
	}
	for n, foreign := range map[assess.RPM]bool{180: true, 190: false} {
		a := turning()
		a.Lathe = assess.Lathe{Low: 200, High: 3000}
		assert.Equal(t, foreign, hear(a, steady(0, 12, n, 0.1)...).Reasons[0].Code == "foreign", "%v", n)
	}
}

// TestUndescribed: without a diameter nothing is called safe, and no list of ceilings is
// shown that would lack the lowest; rough, violent and too fast for the lathe are said.
func TestUndescribed(t *testing.T) {
	t.Parallel()
	blind := func() *assess.Adviser {
		return &assess.Adviser{Lathe: workshop(), Blank: assess.Blank{Balance: assess.Burl, Length: 600}, Checked: true}
	}
	d := hear(blind(), steady(0, 12, 400, 0.1)...)
	assert.Equal(t, assess.Wait, d.Action, d.Say)
	assert.Equal(t, "diameter", d.Reasons[0].Code)
	assert.NotNil(t, d.Ceilings)
	assert.Empty(t, d.Ceilings)
	assert.Equal(t, assess.Stop, hear(blind(), steady(0, 1, 400, 12)...).Action)
	assert.Equal(t, assess.Lower, hear(blind(), append(steady(0, 12, 300, 0.8), steady(4, 2, 500, 6.1)...)...).Action)
	for limit, change := range map[assess.RPM]func(*assess.Adviser){
		3700: func(a *assess.Adviser) { a.Lathe.ChuckMax = 0 },
		3000: func(*assess.Adviser) {},
		1200: func(a *assess.Adviser) { a.Task = assess.Hollowing },
		600:  func(a *assess.Adviser) { a.Blank.Held = assess.Vacuum },
	} {
		a := blind()
		change(a)
		d = hear(a, steady(0, 1, 1.05*limit, 1)...)
		assert.Equal(t, assess.Lower, d.Action, "above %v: %s", limit, d.Say)
		assert.LessOrEqual(t, d.Speed, limit)
	}
}

// TestNotFound: where the lathe's range is not known, that nothing was found is no proof
// that it stands.
func TestNotFound(t *testing.T) {
	t.Parallel()
	none := assess.Reading{T: 1, Faults: []dsp.Fault{dsp.NoTurn}}
	for _, c := range []struct {
		lathe assess.Lathe
		say   string
	}{
		{assess.Lathe{}, "Wait: no turning found between 60 and 4000 rpm."},
		{assess.Lathe{High: 5500}, "Wait: no turning found between 60 and 5500 rpm."},
		{assess.Lathe{Low: 200}, "Wait: no turning found between 200 and 4000 rpm."},
		{assess.Lathe{Low: 200, High: 5500}, "Wait: the sensor feels nothing turn."},
		{assess.Lathe{Steps: []assess.RPM{500, 800}}, "Wait: the sensor feels nothing turn."},
	} {
		a := &assess.Adviser{Lathe: c.lathe, Blank: bowl()}
		assert.Equal(t, c.say, a.See(none).Say)
	}
}

// TestBeyond: a line outside of the lathe's speeds is named, and while it is there nobody says that nothing turns, nor takes a stop back.
func TestBeyond(t *testing.T) {
	t.Parallel()
	beyond := func(s float64) assess.Reading {
		return assess.Read(dsp.Revolution{Time: s, Span: 2, Rival: 75.01, Faults: []dsp.Fault{dsp.NoTurn}})
	}
	a := turning()
	d := a.See(beyond(1))
	assert.Contains(t, d.Say, "Wait: something shakes at about 4500 rpm, and the spindle is looked for between 60 and 3700 rpm")
	assert.Equal(t, []string{"beyond"}, codes(d))
	require.Equal(t, assess.Stop, hear(a, steady(20, 1, 600, 12)...).Action)
	for i := range 12 {
		d = a.See(beyond(20.25 + 0.25*float64(i)))
	}
	assert.Equal(t, assess.Stop, d.Action)
}

// TestFastLathe: map and shaky bands go on to the end of a lathe that is faster than most.
func TestFastLathe(t *testing.T) {
	t.Parallel()
	small := assess.Blank{Diameter: 25, Length: 40, Held: assess.Chuck, Tailstock: true, Balance: assess.True, Wood: "sugar maple", Moisture: 12}
	a := &assess.Adviser{Lathe: assess.Lathe{Low: 300, High: 6000}, Blank: small, Task: assess.Finishing, Checked: true, Comfort: 0.5}
	d := hear(a, steady(0, 12, 4200, 0.1)...)
	points := a.Map()
	assert.Equal(t, d.Ceilings[0].RPM, points[len(points)-1].Speed)
	for i, n := range []assess.RPM{4300, 4500, 4700, 4900} {
		d = hear(a, steady(4*float64(i+1), 12, n, []float64{0.2, 0.4, 1, 0.6}[i])...)
	}
	require.NotEmpty(t, d.Avoid)
	assert.Greater(t, d.Avoid[0][1], assess.RPM(4500))
}

// TestMapOutlivesTheStop: what was measured before a stop is there for a closing report, but
// counts no more for the next run.
func TestMapOutlivesTheStop(t *testing.T) {
	t.Parallel()
	a, at := climbed(t)
	hear(a, steady(at, 1, 560, 12)...)
	before := a.Map()
	var d assess.Advice
	for i := range 12 {
		d = a.See(assess.Reading{T: at + 1 + 0.25*float64(i), Faults: []dsp.Fault{dsp.NoTurn}})
	}
	require.Equal(t, assess.Wait, d.Action)
	assert.Empty(t, d.Avoid)
	assert.Equal(t, before, a.Map())
	hear(a, steady(at+5, 1, 300, 0.3)...)
	assert.Equal(t, []assess.RPM{300}, speedsSeen(a.Map()))
}

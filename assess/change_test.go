package assess_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// climbed is an adviser that has seen a lathe shake more and more towards 600 rpm.
func climbed(t *testing.T) (*assess.Adviser, float64) {
	t.Helper()
	a := turning()
	at := 0.0
	for _, p := range []struct {
		n assess.RPM
		v float64
	}{{300, 0.3}, {345, 0.5}, {390, 0.8}, {440, 1.3}, {500, 2.4}} {
		d := hear(a, steady(at, 12, p.n, p.v)...)
		require.NotEqual(t, assess.Stop, d.Action)
		at += 4
	}
	return a, at
}

// width of the map where nothing was measured, upper over lower edge at about 400 rpm.
func width(t *testing.T, a *assess.Adviser) float64 {
	t.Helper()
	for _, m := range a.Map() {
		if m.Speed > 405 && !m.Seen {
			return m.High / m.Low
		}
	}
	require.Fail(t, "no such point")
	return 0
}

func speedsSeen(points []assess.MapPoint) []assess.RPM {
	var out []assess.RPM
	for _, p := range points {
		if p.Seen {
			out = append(out, p.Speed)
		}
	}
	return out
}

func TestChange(t *testing.T) {
	t.Parallel()
	a, at := climbed(t)
	before, sure := a.Map(), width(t, a)

	b := a.Blank
	b.Held = "glue"
	require.Error(t, a.Change(b, a.Task))
	assert.Equal(t, assess.Faceplate, a.Blank.Held, "what cannot be changes nothing")

	require.NoError(t, a.Change(a.Blank, assess.Sanding))
	d := a.See(steady(at, 1, 500, 2.4)[0])
	assert.Equal(t, assess.Lower, d.Action, "sanding is slower")
	assert.Equal(t, speedsSeen(before), speedsSeen(a.Map()), "what was measured stands")

	a, at = climbed(t)
	b = a.Blank
	b.Diameter = 290
	require.NoError(t, a.Change(b, a.Task))
	assert.Zero(t, a.Blank.Mass, "the mass is that of before the cut")
	assert.Greater(t, width(t, a), 1.5*sure, "after a cut the map is less sure")
	assert.Equal(t, assess.Wait, a.See(steady(at, 1, 500, 2.4)[0]).Action, "and must settle again")

	b.Tailstock = false
	require.NoError(t, a.Change(b, a.Task))
	assert.Empty(t, a.Map(), "held otherwise it is another blank")

	for name, change := range map[string]func(*assess.Blank){
		"longer, which no cut makes it": func(b *assess.Blank) { b.Length = 120 },
		"wider":                         func(b *assess.Blank) { b.Diameter = 320 },
		"held otherwise":                func(b *assess.Blank) { b.Held = assess.Chuck },
		"of other wood":                 func(b *assess.Blank) { b.Wood = "black cherry" },
	} {
		a, _ = climbed(t)
		b = a.Blank
		change(&b)
		require.NoError(t, a.Change(b, a.Task), name)
		assert.Empty(t, a.Map(), "%s: another blank", name)
	}

	a = &assess.Adviser{Lathe: workshop()}
	hear(a, steady(0, 12, 300, 0.5)...)
	require.NoError(t, a.Change(assess.Blank{Diameter: 310, Length: 90}, ""))
	assert.NotEmpty(t, a.Map(), "to say what turns changes no blank")
}

// TestChangeKeepsStop: no change of words ends a stop.
func TestChangeKeepsStop(t *testing.T) {
	t.Parallel()
	a := turning()
	require.Equal(t, assess.Stop, hear(a, steady(0, 1, 600, 12)...).Action)
	b := a.Blank
	b.Diameter = 200
	require.NoError(t, a.Change(b, assess.Sanding))
	assert.Equal(t, assess.Stop, hear(a, steady(1, 16, 590, 1)...).Action)
}

// TestChangeBelowTheNewCeiling: a lower that stands when the task changes is to below the new
// ceiling too, though no reading comes that could say so.
func TestChangeBelowTheNewCeiling(t *testing.T) {
	t.Parallel()
	a := turning()
	was := hear(a, steady(0, 1, 1200, 1)...)
	require.Equal(t, assess.Lower, was.Action)
	require.NoError(t, a.Change(a.Blank, assess.Sanding))
	top := assess.Ceilings(a.Lathe, a.Blank, assess.Sanding)[0].RPM
	require.Less(t, top, was.Speed)
	d := a.See(assess.Reading{T: 0.25, Speed: 1200, Faults: []dsp.Fault{dsp.Weak}})
	assert.Equal(t, assess.Lower, d.Action, d.Say)
	assert.LessOrEqual(t, d.Speed, top)
}

// TestChangeNeverFaster: after a change no raise within 2 s, and none to a speed above what
// an adviser gives that knew the new blank from the start and saw the same.
func TestChangeNeverFaster(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	raises := 0
	thinner := func(b *assess.Blank, _ *assess.Task) { b.Diameter *= assess.MM(0.3 + 0.7*r.Float64()) }
	for _, c := range []struct {
		name   string
		change func(*assess.Blank, *assess.Task)
	}{
		{"thinner", thinner}, {"thinner again", thinner},
		{"no tailstock", func(b *assess.Blank, _ *assess.Task) { b.Tailstock = false }},
		{"rough", func(b *assess.Blank, _ *assess.Task) { b.Balance = assess.RoughBlank }},
		{"hollowing", func(_ *assess.Blank, t *assess.Task) { *t = assess.Hollowing }},
	} {
		a, at := climbed(t)
		knew, _ := climbed(t)
		c.change(&knew.Blank, &knew.Task)
		if knew.Blank.Diameter != a.Blank.Diameter {
			knew.Blank.Mass = 0
		}
		b, task := knew.Blank, knew.Task
		require.NoError(t, a.Change(b, task), c.name)
		n, shake := assess.RPM(300+260*r.Float64()), 0.1+2*r.Float64()
		for i, reading := range steady(at, 16, n, shake) {
			d, k := a.See(reading), knew.See(reading)
			if d.Action == assess.Raise {
				raises++
				assert.GreaterOrEqual(t, i, 8, "%s: %q", c.name, d.Say)
				assert.True(t, k.Action != assess.Raise || d.Speed <= k.Speed+5, "%s: %q, without the change %q", c.name, d.Say, k.Say)
			}
		}
	}
	assert.Positive(t, raises)
}

// TestLookingChangesNothing: the advice is the same whether or not anybody looks at the map,
// so that a session run again advises what it did live.
func TestLookingChangesNothing(t *testing.T) {
	t.Parallel()
	for seed := range uint64(2) {
		r := rand.New(rand.NewPCG(seed, 5))
		looked, alone := turning(), turning()
		n, shake, at := assess.RPM(300), 0.5, 0.0
		for range 12 {
			for _, reading := range steady(at, 4+r.IntN(20), n, shake) {
				reading.Shake *= math.Exp(0.05 * r.NormFloat64())
				at = reading.T + 0.25
				if r.IntN(4) == 0 {
					looked.Map()
				}
				require.Equal(t, alone.See(reading), looked.See(reading), "at %g s", reading.T)
			}
			require.Equal(t, alone.Map()[0].Seen, looked.Map()[0].Seen)
			n *= assess.RPM(0.85 + 0.3*r.Float64())
			shake = 0.3 * math.Pow(float64(n)/300, 2+2*r.Float64())
			if r.IntN(8) == 0 {
				b := alone.Blank
				b.Diameter *= 0.97
				require.NoError(t, alone.Change(b, alone.Task))
				require.NoError(t, looked.Change(b, looked.Task))
			}
		}
	}
}

// TestChangeMovesTheBands: the shaky bands are those below the ceiling as of now.
func TestChangeMovesTheBands(t *testing.T) {
	t.Parallel()
	past := []assess.RPM{300, 330, 360, 390, 420, 450, 480, 520, 560, 600, 380}
	for _, c := range []struct {
		from, to assess.Task
		some     bool
	}{{assess.Finishing, assess.Threading, false}, {assess.Threading, assess.Finishing, true}} {
		a := turning()
		a.Task = c.from
		var d assess.Advice
		resonant(a, 8, 0.03, past, func(_ assess.RPM, now assess.Advice) { d = now })
		above := func(b [2]assess.RPM) bool { return b[1] > 400 }
		require.Equal(t, !c.some, slices.ContainsFunc(d.Avoid, above), "%v", d.Avoid)
		require.NoError(t, a.Change(a.Blank, c.to))
		d = a.See(steady(44, 1, 380, 8*2*0.03*380/420*assess.UnbalanceGain(380.0/420, 0.03))[0])
		assert.Equal(t, c.some, slices.ContainsFunc(d.Avoid, above), "%s: %v", c.to, d.Avoid)
	}
}

package assess_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// TestDialThatLies: whoever sets what is asked for on a dial that shows up to 8 % too little
// gets below the ceiling in two moves, however little above it the lathe was.
func TestDialThatLies(t *testing.T) {
	t.Parallel()
	top := turning().See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	for _, lie := range []assess.RPM{1, 1.03, 1.05, 1.08} {
		for _, above := range []assess.RPM{1.03, 1.07, 1.2, 1.5} {
			a := turning()
			n, moves := above*top, 0
			for at := 0.0; at < 12; at += 4 {
				d := hear(a, steady(at, 12, n, 0.5)...)
				if d.Action == assess.Lower {
					require.LessOrEqual(t, d.Speed, top)
					n = lie * d.Speed
					moves++
				}
			}
			assert.LessOrEqual(t, n, 1.02*top, "dial off by %v, from %v of the ceiling", lie, above)
			assert.LessOrEqual(t, moves, 2)
		}
	}
}

// TestSlowestAboveTheCeiling: a lathe whose slowest speed is above the ceiling stops, however
// little above; one that can run just below it goes there.
func TestSlowestAboveTheCeiling(t *testing.T) {
	t.Parallel()
	top := turning().See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	a := turning()
	a.Lathe.Low = 1.01 * top
	assert.Equal(t, assess.Stop, hear(a, steady(0, 1, 1.01*top, 0.1)...).Action)
	a = turning()
	a.Lathe.Low = 0.97 * top
	d := hear(a, steady(0, 1, 1.05*top, 0.1)...)
	assert.Equal(t, assess.Lower, d.Action, d.Say)
	assert.InDelta(t, 0.97*float64(top), float64(d.Speed), 1e-9)
	assert.Contains(t, d.Say, "If it is set to that already, stop.")
}

// resonant visits speeds of a lathe of one mode at 420 rpm with damping zeta, and hands on the
// last advice at each; the shake at 420 rpm is peak.
func resonant(a *assess.Adviser, peak, zeta float64, speeds []assess.RPM, each func(n assess.RPM, d assess.Advice)) {
	for i, n := range speeds {
		shake := peak * 2 * zeta * float64(n/420) * assess.UnbalanceGain(float64(n/420), zeta)
		each(n, hear(a, steady(4*float64(i), 12, n, shake)...))
	}
}

// TestLowerIsLower: on a resonance the way out is down, though it was calm above.
func TestLowerIsLower(t *testing.T) {
	t.Parallel()
	a := turning()
	var last assess.Advice
	resonant(a, 6, 0.05, []assess.RPM{300, 330, 360, 390, 420, 450, 480, 520, 560, 600, 421}, func(_ assess.RPM, d assess.Advice) { last = d })
	assert.Less(t, upperEdge(t, a, 600), 3.0, "it is known to be calm above")
	require.Equal(t, assess.Lower, last.Action, last.Say)
	assert.Less(t, last.Speed, assess.RPM(400), last.Say)
}

// TestMostOnTheWay: a raise names the most that is to be expected on the way, also where that is
// at its beginning.
func TestMostOnTheWay(t *testing.T) {
	t.Parallel()
	a, past := turning(), 0
	resonant(a, 1.5, 0.05, []assess.RPM{300, 330, 360, 390, 420, 450, 480, 520, 560}, func(n assess.RPM, d assess.Advice) {
		if d.Action != assess.Raise {
			return
		}
		if n > 420 {
			past++
		}
		for _, p := range a.Map() {
			if p.Speed >= n && p.Speed <= d.Speed {
				assert.GreaterOrEqual(t, said(t, d), 0.97*p.High, "%v from %v: %s", p.Speed, n, d.Reasons[0].Text)
			}
		}
	})
	assert.Positive(t, past, "no raise past the resonance")
}

// said is the shake that the reason of a raise names.
func said(t *testing.T, d assess.Advice) float64 {
	t.Helper()
	require.Equal(t, "predicted", d.Reasons[0].Code)
	var to, shake float64
	n, err := fmt.Sscanf(d.Reasons[0].Text, "on the way to %f rpm it stays below %f", &to, &shake)
	require.NoError(t, err)
	require.Equal(t, 2, n)
	return shake
}

// TestNoChatter: while nothing changes but what the cut makes the shake wander, the speed asked
// for may come down once as more is seen, and never goes up again, for half a minute; and what is
// expected there is well below the comfort limit.
func TestNoChatter(t *testing.T) {
	t.Parallel()
	raised := 0
	for base := 0.2; base < 4; base *= 1.9 {
		a := turning()
		for i, n := range []assess.RPM{300, 330, 365} { // v ∝ n³
			hear(a, steady(4*float64(i), 12, n, base*math.Pow(float64(n/400), 3))...)
		}
		var asked []assess.RPM
		for i := range 120 {
			d := a.See(steady(12+0.25*float64(i), 1, 400, base*(1+0.04*math.Sin(float64(i)/7)))[0])
			if d.Action == assess.Wait || asked != nil && d.Speed == asked[len(asked)-1] {
				continue
			}
			asked = append(asked, d.Speed)
			if d.Action == assess.Raise {
				raised++
				assert.LessOrEqual(t, upperEdge(t, a, d.Speed), 0.93*4.5, d.Say)
			}
		}
		assert.LessOrEqual(t, len(asked), 2, "%v mm/s: %v", base, asked)
		assert.True(t, slices.IsSortedFunc(asked, func(a, b assess.RPM) int { return cmp.Compare(b, a) }), "%v mm/s: %v", base, asked)
	}
	assert.Positive(t, raised)
}

// TestSlippingBelt: on a step whose belt turns it up to 8 % faster or slower than it is called,
// no move asks for that step: whoever does what is said must come to another speed.
func TestSlippingBelt(t *testing.T) {
	t.Parallel()
	stepped := func() *assess.Adviser {
		a := turning()
		a.Lathe = assess.Lathe{Steps: []assess.RPM{300, 500, 700}}
		return a
	}
	for _, n := range []assess.RPM{465, 500, 535} {
		d := hear(stepped(), steady(0, 12, n, 0.1)...)
		assert.Equal(t, assess.Hold, d.Action, "%v: %s", n, d.Say)
		assert.Equal(t, assess.RPM(500), d.Speed)
		for _, v := range []float64{4.55, 4.8, 5.5, 7} {
			d = hear(stepped(), append(steady(0, 12, 300, 0.1), steady(3, 12, n, v)...)...)
			require.Equal(t, assess.Lower, d.Action, "%v: %s", n, d.Say)
			assert.Equal(t, assess.RPM(300), d.Speed, "%v: %s", n, d.Say)
		}
	}
}

// TestFastBelt: a step whose belt turns it above the ceiling is no place to go to: a slower step
// is, and where there is none nothing but a stop.
func TestFastBelt(t *testing.T) {
	t.Parallel()
	top := turning().See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	own := 0.99 * top
	for _, fast := range []assess.RPM{1.04, 1.079} {
		a := turning()
		a.Lathe = assess.Lathe{Steps: []assess.RPM{own, 1.5 * top}}
		d := hear(a, steady(0, 12, fast*own, 0.1)...)
		assert.Equal(t, assess.Stop, d.Action, d.Say)
		assert.Contains(t, d.Say, fmt.Sprintf("slowest step, %v, turns %v", own, fast*own))
		assert.NotContains(t, d.Say, "slowest speed", "which the ceiling allows")
		assert.Equal(t, assess.Stop, hear(a, steady(4, 12, fast*own, 0.1)...).Action)

		a = turning()
		a.Lathe = assess.Lathe{Steps: []assess.RPM{0.5 * top, own, 1.5 * top}}
		d = hear(a, steady(0, 12, fast*own, 0.1)...)
		assert.Equal(t, assess.Lower, d.Action, d.Say)
		assert.Equal(t, 0.5*top, d.Speed, d.Say)
	}
	a := turning()
	a.Lathe = assess.Lathe{Steps: []assess.RPM{own, 1.5 * top}}
	assert.Contains(t, hear(a, steady(0, 12, 1.085*own, 0.1)...).Say, "If it is set to that already, stop.", "too far off to be sure that it is that step")
}

// TestStepAboveTheCeiling: a belt that runs slow does not make its step one that may be held: to hold
// would be to name a speed at which it does not turn.
func TestStepAboveTheCeiling(t *testing.T) {
	t.Parallel()
	top := turning().See(steady(0, 1, 300, 0.5)[0]).Ceilings[0].RPM
	for _, turns := range []assess.RPM{0.96, 0.99, 1.005} {
		a := turning()
		a.Lathe = assess.Lathe{Steps: []assess.RPM{0.6 * top, 1.02 * top, 1.5 * top}}
		d := hear(a, steady(0, 12, turns*top, 0.1)...)
		assert.Equal(t, assess.Lower, d.Action, d.Say)
		assert.Equal(t, 0.6*top, d.Speed, d.Say)
		assert.Contains(t, d.Say, fmt.Sprintf("the step of %v is above the ceiling", 1.02*top))
	}
	a := turning()
	a.Lathe = assess.Lathe{Steps: []assess.RPM{0.96 * top, 1.02 * top}}
	d := hear(a, steady(0, 12, 0.995*top, 0.1)...)
	assert.Equal(t, assess.Hold, d.Action, "it may be the lower one, whose belt runs fast")
	assert.Equal(t, 0.96*top, d.Speed, d.Say)
}

package assess_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
)

// TestUnchecked: a speed that nobody compared with the dial is raised only with an if, and
// every advice about it asks for the dial. The comparison may come at any time.
func TestUnchecked(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Checked = false
	d := hear(a, steady(0, 12, 400, 0.1)...)
	assert.Equal(t, assess.Hold, d.Action)
	assert.EqualValues(t, 400, d.Speed)
	assert.Equal(t, "Hold 400 rpm: 0.10 mm/s, calm. If the dial shows about that, raise to 455 rpm.", d.Say)
	assert.Equal(t, "dial", d.Reasons[0].Code)
	assert.Contains(t, d.Reasons[0].Text, "--speed")

	d = hear(a, steady(3, 12, 680, 0.5)...)
	assert.Equal(t, "Hold 680 rpm: 0.50 mm/s, calm.", d.Say)
	assert.Equal(t, "dial", d.Reasons[len(d.Reasons)-1].Code)

	for _, r := range steady(6, 12, 400, 0.1) {
		assert.NotEqual(t, assess.Raise, a.See(r).Action)
	}
	a.Checked = true
	assert.Equal(t, assess.Raise, hear(a, steady(9, 1, 400, 0.1)...).Action)
}

// TestHoldStandsStill: a speed that wanders about the middle between two steps of 5 rpm is named by
// one of them, also while the dial was not compared, or not every direction is measured.
func TestHoldStandsStill(t *testing.T) {
	t.Parallel()
	for name, unseen := range map[string]int{"unchecked": 0, "partly": 1} {
		a := turning()
		a.Checked = unseen > 0
		var named []assess.RPM
		for i := range 40 {
			r := steady(0.25*float64(i), 1, 402.5+assess.RPM(i%2)-0.5, 0.1)[0]
			r.Unseen = unseen
			if d := a.See(r); d.Action == assess.Hold && (named == nil || named[len(named)-1] != d.Speed) {
				named = append(named, d.Speed)
			}
		}
		assert.Len(t, named, 1, "%s: %v", name, named)
	}
}

// TestTotal: where it is not the shake that is large, the first line says what is.
func TestTotal(t *testing.T) {
	t.Parallel()
	readings := steady(0, 12, 400, 0.4)
	for i := range readings {
		readings[i].Total = 6.2
	}
	d := hear(turning(), readings...)
	assert.Equal(t, "Hold 400 rpm: 0.40 mm/s once per turn, but 6.2 mm/s in all, rough.", d.Say)
	require.Len(t, d.Reasons, 1)
	assert.Equal(t, "total", d.Reasons[0].Code)
}

// TestPartly: what shakes in a direction that no axis measures may be anything, so that no
// speed above is known to be safe.
func TestPartly(t *testing.T) {
	t.Parallel()
	for axes := range 4 {
		rev := dsp.Revolution{Axes: 3, Time: 1, Span: 2, Freq: 7, Amp: 1}
		for k := range axes { // the others are dead
			rev.Phasor[k] = complex(float64(k), 0.5)
		}
		dead := assess.Read(rev).Unseen
		if axes == 2 {
			twice := rev
			twice.Phasor[2] = twice.Phasor[0]
			assert.Equal(t, dead, assess.Read(twice).Unseen, "one column twice")
		}
		rev.Axes = axes // are not there
		assert.Equal(t, dead, assess.Read(rev).Unseen)
		readings := steady(0, 12, 400, 0.1)
		for i := range readings {
			readings[i].Unseen = dead
		}
		d := hear(turning(), readings...)
		if axes == 3 {
			assert.Equal(t, assess.Raise, d.Action)
			continue
		}
		assert.Equal(t, fmt.Sprintf("Hold 400 rpm: 0.10 mm/s, calm, as far as %d of 3 axes show.", axes), d.Say)
		assert.EqualValues(t, 400, d.Speed)
		assert.Equal(t, "axes", d.Reasons[0].Code)
	}
}

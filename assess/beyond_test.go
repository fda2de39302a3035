package assess_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

// TestBeyondTheBand: calm on the other side of a shaky band is told of, and not raised to, where
// it was measured, is below the ceiling and nothing on the way is violent.
func TestBeyondTheBand(t *testing.T) {
	t.Parallel()
	past := []assess.RPM{300, 330, 360, 390, 420, 450, 480, 520, 560, 600}
	for name, c := range map[string]struct {
		peak   float64
		zeta   float64
		speeds []assess.RPM
		task   assess.Task
		last   assess.RPM
		told   bool
	}{
		"measured":         {5, 0.05, past, assess.Finishing, 393, true},
		"never been there": {5, 0.05, []assess.RPM{300, 330, 360, 390, 420}, assess.Finishing, 393, false},
		"not calm":         {8, 0.05, past, assess.Finishing, 375, false},
		"through violent":  {11, 0.02, past, assess.Finishing, 388, false},
		"above a ceiling":  {5, 0.05, past, assess.Sanding, 393, false},
	} {
		a := turning()
		a.Task = c.task
		a.Comfort = 4.0
		resonant(a, c.peak, c.zeta, append(slices.Clone(c.speeds), c.last), func(n assess.RPM, d assess.Advice) {
			if n == c.last {
				assert.Equal(t, assess.Hold, d.Action, "%s: %s", name, d.Say)
				most := 0.0
				for _, p := range a.Map() {
					most = max(most, p.High)
				}
				assert.Equal(t, name == "through violent", most >= 11.2, name)
				assert.Equal(t, c.told, slices.Contains(codes(d), "beyond-band"), "%s: %v", name, d.Reasons)
			}
		})
	}
}

// TestBeyondTakesThreeAxes: no higher speed is called calm by a sensor that does not feel every
// direction.
func TestBeyondTakesThreeAxes(t *testing.T) {
	t.Parallel()
	for unseen, told := range map[int]bool{0: true, 1: false} {
		a := turning()
		a.Comfort = 4.0
		resonant(a, 5, 0.05, []assess.RPM{300, 330, 360, 390, 420, 450, 480, 520, 560, 600, 393}, func(assess.RPM, assess.Advice) {})
		r := steady(43, 1, 393, 5*2*0.05*393/420*assess.UnbalanceGain(393.0/420, 0.05))[0]
		r.Unseen = unseen
		d := a.See(r)
		assert.Equal(t, assess.Hold, d.Action, d.Say)
		assert.Equal(t, told, slices.Contains(codes(d), "beyond-band"), "%d: %v", unseen, d.Reasons)
	}
}

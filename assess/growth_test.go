package assess_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

// TestGrowthFalseAlarms: hours at one speed, readings uncertain by 4 % and a cut that
// makes the shake wander by 5 % over seconds: no stop. One in 8 hours is allowed; half an
// hour is tried in every run, 24 with -shops 300 or more.
func TestGrowthFalseAlarms(t *testing.T) {
	t.Parallel()
	hours := 0.5
	if *shops >= 300 {
		hours = 24
	}
	r := rand.New(rand.NewPCG(8, 8))
	a := turning()
	wander, stops := 0.0, 0
	for i := range int(hours * 3600 * 4) {
		wander += -wander*0.25/2 + 0.05*math.Sqrt(2*0.25/2)*r.NormFloat64()
		shake := 1.5 * math.Exp(wander) * (1 + 0.04*r.NormFloat64())
		d := a.See(assess.Reading{T: 0.25 * float64(i), Span: 2, OK: true, Speed: assess.RPM(500 * (1 + 0.001*r.NormFloat64())), SpeedSE: 0.3, Shake: shake, ShakeSE: 0.04 * shake})
		if d.Action == assess.Stop {
			stops++
		}
	}
	t.Logf("%d stops in %.0f hours", stops, hours)
	assert.Zero(t, stops)
}

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

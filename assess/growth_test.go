package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

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

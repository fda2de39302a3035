package assess

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// hours at one speed for each length of window: go test ./assess -run GrowthRate -v
// -hours 1000 measures the rate itself.
var hours = flag.Float64("hours", 8, "hours of steady readings for each length of window")

// TestGrowthRate: steady hours of the most uncertain readings allowed, four a second whose
// windows overlap, and a cut that makes the shake wander by 5 % over 2 s. No alarm in 24
// hours is a rate below one in 8, at 95 % (three over the hours, the exact Poisson limit).
func TestGrowthRate(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("as slow as it is under the race detector, it shows no race")
	}
	alarms, scatter := 0, 0.0
	for _, quarters := range []int{3, 8, 16} { // windows of 0.75, 2 and 4 s
		a, s := steadyHours(*hours, quarters)
		alarms, scatter = alarms+a, max(scatter, s)
	}
	t.Logf("%d alarms in %.0f hours, ln(shake) scatters by up to %.3f", alarms, 3**hours, scatter)
	assert.Greater(t, scatter, 0.06, "as hard as promised")
	if *hours <= 8 {
		assert.Zero(t, alarms)
	}
	assert.LessOrEqual(t, float64(alarms), 3**hours/8)
}

// steadyHours counts the alarms, after each of which the watch begins anew, and the
// standard deviation of ln(shake).
func steadyHours(hours float64, quarters int) (alarms int, scatter float64) {
	const wander, lasts, se = 0.05, 2.0, maxRelSE
	r := rand.New(rand.NewPCG(8, uint64(quarters)))
	noise := se * math.Sqrt(float64(quarters)) // of a quarter of a second
	past := make([]float64, quarters)
	var w watch
	var cut, sum, squares float64
	n := int(hours * 3600 * 4)
	for i := range n {
		cut += -cut*0.25/lasts + wander*math.Sqrt(2*0.25/lasts)*r.NormFloat64()
		past[i%quarters] = math.Exp(cut) * (1 + noise*r.NormFloat64())
		shake := 0.0
		for _, p := range past {
			shake += p / float64(quarters)
		}
		if i < quarters {
			continue
		}
		l := math.Log(shake)
		sum, squares = sum+l, squares+l*l
		w.add(Reading{T: 0.25 * float64(i), Speed: RPM(500 * (1 + 0.001*r.NormFloat64())), Shake: shake, ShakeSE: se * shake}, response{}, 1)
		if w.growth() >= growthFactor {
			alarms++
			w = watch{}
		}
	}
	mean := sum / float64(n)
	return alarms, math.Sqrt(squares/float64(n) - mean*mean)
}

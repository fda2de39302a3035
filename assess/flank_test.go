package assess

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestFlank: a stiff headstock, v ∝ n³, with one narrow mode beside it of which nothing is seen but
// its flank at two speeds: on the way up by 15 % it never shakes more than the bound says (Thomson,
// Theory of Vibration with Applications, 4th ed., eq. 3.2-4, the mode's share added with its phase).
func TestFlank(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 4))
	log := func(a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }
	hidden := 0
	for range 100 {
		n, share, zeta := log(200, 2000), log(0.003, 0.3), log(narrowest, 0.05)
		peak := n * log(1.03, 1.2)
		truth := func(s float64) float64 {
			q := s / peak
			return math.Pow(s/n, 3) * cmplx.Abs(1+complex(share, 0)/complex(1-q*q, 2*zeta*q))
		}
		var m response
		for i, s := range []float64{n / log(1.02, 1.14), n} {
			for k := range 12 {
				m.add(Reading{T: 4*float64(i) + 0.25*float64(k), OK: true, Speed: RPM(s), Shake: truth(s), ShakeSE: 0.002 * truth(s)})
			}
		}
		m.refit()
		f := m.flank(RPM(n))
		assert.GreaterOrEqual(t, f.slope, 0.0)
		most := 0.0
		for d := 0.0; d <= math.Log(1.15); d += 0.001 {
			most = max(most, truth(n*math.Exp(d)))
			if !assert.LessOrEqual(t, most, f.highest(d), "%.3f up: share %.4f, damping %.3f, peak at %.3f", d, share, zeta, peak/n) {
				break
			}
		}
		if most > 1.5*math.Pow(1.15, 3) {
			hidden++
		}
	}
	assert.Greater(t, hidden, 10, "peaks that the shake at the two speeds did not show")
}

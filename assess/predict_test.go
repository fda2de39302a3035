package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

// TestPrediction: a lathe is run at a few speeds; at others, up to half as fast again and
// down to half, the 95 % edges must contain the truth in at least 93 % of cases. More lathes with
// go test ./assess -run Prediction -v -shops 300.
func TestPrediction(t *testing.T) {
	t.Parallel()
	within, above, all := 0, 0, 0
	for seed := range uint64(max(15, *shops)) {
		s := newShop(1000 + seed)
		s.lathe = assess.Lathe{Low: 60, High: 3000}
		s.blank = assess.Blank{Diameter: 75, Length: 60, Mass: 0.15, Balance: assess.True, Held: assess.Chuck, Tailstock: true}
		s.faulty, s.fading = 0, 0.01
		a := &assess.Adviser{Lathe: s.lathe, Blank: s.blank, Task: assess.Finishing, Checked: true}
		low := 250 * math.Exp(s.Float64())
		s.visible(assess.RPM(low))
		n := low
		for k := range 2 + s.IntN(6) {
			n = low * math.Pow(1.13, float64(k))
			s.dial = 1
			s.speed = n // at once: no run-up
			s.turn(assess.RPM(n))
			for range 30 {
				a.See(s.next())
			}
		}
		for _, m := range a.Map() {
			if v := float64(m.Speed); !m.Seen && v > low/2 && v < n*1.5 {
				all++
				truth := s.truth(v)
				if truth >= m.Low && truth <= m.High {
					within++
				} else if truth > m.High {
					above++
				}
			}
		}
	}
	t.Logf("95 %% edges contain the truth in %.1f %% of %d cases, %.1f %% are above", 100*float64(within)/float64(all), all, 100*float64(above)/float64(all))
	assert.GreaterOrEqual(t, float64(within)/float64(all), 0.93)
}

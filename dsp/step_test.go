package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

// afterStep returns how many s after a step in speed, from f Hz to so many times that at a time in s, there is a number
// again. dial is what it shows, over f; 0 for no word of it.
func afterStep(t *testing.T, f, times, dial, at float64, seed uint64) float64 {
	r := rand.New(rand.NewPCG(seed, 5))
	tr := &dsp.Tracker{Hint: f * dial}
	turn, first := 0.0, math.Inf(1)
	for i := range int(1000 * (at + 4)) {
		u, now := float64(i)/1000, f
		if u > at {
			now *= times
		}
		turn += 2 * math.Pi * now / 1000
		x := math.Cos(turn) + 0.2*math.Cos(2*turn) + 0.1*math.Cos(3*turn+1) + 0.05*r.NormFloat64()
		y := 0.5*math.Cos(turn+1) + 0.1*math.Cos(2*turn) + 0.05*r.NormFloat64()
		z := 9.8 + 0.1*math.Sin(turn) + 0.05*r.NormFloat64()
		for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
			if u <= at || !v.OK {
				continue
			}
			if v.Time > at {
				assert.InEpsilon(t, now, v.Freq, 0.01, "at %g s", u)
			}
			if math.Abs(v.Freq/now-1) < 0.004 {
				first = min(first, u-at)
			}
		}
	}
	return first
}

// TestStep: after a step in speed there is a number again within eight turns or 0.8 s, whichever is longer: in the middle of each case, in
// 97 of a hundred of all, and in all within a reading more, as noise may look like a speed that changes still.
func TestStep(t *testing.T) {
	t.Parallel()
	speeds := []float64{3, 5, 10, 13.1, 20, 50}
	if testing.Short() {
		speeds = speeds[2:4]
	}
	var mu sync.Mutex
	var all []float64 // s late
	t.Run("steps", func(t *testing.T) {
		for _, f := range speeds {
			for _, c := range []struct{ times, dial float64 }{{1.1, 1.04}, {0.7, 0}, {0.95, 0}, {1.1, 0}, {1.3, 0}} {
				t.Run(fmt.Sprintf("%g Hz times %g, dial %g", f, c.times, c.dial), func(t *testing.T) {
					t.Parallel()
					asked := max(0.8, 8/(f*c.times))
					var late []float64
					for seed := range uint64(14) { // twice each phase of the step among the readings
						late = append(late, afterStep(t, f, c.times, c.dial, 5.1+0.04*float64(seed%7), 100*(seed/7)+seed%7)-asked)
					}
					slices.Sort(late)
					t.Logf("late by %.2f s; asked %.2f", late, asked)
					assert.LessOrEqual(t, late[len(late)/2], 0.0, "in the middle")
					mu.Lock()
					defer mu.Unlock()
					all = append(all, late...)
				})
			}
		}
	})
	slices.Sort(all)
	t.Logf("%d steps: in the middle %.2f s late, %.0f %% in time, %.1f %% within a reading, %.1f %% within two", len(all), all[len(all)/2], inTime(all, 0), inTime(all, 0.25), inTime(all, 0.5))
	assert.GreaterOrEqual(t, inTime(all, 0), 97.0, "% in time")
	assert.GreaterOrEqual(t, inTime(all, 0.25), 100.0, "% within a reading")
}

// inTime is how many of a hundred of late are at most s.
func inTime(late []float64, s float64) float64 {
	n := 0
	for _, l := range late {
		if l <= s {
			n++
		}
	}
	return 100 * float64(n) / float64(len(late))
}

// TestScout: a Tracker says the same whether a Scout went ahead of it or not.
func TestScout(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		m := newMix(seed)
		f := m.sim.Speed[0].Value
		m.sim.Speed = []sensor.Point{{Value: f}, {At: 5, Value: f}, {At: 5.01, Value: 1.1 * f}}
		alone, led := &dsp.Tracker{}, &dsp.Tracker{}
		scout, n := led.Scout(), 0
		for {
			b, err := m.sim.Next()
			if err != nil {
				break
			}
			want := alone.Add(b.T, b.Axes)
			assert.Equal(t, want, led.Add(b.T, b.Axes, scout.Add(b.T, b.Axes)...), "lathe %d", seed)
			n += len(want)
		}
		assert.NotZero(t, n)
	}
}

// TestStepTopped: a blank whose second multiple is by far the strongest line, and whose own is too small for a sure shake,
// keeps that through a step: the multiple is not the spindle in the first seconds after it.
func TestStepTopped(t *testing.T) {
	t.Parallel()
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 6))
		tr := &dsp.Tracker{}
		const rate, before, after, at, ramp = 1000, 2.5, 4.7, 7.3, 0.25
		turn, f := 0.0, before
		for i := range int(rate * (at + 4)) {
			u := float64(i) / rate
			f = before + (after-before)*min(1, max(0, (u-at)/ramp))
			turn += 2 * math.Pi * f / rate
			own := 0.045 * f * f / (after * after) // m/s², peak
			x := own*math.Cos(turn) + 20*own*math.Cos(2*turn+1) + 0.033*r.NormFloat64()
			y := own*math.Sin(turn) + 0.033*r.NormFloat64()
			z := 9.8 + 10*own*math.Cos(2*turn) + 0.033*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
				if v.OK {
					assert.InEpsilon(t, f, v.Freq, 0.5, "the multiple, seed %d at %.2f s", seed, u)
				}
			}
		}
	}
}

// TestStepToppedSlower: the same after a step down, where it takes a look longer than a second to show the line itself, and to exactly a half.
func TestStepToppedSlower(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ before, after, times, noise float64 }{{3.68, 1.906, 38, 0.015}, {4.9, 2.45, 19, 0.2}, {3.1, 2.137, 51, 0.116}} {
		for seed := range uint64(6) {
			r := rand.New(rand.NewPCG(seed, 6))
			tr := &dsp.Tracker{}
			turn, at := 0.0, 8+0.17*float64(seed)
			for i := range 16000 {
				u, f := float64(i)/1000, c.before
				if u > at {
					f = c.after
				}
				turn += 2 * math.Pi * f / 1000
				x := 0.05*(math.Sin(turn)+c.times*math.Sin(2*turn+1)) + c.noise*r.NormFloat64()
				y := 0.03*math.Sin(turn+1) + 0.02*c.times*math.Sin(2*turn+0.4) + c.noise*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
					if v.OK && v.Time > at {
						assert.InEpsilon(t, f, v.Freq, 0.5, "the multiple, seed %d at %.2f s, %v", seed, u, c)
					}
				}
			}
		}
	}
}

// newStep is a random lathe whose speed steps, within half a second, to one that is 3 to 30 % off; up to 6 % where a dial keeps its word.
func newStep(seed uint64, dial bool) mix {
	m := newMix(seed)
	r := random{rand.New(rand.NewPCG(seed, 80))}
	f := m.sim.Speed[0].Value
	most, at, ramp := 0.3, 6+0.25*r.Float64(), r.log(0.02, 0.5)
	if dial {
		most = 0.06
	}
	g := f * (1 + r.log(0.03, most))
	if r.one(2) {
		g = f * f / g
	}
	m.sim.Speed = []sensor.Point{{At: 0, Value: f}, {At: at, Value: f}, {At: at + ramp, Value: g}}
	return m
}

// quickly reports whether the data allow a number so many s after the step: as allowed says, and the speed to 0.2 %, of which the
// standard error over T seconds is √3/(πT) times that of the amplitude (Rife and Boorstyn, IEEE Trans. IT 20 (1974), 591;
// from memory). Ask when all samples were taken: the simulator knows the truth up to there.
func (m mix) quickly(seconds float64, hint bool) bool {
	step := m.sim.Speed[2]
	truth := m.sim.Truth(step.At + seconds)
	v := dsp.Revolution{Time: step.At + seconds/2, Span: seconds, Axes: m.sim.Chip.Axes}
	amp := m.density(truth) / math.Sqrt(seconds) / truth.Amp
	return m.allowed(v, truth, hint) && math.Sqrt(3)/(math.Pi*seconds)*amp < 0.002*truth.Freq
}

// TestMixSteps: on random lathes no wrong speed is given as ok after a step in speed, and where the data allow it there is a number
// in time on most. Run it with -v for how late the first number is.
func TestMixSteps(t *testing.T) {
	t.Parallel()
	n := *mixes
	if testing.Short() {
		n = min(n, 6)
	}
	seeds := []uint64{5001} // four teeth of a cutter shake more than the blank, and neither was clear before the step
	for i := range n {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	for _, hint := range []bool{false, true} {
		t.Run(fmt.Sprintf("dial=%v", hint), func(t *testing.T) {
			t.Parallel()
			var c tally
			var all, quick []float64 // s late: where there was a number before and later on, and where the data allow it at once as well
			for _, seed := range seeds {
				m := newStep(seed, hint)
				g, over := m.sim.Speed[2].Value, m.sim.Speed[2].At
				asked, first, before, after := max(0.8, 8/g), math.Inf(1), false, true
				m.heard(t, hint, &c, func(v dsp.Revolution, now float64) {
					switch truth := m.sim.Truth(v.Time); {
					case now < m.sim.Speed[1].At:
						before = v.OK
					case now > 10:
						after = after && v.OK
					case now > over && v.OK && math.Abs(v.Freq/truth.Freq-1) < 0.01 && math.Abs(v.Freq/g-1) < 0.01:
						first = min(first, now)
					}
				})
				if before && after {
					all = append(all, first-over-asked)
					if m.quickly(asked, hint) {
						quick = append(quick, first-over-asked)
					}
				}
			}
			assert.Zero(t, c.wrong, "wrong speeds given as ok")
			t.Logf("dial known: %v; wrong %d of %d ok", hint, c.wrong, c.ok)
			for _, late := range [][]float64{all, quick} {
				if len(late) < 10 {
					continue // too few for shares
				}
				slices.Sort(late)
				t.Logf("%d steps: late by %.2f s in the middle, %.2f in nine of ten; %.0f %% in time, %.0f %% within a reading, %.0f %% within two",
					len(late), late[len(late)/2], late[len(late)*9/10], inTime(late, 0), inTime(late, 0.25), inTime(late, 0.5))
				assert.Less(t, late[len(late)/2], 0.5, "s late in the middle")
			}
		})
	}
}

package dsp_test

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

var (
	clocks     = flag.Int("clocks", 12, "random clocks in TestClocks")
	clockFirst = flag.Uint64("clockfirst", 0, "seed of the first of them")
	clockShow  = flag.Bool("clockshow", false, "print each with a wrong reading, or hardly any")
)

// clocked is a steady line of 1 m/s² and its multiples, whose samples are stamped by a clock that counts in ticks.
type clocked struct {
	rate, tick, from float64 // Hz, s, and ticks from 0 to the first sample
	down             bool    // cut off to the tick, not rounded
	atTicks          bool    // the samples are taken at the ticks too
	missing          float64
	line, dial       float64    // Hz
	multiple, start  [5]float64 // amplitude, m/s², and phase
	noise            float64    // m/s²
	wander, period   float64    // of the rate, up to so much of it and back once a period, s
	seconds          float64    // 12 if 0
}

// newClocked has half of the clocks such that the pattern of their stamps goes round as often as a simple fraction of the line.
func newClocked(seed uint64) clocked {
	r := random{rand.New(rand.NewPCG(seed, 80))}
	c := clocked{rate: r.log(50, 3200), down: r.one(2), noise: r.log(0.003, 0.1), from: r.Float64()}
	for c.tick = 1; c.rate*c.tick > 1.1; {
		c.tick = []float64{1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2}[r.IntN(7)]
	}
	c.line = r.log(2, min(40, 0.4*c.rate))
	if r.one(2) {
		beat := c.line * float64(1+r.IntN(4)) / float64(1+r.IntN(4)) * float64(1-2*r.IntN(2))
		if rate := (1/c.tick + beat) / max(1, math.Round(1/(c.rate*c.tick))); rate > max(50, 2.5*c.line) && rate < 3200 {
			c.rate = rate
		}
	}
	if r.one(3) {
		c.rate = math.Round(c.rate)
	}
	if r.one(2) {
		c.dial = c.line * (0.97 + 0.06*r.Float64())
	}
	if r.one(4) {
		c.missing = 0.03 * r.Float64()
	}
	for k := 2; k < 5; k++ {
		if r.one(2) && float64(k)*c.line < 0.45*c.rate {
			c.multiple[k], c.start[k] = r.log(0.03, 1), 2*math.Pi*r.Float64()
		}
	}
	return c
}

// run tracks its seconds.
func (c clocked) run(seed uint64, each func(v dsp.Revolution)) {
	r := rand.New(rand.NewPCG(seed, 81))
	tr := &dsp.Tracker{Hint: c.dial}
	for i := range int(cmp.Or(c.seconds, 12) * c.rate) {
		taken := float64(i)/c.rate + c.from*c.tick
		if c.wander > 0 {
			taken += c.wander * c.period / (2 * math.Pi) * math.Sin(2*math.Pi*taken/c.period)
		}
		stamp := math.Round(taken/c.tick) * c.tick
		if c.down {
			stamp = math.Floor(taken/c.tick+1e-9) * c.tick
		}
		if c.atTicks {
			taken = stamp
		}
		turn := 2 * math.Pi * c.line * taken
		x := math.Cos(turn) + c.noise*r.NormFloat64()
		for k := 2; k < 5; k++ {
			x += c.multiple[k] * math.Cos(float64(k)*turn+c.start[k])
		}
		y := 0.6*math.Sin(turn) + c.noise*r.NormFloat64()
		if r.Float64() < c.missing {
			continue
		}
		for _, v := range tr.Add([]float64{stamp}, [][]float64{{x}, {y}}) {
			each(v)
		}
	}
}

// wrong reports whether v is given as ok with another speed, by more than 1 % and three standard errors, or another size, by more than 10 %
// and as many.
func (c clocked) wrong(v dsp.Revolution) bool {
	speed, amp := math.Abs(v.Freq-c.line), math.Abs(v.Amp-1)
	return v.OK && (speed > max(0.01*c.line, 3*v.FreqSE) || amp > max(0.1, 3*v.AmpSE))
}

// TestNoHoles: of even samples none is missing, however their stamps are rounded; of those that lose some by chance some are.
func TestNoHoles(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{800, 833, 940} {
		for _, missing := range []float64{0, 0.05} {
			c := clocked{rate: rate, tick: 1e-3, down: true, line: 10, noise: 0.02, missing: missing}
			c.run(1, func(v dsp.Revolution) {
				assert.Equal(t, missing > 0, v.Has(dsp.Gap), "%g Hz, %g missing", rate, missing)
			})
		}
	}
}

// TestClocks: whatever a clock does to its stamps, and whether the samples are even or taken at its ticks, no wrong speed or size is
// given as ok. With -v it says how many are given.
func TestClocks(t *testing.T) {
	t.Parallel()
	n := *clocks
	if testing.Short() {
		n = min(n, 6)
	}
	for _, atTicks := range []bool{false, true} {
		t.Run(fmt.Sprintf("at ticks=%v", atTicks), func(t *testing.T) {
			t.Parallel()
			var readings, given [4]int
			for i := range uint64(n) {
				seed := *clockFirst + i
				c := newClocked(seed)
				c.atTicks = atTicks
				class := 0 // by ticks a sample
				for _, edge := range []float64{0.1, 0.7, 1} {
					if c.rate*c.tick > edge {
						class++
					}
				}
				all, ok, wrong := 0, 0, 0
				c.run(seed, func(v dsp.Revolution) {
					all++
					if v.OK {
						ok++
					}
					if c.wrong(v) {
						wrong++
						assert.Fail(t, "wrong", "seed %d %+v: %.4f±%.4f Hz, %.3f±%.3f m/s² at %.2f s", seed, c, v.Freq, v.FreqSE, v.Amp, v.AmpSE, v.Time)
					}
				})
				readings[class] += all
				given[class] += ok
				if *clockShow && (wrong > 0 || ok < all/2) {
					t.Logf("seed %d %+v: %d of %d ok, %d wrong", seed, c, ok, all, wrong)
				}
			}
			t.Logf("up to 0.1, 0.7, 1 and more samples a tick: %v of %v readings ok", given, readings)
		})
	}
}

// TestBeatOnPart: stamps whose pattern goes round at half of the line, or on it, say neither that half of it turns nor that the line is
// another; the samples get their own times back. Where rows of one tick are more than one, there is no number.
func TestBeatOnPart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		rate, tick, line float64
		usable           bool
	}{
		{490, 0.002, 20, true}, {990, 0.001, 20, true}, {495, 0.001, 15, true},
		{166, 0.005, 12, true}, {170, 0.005, 15, true}, {180, 0.005, 20, true}, {99, 0.01, 10, true},
		{101, 0.01, 10, false}, {110, 0.01, 20, false},
	} {
		for _, dial := range []float64{0, 1.02 * c.line} {
			k := clocked{rate: c.rate, tick: c.tick, line: c.line, dial: dial, noise: 0.01}
			late, ok := 0, 0
			k.run(1, func(v dsp.Revolution) {
				assert.False(t, k.wrong(v), "%+v: %g Hz, %g m/s² at %g s", k, v.Freq, v.Amp, v.Time)
				if v.Time > 4 {
					late++
				}
				if v.Time > 4 && v.OK {
					ok++
					assert.InEpsilon(t, c.line, v.Freq, 0.002)
					assert.InEpsilon(t, 1, v.Amp, 0.02)
					assert.InEpsilon(t, c.rate, v.Rate, 1e-4)
				}
			})
			unknown := dial == 0 && c.rate < 150 // may be folded
			assert.Equal(t, c.usable, ok > late*3/4 || unknown && c.usable, "%+v: %d of %d ok", k, ok, late)
		}
	}
}

// TestClockWanders: a sensor's rate wanders by what crystals and oscillators of sensors do, and the samples keep their own times, also where
// a tick is about as long as a step and a double step may be a sample missing.
func TestClockWanders(t *testing.T) {
	t.Parallel()
	for _, c := range []clocked{
		{rate: 990, tick: 0.001, line: 20, wander: 20e-6, period: 10},
		{rate: 990, tick: 0.001, line: 20, wander: 20e-6, period: 40},
		{rate: 990, tick: 0.001, line: 20, wander: 100e-6, period: 120},
		{rate: 199, tick: 0.005, line: 12, wander: 20e-6, period: 40},
		{rate: 495, tick: 0.001, line: 15, wander: 20e-6, period: 40},
	} {
		c.noise, c.down, c.seconds = 0.01, true, 40
		late, ok := 0, 0
		c.run(1, func(v dsp.Revolution) {
			assert.False(t, c.wrong(v), "%+v: %g Hz, %g m/s² at %g s", c, v.Freq, v.Amp, v.Time)
			if v.Time > 4 {
				late++
			}
			if v.Time > 4 && v.OK {
				ok++
			}
		})
		assert.Greater(t, ok, late*95/100, "%+v: of %d", c, late)
	}
}

// TestFourOfFive: of five ticks of 1 ms a sensor of 800 samples a second fills four, which looks like a fifth that is missing and makes lines
// at 200 Hz beside the spindle's. With no word of the dial, too, the lines say that the samples are even.
func TestFourOfFive(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{800, 750, 800.016} {
		c := clocked{rate: rate, tick: 0.001, down: true, line: 7.3, noise: 0.02}
		late, ok := 0, 0
		c.run(1, func(v dsp.Revolution) {
			assert.False(t, c.wrong(v), "%+v: %g Hz, %g m/s² at %g s", c, v.Freq, v.Amp, v.Time)
			if v.Time > 2 {
				late++
			}
			if v.Time > 2 && v.OK {
				ok++
				assert.InEpsilon(t, rate, v.Rate, 1e-4)
			}
		})
		assert.Greater(t, ok, late*95/100, "%+v: of %d", c, late)
	}
}

// TestHundredthsWithHoles: stamps of hundredths, of a sensor a little slower than that, and samples missing besides: which double step is a
// sample missing nobody can say at once, and no shake of 0.78 of the truth is given as ok, nor a speed of a sample counted too many.
func TestHundredthsWithHoles(t *testing.T) {
	t.Parallel()
	for seed := range uint64(10 * *clocks) {
		r := random{rand.New(rand.NewPCG(seed, 97))}
		c := clocked{rate: 88 + 11.5*r.Float64(), tick: 0.01, from: r.Float64(), down: r.one(2), noise: r.log(0.003, 0.3), seconds: 6}
		c.missing, c.line = 0.05*r.Float64(), 15+25*r.Float64()
		c.dial = c.line * (0.97 + 0.06*r.Float64())
		if r.one(4) { // they are samples of hundredths
			c.rate, c.atTicks = 100, true
		}
		c.run(seed, func(v dsp.Revolution) {
			assert.False(t, c.wrong(v), "seed %d %+v: %.4f±%.4f Hz, %.3f±%.3f m/s² at %.2f s", seed, c, v.Freq, v.FreqSE, v.Amp, v.AmpSE, v.Time)
		})
	}
}

// TestHolesOnly: exact times of a sensor that only loses whole buffers of samples are no clock's of coarse ticks.
func TestHolesOnly(t *testing.T) {
	t.Parallel()
	const rate, line = 833.0, 1085.0 / 60
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 90))
		holes := [2]int{74, 100} // samples
		tr, ok := &dsp.Tracker{Hint: line}, 0
		for i := range int(12 * rate) {
			u := float64(i) / rate
			x := 0.9*math.Cos(2*math.Pi*line*u) + 0.2*math.Cos(4*math.Pi*line*u) + 0.02*r.NormFloat64()
			y := 0.2*math.Sin(2*math.Pi*line*u) + 0.02*r.NormFloat64()
			z := 9.81 + 0.02*r.NormFloat64()
			if since := i - int(4*rate); since >= 0 && since < holes[0] {
				continue
			}
			if since := i - int(6*rate); since >= 0 && since < holes[1] {
				continue
			}
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}, {z}}) {
				if v.OK {
					ok++
					assert.InEpsilon(t, line, v.Freq, 0.002, "seed %d at %.2f s", seed, u)
				}
			}
		}
		assert.Greater(t, ok, 15, "seed %d", seed)
	}
}

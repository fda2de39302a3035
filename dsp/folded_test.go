package dsp_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

var foldeds = flag.Int("foldeds", 0, "random lathes more in TestFoldedForDial")

// ontoItself feeds 10 s of 12 Hz with a fourth multiple half as strong to a tracker that knows the dial, in 60 samples a
// second, at which the multiple shows at 12 Hz too.
func ontoItself(seed uint64, jitter float64) []dsp.Revolution {
	r := rand.New(rand.NewPCG(seed, 5))
	tr := &dsp.Tracker{Hint: 12.3}
	start := 2 * math.Pi * r.Float64()
	var out []dsp.Revolution
	for i := range 600 {
		u := float64(i)/60 + jitter*r.NormFloat64()
		turn := 2 * math.Pi * 12 * u
		x := math.Cos(turn) + 0.5*math.Cos(4*turn+start) + 0.01*r.NormFloat64()
		out = append(out, tr.Add([]float64{u}, [][]float64{{x}})...)
	}
	return out
}

// TestMultipleOntoItself: a multiple that folds onto the line itself is no number at even times, whatever the phase
// makes of the two, and is told from it by uneven ones.
func TestMultipleOntoItself(t *testing.T) {
	t.Parallel()
	ok, close := 0, 0
	for seed := range uint64(5) {
		for _, v := range ontoItself(seed, 0) {
			assert.False(t, v.OK, "%g Hz, %g m/s² at %g s", v.Freq, v.Amp, v.Time)
		}
		for _, v := range ontoItself(seed, 0.001) {
			if v.OK {
				ok++
				assert.InEpsilon(t, 12, v.Freq, 0.004)
				if math.Abs(v.Amp-1) < 0.05 {
					close++
				}
			}
		}
	}
	assert.Greater(t, ok, 5*20)
	assert.GreaterOrEqual(t, close, ok*95/100)
}

// TestGreatMultipleFolded: a cutter's line of three times the speed, up to a hundred times as large as the spindle's own,
// is no spindle where a slow sensor shows it lower down.
func TestGreatMultipleFolded(t *testing.T) {
	t.Parallel()
	const speed = 31.42 // Hz
	for _, rate := range []float64{80, 90, 95.4, 100} {
		for _, times := range []float64{3, 12, 20, 60, 100} {
			r := rand.New(rand.NewPCG(uint64(rate), 7))
			tr := &dsp.Tracker{}
			for i := range int(10 * rate) {
				u := float64(i) / rate
				turn := 2 * math.Pi * speed * u
				x := []float64{math.Cos(turn) + times*math.Cos(3*turn+2) + 0.02*r.NormFloat64(), 0.13*math.Sin(turn) + 0.02*r.NormFloat64()}
				for _, v := range tr.Add([]float64{u}, [][]float64{x[:1], x[1:]}) {
					assert.False(t, v.OK && math.Abs(v.Freq-speed) > 0.3, "%g Hz, %g times: %g Hz, %g m/s² at %g s", rate, times, v.Freq, v.Amp, v.Time)
				}
			}
		}
	}
}

// TestMultipleBesideLine: nor is it where it shows so close to the spindle's own line that it covers that, also by the dial,
// which may be off, and where times are rounded.
func TestMultipleBesideLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ rate, speed, times, dial, tick float64 }{
		{125, 31.42, 10, 0, 0}, {125, 31.42, 30, 32, 0}, {26, 6.33, 6, 6.58, 0.01}, {26, 6.33, 6, 6.58, 0}, {53.26, 26.99, 14, 27.8, 0},
	} {
		r := rand.New(rand.NewPCG(uint64(c.rate), 8))
		tr := &dsp.Tracker{Hint: c.dial}
		for i := range int(12 * c.rate) {
			u := float64(i) / c.rate
			turn := 2 * math.Pi * c.speed * u
			x := []float64{math.Cos(turn) + c.times*math.Cos(3*turn+2) + 0.02*r.NormFloat64(), 0.8*math.Sin(turn) + 0.02*r.NormFloat64()}
			if c.tick > 0 {
				u = c.tick * math.Round(u/c.tick)
			}
			for _, v := range tr.Add([]float64{u}, [][]float64{x[:1], x[1:]}) {
				assert.False(t, v.OK && math.Abs(v.Freq/c.speed-1) > 0.02, "%+v: %g Hz, %g m/s² at %g s", c, v.Freq, v.Amp, v.Time)
			}
		}
	}
}

// TestImageBesideMultiple: at seven tenths of the rate the third multiple is folded to a tenth of it, and the spindle's own image lies
// where the third multiple of that would. Up to 5 s do not show the two as two lines when they are 0.3 Hz apart.
func TestImageBesideMultiple(t *testing.T) {
	t.Parallel()
	const rate = 86.96
	for _, beside := range []float64{0.05, 0.1, 0.2, 0.3, 0.4, 0.6} { // Hz; ten times what the speed is off
		for _, sign := range []float64{1, -1} {
			for _, times := range []float64{7, 20} {
				r := rand.New(rand.NewPCG(3, 14))
				tr, speed := &dsp.Tracker{}, 0.7*rate+sign*beside/10
				for i := range 870 {
					u := float64(i) / rate
					turn := 2 * math.Pi * speed * u
					x := math.Cos(turn) + times*math.Cos(3*turn+2) + 0.003*r.NormFloat64()
					for _, v := range tr.Add([]float64{u}, [][]float64{{x}}) {
						assert.False(t, v.OK && math.Abs(v.Freq-speed) > 0.3, "%.2f Hz beside, %g times: %g Hz, %g m/s² at %g s", sign*beside, times, v.Freq, v.Amp, v.Time)
					}
				}
			}
		}
	}
}

// TestPartFolded: where a multiple of a fast line folds onto a whole part of it, as 180 of 60 Hz does at 200 samples a
// second onto 20 Hz, the part is no spindle, though all multiples then stand at its own.
func TestPartFolded(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ rate, line float64 }{{200, 60}, {200, 60.01}, {200, 200 * 2.0 / 7}, {160, 160 * 3.0 / 11}, {250, 250.0 / 4}} {
		r := rand.New(rand.NewPCG(uint64(c.rate), 9))
		tr := &dsp.Tracker{}
		for i := range int(10 * c.rate) {
			u := float64(i) / c.rate
			turn := 2 * math.Pi * c.line * u
			x := math.Cos(turn) + 0.2*math.Cos(2*turn+1) + 0.1*math.Cos(3*turn+2) + 0.1*math.Cos(4*turn+3) + 0.05*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}}) {
				assert.False(t, v.OK && math.Abs(v.Freq-c.line) > 0.01*c.line, "%g Hz at %g/s, %g of them, %g s", v.Freq, c.rate, c.line, v.Time)
			}
		}
	}
}

// TestRoundedTimes: times rounded to 10 ms make 36 Hz a fifth too small, by sin(x)/x; that is no number, unless samples are even and
// get their own times back, and exact times that happen to be whole hundredths are none the worse.
func TestRoundedTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		rate, jitter float64
		usable       bool
	}{{60, 0.4, false}, {60, 0, false}, {80, 0, true}, {90, 0, false}, {97, 0, true}, {100, 0, true}, {50, 0, true}} {
		r := rand.New(rand.NewPCG(1, 12))
		tr := &dsp.Tracker{Hint: 36.5}
		ok := 0
		for i := range int(20 * c.rate) {
			u := (float64(i) + c.jitter*(2*r.Float64()-1)) / c.rate
			x := math.Cos(2*math.Pi*36*u) + 0.02*r.NormFloat64()
			for _, v := range tr.Add([]float64{math.Round(100*u) / 100}, [][]float64{{x}}) {
				if v.OK {
					ok++
					assert.InEpsilon(t, 1, v.Amp, 0.05, "%g/s, %g Hz at %g s, %v, %g s", c.rate, v.Freq, v.Time, v.Faults, v.Span)
				}
			}
		}
		assert.Equal(t, c.usable, ok > 50, "%d of them at %g/s", ok, c.rate)
	}
}

// TestStrayStamps: stamps that stray about even samples make a line smaller, by exp(−(2πfδ)²/2), and are not believed where
// that matters; samples that stray themselves, stamped as they are, are.
func TestStrayStamps(t *testing.T) {
	t.Parallel()
	const speed, rate, stray = 24.0, 60.0, 0.2
	for _, stamps := range []bool{true, false} {
		r := rand.New(rand.NewPCG(1, 13))
		tr := &dsp.Tracker{Hint: 24.6}
		ok, said := 0, 0
		for i := range 20 * int(rate) {
			even := float64(i) / rate
			stamp := even + stray/rate*max(-2, min(2, r.NormFloat64()))
			u := stamp
			if stamps {
				u = even
			}
			x := math.Cos(2*math.Pi*speed*u) + 0.02*r.NormFloat64()
			for _, v := range tr.Add([]float64{stamp}, [][]float64{{x}}) {
				if slices.Contains(v.Warnings, dsp.RoughTimes) {
					said++
				}
				if v.OK {
					ok++
					assert.InEpsilon(t, 1, v.Amp, 0.05)
				}
			}
		}
		assert.Equal(t, !stamps, ok > 50, "%d ok", ok)
		assert.Equal(t, stamps, said > 50, "%d times said", said)
	}
}

// TestStrayStampsInNoise: noise hides what stray stamps leave of a line, and leaves as much itself where the line is level, which those do
// not: even samples of which some are missing, at hundredths, are believed in it, and the smaller line of stray stamps is not.
func TestStrayStampsInNoise(t *testing.T) {
	t.Parallel()
	const speed, rate = 39.0, 100.0
	for _, noise := range []float64{0.2, 0.4} { // of the line's amplitude, of each sample
		for _, stray := range []float64{0, 0.1, 0.15, 0.3} { // of the interval; exp(−(2πfδ)²/2) of the line is left, as they are cut off at two deviations 0.77 or more
			r := rand.New(rand.NewPCG(1, 14))
			tr := &dsp.Tracker{Hint: 39.6}
			ok, n := 0, 0
			for i := range 20 * int(rate) {
				even := float64(i) / rate
				stamp := even + stray/rate*max(-2, min(2, r.NormFloat64()))
				x := math.Cos(2*math.Pi*speed*even) + noise*r.NormFloat64()
				y := math.Sin(2*math.Pi*speed*even) + noise*r.NormFloat64()
				if r.Float64() < 0.03 {
					continue
				}
				for _, v := range tr.Add([]float64{stamp}, [][]float64{{x}, {y}}) {
					if v.Time < 5 {
						continue
					}
					n++
					if v.OK {
						ok++
						assert.Less(t, math.Abs(v.Amp-1), 0.04+3*v.AmpSE, "noise %g, stray %g", noise, stray)
					}
				}
			}
			switch stray {
			case 0:
				assert.Greater(t, ok, n*3/4, "noise %g", noise)
			case 0.3:
				assert.Zero(t, ok, "noise %g", noise)
			}
		}
	}
}

// TestDialBeyondFilter: a sensor of 200 samples a second shows nothing of 150 Hz, which the dial means, but has a line where the image of
// that would be.
func TestDialBeyondFilter(t *testing.T) {
	t.Parallel()
	const rate, f = 200, 49.2
	r := rand.New(rand.NewPCG(3, 21))
	tr := &dsp.Tracker{Hint: 147.5}
	for i := range 8 * rate {
		u := float64(i) / rate
		turn := 2 * math.Pi * f * u
		x := math.Cos(turn) + 0.2*math.Cos(1.7*turn) + 0.05*r.NormFloat64()
		y := 0.5*math.Sin(turn) + 0.05*r.NormFloat64()
		for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
			assert.False(t, v.OK, "%.2f s: %.2f Hz", v.Time, v.Freq)
		}
	}
}

// newUnfiltered is a random lathe at one speed, felt by a sensor without a filter that is too slow for one multiple at least. The
// dial, which is of another moment, means where the greatest of those shows.
func newUnfiltered(seed uint64) mix {
	r := random{rand.New(rand.NewPCG(seed, 89))}
	for {
		f, rate, k := r.log(10, 60), r.log(60, 250), float64(2+r.IntN(4))
		shows := math.Abs(k*f - rate*math.Round(k*f/rate))
		if f > 0.45*rate || k*f < rate/2 || shows < 3 || shows > 65 {
			continue
		}
		s := &sensor.Simulated{Seed: seed, Seconds: 12, Speed: []sensor.Point{{At: 0, Value: f}}, Wander: []float64{0, 0.001, 0.003}[r.IntN(3)]}
		s.Horizontal = sensor.Mode{Hz: r.log(8, 60), Damping: 0.05, Mass: 60}
		s.Vertical = sensor.Mode{Hz: r.log(12, 80), Damping: 0.05, Mass: 60}
		s.Chip = sensor.Chip{Rate: rate, Noise: r.log(1e-4, 5e-3)}
		if r.one(2) {
			s.Chip.Jitter = 0.2 * r.Float64()
		}
		for n := 2.0; n <= 5; n++ {
			ratio := r.log(0.02, 1)
			if n == k {
				ratio = r.log(0.3, 10)
			}
			s.Lines = append(s.Lines, sensor.Line{Order: n, Ratio: r.vector(ratio)})
		}
		m := mix{sim: s, noise: s.Chip.Noise, dial: shows / f * (0.94 + 0.12*r.Float64())}
		m.scale(r.log(0.5, 20)/1000*2*math.Pi*f*math.Sqrt2, f)
		return m
	}
}

// TestFoldedForDial: what a multiple of the spindle is folded to is not given as its speed, be there no word of the dial, or one that means
// just that. -foldeds=N -mixfirst=SEED runs so many more.
func TestFoldedForDial(t *testing.T) {
	t.Parallel()
	seeds := []uint64{1000, 1002, 1007, 1010, 1013, 1020, 1033, 1041, 1053}
	heardByDial(t, seeds, *foldeds, newUnfiltered)
	heardByDial(t, seeds, *foldeds, silent(newUnfiltered))
}

// TestBesideFolded: another machine's line, and the spindle's about where a multiple of that is folded to. The dial means either.
func TestBesideFolded(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ rate, speed, other, dial float64 }{{60, 19, 20.4, 19.6}, {60, 19, 20.35, 20}, {80, 25.8, 27, 26.5}, {100, 24.2, 25.1, 24.9}} {
		for _, times := range []float64{1, 1.3, 2} { // as large as the spindle's
			r := rand.New(rand.NewPCG(uint64(c.rate), 15))
			tr := &dsp.Tracker{Hint: c.dial}
			for i := range int(12 * c.rate) {
				u := float64(i) / c.rate
				x := math.Cos(2*math.Pi*c.speed*u) + times*math.Cos(2*math.Pi*c.other*u+1) + 0.02*r.NormFloat64()
				y := 0.8*math.Sin(2*math.Pi*c.speed*u) + 0.3*times*math.Cos(2*math.Pi*c.other*u+2) + 0.02*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
					assert.False(t, v.OK, "%+v, %g times: %.2f Hz at %.2f s", c, times, v.Freq, v.Time)
				}
			}
		}
	}
}

// TestFoldedFarFromDial: even samples show a spindle beyond them at an image that lies within the dial's reach. Two per cent from the dial's
// word it counts as what that means; six per cent from it the word may as well be of another moment.
func TestFoldedFarFromDial(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		off float64
		ok  bool
	}{{-0.06, false}, {-0.02, true}, {0.02, true}, {0.06, false}} {
		r := rand.New(rand.NewPCG(1, 16))
		tr, ok, n := &dsp.Tracker{Hint: 53.7 / (1 + c.off)}, 0, 0
		for i := range 2000 {
			u := float64(i) / 100
			turn := 2 * math.Pi * 46.3 * u // shows at 46.3 Hz, and so does 53.7
			for _, v := range tr.Add([]float64{u}, [][]float64{{math.Cos(turn) + 0.02*r.NormFloat64()}, {0.5*math.Sin(turn) + 0.02*r.NormFloat64()}}) {
				if n++; v.OK {
					ok++
					assert.InEpsilon(t, 53.7, v.Freq, 0.001)
				}
			}
		}
		assert.Greater(t, n, 60)
		if c.ok {
			assert.Greater(t, ok, n/2, "dial off by %g", c.off)
		} else {
			assert.Zero(t, ok, "dial off by %g", c.off)
		}
	}
}

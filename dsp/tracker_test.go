package dsp_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/dsp"
	"vibe/sensor"
)

// follow runs s to its end and returns the revolutions.
func follow(t *testing.T, tr *dsp.Tracker, s *sensor.Simulated) (all []dsp.Revolution) {
	t.Helper()
	for {
		b, err := s.Next()
		if err != nil {
			return append(all, tr.Flush()...)
		}
		all = append(all, tr.Add(b.T, b.Axes)...)
	}
}

// lathe is a plain simulated lathe at f Hz on a board of 400 samples a second.
func lathe(f float64) *sensor.Simulated {
	return &sensor.Simulated{Seed: 9, Seconds: 12, Speed: []sensor.Point{{Value: f}}, Imbalance: 0.02, Chip: sensor.Chip{Rate: 400, Noise: 1e-3}}
}

func share(all []dsp.Revolution, f func(dsp.Revolution) bool) float64 {
	n := 0.0
	for _, v := range all {
		if f(v) {
			n++
		}
	}
	return n / float64(max(len(all), 1))
}

func isOK(v dsp.Revolution) bool { return v.OK }

func has(f dsp.Fault) func(dsp.Revolution) bool {
	return func(v dsp.Revolution) bool { return v.Has(f) }
}

func ExampleTracker() {
	tr := &dsp.Tracker{Hint: 10.2} // the dial says 612 rpm
	t, x := signal(10, 400, 3, 0.05)
	all := tr.Add(t, x)
	last := all[len(all)-1]
	fmt.Printf("%d readings; %.2f Hz, %.2f m/s² peak in the worst direction, ok %v\n", len(all), last.Freq, last.Amp, last.OK)
	// Output: 10 readings; 10.00 Hz, 1.26 m/s² peak in the worst direction, ok true
}

func TestFourASecond(t *testing.T) {
	t.Parallel()
	all := follow(t, &dsp.Tracker{}, lathe(10))
	require.Greater(t, len(all), 40)
	for i := 1; i < len(all); i++ {
		end := func(v dsp.Revolution) float64 { return v.Time + v.Span/2 }
		assert.InDelta(t, 0.25, end(all[i])-end(all[i-1]), 0.06) // halving takes up to 22 samples of 5 ms
	}
	assert.Greater(t, share(all, isOK), 0.95)
}

func TestNothingTurns(t *testing.T) {
	t.Parallel()
	all := follow(t, &dsp.Tracker{}, lathe(0))
	require.NotEmpty(t, all)
	assert.Zero(t, share(all, isOK))
	assert.Greater(t, share(all, has(dsp.NoTurn)), 0.9)
}

// TestTotalAtTheEnd: a line at 10 Hz, where the band of the total begins, is in it at every reading: A/(2πf)/√2.
func TestTotalAtTheEnd(t *testing.T) {
	t.Parallel()
	tr := &dsp.Tracker{}
	n := 0
	for i := range 8000 {
		u := float64(i) / 997
		for _, v := range tr.Add([]float64{u}, [][]float64{{2 * math.Sin(2*math.Pi*10*u)}}) {
			n++
			assert.InEpsilon(t, 2/(2*math.Pi*10)/math.Sqrt2, v.Total, 0.05, "at %g s", v.Time)
		}
	}
	assert.Greater(t, n, 25)
}

// TestFilledIn: a hundred samples a second, made four hundred by straight lines, show 20 Hz too small (by sinc², 0.87)
// and 65 Hz as 35: no number. 5 Hz they do show, if the dial says so.
func TestFilledIn(t *testing.T) {
	t.Parallel()
	for _, f := range []float64{5, 20, 65} {
		for _, hint := range []float64{0, f} {
			r := rand.New(rand.NewPCG(4, 5))
			felt := func(i int) float64 { return 0.3*math.Sin(2*math.Pi*f*float64(i)/100) + 0.02*r.NormFloat64() }
			tr := &dsp.Tracker{Hint: hint}
			var all []dsp.Revolution
			last, next := 0.0, felt(0)
			for i := range 4800 {
				if i%4 == 0 {
					last, next = next, felt(i/4+1)
				}
				all = append(all, tr.Add([]float64{float64(i) / 400}, [][]float64{{last + (next-last)*float64(i%4)/4}})...)
			}
			assert.Greater(t, share(all, func(v dsp.Revolution) bool { return slices.Contains(v.Warnings, dsp.FilledIn) }), 0.9)
			if hint == 0 || f > 10 {
				assert.Zero(t, share(all, isOK), "%g Hz, dial %g", f, hint)
				continue
			}
			assert.Greater(t, share(all, isOK), 0.8)
			assert.InEpsilon(t, 0.3, all[len(all)-1].Amp, 0.05)
		}
	}
}

// feed gives a tracker seconds of x(u) on one axis, rate samples a second, and returns what it says.
func feed(tr *dsp.Tracker, rate, from, to float64, x func(u float64) float64) (all []dsp.Revolution) {
	for i := math.Ceil(from * rate); i < to*rate; i++ {
		all = append(all, tr.Add([]float64{i / rate}, [][]float64{{x(i / rate)}})...)
	}
	return all
}

// TestDeadAxes: axes that say the same all the time, gravity or nothing, have no lines, though the one that is alive has no noise.
func TestDeadAxes(t *testing.T) {
	t.Parallel()
	tr := &dsp.Tracker{}
	var all []dsp.Revolution
	for i := range 4000 {
		u := math.Floor(1e6*float64(i)/793) / 1e6
		x := 9.80665 / 256 * math.Round(64*math.Sin(2*math.Pi*12.34*u))
		all = append(all, tr.Add([]float64{u}, [][]float64{{x}, {0}, {9.80665}})...)
	}
	assert.Greater(t, share(all, func(v dsp.Revolution) bool { return v.OK && math.Abs(v.Freq-12.34) < 0.001 }), 0.8)
}

// TestFrozen: a sensor of 50 values a second that is read 200 times and then gives one value for ever is stuck, four
// times a second, not silent; and when it lives again there are numbers again.
func TestFrozen(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 5))
	last, at := 0.0, -1.0
	held := func(u float64) float64 {
		if now := math.Floor(50 * u); now != at && (u < 6 || u > 12) {
			last, at = math.Sin(2*math.Pi*8*u)+0.01*r.NormFloat64(), now
		}
		return last
	}
	tr := &dsp.Tracker{Hint: 8}
	assert.Greater(t, share(feed(tr, 200, 2, 6, held), isOK), 0.5)
	all := feed(tr, 200, 6, 12, held)
	assert.GreaterOrEqual(t, len(all), 23)
	assert.Greater(t, share(all[1:], has(dsp.Stuck)), 0.99)
	assert.Zero(t, share(all[1:], isOK))
	assert.Greater(t, share(feed(tr, 200, 12, 20, held), isOK), 0.7)
}

// TestCrestBeforeZero: what is left besides the line does not hang on where the clock has its zero, also where a reading had nothing
// new to go by.
func TestCrestBeforeZero(t *testing.T) {
	t.Parallel()
	from := func(start float64) (crests []float64) {
		r := rand.New(rand.NewPCG(6, 6))
		last := 0.0
		for _, v := range feed(&dsp.Tracker{Hint: 4}, 240, start, start+16, func(u float64) float64 {
			if i := math.Round(240 * (u - start)); math.Mod(i, 8) == 0 && (i < 1432 || i > 1498) {
				last = math.Sin(2*math.Pi*4*i/240) + 0.01*r.NormFloat64()
			}
			return last
		}) {
			crests = append(crests, v.Crest)
		}
		return crests
	}
	assert.InDeltaSlice(t, from(64), from(-64), 1e-6)
}

// TestHoles: where every half second half a second is missing nothing can be read, but it is said; a lone hole is
// bridged by nothing that was before.
func TestHoles(t *testing.T) {
	t.Parallel()
	line := func(u float64) float64 { return math.Sin(2 * math.Pi * 20 * u) }
	tr := &dsp.Tracker{Hint: 20}
	var all []dsp.Revolution
	for u := 0.0; u < 12; u += 1.1 {
		all = append(all, feed(tr, 200, u, u+0.55, line)...)
	}
	assert.Greater(t, len(all), 15)
	assert.Equal(t, 1.0, share(all, has(dsp.Gap)))
	assert.Zero(t, share(all, isOK))
	tr = &dsp.Tracker{}
	assert.Greater(t, share(feed(tr, 200, 0, 10, line), isOK), 0.8)
	all = feed(tr, 200, 11.5, 20, line)
	for _, v := range all {
		assert.True(t, v.Time-v.Span/2 > 11.4 && (!v.OK || v.Time > 12), "%g s", v.Time)
	}
	assert.Greater(t, share(all, isOK), 0.7)
}

// TestBackAgain: a speed that was left for another and comes back is found again, with no word of the dial.
func TestBackAgain(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 5))
	turn := 0.0
	all := feed(&dsp.Tracker{}, 400, 0, 32, func(u float64) float64 {
		f := 10.0
		if u > 8 && u < 12 {
			f = 13
		}
		turn += 2 * math.Pi * f / 400
		return math.Sin(turn) + 0.02*r.NormFloat64()
	})
	late := slices.DeleteFunc(all, func(v dsp.Revolution) bool { return v.Time < 18 })
	assert.Greater(t, share(late, isOK), 0.9)
}

// TestSteps: a motor's line that shakes faster than the spindle's is taken for it, or a doubt, as long as nobody
// says what the pulleys give. Of a line where no pulley leads nothing is believed.
func TestSteps(t *testing.T) {
	t.Parallel()
	motor := func() *sensor.Simulated {
		s := lathe(10)
		s.Lines = []sensor.Line{{Order: 2.42, Ratio: [3]complex128{8, 5, 3}}}
		return s
	}
	right := func(v dsp.Revolution) bool { return v.OK && math.Abs(v.Freq/10-1) < 0.004 }
	assert.Zero(t, share(follow(t, &dsp.Tracker{}, motor()), right))
	assert.Greater(t, share(follow(t, &dsp.Tracker{Steps: []float64{5, 9.6, 16}}, motor()), right), 0.9)
	all := follow(t, &dsp.Tracker{Steps: []float64{5, 16}}, motor())
	assert.Zero(t, share(all, isOK))
	assert.Greater(t, share(all, has(dsp.Doubtful)), 0.9)
}

// TestFolded: sixty even samples a second cannot tell 13 Hz from 47 Hz, which the lathe has
// too. The dial can, and so can uneven times.
func TestFolded(t *testing.T) {
	t.Parallel()
	phone := func(f, jitter float64) *sensor.Simulated {
		s := lathe(f)
		s.Chip = sensor.Chip{Rate: 60, Noise: 5e-3, Jitter: jitter}
		return s
	}
	for _, f := range []float64{13, 47} {
		all := follow(t, &dsp.Tracker{}, phone(f, 0))
		assert.Zero(t, share(all, isOK), "%g Hz, no word of the dial", f)
		assert.Greater(t, share(all, has(dsp.Folded)), 0.8)

		all = follow(t, &dsp.Tracker{Hint: 1.05 * f}, phone(f, 0))
		assert.Greater(t, share(all, isOK), 0.9, "%g Hz, dial known", f)
		assert.InDelta(t, f, all[len(all)-1].Freq, 0.01)
		assert.Equal(t, f > 30, all[len(all)-1].Has(dsp.Folded), "seen through its image")
		assert.Contains(t, all[len(all)-1].Warnings, dsp.ByDial, "either way it is the dial that says so")

		told := 0.0
		const phones = 12
		for seed := range uint64(phones) { // 42 samples do not always tell
			uneven := phone(f, 0.12)
			uneven.Seed = seed
			all = follow(t, &dsp.Tracker{}, uneven)
			told += share(all, isOK) / phones
			for _, v := range all {
				if v.OK {
					assert.InDelta(t, f, v.Freq, 0.05)
				}
			}
		}
		assert.Greater(t, told, 0.8, "%g Hz, uneven times", f)
	}

	byDial := func(v dsp.Revolution) bool { return slices.Contains(v.Warnings, dsp.ByDial) }
	assert.Greater(t, share(follow(t, &dsp.Tracker{Hint: 9}, phone(9, 0)), byDial), 0.9)
	assert.Zero(t, share(follow(t, &dsp.Tracker{Hint: 9, High: 50}, phone(9, 0)), byDial), "this lathe has no 51 Hz")
	assert.Less(t, share(follow(t, &dsp.Tracker{Hint: 9}, phone(9, 0.12)), byDial), 0.1, "uneven times say it too")
}

// TestRoundedStamps: times rounded to a millisecond look uneven and are not; they must not
// be taken for evidence.
func TestRoundedStamps(t *testing.T) {
	t.Parallel()
	for _, f := range []float64{13, 47} {
		s := lathe(f)
		s.Chip = sensor.Chip{Rate: 60, Noise: 1e-4, Stamp: 1e-3}
		all := follow(t, &dsp.Tracker{}, s)
		assert.Greater(t, share(all, has(dsp.Folded)), 0.8)
		for _, v := range all {
			assert.False(t, v.OK && math.Abs(v.Freq-f) > 0.1, "%g Hz given as %g", f, v.Freq)
		}
	}
}

// TestBeyond: a line outside of the speeds that are looked for is named, and not taken for the spindle's; the mains', and the hum above
// all lathes, are not.
func TestBeyond(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ f, low, high, want float64 }{{75, 0, 0, 75}, {7, 10, 40, 7}, {48, 6, 40, 48}, {60.1, 6, 40, 0}, {150, 0, 0, 0}, {0, 0, 0, 0}} {
		all := follow(t, &dsp.Tracker{Low: c.low, High: c.high}, lathe(c.f))[8:]
		assert.Zero(t, share(all, isOK), "%g Hz", c.f)
		assert.Greater(t, share(all, has(dsp.NoTurn)), 0.6, "%g Hz", c.f)
		for _, v := range all {
			if v.Has(dsp.NoTurn) {
				assert.InDelta(t, c.want, v.Rival, 0.1, "%g Hz", c.f)
			}
		}
	}
}

// TestMains: a line where the mains hum is no number, and says why; a hundred rpm beside it is one.
func TestMains(t *testing.T) {
	t.Parallel()
	for _, hint := range []float64{0, 60} {
		all := follow(t, &dsp.Tracker{Hint: hint}, lathe(60))
		assert.Zero(t, share(all, isOK))
		assert.Greater(t, share(all, func(v dsp.Revolution) bool { return slices.Contains(v.Warnings, dsp.Mains) }), 0.9)
		all = follow(t, &dsp.Tracker{Hint: hint}, lathe(60-100.0/60))
		assert.Greater(t, share(all, isOK), 0.8)
		assert.Zero(t, share(all, func(v dsp.Revolution) bool { return slices.Contains(v.Warnings, dsp.Mains) }))
	}
}

// TestCovered: at 60 samples a second the third multiple of 15 Hz falls on 15 Hz itself, which is said, and so is what to do: 3 % beside
// there is a number.
func TestCovered(t *testing.T) {
	t.Parallel()
	covered := func(v dsp.Revolution) bool { return slices.Contains(v.Warnings, dsp.Covered) }
	for f, on := range map[float64]bool{14.7: true, 15: true, 15.25: true, 15 * 0.97: false, 15 * 1.03: false} {
		s := lathe(f)
		s.Chip = sensor.Chip{Rate: 60, Noise: 1e-3}
		all := follow(t, &dsp.Tracker{Hint: 15}, s)[8:]
		if on {
			assert.Zero(t, share(all, isOK), "%g Hz", f)
			assert.Greater(t, share(all, covered), 0.9, "%g Hz", f)
			continue
		}
		assert.Greater(t, share(all, isOK), 0.9, "%g Hz", f)
		assert.Less(t, share(all, covered), 0.1, "%g Hz", f)
	}
}

// TestHeld: a sensor of 50 Hz that is read 200 times a second is a sensor of 50 Hz, and so is one that a sound recorder reads.
func TestHeld(t *testing.T) {
	t.Parallel()
	for _, hold := range []int{4, 100} {
		s := lathe(8)
		s.Chip = sensor.Chip{Rate: 50 * float64(hold), Hold: hold, Noise: 2e-3 / math.Sqrt(float64(hold))}
		all := follow(t, &dsp.Tracker{Hint: 8.1}, s)
		last := all[len(all)-1]
		assert.InDelta(t, 50, last.Rate, 1)
		assert.True(t, last.OK)
		assert.InDelta(t, 8, last.Freq, 0.01)
		assert.InDelta(t, s.Truth(last.Time).Amp, last.Amp, 0.05*last.Amp)
		assert.Zero(t, share(all, has(dsp.Clipped)), "held %d times", hold)
	}
}

// TestStrongMultiple: thirty times more in the fourth multiple than in the line, as a cutter
// does; the tallest line is not the spindle.
func TestStrongMultiple(t *testing.T) {
	t.Parallel()
	s := lathe(10)
	s.Lines = []sensor.Line{{Order: 4, Ratio: [3]complex128{30, 10i, 0}}, {Order: 3, Ratio: [3]complex128{3, 1, 1}}}
	all := follow(t, &dsp.Tracker{}, s)
	assert.Greater(t, share(all, isOK), 0.8)
	for _, v := range all {
		if v.OK {
			assert.InDelta(t, 10, v.Freq, 0.02)
		}
	}
}

func TestStartStopStart(t *testing.T) {
	t.Parallel()
	s := lathe(0)
	s.Seconds = 30
	s.Speed = []sensor.Point{{At: 4, Value: 0}, {At: 6, Value: 12}, {At: 14, Value: 12}, {At: 16, Value: 0}, {At: 20, Value: 0}, {At: 21, Value: 7}}
	doubts := 0
	for _, v := range follow(t, &dsp.Tracker{}, s) {
		if v.Has(dsp.Doubtful) {
			doubts++
			continue
		}
		switch end := v.Time + v.Span/2; {
		case end < 4 || end > 18 && end < 20:
			assert.False(t, v.OK, "%.2f s: %.2f Hz", v.Time, v.Freq)
		case end > 8 && end < 14:
			assert.True(t, v.OK && math.Abs(v.Freq-12) < 0.05, "%.2f s: %.2f Hz %v", v.Time, v.Freq, v.Faults)
		case end > 23.5:
			assert.True(t, v.OK && math.Abs(v.Freq-7) < 0.03, "%.2f s: %.2f Hz %v", v.Time, v.Freq, v.Faults)
		}
	}
	assert.Less(t, doubts, 15, "of 117") // most while the speed changes
}

// TestWrongDial: a dial that lies by a factor of two, or a half, must not find a number.
func TestWrongDial(t *testing.T) {
	t.Parallel()
	for _, dial := range []float64{10, 40, 31} {
		s := lathe(20)
		s.Lines = []sensor.Line{{Order: 2, Ratio: [3]complex128{0.2, 0.1, 0}}}
		all := follow(t, &dsp.Tracker{Hint: dial}, s)
		assert.Zero(t, share(all, isOK), "dial %g Hz", dial)
		assert.Greater(t, share(all, has(dsp.Doubtful)), 0.9, "dial %g Hz", dial)
		assert.InDelta(t, 20, all[len(all)-1].Rival, 0.1)
	}
}

// TestRamp: 60 rpm a second, the speed within 0.5 %, whether it is called settled or not.
func TestRamp(t *testing.T) {
	t.Parallel()
	s := lathe(0)
	s.Speed = []sensor.Point{{At: 0, Value: 6}, {At: 3, Value: 6}, {At: 11, Value: 14}}
	seen := 0
	for _, v := range follow(t, &dsp.Tracker{Hint: 0}, s) {
		if from, to := v.Time-v.Span/2, v.Time+v.Span/2; from < 3.2 || to > 10.8 {
			continue
		}
		seen++
		truth := s.Truth(v.Time)
		assert.InDelta(t, truth.Freq, v.Freq, 0.005*truth.Freq, "at %.2f s", v.Time)
		assert.True(t, v.Has(dsp.Changing) || v.Has(dsp.Weak))
	}
	assert.Greater(t, seen, 20)
}

// TestKnocks: a void that knocks once a turn moves neither speed nor shake, and shows as crest.
func TestKnocks(t *testing.T) {
	t.Parallel()
	s := lathe(10)
	s.Chip.Rate = 3200
	s.Knock = sensor.Knock{Peak: 20}
	all := follow(t, &dsp.Tracker{Hint: 10}, s)
	last := all[len(all)-1]
	require.True(t, last.OK)
	assert.InDelta(t, 10, last.Freq, 0.01)
	assert.InDelta(t, s.Truth(last.Time).Amp, last.Amp, 0.05*last.Amp)
	assert.Greater(t, last.Crest, 4.5)
}

// TestRingDown: a struck mode that rings down is not a spindle.
func TestRingDown(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 3))
	const rate = 400
	times, x := make([]float64, 8*rate), make([]float64, 8*rate)
	for i := range times {
		times[i] = float64(i) / rate
		x[i] = 0.01 * r.NormFloat64()
		if u := times[i] - 2; u > 0 {
			x[i] += 3 * math.Exp(-u*0.4) * math.Sin(2*math.Pi*9*u) // damping ratio 0.007
		}
	}
	tr := &dsp.Tracker{}
	all := tr.Add(times, [][]float64{x})
	assert.Greater(t, share(all, func(v dsp.Revolution) bool { return v.Has(dsp.Doubtful) || v.Has(dsp.Weak) }), 0.5)
	for _, v := range all {
		assert.False(t, v.OK, "%.2f s: %.2f Hz", v.Time, v.Freq)
	}
}

// TestTotal: 1 g rms at the calibrators' 159.155 Hz (ω = 1000/s) is 9.80665 mm/s rms (ISO
// 16063-21 practice; v = a/ω).
func TestTotal(t *testing.T) {
	t.Parallel()
	times, x := make([]float64, 4000), make([]float64, 4000)
	for i := range times {
		times[i] = float64(i) / 2000
		x[i] = 9.80665 + 9.80665*math.Sqrt2*math.Sin(1000*times[i])
	}
	all := (&dsp.Tracker{}).Add(times, [][]float64{x})
	last := all[len(all)-1]
	assert.InDelta(t, 9.80665e-3, last.Total, 0.005*9.8e-3) // the line spreads over 1 Hz bins
	assert.Equal(t, 10.0, last.Band[0])
	assert.InDelta(t, 900, last.Band[1], 1)
}

func TestBadSamples(t *testing.T) {
	t.Parallel()
	times, x := signal(10, 400, 6, 0.05)
	for i := 100; i < len(times); i += 150 {
		x[0][i] = []float64{math.NaN(), math.Inf(1), 1e300}[i/150%3]
	}
	times[500] = times[400] // backwards
	all := (&dsp.Tracker{Hint: 10}).Add(times, x)
	require.NotEmpty(t, all)
	last := all[len(all)-1]
	assert.True(t, last.OK)
	assert.InDelta(t, 10, last.Freq, 0.01)

	for name, bad := range map[string]func(){
		"lengths": func() { (&dsp.Tracker{}).Add(times, [][]float64{x[0][1:]}) },
		"no axis": func() { (&dsp.Tracker{}).Add(times, nil) },
	} {
		assert.Panics(t, bad, name)
	}
}

func TestFlush(t *testing.T) {
	t.Parallel()
	times, x := signal(10, 400, 0.02, 0)
	tr := &dsp.Tracker{}
	assert.Empty(t, tr.Flush(), "nothing came")
	assert.Empty(t, tr.Add(times, x))
	last := tr.Flush()
	require.Len(t, last, 1)
	assert.False(t, last[0].OK)
	assert.True(t, last[0].Has(dsp.Gap))
	assert.Empty(t, tr.Flush(), "only once")
}

// finite reports whether no number of v is NaN or infinite, or one of an OK v is missing.
func finite(v dsp.Revolution) bool {
	for _, x := range []float64{v.Time, v.Span, v.Freq, v.FreqSE, v.Drift, v.Amp, v.AmpSE, v.Floor, v.Total, v.Band[0], v.Band[1], v.Crest, v.Rate, v.Step, v.Rival,
		v.MultipleAmp[0], v.MultipleAmp[1], v.MultipleAmp[2], v.MultipleAmp[3]} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	for _, p := range append(v.Multiples[:], v.Phasor) {
		for _, c := range p {
			if math.IsNaN(real(c)) || math.IsInf(real(c), 0) || math.IsNaN(imag(c)) || math.IsInf(imag(c), 0) {
				return false
			}
		}
	}
	return !v.OK || v.Freq > 0 && v.Amp > 0 && v.FreqSE >= 0
}

// FuzzAdd gives the tracker anything: no panic, nothing that is not finite, never a number
// out of the range asked for.
func FuzzAdd(f *testing.F) {
	f.Add([]byte{1, 2, 3, 200, 100, 7}, uint8(1), 100.0, 10.0)
	f.Add([]byte{0, 0, 0, 0}, uint8(3), 1e-3, 0.0)
	f.Add([]byte{255, 0, 255, 0, 3}, uint8(2), 4000.0, 60.0)
	f.Add([]byte{9, 1, 8, 2, 7, 3}, uint8(3), 59.9, 29.9)
	f.Fuzz(func(t *testing.T, data []byte, axes uint8, rate, hint float64) {
		n := int(axes%3) + 1
		tr := &dsp.Tracker{Hint: hint}
		if !(hint >= 0 && hint < 100) {
			tr.Hint = 0
		}
		if len(data) == 0 {
			return
		}
		var times []float64
		x := make([][]float64, n)
		u := 0.0
		for i := range 3000 {
			b := data[i%len(data)] ^ byte(i/len(data)%7)
			u += (1 + float64(b%16)/64) / rate
			if b == 77 {
				u += float64(b) / rate
			}
			times = append(times, u)
			for a := range x {
				v := float64(int8(b)) * float64(a+1)
				switch b {
				case 13:
					v = math.NaN()
				case 14:
					v = 1e300
				case 15:
					v = 1e8 * v
				}
				x[a] = append(x[a], v+math.Sin(float64(i)*float64(b%3)/10))
			}
		}
		for _, v := range append(tr.Add(times, x), tr.Flush()...) {
			if !finite(v) {
				t.Fatalf("not finite: %+v", v)
			}
			low, high := 1.0, 70.0
			if tr.Hint > 0 {
				low, high = 0.92*tr.Hint, 1.08*tr.Hint
			}
			if away := 1.5 / v.Span; v.OK && (v.Freq < low-away || v.Freq > high+away) {
				t.Fatalf("out of range: %+v", v)
			}
		}
	})
}

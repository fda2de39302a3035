package serial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestBoardClock: times are the board's, over its wrap and its gaps; a spoilt time is left
// out, one that the next line bears out is not.
func TestBoardClock(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		us       []uint32 // after 40 lines that end at 0
		at       float64  // host time in s that passes at each of them
		want     []float64
		lost     int
		restarts int
	}{
		"even":             {us: []uint32{1250, 2500}, want: []float64{1250, 2500}},
		"uneven":           {us: []uint32{1100, 2700}, want: []float64{1100, 2700}},
		"two lost":         {us: []uint32{1250, 5000}, want: []float64{1250, 5000}, lost: 2},
		"spoilt":           {us: []uint32{1250, 92500, 3750}, want: []float64{1250, 3750}, lost: 1},
		"spoilt twice":     {us: []uint32{1250, 92500, 700000000, 5000}, want: []float64{1250, 5000}, lost: 2},
		"repeated":         {us: []uint32{1250, 1250, 2500}, want: []float64{1250, 2500}},
		"back by a digit":  {us: []uint32{1250, 500, 3750}, want: []float64{1250, 3750}, lost: 1},
		"ahead by a digit": {us: []uint32{1250, 7500, 3750, 5000, 6250, 8750}, want: []float64{1250, 7500, 8750}, lost: 4},
		"gap":              {us: []uint32{1250, 1e6, 1e6 + 1250}, want: []float64{1250, 1e6, 1e6 + 1250}, lost: 798},
		"long gap":         {us: []uint32{50e6, 50e6 + 1250}, at: 30, want: []float64{50e6, 50e6 + 1250}, lost: 39999},
		"started again":    {us: []uint32{3e9, 3e9 + 1250}, at: 0.5, want: []float64{1e6, 1e6 + 1250}, lost: 799, restarts: 1},
	} {
		k := boardClock{}
		base, at := uint32(0xffffffff-20000), 100.0
		var got []timed
		for range 40 {
			var err error
			got, err = k.add(got, sample{true, base, [3]float64{}}, at)
			require.NoError(t, err)
			base += 1250
			at += 0.00125
		}
		base -= 1250
		require.Len(t, got, 40)
		start := got[39].t
		lost := 0
		got = nil
		for _, us := range c.us {
			at += c.at
			var err error
			got, err = k.add(got, sample{true, base + us, [3]float64{}}, at)
			require.NoError(t, err)
		}
		for _, x := range got {
			lost += x.lost
		}
		require.Len(t, got, len(c.want), name)
		for i, w := range c.want {
			// The host is ahead by the 1.25 ms that passed since the last line.
			assert.InDelta(t, w*1e-6, got[i].t-start, 1.3e-3*float64(c.restarts)+1e-9, "%s: %d", name, i)
		}
		assert.InDelta(t, c.lost, lost, float64(c.restarts), name)
		assert.Equal(t, c.restarts, k.restarts, name)
	}
}

// TestBoardClockLaws: wherever the board's clock starts and whatever is lost of up to seven
// lines in a row, times are those of the board, and lost and received lines make the whole.
func TestBoardClockLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		us := rapid.Uint32().Draw(t, "start")
		step := rapid.Uint32Range(60, 49000).Draw(t, "step")
		var k boardClock
		var out []timed
		first, n := us, 0
		for i, gap := range rapid.SliceOfN(rapid.IntRange(1, leap-1), learning, 200).Draw(t, "gaps") {
			if i < 20 || i > 40 { // the typical step is seen
				gap = 1
			}
			us += step * uint32(gap)
			n += gap
			if i == 0 {
				first, n = us, 1
			}
			var err error
			out, err = k.add(out, sample{true, us, [3]float64{}}, 0)
			require.NoError(t, err)
		}
		lost := 0
		for _, x := range out {
			lost += x.lost
		}
		require.Equal(t, n, len(out)+lost)
		require.InDelta(t, float64(us-first)*1e-6, out[len(out)-1].t-out[0].t, 1e-9)
	})
}

// TestNotMicroseconds: a time in another unit is refused, at every usable rate.
func TestNotMicroseconds(t *testing.T) {
	t.Parallel()
	for _, step := range []uint32{0, 1, 2, 20, 1250000, 312500000} {
		var k boardClock
		var err error
		for i := uint32(0); i < learning; i++ {
			_, err = k.add(nil, sample{true, i * step, [3]float64{}}, 0)
		}
		assert.ErrorContains(t, err, "which fits no time in µs", "step %d", step)
	}
}

// TestHostClock: from lines that arrive in bunches, late by up to 16 ms, the rate of the
// sensor is found to 0.1 % within 20 s, and the samples stand evenly.
func TestHostClock(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(25, 1600).Draw(t, "rate")
		latency := rapid.Float64Range(0, 0.016).Draw(t, "latency")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var c hostClock
		var out []timed
		sent, lost := 0, 0
		for at := 0.05; at < 22; at += 0.004 + 0.002*rng.Float64() {
			n := int((at - latency*rng.Float64()) * rate)
			if n <= sent {
				continue
			}
			more, err := c.add(make([]sample, n-sent), 0, at)
			require.NoError(t, err)
			out, sent = append(out, more...), n
		}
		last := 0.0
		for _, x := range out {
			require.Greater(t, x.t, last)
			last = x.t
			lost += x.lost
		}
		require.Equal(t, sent, len(out))
		require.Zero(t, lost)
		require.InEpsilon(t, rate, 1/c.step, 0.001, "rate")
		tail := out[len(out)/2:]
		require.InEpsilon(t, rate, float64(len(tail)-1)/(tail[len(tail)-1].t-tail[0].t), 0.001, "rate of the samples")
		require.InDelta(t, 22-latency/2, last, 0.02+1/rate, "the samples are as old as they are")
	})
}

// TestHostClockGap: what is spoilt keeps its place, and what never comes leaves a gap.
func TestHostClockGap(t *testing.T) {
	t.Parallel()
	var c hostClock
	at := 0.0
	beat := func(n, spoilt int) (out []timed) {
		at += 0.01
		out, err := c.add(make([]sample, n), spoilt, at)
		require.NoError(t, err)
		return out
	}
	var before []timed
	for range 400 {
		before = append(before, beat(8, 0)...)
	}
	last := before[len(before)-1].t
	out := beat(6, 2)
	require.Len(t, out, 6)
	assert.Equal(t, 2, out[0].lost)
	assert.InDelta(t, 0.01, out[5].t-last, 1e-4)
	at += 0.5
	last = out[5].t
	out = beat(8, 0)
	assert.InDelta(t, 400, out[0].lost, 2)
	assert.InDelta(t, 0.51, out[7].t-last, 1e-3)
}

// TestPaceRefused: lines that come too slowly are no sensor.
func TestPaceRefused(t *testing.T) {
	t.Parallel()
	var c hostClock
	var err error
	for at := 0.0; at < 4 && err == nil; at += 0.25 {
		_, err = c.add(make([]sample, 1), 0, at)
	}
	assert.ErrorContains(t, err, "4 lines a second come")
}

// TestAnotherPace: a board that sends no times, and faster or slower from some moment on, is not
// timed by its old pace for long; what never came is not made up for it.
func TestAnotherPace(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ before, after, each, within float64 }{
		"faster":        {500, 800, 0.1, 1},
		"slower":        {800, 500, 0.1, 1.5},
		"much faster":   {100, 1600, 0.01, 1},
		"a bit faster":  {800, 840, 0.1, 8},
		"a bit slower":  {840, 800, 0.01, 8},
		"much slower":   {1600, 100, 0.15, 1},
		"from the wire": {3200, 3000, 0.03, 6},
	} {
		const change, end = 6.0, 30.0
		rng := rand.New(rand.NewPCG(7, 8))
		var k hostClock
		wrong, last, sent, n := 0.0, 0.0, 0, 0
		for at := 0.05; at < end; at += c.each * (0.5 + rng.Float64()) {
			due := int(min(at, change)*c.before + max(at-change, 0)*c.after)
			out, err := k.add(make([]sample, due-sent), 0, at)
			require.NoError(t, err)
			sent = due
			n += len(out)
			for _, x := range out {
				require.Greater(t, x.t, last, name)
				n += x.lost
				last = x.t
			}
			if len(out) == 0 || at < change {
				continue
			}
			if math.Abs(k.step*c.after-1) > 0.02 || math.Abs(last-at) > 0.1 {
				wrong = at - change
			}
		}
		assert.Less(t, wrong, c.within, "%s: no wrong pace is told later than that", name)
		assert.InEpsilon(t, 1/c.after, k.step, 0.002, name)
		assert.InEpsilon(t, sent, n, 0.05, name)
	}
}

// TestQueued: times that a board gives to the samples of a queue as it reads them are refused; a
// pause among the first lines is none.
func TestQueued(t *testing.T) {
	t.Parallel()
	var queued, paused boardClock
	var err error
	for i := uint32(0); i < burst && err == nil; i++ {
		_, err = queued.add(nil, sample{true, i/32*40000 + i%32*100, [3]float64{}}, 0)
	}
	assert.ErrorContains(t, err, "the board's times come in bursts")
	var out []timed
	for i := uint32(0); i < burst; i++ {
		us := i * 1250
		if i > 20 {
			us += 1e6
		}
		out, err = paused.add(out, sample{true, us, [3]float64{}}, 0)
		require.NoError(t, err)
	}
	assert.Len(t, out, burst)
}

// TestPiledUp: what comes at once after this computer was held up, and what a bad cable leaves out
// again and again, is no other pace; and from lines that never come evenly none is learnt.
func TestPiledUp(t *testing.T) {
	t.Parallel()
	const rate, end = 800.0, 40.0
	for name, c := range map[string]struct {
		came  func(at float64) bool // whether vibe can read then
		gone  func(at float64) bool // whether a line of then is lost
		least float64               // share of the lines that is given times
	}{
		"held up": {
			func(at float64) bool { return at < 8 || at > 11 },
			func(at float64) bool { return at > 8.3 && at < 11 }, 0.8,
		},
		"held up at first": {
			func(at float64) bool { return at > 1 },
			func(float64) bool { return false }, 0.8,
		},
		"a bad cable": {
			func(float64) bool { return true },
			func(at float64) bool { return at > 8 && math.Mod(at, 1) < 0.3 }, 0.4,
		},
		"a bad cable from the first": {
			func(float64) bool { return true },
			func(at float64) bool { return math.Mod(at, 1) < 0.6 }, 0,
		},
	} {
		var k hostClock
		due, last, n, sent := 0, 0.0, 0, 0
		for at := 0.05; at < end; at += 0.09 {
			if !c.came(at) {
				continue
			}
			var batch []sample
			for ; float64(due) < at*rate; due++ {
				if len(batch) == 100 { // as many as a read takes; the next is at once
					at -= 0.089
					break
				}
				if !c.gone(float64(due) / rate) {
					batch = append(batch, sample{})
				}
			}
			sent += len(batch)
			out, err := k.add(batch, 0, at)
			require.NoError(t, err)
			for _, x := range out {
				require.Greater(t, x.t, last, name)
				last = x.t
			}
			if n += len(out); len(out) > 0 {
				assert.InEpsilon(t, 1/rate, k.step, 0.02, "%s: at %.2f s", name, at)
				assert.InDelta(t, at, last, stalled, "%s: at %.2f s", name, at)
			}
		}
		assert.GreaterOrEqual(t, float64(n), c.least*float64(sent), name)
		if c.least == 0 {
			assert.GreaterOrEqual(t, k.odd, tooOdd, name)
		}
	}
}

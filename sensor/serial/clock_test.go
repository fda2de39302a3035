package serial

import (
	"math"
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

// TestBoardClockMillis: a board that stamps with millis()*1000 has lost nothing where a step is a tick longer than another, and what it has
// lost is told where it is sure.
func TestBoardClockMillis(t *testing.T) {
	t.Parallel()
	for rate, most := range map[float64]int{800: 12, 990: 12, 333: 6, 100: 6} { // samples lost in six places, of which one hides in a tick or not
		var k boardClock
		count := func(from, to int, gone func(i int) bool) (lost int) {
			var out []timed
			for i := from; i < to; i++ {
				if gone(i) {
					continue
				}
				var err error
				out, err = k.add(out, sample{true, uint32(1000 * math.Floor(1000*float64(i)/rate+1e-6)), [3]float64{float64(i)}}, 100+float64(i)/rate)
				require.NoError(t, err)
			}
			for _, x := range out {
				lost += x.lost
			}
			return lost
		}
		assert.Zero(t, count(0, 4000, func(int) bool { return false }), rate)
		lost := count(4000, 4700, func(i int) bool { return i%100 == 50 || rate > 500 && i%100 == 51 })
		assert.GreaterOrEqual(t, lost, 6, rate)
		assert.LessOrEqual(t, lost, 7*most/6, rate)
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

// TestCoarseClock: a board whose clock makes a millisecond of two samples now and then is refused: without them speeds are wrong.
func TestCoarseClock(t *testing.T) {
	t.Parallel()
	for rate, refused := range map[float64]bool{950: false, 1100: true} {
		var k boardClock
		var err error
		for i := 0; i < 1000 && err == nil; i++ {
			_, err = k.add(nil, sample{true, 1000 * uint32(1000*float64(i)/rate), [3]float64{float64(i)}}, 0)
		}
		if refused {
			assert.ErrorContains(t, err, "the board's times repeat")
		} else {
			assert.NoError(t, err)
		}
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

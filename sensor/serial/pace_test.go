package serial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

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
			more, err := c.add(make([]sample, n-sent), 0, at, false)
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
		out, err := c.add(make([]sample, n), spoilt, at, false)
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
		_, err = c.add(make([]sample, 1), 0, at, false)
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
			out, err := k.add(make([]sample, due-sent), 0, at, false)
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
			out, err := k.add(batch, 0, at, len(batch) == 100)
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
			assert.True(t, k.slow, name)
		}
	}
}

// TestPaceKnown: of a board that sends no times no sample is given before its pace is known to 0.4 %, two standard errors of a
// speed that is still given, however its lines wait on the way: so do two seconds of samples at any time say how long they took.
// The computer reads as it does, a bufferful at a time.
func TestPaceKnown(t *testing.T) {
	t.Parallel()
	const end, seconds, within = 24.0, 2.0, vague
	waits := map[string]func(at float64, r *rand.Rand) float64{ // when a line of then has come
		"USB, each ms":    func(at float64, _ *rand.Rand) float64 { return math.Ceil(1000*at) / 1000 },
		"USB, each 16 ms": func(at float64, r *rand.Rand) float64 { return math.Ceil(62.5*at)/62.5 + 5e-4*r.Float64() },
		"some ms late":    func(at float64, r *rand.Rand) float64 { return at + 0.003*r.ExpFloat64() },
	}
	for name, wait := range waits {
		for _, rate := range []float64{20.6, 26, 50, 99.7, 100, 201, 400, 799, 1000, 1601, 3200} {
			t.Run(fmt.Sprintf("%s, %g", name, rate), func(t *testing.T) {
				t.Parallel()
				r := rand.New(rand.NewPCG(uint64(rate), 3))
				s, l := stream{}, looks{}
				s.feed([]byte("# unit=mg\n"), 0)
				begin, sent, wire := r.Float64(), 0, []byte(nil)
				came := wait(begin, r)
				var times []float64
				first, last := 0.0, 0
				for now := 0.0; now < end; {
					if len(wire) == 0 {
						now = max(now, came) // a read waits
					}
					for came <= now {
						wire = append(wire, "0,0,1000\n"...)
						sent++
						came = max(came, wait(begin+float64(sent)/rate, r))
					}
					n := min(len(wire), full)
					s.feed(wire[:n], now)
					wire = wire[n:]
					if b, ok := s.held.Take(); ok && len(b.T) > 0 {
						if first == 0 {
							first = now
						}
						times = append(times, b.T...)
						from, _ := slices.BinarySearch(times, times[len(times)-1]-seconds)
						assert.InEpsilon(t, 1/rate, slope(times[from:]), within, "at %.2f s", now)
					}
					pause := l.next(n, s.last, &s.beat).Seconds()
					if n < full && last < full {
						now += pause + 5e-4*r.ExpFloat64()
					}
					last = n
				}
				assert.Greater(t, first, learn)
				assert.Less(t, first, max(3, 1/(vague*rate))+6)
			})
		}
	}
}

// slope is how far v rises from one to the next, by least squares.
func slope(v []float64) float64 {
	var top, bottom float64
	for i, x := range v {
		d := float64(i) - float64(len(v)-1)/2
		top, bottom = top+d*(x-v[0]), bottom+d*d
	}
	return top / bottom
}

package phone

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// page60 is what a phone at 60 Hz gives from its own time of 5 s on: sample n says n.
func page60(first, n int) frame {
	f := frame{first: uint32(first)}
	for i := first; i < first+n; i++ {
		f.samples = append(f.samples, sample{5000 + 1000*float64(i)/60, [3]float64{float64(i % 1000), 0, 9.8}})
	}
	f.sent = f.samples[n-1].ms
	return f
}

// at is when a frame comes that takes delay s.
func (f frame) at(delay float64) float64 { return f.sent/1000 - 5 + 1 + delay }

// drain takes everything, and checks what a block promises.
func drain(t require.TestingT, s *stream) (times, values []float64, lost int, notes []string) {
	b, ok := s.held.Take()
	require.Equal(t, len(b.T) > 0 || len(b.Notes) > 0, ok)
	last := math.Inf(-1)
	for i, x := range b.T {
		require.Greater(t, x, last)
		last = x
		for k := range b.Axes {
			require.False(t, math.IsNaN(b.Axes[k][i]) || math.IsInf(b.Axes[k][i], 0))
		}
	}
	if len(b.T) == 0 {
		return nil, nil, b.Lost, b.Notes
	}
	return b.T, b.Axes[0], b.Lost, b.Notes
}

// However the page cuts and repeats what it keeps, each sample arrives once, at the phone's
// own pace.
func TestStreamLosesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var s stream
		s.greet("p", "1")
		first := rapid.IntRange(0, 1e6).Draw(t, "first")
		n, acknowledged := 0, 0
		for n < 300 {
			from := first + rapid.IntRange(acknowledged, n).Draw(t, "from") // what is not acknowledged may come again
			f := page60(from, first+n-from+rapid.IntRange(1, 60).Draw(t, "more"))
			require.NoError(t, s.feed(f, f.at(rapid.Float64Range(0, 0.6).Draw(t, "delay"))))
			n = from + len(f.samples) - first
			acknowledged = rapid.IntRange(acknowledged, n).Draw(t, "acknowledged")
			require.Equal(t, uint32(first+n), *s.have())
		}
		times, values, lost, notes := drain(t, &s)
		require.Len(t, times, n)
		require.Zero(t, lost)
		require.Empty(t, notes)
		for i := range times {
			require.Equal(t, float64((first+i)%1000), values[i])
			require.InDelta(t, times[0]+float64(i)/60, times[i], 1e-6)
		}
	})
}

// What the page could not keep is counted and is a gap in time; nothing is put there.
func TestStreamGap(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	f := page60(0, 60)
	require.NoError(t, s.feed(f, f.at(0)))
	f = page60(180, 60)
	require.NoError(t, s.feed(f, f.at(0.5)))
	times, _, lost, notes := drain(t, &s)
	assert.Len(t, times, 120)
	assert.Equal(t, 120, lost)
	assert.InDelta(t, 121.0/60, times[60]-times[59], 1e-9)
	require.Len(t, notes, 1)
	assert.Equal(t, "2.0 s are missing, about 120 samples", notes[0])
}

// Numbers that cannot be are left out, counted and told; those after them count.
func TestStreamRefuses(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for name, bad := range map[string]sample{
		"no time":       {nan, [3]float64{}},
		"endless time":  {inf, [3]float64{}},
		"before":        {5000, [3]float64{}},
		"far ahead":     {50000, [3]float64{}},
		"no value":      {6000, [3]float64{0, nan, 0}},
		"endless value": {6000, [3]float64{0, 0, -inf}},
		"absurd":        {6000, [3]float64{0, 1e6, 0}},
	} {
		var s stream
		s.greet("p", "1")
		f := page60(0, 60)
		require.NoError(t, s.feed(f, f.at(0)), name)
		f = page60(60, 20)
		f.samples[0] = bad
		require.NoError(t, s.feed(f, f.at(0)), name)
		times, values, lost, notes := drain(t, &s)
		require.Len(t, times, 79, name)
		assert.Equal(t, 61.0, values[60], name)
		assert.InDelta(t, 2.0/60, times[60]-times[59], 1e-9, name)
		assert.Equal(t, 1, lost, name)
		require.Len(t, notes, 1, name)
		assert.Contains(t, notes[0], "samples that cannot be: 1 so far", name)
	}
}

// Two events of one moment are one sample, and nothing is lost.
func TestStreamSameMoment(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	f := page60(0, 60)
	f.samples[30].ms = f.samples[29].ms
	f.samples[31].ms = f.samples[29].ms + 0.1
	require.NoError(t, s.feed(f, f.at(0)))
	times, _, lost, notes := drain(t, &s)
	assert.Len(t, times, 58)
	assert.Zero(t, lost)
	assert.Empty(t, notes)
}

// A phone may stop its clock while the page is in the background: the computer's says how long
// it was.
func TestStreamRun(t *testing.T) {
	t.Parallel()
	for name, again := range map[string]func(s *stream, f *frame){
		"back from the background": func(_ *stream, f *frame) { f.run = 1 },
		"loaded anew":              func(s *stream, f *frame) { s.greet("p", "2"); f.first = 0 },
		"another phone":            func(s *stream, f *frame) { s.greet("q", "3"); f.first = 7000 },
	} {
		var s stream
		s.greet("p", "1")
		f := page60(0, 60)
		require.NoError(t, s.feed(f, f.at(0)))
		f = page60(60, 60)
		again(&s, &f)
		require.NoError(t, s.feed(f, f.at(30)))
		times, _, lost, notes := drain(t, &s)
		require.Len(t, times, 120, name)
		assert.InDelta(t, 30+1.0/60, times[60]-times[59], 1e-6, name)
		assert.Equal(t, 1800, lost, name)
		assert.Contains(t, notes[len(notes)-1], "30.0 s are missing", name)
	}
}

// A clock that is behind after it was set goes on from the newest sample: time never goes back.
func TestStreamRunBehind(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	f := page60(0, 60)
	require.NoError(t, s.feed(f, f.at(0)))
	f = page60(60, 60)
	f.run = 1
	require.NoError(t, s.feed(f, f.at(-1)))
	times, _, lost, notes := drain(t, &s)
	require.Len(t, times, 120)
	assert.InDelta(t, 1.0/60, times[60]-times[59], 1e-6)
	assert.Zero(t, lost)
	assert.Empty(t, notes)
}

// What was taken before the source opened belongs to an earlier one.
func TestStreamBefore(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	f := page60(500, 120)
	require.NoError(t, s.feed(f, 1))
	times, values, lost, _ := drain(t, &s)
	assert.InDelta(t, 60, len(times), 1)
	assert.GreaterOrEqual(t, times[0], 0.0)
	assert.Equal(t, 619.0, values[len(values)-1])
	assert.Zero(t, lost)
}

// A network that brings everything, but late, is told.
func TestStreamLate(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	for i, delay := range []float64{0, 0, 3, 3, 0, 3} {
		f := page60(60*i, 60)
		require.NoError(t, s.feed(f, f.at(delay)))
	}
	_, _, _, notes := drain(t, &s)
	require.Len(t, notes, 2, "once each time")
	assert.Contains(t, notes[0], "3.0 s old")
}

// The phone's clock against the computer's, through delays of up to 80 ms.
func TestStreamDrift(t *testing.T) {
	t.Parallel()
	var s stream
	s.greet("p", "1")
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 600 {
		f := page60(6*i, 6)
		own := f.sent/1000 - 5
		require.NoError(t, s.feed(f, 1+own*1.005+0.08*rng.Float64()))
	}
	_, _, _, notes := drain(t, &s)
	require.Len(t, notes, 1)
	assert.Regexp(t, `^the phone's clock runs 0\.[45]\d\d % slow`, notes[0])
}

// Silence is said once, and in no case as if the lathe had stopped.
func TestStreamSilent(t *testing.T) {
	t.Parallel()
	var s stream
	said := func(connected bool) string {
		s.silent(connected)
		_, _, _, notes := drain(t, &s)
		return strings.Join(notes, "|")
	}
	none := said(false)
	assert.Contains(t, none, "no phone yet")
	assert.Less(t, len(" q quits   "+none), 80, "whole below the code on a small screen")
	assert.Empty(t, said(false))
	s.greet("p", "1")
	assert.Contains(t, said(true), "sends no samples")
	feed := func(i int) {
		f := page60(i, 1)
		require.NoError(t, s.feed(f, f.at(0)))
		drain(t, &s)
	}
	feed(0)
	assert.Contains(t, said(true), "the lathe may be turning")
	assert.Empty(t, said(true))
	feed(1)
	assert.Contains(t, said(false), "nothing is heard of the phone; the lathe may be turning")
	feed(2)
	s.background()
	assert.Contains(t, said(false), "in the background")
}

// FuzzFrame feeds bytes as a page might send them: whatever comes, blocks keep their promise.
func FuzzFrame(f *testing.F) {
	encode := func(x frame) []byte { return encode(x.run, x.first, x.sent, x.samples) }
	f.Add(encode(page60(0, 3)), encode(page60(3, 3)), 1.0)
	f.Add(encode(page60(0, 3)), encode(page60(1, 9)), 2.0)
	bad := page60(3, 2)
	bad.samples[0].ms = math.NaN()
	f.Add(encode(page60(0, 3)), encode(bad), 0.0)
	f.Add([]byte{1}, []byte(nil), 1.0)
	f.Fuzz(func(t *testing.T, one, two []byte, at float64) {
		if !(at >= 0 && at < 1e6) {
			return
		}
		var s stream
		s.greet("p", "1")
		last := math.Inf(-1)
		for i, p := range [][]byte{one, two, one} {
			x, err := decode(p)
			if err != nil {
				continue
			}
			require.Equal(t, p, encode(x), "it reads as it was written")
			before := len(x.samples)
			if s.feed(x, at+float64(i)) != nil {
				continue
			}
			b, _ := s.held.Take()
			require.LessOrEqual(t, len(b.T), before)
			require.GreaterOrEqual(t, b.Lost, 0)
			for i, x := range b.T {
				require.Greater(t, x, last)
				require.LessOrEqual(t, x, at+2+ahead)
				last = x
				for _, a := range b.Axes {
					require.LessOrEqual(t, math.Abs(a[i]), absurd)
				}
			}
		}
	})
}

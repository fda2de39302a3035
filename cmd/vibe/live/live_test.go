package live_test

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/sensor"
)

// begin is a session of a blank, with one raise said at 10 s.
func begin() (*assess.Adviser, *live.Session) {
	a := &assess.Adviser{Lathe: assess.Lathe{Low: 200, High: 3000},
		Blank: assess.Blank{Diameter: 200, Length: 100, Held: assess.Faceplate, Mass: 3}, Task: assess.Roughing}
	s := live.New("test", a)
	s.Block(samples(9.9, 10))
	s.See(ok(10, 600, 2), assess.Advice{Action: assess.Raise, Speed: 700, Say: "Raise to 700 rpm."})
	return a, s
}

func samples(t ...float64) sensor.Block {
	return sensor.Block{T: t, Axes: [][]float64{make([]float64, len(t))}}
}

func ok(t float64, n assess.RPM, shake float64) assess.Reading {
	return assess.Reading{T: t, OK: true, Speed: n, Shake: shake}
}

// Data that stop make the advice to raise an old one, at once when the time is up; a board
// that only talks brings no data; a block ends it.
func TestStale(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		_, s := begin()
		defer s.End()
		changed := s.Changed()
		time.Sleep(live.StaleAfter - time.Millisecond)
		synctest.Wait()
		assert.Equal(t, assess.Raise, s.Now().Advice.Action)
		s.Block(sensor.Block{Notes: []string{"the board is gone"}})
		time.Sleep(2 * time.Millisecond)
		synctest.Wait()
		<-changed
		now := s.Now()
		assert.True(t, now.Stale)
		assert.Equal(t, assess.Wait, now.Advice.Action)
		assert.Zero(t, now.Advice.Speed)
		assert.Equal(t, []string{"the board is gone"}, now.Notes)

		s.Block(samples(14))
		assert.False(t, s.Now().Stale)
	})
}

// A danger does not end because data do.
func TestStaleKeepsStop(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		_, s := begin()
		defer s.End()
		s.See(ok(10.5, 600, 15), assess.Advice{Action: assess.Stop, Say: "Stop.", Reasons: []assess.Reason{{Code: "violent"}}})
		time.Sleep(time.Minute)
		synctest.Wait()
		now := s.Now()
		assert.Equal(t, assess.Stop, now.Advice.Action)
		assert.Equal(t, "stale", now.Advice.Reasons[0].Code)
		assert.Equal(t, "violent", now.Advice.Reasons[1].Code)
		assert.Equal(t, time.Minute, now.Silent)
	})
}

// What the turner says is what the adviser knows from the next block on; until a reading
// has counted it, no earlier raise stands.
func TestTell(t *testing.T) {
	t.Parallel()
	a, s := begin()
	defer s.End()
	b := s.Now().Blank
	b.Diameter = 300
	require.NoError(t, s.Tell(b, assess.Sanding))
	assert.Equal(t, assess.Wait, s.Now().Advice.Action)
	assert.Equal(t, assess.MM(200), a.Blank.Diameter, "the adviser is the loop's")
	s.Block(samples(10.1))
	assert.Equal(t, assess.MM(300), a.Blank.Diameter)
	assert.Equal(t, assess.Sanding, a.Task)
	assert.Zero(t, a.Blank.Mass, "that was weighed before")
	assert.Equal(t, assess.Wait, s.Now().Advice.Action)

	b.Diameter = -1
	require.Error(t, s.Tell(b, assess.Sanding))
	assert.Equal(t, assess.MM(300), s.Now().Blank.Diameter)
}

// The dial counts as compared when it and a sure reading agree, and no more once they differ.
func TestDial(t *testing.T) {
	t.Parallel()
	a, s := begin()
	defer s.End()
	said := func(shows assess.RPM, r assess.Reading) string {
		s.Dial(shows)
		return s.See(r, assess.Advice{})
	}
	unsure := ok(11, 600, 2)
	unsure.OK = false
	assert.Empty(t, said(600, unsure))
	assert.False(t, a.Checked)
	assert.Contains(t, s.See(ok(11.2, 640, 2), assess.Advice{}), "agree")
	assert.True(t, a.Checked)
	assert.Empty(t, s.See(ok(11.5, 890, 2), assess.Advice{}), "compared once")
	assert.True(t, a.Checked)
	assert.Contains(t, s.See(ok(11.7, 2100, 2), assess.Advice{}), "what does the dial show now?")
	assert.False(t, a.Checked, "a motor looks like this")
	for _, shows := range []assess.RPM{300, 550, 655, 1200} {
		assert.Contains(t, said(shows, ok(12, 600, 2)), "no raise", shows)
		assert.False(t, a.Checked)
		assert.False(t, s.Now().Checked)
		assert.Contains(t, said(600, ok(12, 600, 2)), "agree")
	}
}

// Too much lowers the limit of this session, and only ever lowers it; without a number
// there is nothing to mark.
func TestMark(t *testing.T) {
	t.Parallel()
	a, s := begin()
	defer s.End()
	m, marked := s.Mark(live.Comfortable)
	assert.True(t, marked)
	assert.Equal(t, live.Mark{T: 10, Kind: live.Comfortable, Speed: 600, Shake: 2, Heard: s.Readings()}, m)
	assert.NotEmpty(t, m.Heard)
	_, _ = s.Mark(live.TooMuch)
	s.See(ok(10.2, 700, 3), assess.Advice{})
	_, _ = s.Mark(live.TooMuch)
	s.Block(samples(10.3))
	assert.InDelta(t, 1.8, a.Comfort, 1e-9)

	s.See(assess.Reading{T: 10.5, Speed: 600, Shake: 2}, assess.Advice{})
	_, marked = s.Mark(live.TooMuch)
	assert.False(t, marked)
	_, _ = s.Mark(live.Plain)
	marks := s.Now().Marks
	require.Len(t, marks, 4)
	assert.Equal(t, live.Mark{T: 10.3, Kind: live.Plain}, marks[3])
}

// The rate is that of now: a cable that was out for a minute does not make it less for the rest of the day.
func TestRate(t *testing.T) {
	t.Parallel()
	_, s := begin()
	defer s.End()
	for _, from := range []float64{20, 100} {
		for i := range 300 {
			at := from + float64(i)/100
			s.Block(samples(at, at+0.0025, at+0.005, at+0.0075))
		}
		assert.InDelta(t, 400, s.Now().RateHz, 0.1, from)
	}
}

// Two minutes are kept, whatever the length of the session.
func TestPast(t *testing.T) {
	t.Parallel()
	_, s := begin()
	defer s.End()
	for i := range 4 * 600 {
		s.See(ok(11+float64(i)/4, 600, 2), assess.Advice{})
	}
	past := s.Now().Past
	assert.Len(t, past, 4*live.Span+1)
	assert.Equal(t, live.Span, past[len(past)-1].T-past[0].T)
}

// The last four seconds are at hand, of samples and readings, and nothing once they are old.
func TestRecent(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		_, s := begin()
		defer s.End()
		for i := range 100 {
			at := 11 + float64(i)/4
			s.Block(samples(at, at+0.1, at+0.2))
			s.See(ok(at, 600, 2), assess.Advice{})
		}
		times, axes := s.Samples()
		last := times[len(times)-1]
		assert.InDelta(t, 11+99.0/4+0.2, last, 1e-9)
		assert.InDelta(t, live.Window, last-times[0], 0.25)
		assert.LessOrEqual(t, last-times[0], live.Window)
		require.Len(t, axes, 1)
		assert.Len(t, axes[0], len(times))
		assert.Len(t, s.Readings(), 4*live.Heard)
		time.Sleep(live.StaleAfter + time.Millisecond)
		synctest.Wait()
		times, axes = s.Samples()
		assert.Empty(t, times)
		assert.Empty(t, axes)
		assert.Empty(t, s.Readings())
	})
}

package main

import (
	"flag"
	"io"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/sensor"
)

// watchedHours is how long a lathe TestWatchCost watches; -watchedhours 8 is a shop day.
var watchedHours = flag.Float64("watchedhours", 1.0/60, "how long a lathe TestWatchCost watches")

// stopwatch notes when each block was handed over, what the simulation itself took, and the
// largest heap.
type stopwatch struct {
	sensor.Source
	until     float64 // s, when the source ends
	handed    time.Time
	simulated time.Duration
	blocks    int
	peak      uint64
}

func (s *stopwatch) Next() (sensor.Block, error) {
	before := time.Now()
	b, err := s.Source.Next()
	if s.blocks++; s.blocks%100 == 0 {
		runtime.GC() // what is kept, not what is to be thrown away
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		s.peak = max(s.peak, m.HeapAlloc)
	}
	s.handed = time.Now()
	if err == nil && len(b.T) > 0 && b.T[len(b.T)-1] > s.until {
		return sensor.Block{}, io.EOF
	}
	s.simulated += s.handed.Sub(before)
	return b, err
}

// What watching costs at 1 kHz and 3 axes. The heap does not grow with the hours (32 MB is
// chosen, for them all). The time from the last sample of a window to its line, and the share
// of a core, are logged: by the wall clock, so on a machine that does nothing else.
func TestWatchCost(t *testing.T) {
	lathe := playLathe()
	lathe.Chip.Rate = 1000 // endless: one with an end remembers all of its truth
	src := &stopwatch{Source: lathe, until: 3600 * *watchedHours}
	w := &watching{in: input{src: src, name: "lathe", job: demoJob()}, record: newRecord("lathe")}
	w.dial = newDial(lathe, w.in.job.lathe, 245)
	adviser := w.in.adviser()
	adviser.Checked = true
	w.session = live.New("lathe", adviser)
	l := &lines{session: w.session, asJSON: true, out: io.Discard, msg: io.Discard}
	var waits []time.Duration
	began := time.Now()
	require.NoError(t, w.loop(adviser, func(r assess.Reading, a assess.Advice) error {
		err := l.see(r, a)
		waits = append(waits, time.Since(src.handed))
		return err
	}, l.note))
	busy := (time.Since(began) - src.simulated).Seconds() / src.until
	slices.Sort(waits)
	require.NotEmpty(t, waits)
	p99 := waits[len(waits)*99/100]
	t.Logf("%.3g h: %d readings, 99 %% within %v, %.2f %% of a core, largest heap %d kB", *watchedHours, len(waits), p99, 100*busy, src.peak>>10)
	require.Positive(t, src.peak)
	assert.Less(t, src.peak, uint64(32<<20))
}

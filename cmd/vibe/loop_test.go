package main

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// cut is a source that fails after so many blocks.
type cut struct {
	sensor.Source
	left int
	err  error
}

func (c *cut) Next() (sensor.Block, error) {
	if c.left--; c.left < 0 {
		return sensor.Block{}, c.err
	}
	return c.Source.Next()
}

// A hurried recording says what an unhurried one does, in the same order, to the end and to an error on the way.
func TestHurry(t *testing.T) {
	t.Parallel()
	type said struct {
		from    float64 // s, of a block
		reading assess.Reading
		advice  assess.Advice
	}
	run := func(way func(sensor.Source, *dsp.Tracker, *assess.Adviser, func(sensor.Block), func(assess.Reading, assess.Advice)) error, fails int) (all []said, err error) {
		var src sensor.Source = &sensor.Simulated{Seconds: 30, Imbalance: 0.01, Chip: sensor.Chip{Rate: 400},
			Speed: []sensor.Point{{At: 0, Value: 0}, {At: 3, Value: 0}, {At: 6, Value: 11}, {At: 20, Value: 11}, {At: 26, Value: 0}}}
		if fails > 0 {
			src = &cut{src, fails, errors.New("cable pulled")}
		}
		err = way(src, &dsp.Tracker{}, &assess.Adviser{}, func(b sensor.Block) { all = append(all, said{from: b.T[0]}) },
			func(r assess.Reading, a assess.Advice) { all = append(all, said{0, r, a}) })
		return all, err
	}
	for _, fails := range []int{0, 1, 60} {
		want, wantErr := run(loop, fails)
		have, haveErr := run(hurry, fails)
		assert.Equal(t, wantErr, haveErr)
		assert.Equal(t, want, have)
		require.Equal(t, fails > 0, haveErr != nil)
		if fails == 0 {
			assert.True(t, slices.ContainsFunc(have, func(s said) bool { return s.reading.OK }))
		}
	}
}

// waiting is a source that gives one block and then waits for what never comes.
type waiting struct {
	sensor.Source
	given bool
	ended chan struct{}
}

func (w *waiting) Next() (sensor.Block, error) {
	if w.given {
		<-w.ended
		return sensor.Block{}, sensor.ErrClosed
	}
	w.given = true
	return w.Source.Next()
}

// What goes wrong in the midst of a hurry comes out, and is not waited out in silence.
func TestHurryPanics(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		src := &waiting{Source: &sensor.Simulated{Seconds: 5, Chip: sensor.Chip{Rate: 400}}, ended: make(chan struct{})}
		stop := time.AfterFunc(time.Hour, func() { close(src.ended) })
		start := time.Now()
		assert.PanicsWithValue(t, "a fault", func() {
			_ = hurry(src, &dsp.Tracker{}, &assess.Adviser{}, func(sensor.Block) { panic("a fault") }, nil)
		})
		assert.Zero(t, time.Since(start))
		if stop.Stop() {
			close(src.ended)
		}
	})
}

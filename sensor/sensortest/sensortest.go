// Package sensortest holds the contract that every sensor.Source keeps, as a test.
package sensortest

import (
	"bytes"
	"context"
	"math"
	"runtime/pprof"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

const (
	blocks  = 40              // looked at, of a source that may never end
	patient = 5 * time.Second // chosen: far longer than an answer takes
)

// TestSource checks what the doc comments of sensor.Source and sensor.Block promise. open
// returns a new source each time, with at least one block in it, and then either more of them
// or an end; it may fail the test itself.
func TestSource(t *testing.T, open func() sensor.Source) {
	t.Run("blocks", func(t *testing.T) { leaveNone(t, func() { testBlocks(t, open()) }) })
	t.Run("close at once", func(t *testing.T) { leaveNone(t, func() { testClosed(t, open()) }) })
	t.Run("close while reading", func(t *testing.T) { leaveNone(t, func() { testReading(t, open) }) })
}

// TestWaiting checks that Close ends a Next that waits. open returns a new source each time,
// whose data stop without an end after at least one block.
func TestWaiting(t *testing.T, open func() sensor.Source) {
	t.Run("close while waiting", func(t *testing.T) {
		leaveNone(t, func() { require.Equal(t, sensor.ErrClosed, closeWhileReading(t, open())) })
	})
}

// testBlocks reads a source to its end, or the first blocks of it, and scribbles over what
// it was given: it owns that.
func testBlocks(t *testing.T, s sensor.Source) {
	axes, last := 0, math.Inf(-1)
	var before, kept sensor.Block
	var end error
	for range blocks {
		b, err := s.Next()
		if err != nil {
			end = err
			break
		}
		require.Equal(t, kept, before, "an earlier block was written to")
		if len(b.T) == 0 {
			require.Nil(t, b.Axes, "axes without samples")
			require.NotEmpty(t, b.Notes, "an empty block")
			continue
		}
		testBlock(t, b, last)
		if axes == 0 {
			axes = len(b.Axes)
		}
		require.Len(t, b.Axes, axes, "axes come and go")
		last = b.T[len(b.T)-1]
		for i := range before.T {
			before.T[i] = math.NaN()
			for _, a := range before.Axes {
				a[i] = math.NaN()
			}
		}
		before, kept = b, clone(b)
	}
	require.NotZero(t, axes, "no block at all: %v", end)
	if end != nil {
		_, again := s.Next()
		require.Equal(t, end, again, "an error does not stay")
	}
	require.NoError(t, s.Close())
	require.NoError(t, s.Close(), "second Close")
	_, err := s.Next()
	if end == nil {
		end = sensor.ErrClosed
	}
	require.Equal(t, end, err, "Next after Close")
}

func testBlock(t *testing.T, b sensor.Block, last float64) {
	require.GreaterOrEqual(t, len(b.Axes), 1)
	require.LessOrEqual(t, len(b.Axes), 3)
	require.GreaterOrEqual(t, b.Lost, 0)
	require.True(t, finite(b.Range) && b.Range >= 0, "Range %v", b.Range)
	for _, at := range b.T {
		require.True(t, finite(at), "time %v", at)
		require.Greater(t, at, last, "time does not increase")
		last = at
	}
	for _, a := range b.Axes {
		require.Len(t, a, len(b.T))
		for _, v := range a {
			require.True(t, finite(v), "value %v", v)
		}
	}
}

func testClosed(t *testing.T, s sensor.Source) {
	require.NoError(t, s.Close())
	_, err := s.Next()
	require.Equal(t, sensor.ErrClosed, err)
	_, err = s.Next()
	require.Equal(t, sensor.ErrClosed, err)
}

// testReading closes a source while another goroutine reads it, which hears of that, or of the
// end to which the source comes by itself.
func testReading(t *testing.T, open func() sensor.Source) {
	end := closeWhileReading(t, open())
	if end == sensor.ErrClosed {
		return
	}
	s := open()
	var itself error
	for until := time.Now().Add(patient); itself == nil && time.Now().Before(until); {
		_, itself = s.Next()
	}
	require.NoError(t, s.Close())
	require.Equal(t, itself, end, "the error after Close is neither ErrClosed nor how the source ends")
}

// closeWhileReading returns what Next says to a goroutine that reads on while s is closed.
func closeWhileReading(t *testing.T, s sensor.Source) error {
	_, err := s.Next()
	require.NoError(t, err)
	end := make(chan error, 1)
	reading := make(chan struct{})
	go func() {
		close(reading)
		for {
			if _, err := s.Next(); err != nil {
				end <- err
				return
			}
		}
	}()
	<-reading
	require.NoError(t, s.Close())
	select {
	case err := <-end:
		return err
	case <-time.After(patient):
		require.Fail(t, "Close does not unblock Next")
	}
	return nil
}

// leaveNone runs f and waits for the goroutines that it started to end. They carry its label.
func leaveNone(t *testing.T, f func()) {
	pprof.Do(context.Background(), pprof.Labels("sensortest", t.Name()), func(context.Context) { f() })
	require.Eventually(t, func() bool {
		var stacks bytes.Buffer
		require.NoError(t, pprof.Lookup("goroutine").WriteTo(&stacks, 1))
		return !bytes.Contains(stacks.Bytes(), []byte(t.Name()))
	}, patient, time.Millisecond, "a goroutine is left")
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func clone(b sensor.Block) sensor.Block {
	b.T = slices.Clone(b.T)
	axes := make([][]float64, len(b.Axes))
	for i := range axes {
		axes[i] = slices.Clone(b.Axes[i])
	}
	b.Axes = axes
	return b
}

package main

import (
	"errors"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
	"vibe/sensor/sensortest"
)

func still(seconds float64) *sensor.Simulated {
	return &sensor.Simulated{Seconds: seconds, Chip: sensor.Chip{Rate: 400}}
}

func TestPacedSource(t *testing.T) {
	t.Parallel()
	sensortest.TestSource(t, func() sensor.Source { return newPaced(still(3), 1e4) })
}

// A paced recording lasts as long as its pace says, and every sample arrives within a piece
// of when it is due, with the values it had.
func TestPace(t *testing.T) {
	t.Parallel()
	for _, p := range []pace{0.5, 1, 8} {
		synctest.Test(t, func(t *testing.T) {
			src, plain := newPaced(still(6), p), still(6)
			start, n := time.Now(), 0
			var want sensor.Block
			for {
				b, err := src.Next()
				if errors.Is(err, io.EOF) {
					break
				}
				require.NoError(t, err)
				due := b.T[len(b.T)-1] / float64(p)
				assert.InDelta(t, due, time.Since(start).Seconds(), 1e-6)
				assert.Less(t, (b.T[len(b.T)-1]-b.T[0])/float64(p), 0.25)
				for i := range b.T {
					if len(want.T) == 0 {
						if want, err = plain.Next(); err != nil {
							require.NoError(t, err)
						}
					}
					assert.Equal(t, want.T[0], b.T[i])
					assert.Equal(t, want.Axes[2][0], b.Axes[2][i])
					want.T = want.T[1:]
					for k := range want.Axes {
						want.Axes[k] = want.Axes[k][1:]
					}
					n++
				}
			}
			assert.InDelta(t, 2400, n, 1)
		})
	}
}

// Close ends a wait at once.
func TestPaceClose(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		src := newPaced(still(60), 0.01)
		start := time.Now()
		time.AfterFunc(time.Second, func() { src.Close() })
		for {
			if _, err := src.Next(); err != nil {
				assert.ErrorIs(t, err, sensor.ErrClosed)
				break
			}
		}
		assert.Equal(t, time.Second, time.Since(start))
	})
}

// begun is a recording whose clock began long before its first sample, as that of a kept session
// does when the board was plugged in late.
type begun struct{ sensor.Source }

func (b begun) Next() (sensor.Block, error) {
	block, err := b.Source.Next()
	for i := range block.T {
		block.T[i] += 600
	}
	return block, err
}

// What was before the first sample is not waited for: nothing would be shown meanwhile.
func TestPaceBegins(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		src := newPaced(begun{still(6)}, 1)
		start := time.Now()
		for {
			b, err := src.Next()
			if err != nil {
				assert.ErrorIs(t, err, io.EOF)
				break
			}
			assert.InDelta(t, b.T[len(b.T)-1]-600, time.Since(start).Seconds(), 1e-3)
		}
	})
}

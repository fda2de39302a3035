package main

import (
	"bufio"
	"io"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/sensor"
)

// fed is a lathe that turns for as many seconds as it is fed.
type fed struct {
	*sensor.Simulated
	until  float64
	more   chan float64
	closed chan struct{}
}

func (f *fed) Next() (sensor.Block, error) {
	b, err := f.Simulated.Next()
	for err == nil && b.T[len(b.T)-1] > f.until {
		select {
		case f.until = <-f.more:
		case <-f.closed:
			return sensor.Block{}, sensor.ErrClosed
		}
	}
	return b, err
}

func (f *fed) Close() error {
	select {
	case <-f.closed:
	default:
		close(f.closed)
	}
	return nil
}

// At the lathe: the word comes first, then the number of that moment; the same shake is not
// asked for twice
func TestHandLive(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		lathe := playLathe()
		lathe.Seconds, lathe.Growth = 0, nil
		lathe.Cutting, lathe.Speed = sensor.Cutting{}, []sensor.Point{{At: 0, Value: 400. / 60}, {At: 20, Value: 400. / 60}, {At: 21, Value: 480. / 60}}
		src := &fed{Simulated: lathe, more: make(chan float64), closed: make(chan struct{})}
		hear, tell := io.Pipe()
		said, out := io.Pipe()
		turn := &training{in: bufio.NewScanner(hear), out: out}
		var kept []assess.Guess
		done := make(chan error, 1)
		go func() {
			cmd := newHand()
			cmd.SetContext(t.Context())
			cmd.SetErr(io.Discard)
			err := turn.live(cmd, src, job{lathe: assess.Lathe{Low: 200, High: 3200}}, "lathe", 3, func(g assess.Guess) error {
				kept = append(kept, g)
				return nil
			})
			out.Close()
			done <- err
		}()
		screen := make(chan string, 100)
		go func() {
			defer close(screen)
			var all strings.Builder
			buffer := make([]byte, 4096)
			for {
				n, err := said.Read(buffer)
				if err != nil {
					screen <- all.String()
					return
				}
				all.Write(buffer[:n])
			}
		}()
		for _, until := range []float64{19, 40} {
			src.more <- until
			synctest.Wait()
			_, err := io.WriteString(tell, "calm\n")
			require.NoError(t, err)
			synctest.Wait()
		}
		src.more <- 60
		synctest.Wait()
		src.Close()
		tell.Close()
		require.NoError(t, <-done)
		text := <-screen
		assert.Len(t, kept, 2, text)
		assert.Contains(t, text, "Round 1 of 3")
		assert.Contains(t, text, assess.Cautions()[0])
		assert.Contains(t, text, "Waiting for another speed: that one you know.")
	})
}

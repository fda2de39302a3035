//go:build linux

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"vibe/assess"
	"vibe/sensor"
)

// solder joins a simulated lathe to a serial port, at so many times its own pace; the board
// writes until the test ends.
func solder(t *testing.T, lathe sensor.Source, p pace) (port string) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	fd, err := unix.Dup(int(master.Fd())) // one that does not block, so that Close ends a write
	require.NoError(t, err)
	require.NoError(t, unix.SetNonblock(fd, true))
	require.NoError(t, master.Close())
	wire, src := os.NewFile(uintptr(fd), "board"), newPaced(lathe, p)
	t.Cleanup(func() {
		src.Close()
		wire.Close()
		slave.Close()
	})
	go func() {
		for {
			b, err := src.Next()
			if err != nil {
				return
			}
			text := []byte("# unit=m/s2 rate=800\n") // again and again, as boards do: what was sent before the port was open is lost
			for i, s := range b.T {
				text = fmt.Appendf(text, "%d,%.4f,%.4f,%.4f\n", uint32(1e6*s), b.Axes[0][i], b.Axes[1][i], b.Axes[2][i])
			}
			if _, err := wire.Write(text); err != nil {
				return
			}
		}
	}()
	return slave.Name()
}

// A closed loop over a real port: a lathe that does what `vibe watch --json` says goes
// faster, never shakes roughly, and ends comfortable.
func TestWatchSerial(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time, for which the race detector is too slow")
	}
	t.Parallel()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	lathe, job := playLathe(), demoJob()
	hand := newDial(lathe, job.lathe, 245)
	port := solder(t, lathe, 8)
	r, w := io.Pipe()
	var msg strings.Builder
	code := make(chan int, 1)
	go func() {
		args := append([]string{"watch", "--from", "serial:" + port, "--json", "--speed", "245"}, strings.Fields(demoFlags)...)
		code <- run(ctx, args, nil, w, &msg)
		w.Close()
	}()
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	var last said
	for lines.Scan() {
		var s said
		require.NoError(t, json.Unmarshal(lines.Bytes(), &s))
		if s.Reading.OK {
			assert.Less(t, *s.Reading.Shake, assess.DefaultEdges[1])
			last = s
		}
		a := assess.Advice{Action: s.Advice.Action}
		if s.Advice.Speed != nil {
			a.Speed = assess.RPM(*s.Advice.Speed)
		}
		hand.hear(s.Reading.T+s.Reading.Span/2, a)
		if s.Reading.T > 50 {
			stop()
		}
	}
	assert.Zero(t, <-code, &msg)
	require.NotNil(t, last.Reading.Speed, &msg)
	assert.Greater(t, *last.Reading.Speed, 1.3*245, &msg)
	at, _ := hand.state()
	assert.InEpsilon(t, float64(at), *last.Reading.Speed, 0.15, "and it was the spindle")
	t.Logf("%.0f rpm, %.1f mm/s\n%s", *last.Reading.Speed, *last.Reading.Shake, &msg)
}

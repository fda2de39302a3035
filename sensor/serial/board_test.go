//go:build linux

package serial_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"vibe/sensor"
	"vibe/sensor/serial"
)

// board is the other end of a port: a pseudo-terminal behind a path that stays when the
// cable is pulled and another is plugged in.
type board struct {
	t    testing.TB
	path string
	wire *os.File // closed when unplugged
	us   uint32   // its clock
	n    int      // samples sent
}

func newBoard(t testing.TB) *board {
	b := &board{t: t, path: filepath.Join(t.TempDir(), "board")}
	b.plug()
	t.Cleanup(func() { b.wire.Close() }) // an error if it was pulled
	return b
}

func (b *board) plug() {
	master, slave, err := pty.Open()
	require.NoError(b.t, err)
	// A descriptor that does not block, so that Close ends a write that waits.
	fd, err := unix.Dup(int(master.Fd()))
	require.NoError(b.t, err)
	require.NoError(b.t, unix.SetNonblock(fd, true))
	require.NoError(b.t, master.Close())
	b.wire = os.NewFile(uintptr(fd), "board")
	require.NoError(b.t, os.Symlink(slave.Name(), b.path))
	b.t.Cleanup(func() { slave.Close() })
}

// tied is a source with its board: closing it switches the board off.
type tied struct {
	sensor.Source
	board *board
}

func (s tied) Close() error {
	err := s.Source.Close()
	s.board.wire.Close() // fails the second time
	return err
}

// pull pulls the cable. What the port has not read yet is lost.
func (b *board) pull() {
	require.NoError(b.t, os.Remove(b.path))
	require.NoError(b.t, b.wire.Close())
}

// open opens the board's port as a source, to be closed when the test ends.
func (b *board) open(o serial.Options) sensor.Source {
	s, err := serial.Open(b.path, o)
	require.NoError(b.t, err)
	b.t.Cleanup(func() { assert.NoError(b.t, s.Close()) })
	return s
}

// say writes text as it is, false if the cable is pulled.
func (b *board) say(text string) bool {
	_, err := b.wire.WriteString(text)
	return err == nil
}

// send writes n samples of x = their number, y = 0, z = 1000 mg, at the rate in Hz.
func (b *board) send(n int, rate float64) bool {
	var text []byte
	for range n {
		text = fmt.Appendf(text, "%d,%d,0,1000\n", b.us, b.n%1000)
		b.n++
		b.us += uint32(1e6/rate + 0.5)
	}
	return b.say(string(text))
}

// baud is the rate that the port has been set to.
func (b *board) baud() int {
	var speed uint32
	raw, err := b.wire.SyscallConn()
	require.NoError(b.t, err)
	if err := raw.Control(func(fd uintptr) {
		if mode, err := unix.IoctlGetTermios(int(fd), unix.TCGETS2); err == nil {
			speed = mode.Ospeed
		}
	}); err != nil {
		return 0
	}
	return int(speed)
}

// next is the next block; the test ends if none comes.
func next(t testing.TB, s sensor.Source) sensor.Block {
	t.Helper()
	type answer struct {
		b   sensor.Block
		err error
	}
	came := make(chan answer, 1)
	go func() {
		b, err := s.Next()
		came <- answer{b, err}
	}()
	select {
	case a := <-came:
		require.NoError(t, a.err)
		return a.b
	case <-time.After(20 * time.Second):
		require.FailNow(t, "no block")
		return sensor.Block{}
	}
}

// collect is one block of all that comes, until it has n samples at least.
func collect(t testing.TB, s sensor.Source, n int) (all sensor.Block) {
	t.Helper()
	for len(all.T) < n {
		join(&all, next(t, s))
	}
	return all
}

func join(all *sensor.Block, b sensor.Block) {
	all.T = append(all.T, b.T...)
	if all.Axes == nil && b.Axes != nil {
		all.Axes = make([][]float64, len(b.Axes))
	}
	for k := range b.Axes {
		all.Axes[k] = append(all.Axes[k], b.Axes[k]...)
	}
	all.Lost += b.Lost
	all.Range = max(all.Range, b.Range)
	all.Notes = append(all.Notes, b.Notes...)
}

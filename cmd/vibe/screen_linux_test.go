package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"vibe/assess"
)

// glass is a terminal of 80 by 24: a file for the program, and what somebody sees there.
type glass struct {
	*vt.SafeEmulator
	file  *os.File
	rings atomic.Int32
}

func newGlass(t *testing.T) *glass {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(master, &pty.Winsize{Rows: 24, Cols: 80}))
	g := &glass{SafeEmulator: vt.NewSafeEmulator(80, 24), file: slave}
	g.SetCallbacks(vt.Callbacks{Bell: func() { g.rings.Add(1) }})
	var wires sync.WaitGroup
	wires.Go(func() { _, _ = io.Copy(g, master) }) // until the slave is closed
	wires.Go(func() { _, _ = io.Copy(master, g) }) // keys, and answers to what a program asks
	t.Cleanup(func() {
		slave.Close()
		g.InputPipe().(io.Closer).Close()
		wires.Wait()
		master.Close()
	})
	return g
}

// reads is what stands there, row by row, without colours.
func (g *glass) reads() string { return escapes.ReplaceAllString(g.Render(), "") }

// shows waits until all the words stand there.
func (g *glass) shows(t *testing.T, words ...string) {
	t.Helper()
	require.Eventually(t, func() bool {
		for _, w := range words {
			if !strings.Contains(g.reads(), w) {
				return false
			}
		}
		return true
	}, 5*time.Second, time.Millisecond, "%q", words)
}

// line is how the terminal treats what is typed.
func (g *glass) line(t *testing.T) unix.Termios {
	t.Helper()
	line, err := unix.IoctlGetTermios(int(g.file.Fd()), unix.TCGETS)
	require.NoError(t, err)
	return *line
}

// A reading is on the terminal as soon as it is there, keys are heard, a new size is filled, and
// q gives the terminal back.
func TestShowScreen(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	before := g.line(t)
	fmt.Fprint(g.file, "$ vibe watch\r\n")
	g.shows(t, "$ vibe watch")
	m, _ := watched(t)
	shown := make(chan error, 1)
	go func() { shown <- showScreen(m.session, nil, nil, nil, g.file, tea.WithInput(g.file)) }()
	g.shows(t, "Raise to 700 rpm", "q quit")
	assert.Zero(t, g.line(t).Lflag&(unix.ICANON|unix.ECHO|unix.ISIG))
	assert.True(t, g.CursorHidden())
	assert.NotContains(t, g.reads(), "$ vibe watch")
	m.session.Block(block(10.25))
	m.session.See(reading(10.25, 600, 9), assess.Advice{Action: assess.Lower, Speed: 400, Say: "Lower to 400 rpm."})
	g.shows(t, "Lower to 400 rpm", "q quit")
	assert.Eventually(t, func() bool { return g.rings.Load() == 1 }, 5*time.Second, time.Millisecond)
	g.SendText("d12")
	g.Paste("0 mm")
	g.shows(t, "120 mm▏")
	g.Resize(60, 12)
	require.NoError(t, pty.Setsize(g.file, &pty.Winsize{Rows: 12, Cols: 60}))
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGWINCH))
	g.shows(t, "600 rpm  9.0 mm/s  ROUGH", "120 mm▏")
	assert.NotContains(t, g.reads(), "▀", "what was there before")
	g.SendText("\r")
	g.shows(t, "diameter: 120 mm")
	g.SendText("q")
	require.NoError(t, <-shown)
	g.shows(t, "$ vibe watch")
	assert.False(t, g.IsAltScreen())
	assert.False(t, g.CursorHidden())
	assert.Equal(t, before, g.line(t))
}

// What ends the session ends the screen.
func TestShowScreenEnds(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	before := g.line(t)
	m, _ := watched(t)
	shown := make(chan error, 1)
	go func() { shown <- showScreen(m.session, nil, nil, nil, g.file, tea.WithInput(g.file)) }()
	g.shows(t, "q quit")
	m.session.End()
	require.NoError(t, <-shown)
	assert.Eventually(t, func() bool { return !g.IsAltScreen() }, 5*time.Second, time.Millisecond)
	assert.Equal(t, before, g.line(t))
}

// The terminal's colours, or none where NO_COLOR says so; what is bold stays so.
func TestShowScreenColours(t *testing.T) {
	t.Parallel()
	for no, want := range map[string]string{"": "\x1b[32;1;7m LIVELY ", "1": "\x1b[1;7m LIVELY "} {
		g := newGlass(t)
		m, _ := watched(t)
		shown := make(chan error, 1)
		go func() {
			shown <- showScreen(m.session, nil, nil, nil, g.file, tea.WithInput(g.file), tea.WithEnvironment([]string{"TERM=xterm-256color", "NO_COLOR=" + no}))
		}()
		g.shows(t, "q quit")
		assert.Contains(t, g.Render(), want)
		m.session.End()
		require.NoError(t, <-shown)
	}
}

// A terminal that can only print, as an editor's is, gets lines.
func TestWatchDumb(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	t.Setenv("TERM", "dumb")
	g := newGlass(t)
	file := t.TempDir() + "/demo.csv"
	require.Zero(t, run(t.Context(), []string{"demo", "--save", file}, nil, io.Discard, io.Discard))
	require.Zero(t, run(t.Context(), []string{"watch", "--from", file, "--pace", "max", "--no-keep"}, nil, g.file, io.Discard))
	g.shows(t, "when it feels", "wrong, stop.")
	assert.Equal(t, g.Render(), g.reads(), "no colours")
	assert.False(t, g.CursorHidden())
}

// TestMeter: a name longer than the terminal, and one that steers it, take one row, which is free again afterwards.
func TestMeter(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	m := &meter{out: g.file}
	for _, name := range []string{"\x1b[5;5Hburl", strings.Repeat("burl ", 20)} {
		m.told = time.Time{}
		m.tell("%s: 12.0 s read", name)
	}
	g.shows(t, strings.Repeat("burl ", 15), "…")
	m.clear()
	fmt.Fprint(g.file, "note: a wire\r\n")
	g.shows(t, "note: a wire")
	assert.Equal(t, "note: a wire", strings.TrimSpace(g.reads()))
}

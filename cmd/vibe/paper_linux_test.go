package main

import (
	"bytes"
	"io"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"vibe/assess"
)

// glass is a terminal of 80 by 24: a file for the program, and what was written to it.
type glass struct {
	*os.File
	keys io.Writer

	mu   sync.Mutex
	text bytes.Buffer
}

func newGlass(t *testing.T) *glass {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(master, &pty.Winsize{Rows: 24, Cols: 80}))
	g := &glass{File: slave, keys: master}
	var read sync.WaitGroup
	read.Go(func() {
		for buf := make([]byte, 1<<12); ; {
			n, err := master.Read(buf)
			if err != nil {
				return
			}
			g.mu.Lock()
			g.text.Write(buf[:n])
			g.mu.Unlock()
		}
	})
	t.Cleanup(func() {
		slave.Close() // ends what is read
		read.Wait()
		master.Close()
	})
	return g
}

// reads waits for all the words and returns what was written since the last call.
func (g *glass) reads(t *testing.T, words ...string) (text string) {
	t.Helper()
	require.Eventually(t, func() bool {
		g.mu.Lock()
		defer g.mu.Unlock()
		text = g.text.String()
		for _, w := range words {
			if !strings.Contains(text, w) {
				return false
			}
		}
		g.text.Reset()
		return true
	}, 5*time.Second, time.Millisecond, "%q", words)
	return text
}

// Only rows that changed are written, without what could steer the terminal, and it is left as it was.
func TestPaper(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	before, err := unix.IoctlGetTermios(int(g.Fd()), unix.TCGETS)
	require.NoError(t, err)
	p, err := openPaper(g.File, g.File)
	require.NoError(t, err)
	raw, err := unix.IoctlGetTermios(int(g.Fd()), unix.TCGETS)
	require.NoError(t, err)
	assert.Zero(t, raw.Lflag&(unix.ICANON|unix.ECHO|unix.ISIG))
	const begin, end = "\x1b[?2026h", "\x1b[?2026l"
	row := func(n, text string) string { return "\x1b[" + n + "H\x1b[K" + text }
	for _, c := range []struct{ rows, wrote string }{
		{"one\ntwo\nthree", begin + row("", "one") + row("2;1", "two") + row("3;1", "three") + end},
		{"one\n\x1b[2J\a2\nthree", begin + row("2;1", "2") + end},
		{"one\n\x1b[2J\a2", begin + row("3;1", "") + end},
	} {
		p.show(strings.Split(c.rows, "\n"))
		assert.Equal(t, c.wrote, strings.TrimPrefix(g.reads(t, end), modes))
	}
	p.show([]string{"one", "\x1b[2J\a2"}) // as it stands there
	p.wipe()
	p.show([]string{"one"})
	assert.Equal(t, "\x1b[2J"+begin+row("", "one")+end, g.reads(t, end))
	require.NoError(t, p.close())
	assert.Equal(t, modesOff, g.reads(t, "\x1b[?1049l"))
	after, err := unix.IoctlGetTermios(int(g.Fd()), unix.TCGETS)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

// The terminal's colours, or none where NO_COLOR says so; what is bold stays so.
func TestPaperColours(t *testing.T) {
	for no, want := range map[string]string{"": alarmStyle.Render("x"), "1": boldStyle.Render("x")} {
		t.Setenv("NO_COLOR", no)
		t.Setenv("TERM", "xterm-256color")
		g := newGlass(t)
		p, err := openPaper(g.File, g.File)
		require.NoError(t, err)
		p.show([]string{alarmStyle.Render("x")})
		assert.Contains(t, g.reads(t, "\x1b[?2026l"), want)
		require.NoError(t, p.close())
	}
}

// A reading is on the terminal as soon as it is there, keys are heard, a new size is filled, and
// q gives the terminal back.
func TestShowScreen(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	m, _ := watched(t)
	shown := make(chan error, 1)
	go func() { shown <- showScreen(m.session, nil, nil, nil, g.File, g.File) }()
	assert.Contains(t, g.reads(t, "q quit"), "Raise to 700 rpm")
	m.session.Block(block(10.25))
	m.session.See(reading(10.25, 600, 9), assess.Advice{Action: assess.Lower, Speed: 400, Say: "Lower to 400 rpm."})
	assert.NotContains(t, g.reads(t, "Lower to 400 rpm", "\a"), "q quit", "that row stays")
	_, err := io.WriteString(g.keys, "d12\x1b[200~0 mm\x1b[201~")
	require.NoError(t, err)
	g.reads(t, "120 mm▏")
	require.NoError(t, pty.Setsize(g.File, &pty.Winsize{Rows: 12, Cols: 60}))
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGWINCH))
	assert.Contains(t, g.reads(t, "120 mm▏"), "\x1b[2J")
	_, err = io.WriteString(g.keys, "\r")
	require.NoError(t, err)
	g.reads(t, "diameter: 120 mm")
	_, err = io.WriteString(g.keys, "q")
	require.NoError(t, err)
	require.NoError(t, <-shown)
	assert.True(t, strings.HasSuffix(g.reads(t, modesOff), modesOff))
}

// What ends the session ends the screen.
func TestShowScreenEnds(t *testing.T) {
	t.Parallel()
	g := newGlass(t)
	m, _ := watched(t)
	shown := make(chan error, 1)
	go func() { shown <- showScreen(m.session, nil, nil, nil, g.File, g.File) }()
	g.reads(t, "q quit")
	m.session.End()
	require.NoError(t, <-shown)
}

package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// BenchmarkWhole watches the whole program from outside, as a turner starts it: so many seconds
// of 1 kHz and three axes, kept, drawn on a terminal or as JSON. It prints the share of a core, of
// all threads and in the kernel too, and the time from the sample that ends a reading to what is
// written of it.
//
//	go test -run XXX -bench Whole -benchtime 60x ./cmd/vibe
func BenchmarkWhole(b *testing.B) {
	program := filepath.Join(b.TempDir(), "vibe")
	out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput()
	require.NoError(b, err, "%s", out)
	for _, c := range []struct {
		name         string
		drawn, wired bool
		flags        string
	}{
		{name: "serial drawn", drawn: true, wired: true, flags: "--speed 600"},
		{name: "serial JSON", wired: true, flags: "--speed 600 --json"},
		{name: "simulated drawn", drawn: true, flags: "--from simulated"},
	} {
		b.Run(c.name, func(b *testing.B) {
			command := exec.Command(program, append([]string{"watch"}, strings.Fields(c.flags)...)...)
			command.Env = append(os.Environ(), "TERM=xterm-256color", "XDG_DATA_HOME="+b.TempDir())
			var board board1k
			if c.wired {
				command.Args = append(command.Args, "--from", "serial:"+board.open(b))
				command.Args = append(command.Args, strings.Fields(demoFlags)...)
			}
			var shown io.Reader
			if c.drawn {
				shown, err = pty.StartWithSize(command, &pty.Winsize{Rows: 24, Cols: 80})
			} else if shown, err = command.StdoutPipe(); err == nil {
				err = command.Start()
			}
			require.NoError(b, err)
			wrote := moments(shown)
			const settled = 6 * time.Second // after the start
			time.Sleep(settled)
			for len(wrote) > 0 {
				<-wrote
			}
			began, before := time.Now(), spent(b, command.Process.Pid)
			time.Sleep(time.Duration(b.N) * time.Second)
			over := time.Now()
			busy := (spent(b, command.Process.Pid) - before).Seconds() / over.Sub(began).Seconds()
			board.stop() // while somebody reads what it sends
			require.NoError(b, command.Process.Signal(syscall.SIGTERM))
			late := board.late(wrote, over)
			require.NoError(b, command.Wait())
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(100*busy, "%core")
			if len(late) > 0 {
				b.ReportMetric(late[len(late)/2], "ms-median")
				b.ReportMetric(late[len(late)*99/100], "ms-99%")
			}
		})
	}
}

// moments are when something came from r, until it ends.
func moments(r io.Reader) <-chan time.Time {
	came := make(chan time.Time, 1<<16)
	go func() {
		defer close(came)
		for buf := make([]byte, 1<<16); ; {
			if _, err := r.Read(buf); err != nil {
				return
			}
			came <- time.Now()
		}
	}()
	return came
}

// spent is the time that a process has had of the processors, to 10 ms: proc(5).
func spent(b *testing.B, pid int) time.Duration {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(b, err)
	_, after, _ := strings.Cut(string(text), ") ")
	var ticks int
	for _, f := range strings.Fields(after)[11:13] { // utime and stime
		n, err := strconv.Atoi(f)
		require.NoError(b, err)
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

// board1k is a board that sends 1000 samples of the lathe to play with a second, in its own time.
type board1k struct {
	master  *os.File
	done    chan struct{}
	stopped sync.WaitGroup
	ended   []time.Time // when the samples were sent that end a reading; to be read after stop
}

// open begins to send and returns the port.
func (b *board1k) open(tb testing.TB) string {
	master, slave, err := pty.Open()
	require.NoError(tb, err)
	tb.Cleanup(func() {
		slave.Close()
		master.Close()
	})
	lathe := playLathe()
	lathe.Chip.Rate = 1000
	lathe.SetDial(10)
	b.master, b.done = master, make(chan struct{})
	b.stopped.Go(func() { b.send(lathe) })
	return slave.Name()
}

// send writes each sample when it is due, to 2 ms.
func (b *board1k) send(lathe sensor.Source) {
	time.Sleep(2 * time.Second) // the port is opened meanwhile
	fmt.Fprintln(b.master, "# unit=mg rate=1000 range=4g")
	began, beat, before := time.Now(), sensor.Beat{}, 0.0
	for {
		block, err := lathe.Next()
		if err != nil {
			return
		}
		for i, t := range block.T {
			if wait := time.Until(began.Add(time.Duration(t * 1e9))); wait > 2*time.Millisecond {
				select {
				case <-b.done:
					return
				case <-time.After(wait):
				}
			}
			mg := func(axis int) float64 { return block.Axes[axis][i] / 9.80665e-3 }
			fmt.Fprintf(b.master, "%d,%.0f,%.0f,%.0f\n", uint32(1e6*t), mg(0), mg(1), mg(2))
			beat.See(t)
			if t > beat.After(before) {
				b.ended = append(b.ended, time.Now())
			}
			before = t
		}
	}
}

func (b *board1k) stop() {
	if b.done != nil {
		close(b.done)
		b.stopped.Wait()
	}
}

// late returns how long after the last reading was complete each thing was written before over,
// ms, rising. What follows another at once belongs to it.
func (b *board1k) late(wrote <-chan time.Time, over time.Time) (ms []float64) {
	var last time.Time
	for at := range wrote {
		n := sort.Search(len(b.ended), func(i int) bool { return b.ended[i].After(at) })
		if n > 0 && at.Sub(last) > 60*time.Millisecond && at.Before(over) {
			ms = append(ms, 1e3*at.Sub(b.ended[n-1]).Seconds())
		}
		last = at
	}
	slices.Sort(ms)
	return ms
}

//go:build linux

package serial_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
	"vibe/sensor/sensortest"
	"vibe/sensor/serial"
)

const hello = "# unit=mg rate=800 range=16g\n"

// TestContract sends at full speed for as long as the source listens.
func TestContract(t *testing.T) {
	t.Parallel()
	sensortest.TestSource(t, func() sensor.Source {
		b := newBoard(t)
		s := b.open(serial.Options{})
		go func() {
			for b.say(hello) && b.send(80, 800) {
			}
		}()
		return tied{s, b}
	})
}

// TestRates: of a minute of samples, as fast as the wire takes them, none is missing, and
// every one has the board's time, whatever noise comes between them.
func TestRates(t *testing.T) {
	t.Parallel()
	for _, rate := range []int{800, 3200} {
		for _, noisy := range []bool{false, true} {
			t.Run(fmt.Sprintf("%d Hz noise %v", rate, noisy), func(t *testing.T) {
				t.Parallel()
				b := newBoard(t)
				b.us = 0xffffffff - 3e6 // wraps after 3 s
				s := b.open(serial.Options{})
				seconds := 60
				if testing.Short() {
					seconds = 6
				}
				n, rng := seconds*rate, rand.New(rand.NewPCG(uint64(rate), 1))
				go func() {
					b.say(fmt.Sprintf("# unit=mg rate=%d range=16g\n", rate))
					for i := 0; i < n; i += rate / 100 {
						b.send(rate/100, float64(rate))
						if noisy && i > rate {
							b.say(noise[rng.IntN(len(noise))])
						}
					}
				}()
				got := collect(t, s, n)
				step := float64(uint32(1e6/float64(rate)+0.5)) * 1e-6
				for i := range got.T {
					require.InDelta(t, float64(i)*step, got.T[i]-got.T[0], 1e-7, "time of sample %d", i)
					require.InDelta(t, float64(i%1000)*9.80665e-3, got.Axes[0][i], 1e-9, "x of sample %d", i)
				}
				assert.Zero(t, got.Lost)
				assert.InDelta(t, 16*9.80665, got.Range, 1e-9)
				notes := strings.Join(got.Notes, "\n")
				if noisy {
					assert.Contains(t, notes, "100 lines were no samples")
				} else {
					assert.NotContains(t, notes, "no samples")
				}
			})
		}
	}
}

// noise is what boards and cables put between samples.
var noise = []string{
	"Booting v1.2, (c) nobody\r\n", "\xff\x00\xfe\x80\n", "1234,-1\n", "\r\n\r\n# a comment\n1,2,3\n",
	strings.Repeat("z", 1000) + "\n", "12a5,0,0,1000\n", "999,nan,0,1000\n", "0,0,0,90000\n", "7,\n",
}

// TestUnplugged: a pulled cable is said within a second, and the session goes on when the
// board is back, its clock set anew, with a gap that the host's clock measures.
func TestUnplugged(t *testing.T) {
	t.Parallel()
	var said time.Duration
	for range 3 { // a machine that is busy with others can be late once
		if said = unplug(t); said < time.Second {
			return
		}
	}
	assert.Less(t, said, time.Second)
}

// unplug pulls a board's cable and plugs it in again. It returns how long it took until the
// pull was said. The board sends a second of samples in two bunches, so that more time passes
// here than on its own clock, and only the host's can tell how much.
func unplug(t *testing.T) (said time.Duration) {
	const n, step = 840, 1. / 800
	b := newBoard(t)
	s := b.open(serial.Options{})
	silent := []string{b.path + ": the board has stopped sending; the lathe may be turning"}
	b.say(hello)
	sent := time.Now()
	b.send(n/2, 1/step)
	require.Equal(t, silent, next(t, s).Notes, "no sample yet: the unit is not known")
	again := time.Now()
	b.send(n/2, 1/step)
	before := collect(t, s, n)
	require.Equal(t, silent, next(t, s).Notes)

	pulled := time.Now()
	b.pull()
	note := next(t, s)
	said = time.Since(pulled)
	assert.Empty(t, note.T)
	assert.Equal(t, []string{b.path + ": the board is gone (cable pulled, or switched off); waiting for it"}, note.Notes)

	b.us = 5000
	plugged := time.Now()
	b.plug()
	go func() {
		for b.say(hello) && b.send(80, 1/step) {
		}
	}()
	after := collect(t, s, 1)
	back := time.Now()
	assert.Contains(t, after.Notes, b.path+": the board is back")
	gap := after.T[0] - before.T[n-1]
	passed := gap + (n-1)*step // between the first lines of before and those of after
	assert.Greater(t, passed, plugged.Sub(again).Seconds()-step, "the gap is the time that passed")
	assert.Less(t, passed, back.Sub(sent).Seconds()+step, "the gap is the time that passed")
	assert.Greater(t, gap, 0.3)
	assert.InDelta(t, gap/step-1, after.Lost, 1)
	return said
}

// TestSilent: a board that stops sending is said to, within a second, and no sample is made up.
func TestSilent(t *testing.T) {
	t.Parallel()
	b := newBoard(t)
	s := b.open(serial.Options{})
	b.say(hello)
	b.send(1600, 800)
	collect(t, s, 1600)
	since := time.Now()
	note := next(t, s)
	assert.Less(t, time.Since(since), time.Second)
	assert.Empty(t, note.T)
	assert.Equal(t, []string{b.path + ": the board has stopped sending; the lathe may be turning"}, note.Notes)
}

// TestBaud: a board that can be read at one rate alone is found.
func TestBaud(t *testing.T) {
	t.Parallel()
	b := newBoard(t)
	s := b.open(serial.Options{})
	rng := rand.New(rand.NewPCG(3, 4))
	go func() {
		for right := true; right; {
			if b.baud() == 500000 {
				right = b.say(hello) && b.send(80, 800)
				continue
			}
			garbage := make([]byte, 40)
			for i := range garbage {
				garbage[i] = byte(rng.Uint32())
			}
			right = b.say(string(garbage))
		}
	}()
	got := collect(t, s, 800)
	assert.Contains(t, got.Notes, b.path+": found at 500000 baud")
}

// TestBabble: what can be read at no rate is said once, after the time a board may need.
func TestBabble(t *testing.T) {
	t.Parallel()
	b := newBoard(t)
	s := b.open(serial.Options{})
	go func() {
		for b.say("$GPGGA,123519,4807.038,N,01131.000,E\n") {
		}
	}()
	note := next(t, s)
	assert.Empty(t, note.T)
	assert.Equal(t, []string{b.path + ": what comes is no samples: does the board run a program that sends x,y,z lines, and at which baud rate?"}, note.Notes)
	b.pull()
	assert.Equal(t, []string{b.path + ": the board is gone (cable pulled, or switched off); waiting for it"}, next(t, s).Notes)
}

// TestSlowConsumer: the source reads on when nobody takes its samples, keeps the newest, and
// says how many it dropped.
func TestSlowConsumer(t *testing.T) {
	t.Parallel()
	b := newBoard(t)
	s := b.open(serial.Options{})
	const n = 100000
	b.say("# unit=mg rate=3200\n")
	b.send(n, 3200) // returns, though the wire holds about a thousand lines only
	var got sensor.Block
	for len(got.T) == 0 || got.Axes[0][len(got.T)-1] != float64((n-1)%1000)*9.80665/1000 || len(got.T)+got.Lost < n {
		join(&got, next(t, s))
	}
	assert.Equal(t, n, len(got.T)+got.Lost)
	assert.Greater(t, got.Lost, n/4)
	assert.Contains(t, strings.Join(got.Notes, "\n"), "this computer did not keep up")
}

// TestNotUnderstood: what cannot be a sensor ends the source, with a hint.
func TestNotUnderstood(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		line, want string
		o          serial.Options
	}{
		"milliseconds":     {"%[2]d,0,0,1000\n", "fits no time in µs", serial.Options{}},
		"no gravity":       {"%[1]d,0,0,16384\n", "no unit given, and no clear gravity in the data (mean 1.638e+04)", serial.Options{}},
		"other unit":       {"# unit=g\n%[1]d,0,0,1000\n", "the unit is said to be g, but gravity shows as 1000, as it does in mg", serial.Options{}},
		"asked, and other": {"%[1]d,0,0,9.8\n", "the unit is said to be mg, but gravity shows as 9.8, as it does in m/s2", serial.Options{Unit: "mg"}},
		"another range":    {"# unit=mg\n%[1]d,0,0,500\n", "gravity shows as 0.5 g where 1 g belongs", serial.Options{}},
		"counts, not mg":   {"# unit=mg\n%[1]d,0,0,256\n", "gravity shows as 0.256 g where 1 g belongs", serial.Options{}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBoard(t)
			s := b.open(c.o)
			go func() {
				for i := 0; b.say(fmt.Sprintf(c.line, i*1250, i)); i++ {
				}
			}()
			var err error
			for err == nil {
				_, err = s.Next()
			}
			var e *serial.Error
			require.ErrorAs(t, err, &e)
			assert.ErrorContains(t, err, c.want)
			assert.NotEmpty(t, e.Hint())
			b.pull()
		})
	}
}

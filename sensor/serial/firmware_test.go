//go:build linux

package serial_test

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/dsp"
	"vibe/sensor/serial"
)

// tools are what the firmware is built and run with: packages gcc-avr, avr-libc, gcc,
// libc6-dev and libsimavr-dev of Debian.
var tools = []string{"avr-gcc", "gcc", "/usr/include/simavr/sim_avr.h", "/usr/lib/avr/include/avr/io.h"}

// needTools skips the test on a machine without them, but for one that is to check everything.
func needTools(t *testing.T) {
	for _, tool := range tools {
		_, err := exec.LookPath(tool)
		if filepath.IsAbs(tool) {
			_, err = os.Stat(tool)
		}
		if err != nil && os.Getenv("VIBE_CI") != "" {
			require.NoError(t, err, "VIBE_CI is set, so nothing may be skipped")
		} else if err != nil {
			t.Skipf("no %s: apt-get install gcc-avr avr-libc gcc libc6-dev libsimavr-dev", tool)
		}
	}
}

// build compiles what the arguments say; no warning may be left.
func build(t *testing.T, compiler string, args ...string) {
	said, err := exec.Command(compiler, append([]string{"-std=gnu11", "-Wall", "-Wextra", "-Werror", "-Os"}, args...)...).CombinedOutput()
	require.NoError(t, err, "%s %s\n%s", compiler, strings.Join(args, " "), said)
}

// run starts the firmware in the simulator and returns the name of its serial line.
func run(t *testing.T, bench string, args ...string) string {
	var said strings.Builder
	c := exec.Command(bench, args...)
	c.Stderr = &said
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		assert.NoError(t, c.Process.Kill())
		assert.EqualError(t, c.Wait(), "signal: killed", "%s", &said)
	})
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if name, ok := strings.CutPrefix(lines.Text(), "terminal "); ok {
			return name
		}
	}
	require.FailNow(t, "no terminal", "%s", &said)
	return ""
}

// TestFirmware builds the firmware and runs it on a simulated board, whose serial line is
// read as any board's: what the simulated sensor feels comes out of the tracker.
func TestFirmware(t *testing.T) {
	t.Parallel()
	needTools(t)
	dir := t.TempDir()
	bench := filepath.Join(dir, "bench")
	build(t, "gcc", "-o", bench, "firmware/bench/bench.c", "-lsimavr", "-lm")
	for _, hz := range []string{"16000000", "8000000"} {
		build(t, "avr-gcc", "-mmcu=atmega328p", "-DF_CPU="+hz+"UL", "-o", filepath.Join(dir, hz), "firmware/accelerometer.c")
	}
	firmware := func(hz string) string { return filepath.Join(dir, hz) }

	t.Run("a sine", func(t *testing.T) {
		t.Parallel()
		// The sensor's own clock is 0.9 % slow, as it may be; the times are true all the same.
		s, err := serial.Open(run(t, bench, firmware("16000000"), "16000000", "12.34", "0.25", "793"), serial.Options{})
		require.NoError(t, err)
		got := collect(t, s, 5*800)
		require.NoError(t, s.Close())
		assert.Contains(t, strings.Join(got.Notes, "\n"), "found at 500000 baud")
		assert.Zero(t, got.Lost)
		assert.InDelta(t, 16*9.80665, got.Range, 1e-9)
		for i := range got.T {
			// The time of a sample is cut to whole µs.
			require.InDelta(t, float64(i)/793, got.T[i]-got.T[0], 1.1e-6)
			require.InDelta(t, 9.80665, got.Axes[2][i], 1e-9)
			require.Zero(t, got.Axes[1][i])
		}
		var tracker dsp.Tracker
		turns := append(tracker.Add(got.T, got.Axes), tracker.Flush()...)
		ok := 0
		for _, r := range turns {
			if r.OK {
				ok++
				assert.InEpsilon(t, 12.34, r.Freq, 1e-4)
				assert.InEpsilon(t, 0.25*9.80665, r.Amp, 0.002, "1 of 256 steps a g is 0.4 %% of 1 g")
			}
		}
		assert.Greater(t, ok, len(turns)/2)
	})
	t.Run("8 MHz", func(t *testing.T) {
		t.Parallel()
		// The simulator takes 100 µs for a byte from the sensor where 2 are real, so 800
		// samples a second are too many for it at this clock.
		s, err := serial.Open(run(t, bench, firmware("8000000"), "8000000", "20", "1", "400"), serial.Options{Baud: 500000})
		require.NoError(t, err)
		got := collect(t, s, 1000)
		require.NoError(t, s.Close())
		assert.Zero(t, got.Lost)
		for i := range got.T {
			require.InDelta(t, float64(i)/400, got.T[i]-got.T[0], 1.1e-6)
		}
	})
	t.Run("warm", func(t *testing.T) {
		t.Parallel()
		// After a reset of the board alone an unread sample holds the line up that times the others.
		s, err := serial.Open(run(t, bench, firmware("16000000"), "16000000", "20", "1", "800", "warm"), serial.Options{Baud: 500000})
		require.NoError(t, err)
		collect(t, s, 800)
		require.NoError(t, s.Close())
	})
	for name, want := range map[string]string{
		"dead": "the board says: no ADXL345 answers, check its wires; it should say 229 and says 255",
		"deaf": "the board says: the sensor answers but INT1 is silent, check that wire",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, err := serial.Open(run(t, bench, firmware("16000000"), "16000000", "20", "1", "800", name), serial.Options{Baud: 500000})
			require.NoError(t, err)
			var notes string
			for !strings.Contains(notes, want) {
				b := next(t, s)
				require.Empty(t, b.T)
				notes += strings.Join(b.Notes, "\n")
			}
			require.NoError(t, s.Close())
		})
	}
}

//go:build linux

package serial_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor/serial"
)

// TestRefused: what cannot be opened is told with what to do about it.
func TestRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for _, c := range []struct {
		port string
		o    serial.Options
		want string
	}{
		{filepath.Join(dir, "none"), serial.Options{}, filepath.Join(dir, "none") + ": there is no such port"},
		{file, serial.Options{}, file + ": it is no serial port"},
		{dir, serial.Options{}, dir + ": it is no serial port"},
		{file, serial.Options{Unit: "furlong"}, `unit "furlong": want m/s2, g, mg or counts`},
		{file, serial.Options{Baud: -1}, "baud -1: want a positive number, such as 115200"},
	} {
		_, err := serial.Open(c.port, c.o)
		assert.EqualError(t, err, c.want)
		if c.o == (serial.Options{}) {
			var e *serial.Error
			require.ErrorAs(t, err, &e)
			assert.NotEmpty(t, e.Hint())
		}
	}
}

// TestNobody opens ports as a user without rights: the kernel refuses root nothing.
func TestNobody(t *testing.T) {
	t.Parallel()
	if port := os.Getenv("SERIAL_TEST_PORT"); port != "" {
		if os.Getuid() == 0 {
			require.NoError(t, syscall.Setuid(65534))
		}
		_, err := serial.Open(port, serial.Options{})
		require.EqualError(t, err, port+": "+os.Getenv("SERIAL_TEST_WANT"))
		var e *serial.Error
		require.ErrorAs(t, err, &e)
		require.Contains(t, e.Hint(), os.Getenv("SERIAL_TEST_HINT"))
		return
	}
	for _, c := range []struct {
		mode       os.FileMode
		want, hint string
	}{
		{0, "no permission to open it", "sudo usermod -aG dialout $USER"},
		{0o666, "another program uses it", "close the serial monitor or the other vibe"},
	} {
		master, slave, err := pty.Open()
		require.NoError(t, err)
		first, err := serial.Open(slave.Name(), serial.Options{})
		require.NoError(t, err)
		require.NoError(t, slave.Chmod(c.mode))
		child := exec.Command(os.Args[0], "-test.run=^TestNobody$")
		child.Env = append(os.Environ(), "SERIAL_TEST_PORT="+slave.Name(), "SERIAL_TEST_WANT="+c.want, "SERIAL_TEST_HINT="+c.hint)
		said, err := child.CombinedOutput()
		assert.NoError(t, err, "%s: %s", c.want, said)
		assert.NoError(t, first.Close())
		assert.NoError(t, slave.Close())
		assert.NoError(t, master.Close())
	}
}

// TestPorts: the list can be had whatever this computer has.
func TestPorts(t *testing.T) {
	t.Parallel()
	ports, err := serial.Ports()
	require.NoError(t, err)
	for _, p := range ports {
		assert.NotEmpty(t, p.Name)
	}
}

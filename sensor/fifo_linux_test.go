package sensor_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// A named pipe opens only when somebody writes into it, and until then must not keep Close from
// ending the reading.
func TestNamedPipe(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, syscall.Mkfifo(path, 0o600))
	s, err := sensor.Open(path, sensor.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	_, err = s.Next()
	require.ErrorIs(t, err, sensor.ErrClosed)

	path += "2" // what was closed still waits for a writer of the first, for good
	require.NoError(t, syscall.Mkfifo(path, 0o600))
	s, err = sensor.Open(path, sensor.Options{})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte("t_s,x_g\n"+ramp(10, 0.5, 1)), 0))
	times, _ := drain(t, s)
	assert.Len(t, times, 10)
}

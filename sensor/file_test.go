package sensor_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
	"vibe/sensor/sensortest"
)

func TestOpen(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	_, err := sensor.Open(dir, sensor.Options{})
	refused(t, err, dir+": is a folder, not a recording; name a recording in it, as in vibe read "+filepath.Join(dir, "run.csv"))
	_, err = sensor.Open(filepath.Join(dir, "none.csv"), sensor.Options{})
	require.ErrorIs(t, err, os.ErrNotExist)

	path := filepath.Join("..", "testdata", "phone-and-reference.csv")
	sensortest.TestSource(t, func() sensor.Source {
		s, err := sensor.Open(path, sensor.Options{Axes: []string{"pcb", "xiapmi"}, Unit: "m/s2"})
		require.NoError(t, err)
		return s
	})
	s, err := sensor.Open(path, sensor.Options{Axes: []string{"pcb", "xiapmi"}, Unit: "m/s2"})
	require.NoError(t, err)
	b, err := s.Next()
	require.NoError(t, err)
	assert.Equal(t, []string{"no unit of time given: steps of 4.837 fit ms"}, b.Notes)
	times, axes := drain(t, s)
	times = append(b.T, times...)
	assert.Len(t, times, 827)
	assert.Len(t, axes[1], 827-len(b.T))
	assert.Equal(t, 3.995, times[826])
	assert.Equal(t, -16.450333, b.Axes[0][0])
	assert.Equal(t, 10.87663078, b.Axes[1][0])
	require.NoError(t, s.Close())
}

func TestParseAcceleration(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{"2g": 2 * g, "16 g": 16 * g, "4000mg": 4 * g, "20 m/s2": 20, "1.5E1 m/s^2": 15} {
		got, err := sensor.ParseAcceleration(text)
		require.NoError(t, err, text)
		assert.InEpsilon(t, want, got, 1e-12, text)
	}
	for _, text := range []string{"", "g", "2", "-2g", "0g", "nan g", "inf g", "2 pounds", "1e308g"} {
		_, err := sensor.ParseAcceleration(text)
		assert.EqualError(t, err, fmt.Sprintf("acceleration %q: want a positive number with m/s2, g or mg, such as 2g", text))
	}
}

func TestCSVKeepsTheContract(t *testing.T) {
	t.Parallel()
	text := "t_s,x_g,y_g,z_g\n" + ramp(5000, 0.001, 0, 1, 0)
	for name, o := range map[string]string{"plain": text, "gzip": squeeze(text), "no header": ramp(5000, 0.001, 0, 1, 0), "error at the end": text + "abc\n"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			sensortest.TestSource(t, func() sensor.Source {
				s, err := sensor.Decode(name, strings.NewReader(o), sensor.Options{})
				require.NoError(t, err)
				return s
			})
		})
	}
	t.Run("pipe", func(t *testing.T) {
		t.Parallel()
		sensortest.TestSource(t, func() sensor.Source {
			r, w := io.Pipe()
			go func() {
				_, err := io.WriteString(w, "t_s,x_g\n")
				for i := 0; err == nil; i++ {
					_, err = fmt.Fprintf(w, "%d,1\n", i)
				}
				assert.Equal(t, io.ErrClosedPipe, err)
			}()
			s, err := sensor.Decode("pipe", r, sensor.Options{})
			require.NoError(t, err)
			return s
		})
	})
}

// A pipe may fall silent between two rows or blocks, or within samples.
func TestCloseEndsWaitingForAPipe(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{"CSV": "t_s,x_g\n0,1\n1,1\n", "CSV, in a block": "t_s,x_g\n" + ramp(3000, 0.01, 1),
		"WAV": riff(chunk("fmt ", format(1, 1, 10, 16)), chunk("data", make([]byte, 9000)))[:6000]} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			sensortest.TestWaiting(t, func() sensor.Source {
				r, w := io.Pipe()
				go func() {
					_, err := io.WriteString(w, text)
					assert.True(t, err == nil || err == io.ErrClosedPipe, "%v", err)
				}()
				var o sensor.Options
				if name == "WAV" {
					o.FullScale = 10
				}
				s, err := sensor.Decode("pipe", r, o)
				require.NoError(t, err)
				return s
			})
		})
	}
}

func TestSimulatedKeepsTheContract(t *testing.T) {
	t.Parallel()
	for name, seconds := range map[string]float64{"endless": 0, "ends": 3} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			sensortest.TestSource(t, func() sensor.Source {
				return &sensor.Simulated{Seconds: seconds, Speed: []sensor.Point{{0, 7}}, Imbalance: 0.001,
					Chip: sensor.Chip{Noise: 1e-3, Missing: 0.1, Range: 20}}
			})
		})
	}
}

// refused holds an error to "where: what; what to try", one about the options to "what".
func refused(t *testing.T, err error, want string) {
	t.Helper()
	require.Error(t, err)
	said := err.Error()
	if wrong := new(sensor.ParseError); errors.As(err, &wrong) {
		said += "; " + wrong.Hint()
	}
	require.Equal(t, want, said)
}

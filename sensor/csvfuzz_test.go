package sensor_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// FuzzCSV: never a panic; what is read is finite, in order, and survives writing and reading.
func FuzzCSV(f *testing.F) {
	for _, seed := range []string{
		"t_s,x_m/s2,y_m/s2,z_m/s2\n0,1,2,3\n0.5,4,5,6\n", "\ufefftime;x (g)\r\n0,1;1\r\n0,2;2", ramp(100, 0.01, 0, 9.8, 0),
		"timestamp,ax,ay,az\n2026-11-25T10:00:00.5Z,1,2,3\n", "\"t_s\",\"x_g\"\n\"1\",\"2\"\n\"", "sep=,\nt,x\n1,2\n", "# t_ms,x_mg\n1,1\n2,1\n", "a\tb\n\x00\x00",
		"time,x\nms,g\n1,2\n2,3", squeeze("t_s,x_g\n0,1\n1,1\n"),
	} {
		f.Add(seed, false, 0.0, "")
		f.Add(seed, true, 100.0, "g")
	}
	f.Add(ramp(100, 1, 0, 1, 0), true, 400.0, "")
	f.Add("t,x_g\n"+ticks(200, 400, 0.01)+"0.7,1\n", true, 400.0, "")
	f.Add("t,x_g\n"+bursts(90, 10, 0.025, 0.0001), true, 400.0, "")
	f.Add("t_s,x_g\n0,1e9\n1e-310,1\n2e-310,1\n", true, 0.0, "")
	f.Fuzz(func(t *testing.T, text string, skip bool, rate float64, unit string) {
		got, err := read(text, sensor.Options{SkipBad: skip, Rate: rate, Unit: unit})
		_ = err // any error will do
		if len(got.t) == 0 {
			return
		}
		b := sensor.Block{T: got.t, Axes: got.axes}
		for i, at := range b.T {
			b.T[i] = at - got.t[0]
		}
		sound(t, b)
		var again bytes.Buffer
		require.NoError(t, sensor.WriteCSV(&again, &canned{b}))
		back, err := read(again.String(), sensor.Options{})
		if err != nil && strings.Contains(err.Error(), "gravity shows as") { // as it is judged in m/s², which these may not be
			return
		}
		require.NoError(t, err)
		require.Equal(t, b.T, back.t)
		require.Equal(t, b.Axes, back.axes)
	})
}

func sound(t *testing.T, b sensor.Block) {
	for i := 1; i < len(b.T); i++ {
		require.Greater(t, b.T[i], b.T[i-1])
	}
	for _, a := range b.Axes {
		require.Len(t, a, len(b.T))
		for _, v := range a {
			require.LessOrEqual(t, math.Abs(v), 1e6)
		}
	}
}

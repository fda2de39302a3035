package sensor_test

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/sensor"
)

// What is written is read back to the last bit.
func TestCSVRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3).Draw(t, "axes")
		steps := rapid.SliceOfN(rapid.Float64Range(1e-6, 1e3), 1, 50).Draw(t, "steps")
		b := sensor.Block{T: []float64{0}, Axes: make([][]float64, n)}
		for _, step := range steps {
			b.T = append(b.T, b.T[len(b.T)-1]+step)
		}
		most := 1e6
		if b.T[len(steps)] >= 0.5 { // long enough for gravity to be judged: then there is none
			most = 0.28
		}
		for i := range b.Axes {
			b.Axes[i] = rapid.SliceOfN(rapid.Float64Range(-most, most), len(b.T), len(b.T)).Draw(t, "values")
		}
		var text bytes.Buffer
		require.NoError(t, sensor.WriteCSV(&text, &canned{b}))
		got, err := read(text.String(), sensor.Options{})
		require.NoError(t, err)
		require.Equal(t, b.T, got.t)
		require.Equal(t, b.Axes, got.axes)
	})
}

// canned is a source of given blocks.
type canned []sensor.Block

func (c *canned) Next() (sensor.Block, error) {
	if len(*c) == 0 {
		return sensor.Block{}, io.EOF
	}
	b := (*c)[0]
	*c = (*c)[1:]
	return b, nil
}

func (c *canned) Close() error { return nil }

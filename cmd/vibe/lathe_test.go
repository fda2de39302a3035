package main

import (
	"bytes"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// A range that begins above the spindle's speed makes its multiple a sure reading: it is asked whether it is right, and only then. A run
// without a number is not kept.
func TestBaselineRange(t *testing.T) {
	t.Parallel()
	shop := filepath.Join(t.TempDir(), "shop.sqlite")
	baseline := func(lowest string, src *sensor.Simulated, more ...string) (code int, stdout, stderr string) {
		code, _, msg := vibe(t, nil, "lathe", "add", "mini", "--lowest", lowest, "--highest", "4000", "--shop", shop)
		require.Zero(t, code, msg)
		var csv bytes.Buffer
		require.NoError(t, sensor.WriteCSV(&csv, src))
		return vibe(t, &csv, append([]string{"lathe", "baseline", "mini", "-", "--shop", shop}, more...)...)
	}
	turning := func() *sensor.Simulated { // 500 rpm, and a multiple
		return &sensor.Simulated{Seconds: 12, Speed: []sensor.Point{{Value: 500. / 60}}, Chip: sensor.Chip{Rate: 800, Noise: 0.0005},
			Lines: []sensor.Line{{Order: 1, Amp: [3]complex128{0.037, 0.02i, 0}}, {Order: 2, Amp: [3]complex128{0.044, 0.02i, 0}}}}
	}
	code, out, msg := baseline("1000", turning())
	require.Zero(t, code, msg)
	assert.Regexp(t, ` 1000 .*calm`, out, "as it was before it was asked")
	assert.Contains(t, oneLine(msg), "1000 rpm on a lathe that turns 1000 to 4000 rpm may be 500 rpm: what did the dial show?")
	_, _, msg = baseline("1000", turning(), "--speed", "1000")
	assert.NotContains(t, msg, "what did the dial show?")
	code, out, msg = baseline("200", turning())
	require.Zero(t, code, msg)
	assert.Regexp(t, ` 500 .*calm`, out)
	assert.NotContains(t, msg, "what did the dial show?")

	live := func(more ...string) string {
		var csv bytes.Buffer
		require.NoError(t, sensor.WriteCSV(&csv, turning()))
		code, _, msg := vibe(t, &csv, append([]string{"watch", "--from", "-", "--empty", "--lathe", "mini", "--shop", shop}, more...)...)
		require.Zero(t, code, msg)
		return oneLine(msg)
	}
	assert.NotContains(t, live(), "what did the dial show?")
	assert.Contains(t, live("--lowest", "1000"), "1000 rpm on a lathe that turns 1000 to 4000 rpm may be 500 rpm: what did the dial show?")

	still := turning()
	still.Speed = nil
	code, _, msg = baseline("200", still)
	assert.Equal(t, 1, code)
	assert.Contains(t, oneLine(msg), "has no reading that may be used, and was not kept hint: ")
	_, out, _ = vibe(t, nil, "log", "--shop", shop)
	assert.Contains(t, out, "\n    5 ")
	assert.NotContains(t, out, "\n    6 ")
}

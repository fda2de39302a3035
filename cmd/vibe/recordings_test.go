package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRealRecording goes the whole way on a recording of a real vibration, taken by a
// laboratory accelerometer and by a phone at once (testdata/README.md). A sine fit by
// other means gave 18.805 Hz for both columns, with 16.63 and 16.88 m/s² peak; the residual
// of 0.97 and 0.82 m/s² rms over 827 samples leaves 0.05 m/s² of doubt, 0.3 %.
func TestRealRecording(t *testing.T) {
	t.Parallel()
	const hz, tolerance = 18.805, 0.01
	for column, amp := range map[string]float64{"pcb": 16.63, "xiapmi": 16.88} {
		code, out, msg := vibe(t, nil, "read", "../../testdata/phone-and-reference.csv", "--axes", column, "--unit", "m/s2", "--json")
		require.Zero(t, code, msg)
		var doc struct {
			Recording struct {
				Axes    int
				Seconds float64
			}
			Readings []struct {
				OK    bool
				Speed float64 `json:"speed_rpm"`
				Shake float64 `json:"shake_mm_s"`
				Feel  string
			}
			Advice struct{ Action string }
		}
		require.NoError(t, json.Unmarshal([]byte(out), &doc))
		assert.Equal(t, 1, doc.Recording.Axes)
		assert.InDelta(t, 3.995, doc.Recording.Seconds, 1e-9)
		ok := 0
		var speed, shake float64
		for _, r := range doc.Readings {
			if r.OK {
				ok++
				speed += r.Speed
				shake += r.Shake
				assert.InEpsilon(t, 60*hz, r.Speed, 0.004, column)
				assert.Equal(t, "violent", r.Feel)
			}
		}
		require.GreaterOrEqual(t, ok, 8, "%s: four seconds, four readings a second", column)
		n := float64(ok)
		assert.InEpsilon(t, 60*hz, speed/n, 0.001, column)
		// rms velocity in mm/s of a sine of amp m/s² peak: 1000·a/(2πf·√2).
		assert.InEpsilon(t, 1000*amp/(6.283185307*hz*1.414213562), shake/n, tolerance, column)
		assert.Equal(t, "stop", doc.Advice.Action)
	}
}

package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
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
		require.GreaterOrEqual(t, ok, 4, "%s: a second of readings of the four", column)
		n := float64(ok)
		assert.InEpsilon(t, 60*hz, speed/n, 0.001, column)
		// rms velocity in mm/s of a sine of amp m/s² peak: 1000·a/(2πf·√2).
		assert.InEpsilon(t, 1000*amp/(6.283185307*hz*1.414213562), shake/n, tolerance, column)
		assert.Equal(t, "stop", doc.Advice.Action)
	}
}

// wav is 16-bit PCM at 1000 Hz (RIFF header of 44 bytes, Microsoft and IBM 1991), one
// channel of seconds of a sine of hz and peak, as a share of full scale.
func wav(seconds int, hz, peak float64) []byte {
	n := 1000 * seconds
	var b bytes.Buffer
	b.WriteString("RIFF")
	le := func(v any) { binary.Write(&b, binary.LittleEndian, v) } // a Buffer never fails
	le(uint32(36 + 2*n))
	b.WriteString("WAVEfmt ")
	le([]uint16{16, 0, 1, 1, 1000, 0, 2000, 0, 2, 16})
	b.WriteString("data")
	le(uint32(2 * n))
	for i := range n {
		le(int16(math.Round(32767 * peak * math.Sin(2*math.Pi*hz*float64(i)/1000))))
	}
	return b.Bytes()
}

func TestWAV(t *testing.T) {
	t.Parallel()
	turning := wav(6, 10, 0.02) // 0.02 of 2 g is 0.392 m/s² peak, 4.41 mm/s rms at 10 Hz
	read := func(file []byte, flags ...string) (int, string, string) {
		return vibe(t, bytes.NewReader(file), append([]string{"read", "-"}, flags...)...)
	}

	code, _, msg := read(turning)
	assert.Equal(t, 1, code)
	assert.Contains(t, msg, "--full-scale")

	code, out, msg := read(turning, "--full-scale", "2g")
	require.Zero(t, code, msg)
	assert.Regexp(t, `(?m)^ .* 600 +4\.4`, out)

	code, out, msg = read(turning[:len(turning)-2001], "--full-scale", "2g")
	require.Zero(t, code, "a recorder that was switched off: %s", msg)
	assert.Contains(t, msg, "note: ")
	assert.Regexp(t, `(?m)^ .* 600 +4\.4`, out)

	for _, cut := range []int{0, 4, 20, 43, 44} {
		code, out, _ = read(turning[:cut], "--full-scale", "2g")
		assert.Equal(t, 1, code, "%d bytes", cut)
		assert.Empty(t, out)
	}

	code, out, msg = read(wav(6, 10, 0), "--full-scale", "2g") // silence
	require.Zero(t, code, msg)
	assert.Regexp(t, `^WAIT`, out)
	assert.NotRegexp(t, `calm|lively|violent +`, out)
}

// TestHundredthsWithRate: a sensor of 1000 samples a second whose times are told in hundredths, and three rows in a hundred are
// missing. Counted, every speed would be 3 % too high.
func TestHundredthsWithRate(t *testing.T) {
	t.Parallel()
	const hz, amp = 10.0, 0.3 // m/s²
	rng := rand.New(rand.NewPCG(1, 2))
	var text strings.Builder
	text.WriteString("t,x,y,z\n")
	for i := range 12_000 {
		at := float64(i) / 1000
		turn := 2 * math.Pi * hz * at
		if rng.Float64() > 0.03 {
			fmt.Fprintf(&text, "%.2f,%.4f,%.4f,%.4f\n", at, amp*math.Sin(turn)+0.05*rng.NormFloat64(), 0.6*amp*math.Cos(turn)+0.05*rng.NormFloat64(), 9.8+0.05*rng.NormFloat64())
		}
	}
	code, out, msg := vibe(t, strings.NewReader(text.String()), "read", "-", "--rate", "1000", "--json")
	require.Zero(t, code, msg)
	var doc struct {
		Readings []struct {
			OK    bool
			Speed float64 `json:"speed_rpm"`
			Shake float64 `json:"shake_mm_s"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	ok := 0
	for _, r := range doc.Readings {
		if r.OK {
			ok++
			assert.InEpsilon(t, 60*hz, r.Speed, 0.004)
			assert.InEpsilon(t, 1000*amp/(2*math.Pi*hz*math.Sqrt2), r.Shake, 0.05)
		}
	}
	assert.Greater(t, ok, len(doc.Readings)*3/4)
}

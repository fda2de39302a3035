package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/sensor"
)

// said is a line of `vibe watch --json`.
type said struct {
	Reading struct {
		T     float64  `json:"t_s"`
		Span  float64  `json:"span_s"`
		OK    bool     `json:"ok"`
		Speed *float64 `json:"speed_rpm"`
		Shake *float64 `json:"shake_mm_s"`
	} `json:"reading"`
	Advice struct {
		Action assess.Action `json:"action"`
		Speed  *float64      `json:"speed_rpm"`
		Say    string        `json:"say"`
	} `json:"advice"`
}

// twoSpeeds is a recording of the demo's lathe at a good speed and a rough one, as a file.
func twoSpeeds(t *testing.T) io.Reader {
	lathe := demoLathe()
	lathe.Seconds, lathe.Speed = 20, steps(430, 560)
	lathe.Cutting = sensor.Cutting{}
	var csv strings.Builder
	require.NoError(t, sensor.WriteCSV(&csv, lathe))
	return strings.NewReader(csv.String())
}

// A recording replayed says what it says when it is read: the very same readings, a line each.
func TestWatchJSON(t *testing.T) {
	t.Parallel()
	args := strings.Fields(demoFlags)
	code, out, msg := vibe(t, twoSpeeds(t), append([]string{"watch", "--from", "-", "--json"}, args...)...)
	require.Zero(t, code, msg)
	code, read, msg := vibe(t, twoSpeeds(t), append([]string{"read", "-", "--json"}, args...)...)
	require.Zero(t, code, msg)
	var doc struct{ Readings []any }
	require.NoError(t, json.Unmarshal([]byte(read), &doc))
	var readings []any
	for line := range strings.Lines(out) {
		d := one(t, line).(map[string]any)
		if d["reading"] == nil { // silence, on a machine that is busy elsewhere
			continue
		}
		checker{t}.has("", map[string]shape{"reading": readShape["readings"].([]shape)[0], "advice": readShape["advice"]}, d)
		readings = append(readings, d["reading"])
	}
	assert.Equal(t, doc.Readings, readings)
}

// For a person: what is new, the cautions before anything else, and a goodbye.
func TestWatchLines(t *testing.T) {
	t.Parallel()
	code, out, msg := vibe(t, twoSpeeds(t), append([]string{"watch", "--from", "-", "--speed", "445"}, strings.Fields(demoFlags)...)...)
	require.Zero(t, code, msg)
	assert.Less(t, strings.Index(out, assess.Cautions()[0]), strings.Index(out, watchHead))
	assert.Regexp(t, `note: the dial's 445 rpm and the sensor's 4[23]\d rpm agree\n`, out)
	assert.Regexp(t, `(?m)^ +[\d.]+ s +\d+ +\d\.\d+ +calm +RAISE to \d+ rpm`, out)
	assert.Regexp(t, `(?m)^ +[\d.]+ s +\d+ +\d\.\d+ +rough +(LOWER|STOP|HOLD)`, out)
	assert.Contains(t, out, "Watched standard input: 20.0 s, ")
	assert.Less(t, strings.Count(out, "\n"), 60, "only what is new")
}

// What was seen before a row that is none was seen all the same.
func TestWatchBroken(t *testing.T) {
	t.Parallel()
	for _, flag := range []string{"--pace=max", "--json"} {
		code, out, msg := vibe(t, io.MultiReader(twoSpeeds(t), strings.NewReader("no row\n")), "watch", "--from", "-", flag)
		assert.Equal(t, 1, code)
		assert.Contains(t, msg, "1 cell where 4 belong")
		assert.Contains(t, out+msg, "standard input: 20.0 s, ")
	}
}

// Where the dial says something else than the sensor there is no raise.
func TestWatchDialDiffers(t *testing.T) {
	t.Parallel()
	for _, dial := range []string{"--speed=1200", ""} {
		args := append([]string{"watch", "--from", "-", "--json"}, strings.Fields(demoFlags)...)
		code, out, msg := vibe(t, twoSpeeds(t), append(args, strings.Fields(dial)...)...)
		require.Zero(t, code, msg)
		assert.NotContains(t, out, `"action":"raise"`)
		assert.Equal(t, dial != "", strings.Contains(msg, "the dial says 1200 rpm, the sensor 4"), msg)
	}
}

// played runs the lathe to play with until s on its clock, gives see each of its readings, and returns what is said beside them.
func played(t *testing.T, until float64, see func(said), args ...string) string {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	r, w := io.Pipe()
	var msg strings.Builder
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, append([]string{"watch", "--from", "simulated", "--pace", "max", "--json"}, args...), nil, w, &msg)
		w.Close()
	}()
	for lines := bufio.NewScanner(r); lines.Scan(); {
		var s said
		require.NoError(t, json.Unmarshal(lines.Bytes(), &s))
		if see(s); s.Reading.T > until {
			stop()
		}
	}
	assert.Zero(t, <-code, msg.String())
	return msg.String()
}

// A beginner who leaves the simulated lathe to the advice sees it raise, pass no rough
// speed, and end comfortable; an interrupt is a good end, with a goodbye.
func TestWatchSimulated(t *testing.T) {
	t.Parallel()
	var first, last said
	raises := 0
	msg := played(t, 200, func(s said) {
		if s.Reading.OK {
			assert.Less(t, *s.Reading.Shake, assess.DefaultEdges[1], s.Advice.Say)
			if last = s; first.Reading.T == 0 {
				first = s
			}
		}
		if s.Advice.Action == assess.Raise {
			raises++
		}
	})
	assert.Contains(t, msg, "simulated lathe: 20")
	assert.Positive(t, raises)
	assert.Less(t, first.Reading.T, 15.0, "a beginner waits no longer")
	assert.Greater(t, *last.Reading.Speed, 1.5**first.Reading.Speed)
}

// TestWatchStays: where the lathe to play with turns too slowly to be felt, and no key can turn it up, that is said, once.
func TestWatchStays(t *testing.T) {
	t.Parallel()
	msg := played(t, 30, func(said) {}, "--diameter", "310mm", "--lowest", "60", "--highest", "3000")
	assert.Equal(t, 1, strings.Count(msg, "note: dial: 60 rpm, and nothing sure is felt at it"), msg)
	msg = played(t, 30, func(said) {}, "--diameter", "400mm", "--balance", "burl", "--highest", "2000")
	assert.Contains(t, msg, "note: dial: 60 rpm", "where no slowest speed is known it starts at the slowest there is")
}

// Marks that cannot be learned, as what was learned before is not readable, are no failure at the end: that was said at the
// start, and the file is left alone. Mended meanwhile it takes them.
func TestMarksUntaught(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	path := filepath.Join(os.Getenv("XDG_DATA_HOME"), "vibe", "learned.json")
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
	require.NoError(t, os.WriteFile(path, []byte("[1]"), 0o600))
	_, session := watchedSession(t)
	w := &watching{session: session, real: true}
	w.in.setLimit("")
	assert.Contains(t, strings.Join(w.untaught(), " "), "stay with this session alone")
	_, ok := session.Mark(live.TooMuch)
	require.True(t, ok)
	require.NoError(t, w.teach(""))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "[1]", string(text))

	require.NoError(t, os.Remove(path))
	require.NoError(t, w.teach(""))
	f, err := loadLearned()
	require.NoError(t, err)
	assert.Len(t, f.of("", "").Marks, 1)

	require.NoError(t, os.WriteFile(path, []byte("[1]"), 0o600)) // after a start at which nothing was said
	assert.Error(t, (&watching{session: session, real: true}).teach(""))
}

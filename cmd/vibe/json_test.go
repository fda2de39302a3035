package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// vibe runs the command in this process.
func vibe(t *testing.T, stdin io.Reader, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, msg bytes.Buffer
	code = run(t.Context(), args, stdin, &out, &msg)
	return code, out.String(), msg.String()
}

// oneLine is s without what wraps and sets it out, in one line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// shape is what a value in a document must be: the name of a JSON type, with "?" where null
// stands for unknown; a map of members that must be there; or a slice holding the shape of
// each element.
type shape any

var (
	reason  = map[string]shape{"code": "string", "text": "string", "source": "string"}
	ceiling = map[string]shape{"name": "string", "rpm": "number", "text": "string", "source": "string"}

	readShape = map[string]shape{
		"recording": map[string]shape{"name": "string", "seconds": "number", "rate_hz": "number?", "axes": "number", "skipped": "number",
			"faults": []shape{"string"}, "notes": []shape{"string"}},
		"readings": []shape{map[string]shape{"t_s": "number", "span_s": "number", "ok": "bool", "speed_rpm": "number?",
			"speed_se_rpm": "number?", "shake_mm_s": "number?", "shake_se_mm_s": "number?", "travel_um": "number?",
			"total_mm_s": "number?", "feel": "string?", "cause": "string?", "faults": []shape{"string"}}},
		"map": []shape{map[string]shape{"speed_rpm": "number", "shake_mm_s": "number", "low_mm_s": "number?", "high_mm_s": "number?", "seen": "bool"}},
		"advice": map[string]shape{"action": "string", "speed_rpm": "number?", "say": "string", "reasons": []shape{reason},
			"ceilings": []shape{ceiling}, "avoid": []shape{[]shape{"number"}}},
	}
	planShape = map[string]shape{
		"window":    map[string]shape{"low_rpm": "number?", "high_rpm": "number?"},
		"start_rpm": "number?", "ceilings": []shape{ceiling}, "cautions": []shape{"string"},
		"figures": map[string]shape{"rim_speed_m_s": "number?", "energy_j": "number?", "drop_height_m": "number?", "whirl_rpm": "number?"},
	}
)

func (s checker) has(at string, want shape, got any) {
	switch want := want.(type) {
	case map[string]shape:
		members, ok := got.(map[string]any)
		if assert.True(s.t, ok, "%s is %T, want an object", at, got) {
			for name, w := range want {
				v, there := members[name]
				if assert.True(s.t, there, "%s.%s is missing", at, name) {
					s.has(at+"."+name, w, v)
				}
			}
		}
	case []shape:
		list, ok := got.([]any)
		if assert.True(s.t, ok, "%s is %T, want a list, [] when empty", at, got) {
			for i, v := range list {
				s.has(fmt.Sprintf("%s[%d]", at, i), want[0], v)
			}
		}
	case string:
		name, nullable := strings.CutSuffix(want, "?")
		if got == nil {
			assert.True(s.t, nullable, "%s is null", at)
			return
		}
		kind := map[string]string{"string": "string", "number": "float64", "bool": "bool"}[name]
		assert.Equal(s.t, kind, fmt.Sprintf("%T", got), at)
		if v, ok := got.(float64); ok && nullable {
			assert.NotZero(s.t, v, "%s is 0: unknown must be null", at)
		}
	}
}

type checker struct{ t *testing.T }

// one parses text as exactly one JSON document.
func one(t *testing.T, text string) any {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(text))
	var doc any
	require.NoError(t, d.Decode(&doc))
	_, err := d.Token()
	require.ErrorIs(t, err, io.EOF, "more than one document")
	return doc
}

func TestReadJSON(t *testing.T) {
	t.Parallel()
	code, out, msg := vibe(t, nil, "demo", "--json")
	require.Zero(t, code, msg)
	assert.Empty(t, msg)
	doc := one(t, out)
	checker{t}.has("", readShape, doc)

	end := 0.0
	for _, r := range doc.(map[string]any)["readings"].([]any) {
		r := r.(map[string]any)
		now := r["t_s"].(float64) + r["span_s"].(float64)/2
		assert.Greater(t, now, end, "the windows' ends are the clock of the advice")
		end = now
	}
	var seen []float64
	for _, p := range doc.(map[string]any)["map"].([]any) {
		if p := p.(map[string]any); p["seen"].(bool) {
			seen = append(seen, p["speed_rpm"].(float64))
		}
	}
	for _, step := range []float64{360, 430, 500, 560, 640, 740} {
		assert.True(t, slices.ContainsFunc(seen, func(n float64) bool { return math.Abs(n/step-1) < 0.01 }),
			"%g rpm of the story is not on the map: %v", step, seen)
	}
}

// What is unknown about a recording of nothing is null, and the advice is to wait.
func TestSilenceJSON(t *testing.T) {
	t.Parallel()
	var csv strings.Builder
	csv.WriteString("t_s,x_m/s2,y_m/s2,z_m/s2\n")
	for i := range 5000 {
		fmt.Fprintf(&csv, "%g,0,0,9.81\n", float64(i)/1000)
	}
	code, out, msg := vibe(t, strings.NewReader(csv.String()), "read", "-", "--json")
	require.Zero(t, code, msg)
	doc := one(t, out)
	checker{t}.has("", readShape, doc)
	for _, r := range doc.(map[string]any)["readings"].([]any) {
		reading := r.(map[string]any)
		assert.Equal(t, false, reading["ok"])
		assert.NotEmpty(t, reading["faults"])
	}
	advice := doc.(map[string]any)["advice"].(map[string]any)
	assert.Equal(t, "wait", advice["action"])
	assert.Nil(t, advice["speed_rpm"])
}

func TestPlanJSON(t *testing.T) {
	t.Parallel()
	for _, args := range []string{
		"plan --json --diameter 310mm",
		"plan --json --diameter 12in --length 4in --wood cherry --balance sawn --held chuck --lowest 250 --highest 3000",
		"plan --json --diameter 450mm --length 200mm --balance burl --lowest 850 --highest 3000",
	} {
		code, out, msg := vibe(t, nil, strings.Fields(args)...)
		require.Zero(t, code, msg)
		assert.Empty(t, msg)
		checker{t}.has("", planShape, one(t, out))
	}
}

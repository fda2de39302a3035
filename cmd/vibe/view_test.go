package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
	"vibe/sensor"
)

// lookedAt is a session of a blank of 310 mm with a page that anybody may see.
func lookedAt(t *testing.T) (*live.Session, *httptest.Server) {
	t.Helper()
	job := demoJob()
	adviser := &assess.Adviser{Lathe: job.lathe, Blank: job.blank, Task: job.task}
	s := live.New("test", adviser)
	t.Cleanup(s.End)
	server := httptest.NewServer(viewOf(s, demoJob().lathe, false).page())
	t.Cleanup(server.Close)
	return s, server
}

// hears feeds the session one block and one reading with its advice.
func hears(s *live.Session, at float64, speed assess.RPM, shake float64, a assess.Advice) {
	s.Block(sensor.Block{T: []float64{at}, Axes: [][]float64{{0}}})
	s.See(assess.Reading{T: at - 1, Span: 2, OK: true, Speed: speed, Shake: shake, Feel: assess.FeelOf(shake)}, a)
}

func TestPageSays(t *testing.T) {
	t.Parallel()
	s, server := lookedAt(t)
	for _, c := range []struct {
		body   string
		status int
		says   string
	}{
		{`{"diameter":"250 mm"}`, 200, "250 mm"},
		{`{"diameter":"10 in"}`, 200, "10 in"},
		{`{"diameter":"-3"}`, 400, ""},
		{`{"diameter":"12"}`, 400, "12"},
		{`{"task":"sanding"}`, 200, "sanding"},
		{`{"task":"juggling"}`, 400, "juggling"},
		{`{"dial":"600"}`, 200, "600"},
		{`{"mark":"mark"}`, 200, "marked"},
		{`{"mark":"comfortable"}`, 200, "no number"},
		{`{"mark":"x"}`, 400, ""},
		{`{}`, 400, ""}, {`{"diameter":"1`, 400, ""}, {`null`, 400, ""}, {`{"a":1}`, 400, ""}, {`{"task":"sanding"}{"task":"sanding"}`, 400, ""},
		{`{"diameter":"` + strings.Repeat("9", 5000) + `"}`, 400, ""},
	} {
		r, err := http.Post(server.URL+"/say", "application/json", strings.NewReader(c.body))
		require.NoError(t, err)
		var answer map[string]string
		require.NoError(t, json.NewDecoder(r.Body).Decode(&answer), c.body)
		r.Body.Close()
		assert.Equal(t, c.status, r.StatusCode, c.body)
		assert.Contains(t, answer["said"]+answer["error"], c.says, c.body)
	}
	assert.InDelta(t, 254, float64(s.Now().Blank.Diameter), 0.01)
	assert.Equal(t, assess.Sanding, s.Now().Task)
}

// TestPageIsLight: what a browser loads is below 150 kB, and nothing of it comes from elsewhere.
func TestPageIsLight(t *testing.T) {
	t.Parallel()
	_, server := lookedAt(t)
	sum := 0
	for _, f := range []string{"", "panel.css", "panel.js", "balance.js", "plots.js", "uPlot.iife.min.js", "uPlot.min.css"} {
		w := httptest.NewRecorder()
		server.Config.Handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/"+f, nil))
		require.Equal(t, http.StatusOK, w.Code, f)
		assert.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
		assert.NotContains(t, w.Body.String(), "maxlength", "half of a pasted number is another one")
		sum += w.Body.Len()
	}
	t.Logf("%d bytes", sum)
	assert.Less(t, sum, 150_000)
}

// FuzzSay: whatever a page says, the answer is in words and the session stays whole.
func FuzzSay(f *testing.F) {
	for _, s := range []string{`{"diameter":"250 mm"}`, `{"task":"sanding"}`, `{"dial":"600"}`, `{"mark":"too much"}`, `{"diameter":"1e309 mm"}`, `{`,
		`{"balance":"begin","trial":"20 g","radius":"60 mm","fastened":"screwed"}`, `{"balance":"take"}`, `{"balance":"again"}`, ``} {
		f.Add(s)
	}
	f.Setenv("XDG_DATA_HOME", f.TempDir()) // a balancing is kept
	job := demoJob()
	session := live.New("test", &assess.Adviser{Lathe: job.lathe, Blank: job.blank, Task: job.task})
	f.Cleanup(session.End)
	page := viewOf(session, job.lathe, false).page()
	f.Fuzz(func(t *testing.T, body string) {
		w := httptest.NewRecorder()
		page.ServeHTTP(w, httptest.NewRequest(http.MethodPost, "/say", strings.NewReader(body)))
		var answer map[string]string
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &answer))
		require.NotEmpty(t, answer["said"]+answer["error"])
		now := session.Now()
		require.NoError(t, now.Task.Validate())
		require.NoError(t, now.Blank.Validate(now.Task))
		_, err := viewOf(session, job.lathe, false).Show()
		require.NoError(t, err)
	})
}

// The page says one thing at a time, and knows two ways to hold a mass.
func TestPageRefuses(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	s := live.New("test", &assess.Adviser{Lathe: assess.Lathe{Low: 200, High: 3000}, Task: assess.Roughing})
	defer s.End()
	for _, play := range []bool{false, true} {
		v := viewOf(s, assess.Lathe{}, play)
		_, err := v.Say(panel.Said{Diameter: "290mm", Task: "sanding"})
		assert.ErrorContains(t, err, "none was taken. say one after the other")
		assert.Zero(t, s.Now().Blank.Diameter)
		_, err = v.Say(panel.Said{Balance: "begin", Trial: "20g", Radius: "90mm", Fastened: "glued"})
		assert.ErrorContains(t, err, "screwed or taped")
	}
}

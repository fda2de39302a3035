package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The command itself: it says where its page is, the page shows what the lathe does and hears what is said, and
// another site's page does neither.
func TestWatchPanel(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	msgRead, msg := io.Pipe()
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"watch", "--from", "simulated", "--panel", "--json", "--no-keep", "--pace", "8"}, nil, io.Discard, msg)
		msg.Close()
	}()
	home, words := "", bufio.NewScanner(msgRead)
	for home == "" && words.Scan() {
		home = regexp.MustCompile(`http://127\.0\.0\.1:\d+`).FindString(words.Text())
	}
	require.NotEmpty(t, home)
	go io.Copy(io.Discard, msgRead)

	r, err := http.Get(home + "/events")
	require.NoError(t, err)
	defer r.Body.Close()
	var doc struct {
		Shows  map[string]string
		Advice struct{ Action string }
		Play   bool
	}
	events := bufio.NewScanner(r.Body)
	events.Buffer(nil, 1<<20)
	for doc.Shows["feel"] != "calm" && events.Scan() {
		if text, ok := strings.CutPrefix(events.Text(), "data: "); ok {
			require.NoError(t, json.Unmarshal([]byte(text), &doc))
		}
	}
	assert.Regexp(t, `^\d+$`, doc.Shows["speed"])
	assert.NotEmpty(t, doc.Shows["caution"])
	assert.NotEmpty(t, doc.Advice.Action)
	assert.True(t, doc.Play)

	say := func(origin, body string) (int, string) {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, home+"/say", strings.NewReader(body))
		require.NoError(t, err)
		r.Header.Set("Origin", origin)
		answer, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return answer.StatusCode, string(text)
	}
	status, _ := say("http://evil.test", `{"diameter":"20 mm"}`)
	assert.Equal(t, http.StatusForbidden, status)
	status, text := say(home, `{"diameter":"140 mm"}`)
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, text, "140 mm")
	_, text = say(home, `{"balance":"begin"}`)
	assert.Contains(t, text, "begun")
	_, text = say(home, `{"balance":"take"}`)
	assert.Contains(t, text, "kept")
	for _, part := range []string{"/", "/spectrum", "/balance"} {
		answer, err := http.Get(home + part)
		require.NoError(t, err)
		answer.Body.Close()
		assert.Equal(t, http.StatusOK, answer.StatusCode, part)
		assert.Contains(t, answer.Header.Get("Content-Security-Policy"), "default-src 'none'", part)
	}
	stop()
	assert.Zero(t, <-code)
}

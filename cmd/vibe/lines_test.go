package main

import (
	"bufio"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// TestNotesAreHarmless: what a board says steers no terminal, shown or piped.
func TestNotesAreHarmless(t *testing.T) {
	t.Parallel()
	for _, asJSON := range []bool{true, false} {
		var out strings.Builder
		l := &lines{asJSON: asJSON, out: &out, msg: &out}
		l.note("the board says: stuck\x1b[2J\u009b")
		assert.Equal(t, "note: the board says: stuck\n", out.String())
	}
}

// TestSilenceInJSON: a program hears that data stopped on standard output, as a line without a reading.
func TestSilenceInJSON(t *testing.T) {
	t.Parallel()
	job := demoJob()
	s := live.New("test", &assess.Adviser{Lathe: job.lathe, Blank: job.blank, Task: job.task})
	r, w := io.Pipe()
	defer r.Close()
	l := &lines{session: s, asJSON: true, out: w, msg: io.Discard}
	go func() {
		defer w.Close()
		_ = l.see(assess.Reading{T: 1, Span: 2, OK: true, Speed: 600}, assess.Advice{Action: assess.Raise, Speed: 690, Say: "Raise to 690 rpm."})
		l.tellSilence() // after live.StaleAfter, in real time
	}()
	said := bufio.NewScanner(r)
	require.True(t, said.Scan())
	require.True(t, said.Scan())
	s.End()
	var last struct {
		Reading *struct{} `json:"reading"`
		Advice  struct {
			Action string `json:"action"`
		} `json:"advice"`
	}
	require.NoError(t, json.Unmarshal(said.Bytes(), &last))
	assert.Nil(t, last.Reading)
	assert.Equal(t, "wait", last.Advice.Action)
}

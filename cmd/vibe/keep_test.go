package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stamped is a recording of 600 rpm whose times are dates, or only seconds.
func stamped(dates bool) *bytes.Buffer {
	var out bytes.Buffer
	fmt.Fprintln(&out, "time,x_m/s2")
	began := time.Date(2024, 3, 30, 9, 15, 0, 0, time.UTC)
	for i := range 4000 {
		at := fmt.Sprint(float64(i) / 400)
		if dates {
			at = began.Add(time.Duration(i) * time.Second / 400).Format(time.RFC3339Nano)
		}
		fmt.Fprintf(&out, "%s,%.4f\n", at, math.Sin(2*math.Pi*float64(i)/40))
	}
	return &out
}

// A session has the date at which its samples were taken, where the recording says it, and
// is never said to have begun when it was only kept.
func TestKeptDate(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.sqlite")
	for _, dates := range []bool{true, false} {
		code, _, msg := vibe(t, stamped(dates), "read", "-", "--keep", "--unit", "m/s2", "--shop", path)
		assert.Zero(t, code, msg)
	}
	_, out, _ := vibe(t, nil, "log", "list", "--until", "2024-03-30", "--shop", path)
	assert.Regexp(t, `(?m)^ +1  2024-03-30`, out)
	assert.NotRegexp(t, `(?m)^ +2  `, out)
	_, out, _ = vibe(t, nil, "log", "show", "1", "--shop", path)
	assert.Contains(t, out, "began 2024-03-30")
	_, out, _ = vibe(t, nil, "log", "show", "2", "--shop", path)
	assert.Contains(t, out, "  kept "+time.Now().Format("2006-"))
	assert.Contains(t, out, "does not say when it was taken")
	file := filepath.Join(t.TempDir(), "stamped.csv")
	require.NoError(t, os.WriteFile(file, stamped(true).Bytes(), 0o600))
	for i, from := range [][]string{{"-"}, {file, "--pace", "1000"}} { // watched, it is no other
		code, _, msg := vibe(t, stamped(true), append([]string{"watch", "--unit", "m/s2", "--shop", path, "--from"}, from...)...)
		assert.Zero(t, code, msg)
		_, out, _ = vibe(t, nil, "log", "show", fmt.Sprint(3+i), "--shop", path)
		assert.Contains(t, out, "began 2024-03-30", from[0])
	}
	_, out, _ = vibe(t, nil, "log", "check", "--shop", path)
	assert.Contains(t, out, "all is well")
}

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A guided balancing goes on where it was after a call that was ended in the middle of a
// run, and ends at the secret of the simulated blank.
func TestBalanceResumes(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	step := func(ctx context.Context, args ...string) (int, string, string) {
		var out, msg bytes.Buffer
		code := run(ctx, append([]string{"balance"}, args...), strings.NewReader(""), &out, &msg)
		return code, out.String(), msg.String()
	}
	code, _, msg := step(t.Context(), "--from", "simulated")
	require.Zero(t, code, msg)
	file := filepath.Join(os.Getenv("XDG_DATA_HOME"), "vibe", "balance.json")
	kept, err := os.ReadFile(file)
	require.NoError(t, err)
	dead, cancel := context.WithCancel(t.Context())
	cancel()
	code, out, _ := step(dead, "--from", "simulated")
	assert.Equal(t, 1, code)
	assert.Empty(t, out)
	after, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(kept), string(after))
	code, out, msg = step(t.Context(), "--from", "simulated,simulated,simulated", "--json")
	require.Zero(t, code, msg)
	var doc struct {
		Heavy  float64 `json:"heavy_deg"`
		Within float64 `json:"within_deg"`
		Amount float64 `json:"imbalance_g_mm"`
		Runs   []any   `json:"runs"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	assert.Len(t, doc.Runs, 4)
	s, err := loadBalance()
	require.NoError(t, err)
	truth := s.secret()
	assert.LessOrEqual(t, math.Abs(math.Remainder(doc.Heavy-math.Atan2(imag(truth), real(truth))*180/math.Pi, 360)), max(12, 1.5*doc.Within))
	assert.InEpsilon(t, math.Hypot(real(truth), imag(truth)), doc.Amount, 0.2)
}

package recordings_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// sums is what a program of others says of an exported recording.
type sums struct {
	N     int
	Rate  float64
	Sums  []float64
	Last  []float64
	Times float64
}

const reader = `
import sys, json
import numpy as np
from scipy.io import wavfile
csv = np.loadtxt(sys.argv[1], delimiter=",", skiprows=1)
rate, wav = wavfile.read(sys.argv[2])
bits = wav.dtype.itemsize * 8
wav = wav.astype(float) / 2.0 ** (bits - 1) * float(sys.argv[3])
print(json.dumps([
  {"N": len(csv), "Rate": 0, "Times": csv[:, 0].sum(), "Sums": list(csv[:, 1:].sum(axis=0)), "Last": list(csv[-1, 1:])},
  {"N": len(wav), "Rate": rate, "Times": 0, "Sums": list(wav.sum(axis=0)), "Last": list(wav[-1])}]))
`

// TestSciPyReadsExports opens what is exported with programs that nobody here has written.
func TestSciPyReadsExports(t *testing.T) {
	t.Parallel()
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import scipy.io").Run(); err != nil {
		cannot(t, "SciPy is not there (apt install python3-scipy): %v", err)
	}
	s := newShop(t)
	k, first := keep(t, s, turning(6, board))
	folder := t.TempDir()
	csv, err := os.Create(filepath.Join(folder, "a.csv"))
	require.NoError(t, err)
	require.NoError(t, sensor.WriteCSV(csv, k))
	require.NoError(t, csv.Close())
	wav, err := os.Create(filepath.Join(folder, "a.wav"))
	require.NoError(t, err)
	wave, err := k.WriteWAV(wav)
	require.NoError(t, err)
	require.NoError(t, wav.Close())

	cmd := exec.Command(python, "-c", reader, csv.Name(), wav.Name(), fmt.Sprint(wave.FullScale))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	var got [2]sums
	require.NoError(t, json.Unmarshal(out, &got))
	all := joined(first.blocks)
	assert.InDelta(t, 800, got[1].Rate, 0)
	for i, g := range got {
		assert.Equal(t, len(all.T), g.N)
		for a, axis := range all.Axes {
			total := 0.0
			for _, v := range axis {
				total += v
			}
			assert.InDelta(t, total, g.Sums[a], 1e-6, "reader %d, axis %d", i, a)
			assert.Equal(t, axis[len(axis)-1], g.Last[a], "reader %d, axis %d: the last sample, bit for bit", i, a)
		}
	}
	times := 0.0
	for _, v := range all.T {
		times += v
	}
	assert.InDelta(t, times, got[0].Times, 1e-6)
}

// The tables of the file say what they hold to SQLite's own shell, also while it is written.
func TestShellReadsShop(t *testing.T) {
	t.Parallel()
	shell, err := exec.LookPath("sqlite3")
	if err != nil {
		cannot(t, "the sqlite3 shell is not there (apt install sqlite3)")
	}
	path := filepath.Join(t.TempDir(), "shop")
	k, first := keep(t, shopAt(t, path), turning(6, board))
	ask := func(query string) string {
		cmd := exec.Command(shell, "-readonly", "-noheader", path, query)
		var msg bytes.Buffer
		cmd.Stderr = &msg
		out, err := cmd.Output()
		require.NoError(t, err, "%s", msg.String())
		return strings.TrimSpace(string(out))
	}
	assert.Equal(t, "ok", ask("PRAGMA integrity_check"))
	assert.Contains(t, ask(".schema reading"), "-- once per turn, rms, in the worst direction")
	assert.Equal(t, fmt.Sprint(len(first.readings)), ask("SELECT count(*) FROM reading WHERE session = 1"))
	last := first.readings[len(first.readings)-1]
	assert.Equal(t, fmt.Sprintf("%.9f|%.9f|%s", float64(last.Speed), last.Shake, last.Feel),
		ask("SELECT printf('%.9f', speed_rpm), printf('%.9f', shake_mm_s), feel FROM reading ORDER BY n DESC LIMIT 1"))
	said, err := k.Advices(1) // of those that differ in numbers alone not each is kept
	require.NoError(t, err)
	assert.Equal(t, said[0].Advice.Say, ask("SELECT say FROM advice ORDER BY n DESC LIMIT 1"))
	assert.Equal(t, "cherry bowl|150", ask("SELECT label, json_extract(setup, '$.blank.diameter_mm') FROM session"))
	assert.Equal(t, fmt.Sprint(len(joined(first.blocks).T)), ask("SELECT sum(samples) FROM chunk"))
}

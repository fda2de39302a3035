package recordings

import (
	"database/sql"
	"errors"
	"io"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// A file of an older schema is brought forward with all that is in it, in one go or not at
// all; one of a newer schema is left alone.
func TestMigrate(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop")
	s, err := Open(path)
	require.NoError(t, err)
	w, err := s.Begin(Setup{Label: "old"})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.NoError(t, s.Close())

	_, err = open(path, "mode=rw", append(steps, "ALTER TABLE session ADD COLUMN extra TEXT", "no SQL"))
	require.Error(t, err)
	s, err = Open(path)
	require.NoError(t, err)
	assert.Equal(t, len(steps), version(t, s.db), "a step that fails leaves the schema as it was")
	require.NoError(t, s.Close())

	s, err = open(path, "mode=rw", append(steps, "ALTER TABLE session ADD COLUMN extra TEXT"))
	require.ErrorIs(t, err, ErrNewer, "readable knows the published steps alone")
	require.Nil(t, s)
	_, err = Open(path)
	assert.ErrorIs(t, err, ErrNewer)
	_, err = View(path)
	assert.ErrorIs(t, err, ErrNewer)
	db, err := connect(path, "mode=ro")
	require.NoError(t, err)
	defer db.Close()
	assert.Equal(t, len(steps)+1, version(t, db))
	var setup string
	require.NoError(t, db.QueryRow("SELECT setup FROM session WHERE extra IS NULL").Scan(&setup))
	assert.Contains(t, setup, `"label":"old"`)
}

func version(t *testing.T, db *sql.DB) (v int) {
	require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&v))
	return v
}

// Every connection waits for the disk at each commit: what was committed stays.
func TestSynchronous(t *testing.T) {
	t.Parallel()
	s, err := Open(filepath.Join(t.TempDir(), "shop"))
	require.NoError(t, err)
	defer s.Close()
	var mode string
	var level int
	require.NoError(t, s.db.QueryRow("PRAGMA journal_mode").Scan(&mode))
	require.NoError(t, s.db.QueryRow("PRAGMA synchronous").Scan(&level))
	assert.Equal(t, "wal", mode)
	assert.Equal(t, 2, level, "FULL")
}

// TestMissingBesideSilence: of a sensor that was silent for a minute a second is missing, not what the minute makes of one part on average.
func TestMissingBesideSilence(t *testing.T) {
	t.Parallel()
	s, err := Open(filepath.Join(t.TempDir(), "shop.vibe"))
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	w, err := s.Begin(Setup{Source: "test"})
	require.NoError(t, err)
	for i := range 2000 {
		at := float64(i) / 100
		if i >= 1500 {
			at += 60
		}
		require.NoError(t, w.Append(sensor.Block{T: []float64{at}, Axes: [][]float64{{float64(i)}}}))
	}
	require.NoError(t, w.Close())
	_, err = s.db.Exec("DELETE FROM chunk WHERE id = ?", chunkID(w.Number(), 4))
	require.NoError(t, err)
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	var said []string
	for {
		b, err := k.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		said = append(said, b.Notes...)
	}
	assert.Equal(t, []string{"about 1.0 s of this session are missing from the shop file here"}, said)
}

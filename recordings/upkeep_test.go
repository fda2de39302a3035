package recordings_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/recordings"
)

// Two writers on one file, in turns, lose nothing of each other.
func TestTwoWriters(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop")
	var writers []*recordings.Writer
	for range 2 {
		w, err := shopAt(t, path).Begin(setup())
		require.NoError(t, err)
		writers = append(writers, w)
	}
	for i := range 40 {
		for _, w := range writers {
			require.NoError(t, w.Append(quarter(i)))
		}
	}
	s := shopAt(t, path)
	for _, w := range writers {
		require.NoError(t, w.Close())
		assert.InDelta(t, 10, kept(t, s, w.Number()), 0.01)
	}
}

func TestPrune(t *testing.T) {
	t.Parallel()
	path := filled(t, 3, 80)
	s := shopAt(t, path)
	before, err := os.Stat(path)
	require.NoError(t, err)
	assert.ErrorIs(t, s.Prune(2, 9), recordings.ErrNoSession)
	assert.InDelta(t, 20, kept(t, s, 2), 0.01, "all or none")

	k, err := s.Session(2)
	require.NoError(t, err)
	size, err := k.Size()
	require.NoError(t, err)
	assert.Greater(t, size, int64(50_000))
	require.NoError(t, s.Prune(2, 3))
	_, err = s.Session(2)
	assert.ErrorIs(t, err, recordings.ErrNoSession)
	assert.InDelta(t, 20, kept(t, s, 1), 0.01)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	assert.EqualValues(t, 4, w.Number(), "a number is never used again")
	require.NoError(t, w.Append(quarter(0)))
	assert.ErrorIs(t, s.Prune(1, 4), recordings.ErrRunning)
	assert.InDelta(t, 20, kept(t, s, 1), 0.01, "all or none")
	require.NoError(t, w.Discard())
	_, err = s.Session(4)
	assert.ErrorIs(t, err, recordings.ErrNoSession)
	assert.NoError(t, w.Close(), "again")
	after, err := os.Stat(path)
	require.NoError(t, err)
	assert.Less(t, after.Size(), before.Size()-2*size*9/10, "the disk has its room again")
}

// From a file that is damaged anywhere nothing is removed, whatever session is named, and in a small one no session is begun.
func TestPruneDamaged(t *testing.T) {
	t.Parallel()
	path := filled(t, 3, 240)
	spoilt, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := range 20_000 { // in the first session
		spoilt[len(spoilt)/6+i] = 0xaa
	}
	require.NoError(t, os.WriteFile(path, spoilt, 0o644))
	s, err := recordings.Open(path)
	require.NoError(t, err)
	assert.ErrorIs(t, s.Prune(3), recordings.ErrDamaged)
	_, err = s.Begin(setup())
	assert.ErrorIs(t, err, recordings.ErrDamaged)
	assert.InDelta(t, 60, kept(t, s, 3), 0.01)
	require.NoError(t, s.Close())
	now, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.True(t, string(now) == string(spoilt), "the damaged file was written to")
}

// Of several backups to one new file at the same time one is made, and the others say so.
func TestBackupsAtOnce(t *testing.T) {
	t.Parallel()
	s := shopAt(t, filled(t, 1, 40))
	to := filepath.Join(t.TempDir(), "copy")
	done := make(chan error)
	const backups = 4
	for range backups {
		go func() {
			_, err := s.Backup(to)
			done <- err
		}()
	}
	made := 0
	for range backups {
		if err := <-done; err == nil {
			made++
		} else {
			assert.ErrorIs(t, err, fs.ErrExist)
		}
	}
	assert.Equal(t, 1, made)
}

// A backup taken while a session is written holds that session so far, and is a shop file.
func TestBackup(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	for i := range 40 {
		require.NoError(t, w.Append(quarter(i)))
	}
	to := filepath.Join(t.TempDir(), "copy")
	missing, err := s.Backup(to)
	require.NoError(t, err)
	assert.Empty(t, missing)
	_, err = s.Backup(to)
	assert.ErrorIs(t, err, os.ErrExist)
	_, err = s.Backup(filepath.Join(t.TempDir(), "no folder", "copy"))
	assert.Error(t, err)
	entries, err := os.ReadDir(filepath.Dir(to))
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing else is left behind")
	require.NoError(t, w.Close())
	b := shopAt(t, to)
	assert.InDelta(t, 10, kept(t, b, 1), 1.5)
	w, err = b.Begin(setup())
	require.NoError(t, err)
	assert.EqualValues(t, 2, w.Number())
	require.NoError(t, w.Close())
}

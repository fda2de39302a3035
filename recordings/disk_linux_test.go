package recordings_test

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/recordings"
	"vibe/sensor"
)

// cannot skips a test that this machine cannot run; where all must run it fails.
func cannot(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("VIBE_CI") != "" {
		require.Failf(t, "cannot run here", format, args...)
	}
	t.Skipf(format, args...)
}

// smallDisk is a folder that holds 1 MiB.
func smallDisk(t *testing.T) string {
	t.Helper()
	disk := filepath.Join(t.TempDir(), "disk")
	require.NoError(t, os.Mkdir(disk, 0o755))
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=1m"); err != nil {
		cannot(t, "a small disk needs root: mount: %v", err)
	}
	// A child that another test has just forked holds what is open here until it runs its own program.
	t.Cleanup(func() {
		gone := func() bool { return syscall.Unmount(disk, 0) == nil }
		assert.Eventually(t, gone, 10*time.Second, time.Millisecond, "something on the small disk was left open")
	})
	return disk
}

// On a disk that is full Append says so, and goes on taking samples. When there is room
// again nothing is missing; when there never is, what was written before can be read.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t)
	ballast := filepath.Join(disk, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 400_000), 0o644))
	spare := filepath.Join(disk, "spare")
	require.NoError(t, os.WriteFile(spare, make([]byte, 100_000), 0o644))

	s, err := recordings.Open(filepath.Join(disk, "shop"))
	require.NoError(t, err)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	i, full := 0, -1
	for ; full < 0 || i < full+40; i++ {
		if err := w.Append(quarter(i)); err != nil {
			require.ErrorIs(t, err, recordings.ErrFull)
			if full < 0 {
				full = i
			}
		}
	}
	before := kept(t, s, w.Number())
	assert.InDelta(t, 0.25*float64(full), before, mayBeLost, "up to the full disk all is kept")

	require.NoError(t, os.Remove(ballast))
	for range 8 {
		require.NoError(t, w.Append(quarter(i)))
		i++
	}
	require.NoError(t, w.Close())
	assert.InDelta(t, 0.25*float64(i), kept(t, s, w.Number()), 0.01, "with room again all is kept")

	w, err = s.Begin(setup())
	require.NoError(t, err)
	for i, err = 0, nil; err == nil; i++ {
		err = w.Append(quarter(i))
	}
	require.ErrorIs(t, err, recordings.ErrFull)
	assert.ErrorIs(t, w.Close(), recordings.ErrFull)
	assert.InDelta(t, 0.25*float64(i), kept(t, s, w.Number()), mayBeLost)
	assert.Empty(t, troubles(t, s))

	// To remove takes a little room, but not as much as to make the file anew.
	require.ErrorIs(t, s.Prune(1), recordings.ErrFull)
	require.NoError(t, os.Remove(spare))
	require.NoError(t, s.Prune(1))
	_, err = s.Session(1)
	require.ErrorIs(t, err, recordings.ErrNoSession)
	assert.InDelta(t, 0.25*float64(i), kept(t, s, w.Number()), mayBeLost)
	assert.Empty(t, troubles(t, s))
	assert.NoError(t, s.Close())
}

// A disk that is full for longer than what is held costs samples, each of which is counted once.
func TestDiskFullForLong(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t)
	s, err := recordings.Open(filepath.Join(disk, "shop"))
	require.NoError(t, err)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	const rate = 20
	at := 0
	second := func() error {
		b := sensor.Block{Axes: make([][]float64, 1)}
		for range rate + 1 {
			b.T, b.Axes[0] = append(b.T, float64(at)/rate), append(b.Axes[0], float64(at%7))
			at++
		}
		return w.Append(b)
	}
	for range 10 {
		require.NoError(t, second())
	}
	ballast := filepath.Join(disk, "ballast")
	_ = os.WriteFile(ballast, make([]byte, 1<<20), 0o644) // as much of it as goes
	for range 660 {
		err = second()
	}
	require.ErrorIs(t, err, recordings.ErrFull)
	require.NoError(t, os.Remove(ballast))
	for range 10 {
		require.NoError(t, second())
	}
	require.NoError(t, w.Close())

	k, err := s.Session(w.Number())
	require.NoError(t, err)
	got := joined(drain(t, k))
	lost := at - len(got.T)
	assert.Greater(t, lost, 20*rate)
	assert.InDelta(t, lost, got.Lost, 0.1*float64(lost), "about, and not twice")
	assert.Equal(t, len(got.T), k.Summary.Samples)
	assert.Equal(t, lost, k.Summary.Lost)
	assert.InDelta(t, rate, k.Summary.Rate(), 0.01)
	require.Len(t, troubles(t, s), 1)
	require.NoError(t, s.Close())
}

// Where SQLite undoes by itself what does not fit, that there is nothing left to undo is no second error.
func TestDiskFullUndone(t *testing.T) {
	t.Parallel()
	s, err := recordings.Open(filepath.Join(smallDisk(t), "shop"))
	require.NoError(t, err)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 1))
	const rate = 50_000 // more in a second than SQLite holds in memory
	for second := range 8 {
		b := sensor.Block{Axes: make([][]float64, 1)}
		for range rate {
			b.T, b.Axes[0] = append(b.T, float64(second)+float64(len(b.T))/rate), append(b.Axes[0], r.NormFloat64())
		}
		err = w.Append(b)
	}
	require.ErrorIs(t, err, recordings.ErrFull)
	assert.NotContains(t, err.Error(), "rollback")
	require.ErrorIs(t, w.Close(), recordings.ErrFull)
	require.NoError(t, s.Close())
}

// What could not be written waits, samples or not, until all of it is: else the turner is told that
// it is kept again while it is not.
func TestDiskFullWaiting(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t)
	ballast := filepath.Join(disk, "ballast")
	synctest.Test(t, func(t *testing.T) {
		s, err := recordings.Open(filepath.Join(disk, "shop"))
		require.NoError(t, err)
		w, err := s.Begin(setup())
		require.NoError(t, err)
		tenth := func(i int) sensor.Block {
			time.Sleep(100 * time.Millisecond)
			return sensor.Block{T: []float64{float64(i) / 10}, Axes: [][]float64{{1}}}
		}
		require.NoError(t, w.Append(tenth(0)))
		assert.False(t, w.Waiting())
		_ = os.WriteFile(ballast, make([]byte, 1<<20), 0o644) // as much of it as goes
		failed := false
		for i := 1; i < 30; i++ {
			if err := w.Append(tenth(i)); err != nil {
				require.ErrorIs(t, err, recordings.ErrFull)
				failed = true
			}
			assert.Equal(t, failed, w.Waiting(), i)
		}
		require.NoError(t, os.Remove(ballast))
		for i := 30; i < 50; i++ {
			require.NoError(t, w.Append(tenth(i)))
		}
		assert.False(t, w.Waiting())
		require.NoError(t, w.Close())
		k, err := s.Session(w.Number())
		require.NoError(t, err)
		assert.Len(t, joined(drain(t, k)).T, 50)
		require.NoError(t, s.Close())
	})
}

// A date that comes while the disk is full is kept when there is room.
func TestDiskFullDated(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t)
	s, err := recordings.Open(filepath.Join(disk, "shop"))
	require.NoError(t, err)
	w, err := s.Begin(recordings.Setup{Undated: true})
	require.NoError(t, err)
	ballast := filepath.Join(disk, "ballast")
	_ = os.WriteFile(ballast, make([]byte, 1<<20), 0o644) // as much of it as goes
	began := time.Date(2024, 3, 30, 12, 0, 0, 0, time.UTC)
	w.Dated(began)
	for i := range 8 {
		_ = w.Append(quarter(i)) // until it was tried
	}
	require.True(t, w.Waiting())
	require.NoError(t, os.Remove(ballast))
	require.NoError(t, w.Close())
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	assert.Equal(t, began, k.Setup.Started)
	assert.False(t, k.Setup.Undated)
	all, err := s.Sessions(recordings.Filter{Until: began.Add(time.Hour)})
	require.NoError(t, err)
	assert.Len(t, all, 1)
	require.NoError(t, s.Close())
}

// TestReadOnly runs itself as a user who may not write: root may do everything.
func TestReadOnly(t *testing.T) {
	t.Parallel()
	if path := os.Getenv("VIBE_TEST_READ"); path != "" {
		_, err := recordings.Open(path)
		assert.ErrorIs(t, err, recordings.ErrReadOnly)
		s, err := recordings.View(path)
		require.NoError(t, err)
		assert.NotZero(t, kept(t, s, 1))
		assert.Empty(t, troubles(t, s))
		_, err = s.Begin(setup())
		assert.ErrorIs(t, err, recordings.ErrReadOnly)
		require.NoError(t, s.Close())
		return
	}
	if os.Getuid() != 0 {
		cannot(t, "another user can be become by root alone")
	}
	folder, err := os.MkdirTemp("", "vibe-read-only-")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(folder)) })
	data, err := os.ReadFile(filled(t, 1, 8))
	require.NoError(t, err)
	path := filepath.Join(folder, "shop")
	require.NoError(t, os.WriteFile(path, data, 0o444))
	program := filepath.Join(folder, "program")
	data, err = os.ReadFile(os.Args[0])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(program, data, 0o555))
	require.NoError(t, os.Chmod(folder, 0o555))
	cmd := exec.Command(program, "-test.run=^TestReadOnly$")
	cmd.Dir = folder
	cmd.Env = append(os.Environ(), "VIBE_TEST_READ="+path)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	out, err := cmd.CombinedOutput()
	assert.NoError(t, err, "%s", out)
}

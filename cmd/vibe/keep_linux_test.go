package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// smallDisk returns a place for a shop file on a disk that soon is full.
func smallDisk(t *testing.T) string {
	disk := filepath.Join(t.TempDir(), "disk")
	require.NoError(t, os.Mkdir(disk, 0o755))
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=160k"); err != nil {
		if os.Getenv("VIBE_CI") != "" {
			require.NoError(t, err)
		}
		t.Skipf("a small disk needs root: mount: %v", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(disk, 0)) })
	return filepath.Join(disk, "shop.sqlite")
}

// On a full disk the watching says so and goes on to its end; what was kept can be read.
func TestWatchDiskFull(t *testing.T) {
	t.Parallel()
	path := smallDisk(t)
	args := append([]string{"watch", "--from", "-", "--json", "--shop", path}, strings.Fields(demoFlags)...)
	code, out, msg := vibe(t, twoSpeeds(t), args...)
	assert.Equal(t, 1, code)
	assert.Greater(t, strings.Count(out, "\n"), 60, "the watching goes on")
	assert.Equal(t, 1, strings.Count(msg, "cannot be kept just now: the disk is full"), msg)
	assert.Contains(t, msg, "hint: make room")
	assert.Contains(t, msg, "session 1 is kept up to where the trouble began")
	code, out, msg = vibe(t, nil, "read", "1", "--shop", path)
	assert.Zero(t, code, msg)
	assert.Contains(t, out, "rpm")
	code, out, msg = vibe(t, nil, "log", "check", "--shop", path)
	assert.Zero(t, code, msg)
	assert.Contains(t, out, "all is well")
}

// A recording that cannot be kept whole is read all the same; what was kept of it is marked.
func TestReadDiskFull(t *testing.T) {
	t.Parallel()
	path := smallDisk(t)
	code, out, msg := vibe(t, twoSpeeds(t), "read", "-", "--keep", "--shop", path)
	assert.Equal(t, 1, code)
	assert.Contains(t, out, "What the lathe did")
	assert.Contains(t, msg, "session 1 is kept up to where the trouble began")
	assert.Contains(t, msg, "the disk is full")
	_, out, _ = vibe(t, nil, "log", "--shop", path)
	assert.Regexp(t, ` s… standard input `, out)
	assert.Contains(t, out, "… not ended in order")
	code, _, msg = vibe(t, nil, "log", "prune", "1", "--yes", "--shop", path)
	assert.Equal(t, 1, code)
	assert.Contains(t, msg, "being written, or was broken off just now")
	code, out, _ = vibe(t, nil, "log", "prune", "--before", "2999-01-01", "--shop", path)
	assert.Zero(t, code)
	assert.Contains(t, out, "Session 1 stays")
}

// A backup to a full disk is no trouble of the shop, and taking sessions out of that is no way out.
func TestBackupDiskFull(t *testing.T) {
	t.Parallel()
	small := smallDisk(t)
	other := filepath.Join(filepath.Dir(small), "other")
	require.NoError(t, os.WriteFile(other, make([]byte, 120_000), 0o600))
	shop := filepath.Join(t.TempDir(), "shop.sqlite")
	code, _, msg := vibe(t, twoSpeeds(t), "read", "-", "--keep", "--shop", shop)
	require.Zero(t, code, msg)
	code, _, msg = vibe(t, nil, "log", "backup", small, "--shop", shop)
	assert.Equal(t, 1, code)
	assert.Contains(t, msg, "backup "+small+": the disk is full")
	assert.Contains(t, msg, "hint: make room there")
	assert.NotContains(t, msg, "prune")
	left, err := os.ReadDir(filepath.Dir(small))
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing is left behind")
}

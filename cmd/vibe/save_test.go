package main

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A file that cannot be written whole leaves nothing, and is called by the name that was said.
func TestSaveNamesTheFile(t *testing.T) {
	t.Parallel()
	name := filepath.Join(t.TempDir(), "x.csv")
	err := saveNew(name, func(w io.Writer) error {
		return &fs.PathError{Op: "write", Path: w.(*os.File).Name(), Err: syscall.ENOSPC}
	})
	assert.EqualError(t, err, "write "+name+": "+syscall.ENOSPC.Error())
	assert.ErrorIs(t, err, syscall.ENOSPC)
	left, err := os.ReadDir(filepath.Dir(name))
	require.NoError(t, err)
	assert.Empty(t, left)
}

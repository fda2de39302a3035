package main

import (
	"io"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// then does something, and is at its end.
type then func()

func (do then) Read([]byte) (int, error) {
	do()
	return 0, io.EOF
}

// A sitting takes long: what is marked meanwhile, at the lathe for instance, is not lost.
func TestHandMeanwhile(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	mark := then(func() {
		code, _, msg := vibe(t, nil, "learn", "mark", "too-much", "--shake", "3")
		require.Zero(t, code, msg)
	})
	answers := iotest.OneByteReader(io.MultiReader(strings.NewReader("calm\n"), mark, strings.NewReader("rough\n")))
	code, out, msg := vibe(t, answers, "learn", "hand", "--sounds", filepath.Join(t.TempDir(), "sounds"), "--rounds", "2")
	require.Zero(t, code, msg)
	assert.Contains(t, out, "of 2", "both guesses count")
	f, err := loadLearned()
	require.NoError(t, err)
	l := f.of("", "")
	assert.Len(t, l.Guesses, 2)
	assert.Len(t, l.Marks, 1)
}

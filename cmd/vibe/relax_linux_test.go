package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// A program that relaxes starts again as itself, once, with the slack from its first thread on.
func TestRelax(t *testing.T) {
	if os.Getenv("VIBE_RELAX") != "" {
		fmt.Println("begins")
		relax()
		slack, err := unix.PrctlRetInt(unix.PR_GET_TIMERSLACK, 0, 0, 0, 0)
		fmt.Println("relaxed", os.Getpid(), slack, err, os.Args[len(os.Args)-1])
		return
	}
	t.Parallel()
	child := exec.Command(os.Args[0], "-test.run=^TestRelax$", "as it was")
	child.Env = append(os.Environ(), "VIBE_RELAX=1")
	out, err := child.Output()
	require.NoError(t, err)
	assert.Equal(t, 2, strings.Count(string(out), "begins"))
	assert.Equal(t, 1, strings.Count(string(out), "relaxed"))
	assert.Contains(t, string(out), fmt.Sprintf("relaxed %d 1000000 <nil> as it was\n", child.Process.Pid))
}

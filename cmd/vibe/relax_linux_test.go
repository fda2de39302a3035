package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// A program that relaxes starts again as itself, once, with the slack from its first thread on.
func TestRelax(t *testing.T) {
	if how := os.Getenv("VIBE_RELAX"); how != "" {
		fmt.Println("begins")
		if how == "realtime" {
			runtime.LockOSThread()
			if err := unix.SchedSetAttr(0, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: 1}, 0); err != nil {
				fmt.Println("may not")
				return
			}
		}
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

// Where the kernel takes no slack, as for a program that runs in real time, it starts again once
// all the same, and not forever.
func TestRelaxInVain(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	child := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestRelax$")
	child.Env = append(os.Environ(), "VIBE_RELAX=realtime")
	out, err := child.Output()
	if strings.Contains(string(out), "may not") {
		t.Skip("only root may run in real time")
	}
	require.NoError(t, err)
	assert.LessOrEqual(t, strings.Count(string(out), "begins"), 2)
	assert.Equal(t, 1, strings.Count(string(out), "relaxed"))
}

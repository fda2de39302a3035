package main

import (
	"os"
	"runtime"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// relax lets the kernel wake this program up to a millisecond late, together with something else
// that is due then. That is for the thread with which Go's runtime watches over the others: it
// naps for 20 µs at a time while anything runs, which cost as much as the work itself. A thread
// has the timer slack of the one that made it (prctl(2), PR_SET_TIMERSLACK) and this one is there
// before main, so the program puts itself in its own place, once. Where that cannot be, nothing
// is lost but the saving.
func relax() {
	const slack, once = time.Millisecond, "VIBE_RELAXED"
	if os.Getenv(once) != "" { // a kernel may say yes and do nothing, as it does in real time
		return
	}
	runtime.LockOSThread() // the slack is a thread's
	defer runtime.UnlockOSThread()
	now, err := unix.PrctlRetInt(unix.PR_GET_TIMERSLACK, 0, 0, 0, 0)
	if err != nil || time.Duration(now) >= slack {
		return
	}
	if unix.Prctl(unix.PR_SET_TIMERSLACK, uintptr(slack), 0, 0, 0) == nil {
		_ = syscall.Exec("/proc/self/exe", os.Args, append(os.Environ(), once+"=1")) // returns only where it cannot be
	}
}

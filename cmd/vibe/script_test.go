package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// clean is a run of the tests with a data folder of its own: what this user has kept and
// taught is no business of theirs.
type clean struct {
	tests  *testing.M
	folder string
}

// Run implements testscript.TestingM.
func (c clean) Run() int {
	defer os.RemoveAll(c.folder)
	return c.tests.Run()
}

func TestMain(m *testing.M) {
	c := clean{tests: m}
	if filepath.Base(os.Args[0]) != "vibe" { // not a script's command
		var err error
		if c.folder, err = os.MkdirTemp("", "vibe-test-*"); err != nil {
			panic(err)
		}
		os.Setenv("XDG_DATA_HOME", c.folder)
	}
	testscript.Main(c, map[string]func(){"vibe": func() {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}})
}

// TestScripts runs the command as a user does: one script per concern, refusals first.
func TestScripts(t *testing.T) {
	t.Parallel()
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("XDG_DATA_HOME", env.Getenv("WORK")+"/data")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"refused": refused},
	})
}

// refused runs `refused CODE vibe …` and holds what every refusal must keep: that exit
// code, one line "vibe: …" and one "hint: …" on standard error, nothing on standard output.
func refused(ts *testscript.TestScript, neg bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	code := 0
	if exit := new(exec.ExitError); errors.As(err, &exit) {
		code = exit.ExitCode()
	}
	out, msg := ts.ReadFile("stdout"), ts.ReadFile("stderr")
	lines := strings.Split(strings.TrimRight(msg, "\n"), "\n")
	switch {
	case neg || code != want:
		ts.Fatalf("exit %d, want %d\n%s", code, want, msg)
	case out != "":
		ts.Fatalf("refused, but printed:\n%s", out)
	case !strings.HasPrefix(lines[0], "vibe: ") || strings.Count(msg, "vibe: ") != 1:
		ts.Fatalf("want one line vibe: …\n%s", msg)
	case len(lines) != 2 || !strings.HasPrefix(lines[1], "hint: "):
		ts.Fatalf("want one line hint: …\n%s", msg)
	}
}

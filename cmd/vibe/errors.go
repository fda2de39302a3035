package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// The rules of what the command says when it cannot go on:
//
//   - One line "vibe: what and where", lower case, no full stop, on standard error.
//   - Then one line "hint: what to try".
//   - Exit 2 when the command line was wrong, 1 when the world was.

// hinted is an error that knows what to try next.
type hinted struct {
	err  error
	hint string
}

func (e *hinted) Error() string { return e.err.Error() }
func (e *hinted) Unwrap() error { return e.err }

// Hint is what errors of other packages have too that know what to try.
func (e *hinted) Hint() string { return e.hint }

func hintf(hint, format string, args ...any) error {
	return &hinted{fmt.Errorf(format, args...), hint}
}

// usage marks an error as a wrong command line.
type usage struct{ error }

func (e usage) Unwrap() error { return e.error }

// hintOf returns the innermost hint of err, or what helps against such a failure of the
// machine.
func hintOf(err error) string {
	hint := ""
	for e := err; e != nil; e = errors.Unwrap(e) {
		if h, ok := e.(interface{ Hint() string }); ok {
			hint = cmp.Or(h.Hint(), hint)
		}
	}
	switch {
	case hint != "":
		return hint
	case errors.Is(err, fs.ErrPermission):
		return "see who may read or write there (ls -l), or copy it to a folder of your own"
	case errors.Is(err, syscall.ENOSPC):
		return "make room there, or write to another place"
	}
	return "see whether the file, its disk and its cable are well, and try again"
}

// flagError turns what pflag says into a usage error in plain words.
func flagError(cmd *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var missing *pflag.ValueRequiredError
	switch {
	case errors.As(err, &invalid) && invalid.GetFlag().Value.Type() == "bool":
		name := invalid.GetFlag().Name
		return usage{hintf("write --"+name+" alone, or leave it out", "--%s is a yes or no, not %q", name, invalid.GetValue())}
	case errors.As(err, &invalid):
		return usage{fmt.Errorf("--%s: %w", invalid.GetFlag().Name, invalid.Unwrap())}
	case errors.As(err, &unknown):
		return usage{unknownFlag(cmd, unknown)}
	case errors.As(err, &missing):
		return usage{hintf("see "+cmd.CommandPath()+" --help", "--%s needs a value", missing.GetFlag().Name)}
	}
	return usage{hintf("see "+cmd.CommandPath()+" --help", "%w", err)}
}

func unknownFlag(cmd *cobra.Command, err *pflag.NotExistError) error {
	hint := "see " + cmd.CommandPath() + " --help"
	dashes, name := "--", err.GetSpecifiedName()
	if letters := err.GetSpecifiedShortnames(); letters != "" {
		dashes, name = "-", letters
	}
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	if _, err := os.Stat(dashes + name); err == nil {
		hint = "did you mean the file " + shellWord(dashes+name) + "?"
	} else if near := nearest(name, names); near != "" {
		hint = "did you mean --" + near + "?"
	} else if near := nearest(name, sources); near != "" && slices.Contains(names, "from") {
		hint = "did you mean --from " + near + "?"
	}
	return hintf(hint, "there is no flag %s%s", dashes, name)
}

// Command vibe tells a woodturner which spindle speed to go to next, and why, from an
// accelerometer clamped to the lathe's headstock.
//
// Each subcommand has its file; loop.go is the way of the data. This package holds the
// command line and what the terminal shows. What a number means is not decided here:
// that is dsp (the line) and assess (the words and the advice).
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"vibe/sensor"
)

func main() {
	if len(os.Args) > 1 && os.Args[1] == "watch" {
		relax()
		if os.Getenv("GOMAXPROCS") == "" {
			runtime.GOMAXPROCS(1) // it waits nearly all the time, and waking a second one costs more than it gives
		}
	} else if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(200) // an hour's file is read in 3 % less time, in 46 MB for 37
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole command: it returns the exit code, 0 done, 1 failed, 2 wrong usage.
// Cancelling ctx ends the work as a failure.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	if ctx.Err() != nil && (errors.Is(err, sensor.ErrClosed) || errors.Is(err, context.Canceled)) {
		err = hintf("start it again when you like", "interrupted, nothing was written")
	}
	fmt.Fprint(stderr, harmless(fmt.Sprintf("vibe: %v\nhint: %s\n", err, hintOf(err))))
	if errors.As(err, new(usage)) {
		return 2
	}
	return 1
}

const welcome = `vibe tells a woodturner which spindle speed to go to next, and why.
An accelerometer (a phone, or a small board) clamped to the lathe's headstock
feels how hard the blank throws once per turn; vibe puts that into numbers and
advice.

Try first:
  vibe demo
      the whole job on a built-in recording: no hardware, nothing to set up
  vibe plan --diameter 310mm --length 120mm --balance rough --held chuck
      before mounting: where to start, how fast at most, and why
  vibe watch --from simulated
      live, at a lathe to play with; --from serial is a board on yours
  vibe read FILE --diameter 310mm --length 120mm
      a recording of yours: what the lathe did, and which speed to go to
  vibe balance --from simulated
      which side of a blank is heavy: a lopsided one to play with
  vibe log
      what was kept: every session at the lathe, to find, compare and print

All commands: vibe --help     One of them: vibe read --help
`

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:           "vibe",
		Short:         "which spindle speed to go to next, and why",
		Long:          "vibe tells a woodturner which spindle speed to go to next, and why, from an\naccelerometer clamped to the lathe's headstock.",
		Version:       versionLine(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := io.WriteString(cmd.OutOrStdout(), welcome)
			return err
		},
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetVersionTemplate("{{.Version}}")
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", ".FlagUsagesWrapped 80"))
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(newDemo(), newPlan(), newRead(), newWatch(), newLog(), newLathe(), newBalance(), newLearn(), newVersion())
	return root
}

// knownCommand refuses a word that is no command, with the one that was meant.
func knownCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	hint := cmd.CommandPath() + " --help lists the commands"
	var names []string
	for _, c := range cmd.Commands() {
		names = append(names, c.Name())
	}
	if near := nearest(args[0], names); near != "" {
		hint = "did you mean " + cmd.CommandPath() + " " + near + "?"
	} else if _, err := os.Stat(args[0]); err == nil {
		hint = "to read a recording: vibe read " + args[0]
	}
	return usage{hintf(hint, "there is no command %q", args[0])}
}

// takes refuses any other number of arguments than the names given, and says which is
// missing or too much.
func takes(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		hint := cmd.CommandPath() + " --help shows how"
		switch {
		case len(args) < len(names):
			return usage{hintf(hint, "%s needs a %s", cmd.Name(), names[len(args)])}
		case len(args) > len(names):
			if _, err := lengthKind.parse(args[len(names)]); err == nil && cmd.Flags().Lookup("diameter") != nil {
				hint = "a size is said as --diameter " + args[len(names)]
			} else if cmd.Flags().Lookup("from") != nil {
				hint = "did you mean --from " + shellWord(args[len(names)]) + "?"
			}
			return usage{hintf(hint, "%s has no place for %q", cmd.Name(), args[len(names)])}
		}
		return nil
	}
}

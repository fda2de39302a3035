package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"vibe/recordings"
)

func newLogCheck(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "read everything in the shop file, and say what is missing",
		Args:  takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			found, err := shop.Check()
			if err != nil {
				return file.explain(err)
			}
			all, err := shop.Sessions(recordings.Filter{})
			if err != nil {
				return file.explain(err)
			}
			p := newPage(cmd.OutOrStdout())
			for _, t := range found {
				where := "the file: "
				if t.Session > 0 {
					where = fmt.Sprintf("session %d: ", t.Session)
				}
				p.wrap("", where+t.Text)
			}
			if len(found) == 0 {
				p.line("%s: all is well, %s.", shop.Path(), plural(len(all), "session", "sessions"))
			}
			if err := p.flush(cmd.OutOrStdout()); err != nil {
				return err
			}
			if len(found) > 0 {
				return hintf("vibe log backup FILE saves what can still be read into a sound file; then go on with that", "%s is damaged", shop.Path())
			}
			return nil
		},
	}
}

func newLogBackup(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "a copy of the whole shop, also while it is written to",
		Args:  takes("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			err = shop.Backup(args[0])
			switch {
			case errors.Is(err, fs.ErrExist):
				return hintf("choose another name", "%s is there already", args[0])
			case err != nil:
				return file.explain(err)
			}
			p := newPage(cmd.OutOrStdout())
			p.wrap("", fmt.Sprintf("%s holds the whole shop. Keep it on another disk. To look into it: vibe log --shop %s", args[0], args[0]))
			return p.flush(cmd.OutOrStdout())
		},
	}
}

func newLogPrune(file *shopFile) *cobra.Command {
	var before time.Time
	var sure bool
	cmd := &cobra.Command{
		Use:   "prune [N ...] [--before DAY]",
		Short: "remove sessions for good; without --yes it only shows which",
		Args:  cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 && before.IsZero() {
				return usage{hintf("vibe log prune 12 13, or vibe log prune --before 2025-01-01", "nothing was chosen to be removed")}
			}
			chosen, size, err := chosenForPruning(file, args, before)
			if err != nil {
				return err
			}
			p := newPage(cmd.OutOrStdout())
			if len(chosen) == 0 {
				p.line("No such session.")
				return p.flush(cmd.OutOrStdout())
			}
			p.sessions(chosen)
			p.line("%s, %.1f MB of samples.", plural(len(chosen), "session", "sessions"), float64(size)/1e6)
			if !sure {
				p.line("Nothing was removed. To remove them for good, say it again with --yes.")
				return p.flush(cmd.OutOrStdout())
			}
			shop, err := file.open()
			if err != nil {
				return err
			}
			var numbers []int64
			for _, k := range chosen {
				numbers = append(numbers, k.Number)
			}
			if err := cmp.Or(shop.Prune(numbers...), shop.Close()); err != nil {
				return file.explain(err)
			}
			p.line("Removed.")
			return p.flush(cmd.OutOrStdout())
		},
	}
	cmd.Flags().SortFlags = false
	cmd.Flags().Var(day(&before, 0), "before", "those that began before this day")
	cmd.Flags().BoolVar(&sure, "yes", false, "remove them, do not only show them")
	return cmd
}

// chosenForPruning returns the sessions of those numbers and those before that day, and the
// bytes of their samples.
func chosenForPruning(file *shopFile, args []string, before time.Time) (chosen []*recordings.Session, size int64, err error) {
	shop, err := file.view()
	if err != nil {
		return nil, 0, err
	}
	defer shop.Close()
	var numbers []int64
	for _, a := range args {
		k, err := file.session(shop, a)
		if err != nil {
			return nil, 0, err
		}
		numbers = append(numbers, k.Number)
	}
	all, err := shop.Sessions(recordings.Filter{})
	if err != nil {
		return nil, 0, file.explain(err)
	}
	for _, k := range all {
		if slices.Contains(numbers, k.Number) || k.Setup.Started.Before(before) {
			n, err := k.Size()
			if err != nil {
				return nil, 0, file.explain(err)
			}
			chosen, size = append(chosen, k), size+n
		}
	}
	return chosen, size, nil
}

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
			p := newPage(cmd.OutOrStdout())
			if len(found) > 0 {
				p.troubles(found)
				err := hintf("vibe log backup FILE saves what can still be read into a sound file; then go on with that", "%s is damaged", shop.Path())
				if !slices.ContainsFunc(found, func(t recordings.Trouble) bool { return t.Session == 0 }) {
					err = hintf("the file itself is sound: go on with it; an older backup may have what is missing", "of what was kept in %s, some is missing", shop.Path())
				}
				return cmp.Or(p.flush(cmd.OutOrStdout()), err)
			}
			all, err := shop.Sessions(recordings.Filter{})
			if err != nil {
				return file.explain(err)
			}
			p.line("%s: all is well, %s.", shop.Path(), plural(len(all), "session", "sessions"))
			return p.flush(cmd.OutOrStdout())
		},
	}
}

func (p *page) troubles(found []recordings.Trouble) {
	for _, t := range found {
		where := "the file: "
		if t.Session > 0 {
			where = fmt.Sprintf("session %d: ", t.Session)
		}
		p.wrap("", where+t.Text)
	}
}

func newLogBackup(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "a copy of the whole shop, also while it is written to",
		Args:  takes("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if args[0] == "-" || args[0] == "" {
				return usage{hintf("name a new file, such as shop-copy.sqlite", "a backup goes into a file")}
			}
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			missing, err := shop.Backup(args[0])
			switch {
			case errors.Is(err, fs.ErrExist):
				return hintf("choose another name", "%s is there already", args[0])
			case errors.Is(err, fs.ErrNotExist):
				return noPlace(args[0])
			case errors.Is(err, recordings.ErrFull): // its disk, not the shop's
				return hintf("make room there, or name a place on another disk", "backup %s: %w", args[0], err)
			case err != nil:
				return file.explain(err)
			}
			p := newPage(cmd.OutOrStdout())
			if len(missing) > 0 {
				p.troubles(missing)
				p.wrap("", args[0]+" holds what could still be read, and not the whole shop. Compare:")
				p.line("  vibe log --shop %s", shellWord(args[0])) // in one line, to be pasted
				return cmp.Or(p.flush(cmd.OutOrStdout()), hintf("go on with the copy, by --shop, or with an older backup if that has more", "%s is damaged", shop.Path()))
			}
			p.wrap("", args[0]+" holds the whole shop, as it is. Keep it on another disk. To look into it:")
			p.line("  vibe log --shop %s", shellWord(args[0]))
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
			chosen, spared, size, err := chosenForPruning(file, args, before)
			if err != nil {
				return err
			}
			p := newPage(cmd.OutOrStdout())
			for _, k := range spared {
				p.line("Session %d stays: %v.", k.Number, recordings.ErrRunning)
			}
			if len(chosen) == 0 {
				p.line("There is nothing to remove.")
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

// chosenForPruning returns the sessions of those numbers and those before that day, the
// newest first, and the bytes of their samples. Those that run are spared, but refused
// where they were named.
func chosenForPruning(file *shopFile, args []string, before time.Time) (chosen, spared []*recordings.Session, size int64, err error) {
	shop, err := file.view()
	if err != nil {
		return nil, nil, 0, err
	}
	defer shop.Close()
	for _, a := range args {
		k, err := file.session(shop, a)
		if err == nil && k.Running() {
			err = file.explain(fmt.Errorf("session %d stays: %w", k.Number, recordings.ErrRunning))
		}
		if err != nil {
			return nil, nil, 0, err
		}
		chosen = append(chosen, k)
	}
	all, err := shop.Sessions(recordings.Filter{Until: before})
	if err != nil {
		return nil, nil, 0, file.explain(err)
	}
	for _, k := range all {
		switch {
		case before.IsZero():
		case k.Running():
			spared = append(spared, k)
		default:
			chosen = append(chosen, k)
		}
	}
	slices.SortFunc(chosen, func(a, b *recordings.Session) int { return cmp.Compare(b.Number, a.Number) })
	chosen = slices.CompactFunc(chosen, func(a, b *recordings.Session) bool { return a.Number == b.Number })
	for _, k := range chosen {
		n, err := k.Size()
		if err != nil {
			return nil, nil, 0, file.explain(err)
		}
		size += n
	}
	return chosen, spared, size, nil
}

package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/sensor"
)

func newLathe() *cobra.Command {
	var file shopFile
	cmd := &cobra.Command{
		Use:   "lathe",
		Short: "the lathes of this shop: their speeds, and their own shake",
		Long: `Lists the lathes of this shop. Once one is kept here, --lathe NAME says all
that is known of it: its speeds, its mass, and how it shakes with nothing
mounted.`,
		Example: `  vibe lathe add mini --steps 500,800,1250,1800 --lathe-mass 35kg
  vibe lathe baseline mini empty.csv`,
		Args: knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return listLathes(cmd, file) },
	}
	file.flag(cmd.PersistentFlags())
	cmd.AddCommand(newLatheAdd(&file), newLatheBaseline(&file), newLatheRemove(&file))
	return cmd
}

func listLathes(cmd *cobra.Command, file shopFile) error {
	shop, err := file.view()
	if err != nil {
		return err
	}
	defer shop.Close()
	all, err := shop.Lathes()
	if err != nil {
		return file.explain(err)
	}
	p := newPage(cmd.OutOrStdout())
	if len(all) == 0 {
		p.line("No lathe is kept yet: vibe lathe add NAME --lowest 250 --highest 3000")
	}
	for _, l := range all {
		p.wrap("", latheText(l))
		points, number, err := shop.Baseline(l.Name, 0)
		if err != nil {
			return file.explain(err)
		}
		if number == 0 {
			p.wrap("  ", "its own shake is not known: vibe lathe baseline "+shellWord(l.Name)+" FILE, a recording with nothing mounted")
			continue
		}
		p.wrap("  ", fmt.Sprintf("nothing mounted: session %d, %s; vibe log trend --lathe %s", number, plural(len(points), "speed", "speeds"), shellWord(l.Name)))
	}
	return p.flush(cmd.OutOrStdout())
}

func newLatheAdd(file *shopFile) *cobra.Command {
	var l assess.Lathe
	cmd := &cobra.Command{
		Use:   "add NAME",
		Short: "keep what is known of a lathe, or something more of it",
		Long: `Keeps what is known of a lathe under a name. For a lathe that is kept already,
what is said now wins, and what is not said stays. vibe lathe remove forgets it.`,
		Args: takes("NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			l.Name = strings.TrimSpace(args[0])
			if err := checkRange(l); err != nil {
				return err
			}
			shop, err := file.open()
			if err != nil {
				return err
			}
			defer shop.Close()
			known, kept, err := shop.Lathe(l.Name)
			if kept {
				if len(l.Steps) == 0 && !stepsAgree(l, known.Steps) {
					return usage{hintf("say its steps anew with --steps; if it has none any more, vibe lathe remove "+shellWord(known.Name)+" first", "%s has steps from %v to %v, --lowest and --highest say another range", known.Name, slices.Min(known.Steps), slices.Max(known.Steps))}
				}
				l = over(l, known)
			}
			if err := cmp.Or(err, shop.SaveLathe(l)); err != nil {
				return file.explain(inputError(err))
			}
			p := newPage(cmd.OutOrStdout())
			p.wrap("", "Kept: "+latheText(l)+". From now on --lathe "+shellWord(l.Name)+" says so.")
			return p.flush(cmd.OutOrStdout())
		},
	}
	cmd.Flags().SortFlags = false
	latheFlags(cmd.Flags(), &l)
	return cmd
}

func newLatheRemove(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "remove NAME",
		Short: "forget a lathe; its sessions stay",
		Args:  takes("NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := file.open()
			if err != nil {
				return err
			}
			defer shop.Close()
			switch there, err := shop.RemoveLathe(args[0]); {
			case err != nil:
				return file.explain(err)
			case !there:
				return hintf("vibe lathe lists them", "no lathe %s is kept", args[0])
			}
			p := newPage(cmd.OutOrStdout())
			p.line("Removed: %s. Its sessions stay in vibe log.", args[0])
			return p.flush(cmd.OutOrStdout())
		},
	}
}

// tooMuchForEmpty asks whether a run was one with nothing mounted.
func tooMuchForEmpty(all []stretch, session int64) []string {
	most := 0.0
	for _, s := range all {
		if s.ok {
			most = max(most, s.most.Shake)
		}
	}
	if most < assess.DefaultEdges[0] {
		return nil
	}
	return []string{fmt.Sprintf("up to %s is much for a lathe with nothing mounted: was something? Then take it out again (vibe log prune %d --yes), for the blank's shake will be taken for the lathe's", assess.ShakeText(most), session)}
}

// doubts asks what may be wrong with a kept run of the lathe alone.
func (in input) doubts(ctx context.Context, all []stretch) ([]string, error) {
	asked, err := in.beyond(ctx, all)
	return append(asked, tooMuchForEmpty(all, in.session.to.Number())...), err
}

// beyond asks whether the lathe's range is right where the kept run, read with no word of it, turns outside of it: a multiple of a slower
// spindle may have been taken for the turn. The dial's word settles that.
func (in input) beyond(ctx context.Context, within []stretch) ([]string, error) {
	low, high := in.job.lathe.Range()
	if in.dial > 0 || low == 0 && high == 0 {
		return nil, nil
	}
	number := in.session.to.Number()
	src, err := in.job.shop.source(number, sensor.Options{})
	if err != nil {
		return nil, err
	}
	r, err := input{src: src, name: in.name}.follow(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range within {
		for _, as := range r.stretches {
			outside := as.fast < low || high > 0 && as.slow > high
			if s.ok && outside && as.guess() != "–" && as.from < s.to && as.to > s.from {
				return []string{fmt.Sprintf("what is %.0f rpm on a lathe that turns %s may be %s rpm: what did the dial show? If the lathe turns slower or faster than that, say so (vibe lathe add), take this run out (vibe log prune %d --yes) and keep it anew",
					float64(s.most.Speed), latheText(assess.Lathe{Low: low, High: high}), strings.TrimSuffix(as.guess(), "?"), number)}, nil
			}
		}
	}
	return nil, nil
}

func newLatheBaseline(file *shopFile) *cobra.Command {
	var opts sensor.Options
	var dial assess.RPM
	cmd := &cobra.Command{
		Use:   "baseline NAME FILE",
		Short: "keep how a lathe shakes with nothing mounted",
		Long: `Keeps a recording of the lathe with nothing mounted, run at each of its speeds
for ten seconds. Later advice tells the lathe's own shake from the blank's by
it, and vibe log trend how it changes over the months.`,
		Args: takes("NAME", "FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			j := job{lathe: assess.Lathe{Name: args[0]}, shop: *file}
			if err := cmp.Or(j.pick(), j.turns(dial)); err != nil {
				return err
			}
			src, err := open(cmd, args[1], opts)
			if err != nil {
				return err
			}
			in := input{src: src, name: nameOf(args[1]), job: j, dial: dial, progress: meterOn(cmd.ErrOrStderr())}
			setup := in.setup()
			setup.Empty, setup.Undated = true, true
			if in.session, err = file.keep(setup); err != nil {
				return cmp.Or(err, src.Close())
			}
			r, err := in.follow(cmd.Context())
			if err != nil {
				return cmp.Or(err, in.session.drop())
			}
			if !slices.ContainsFunc(r.stretches, func(s stretch) bool { return s.ok }) {
				return cmp.Or(in.session.drop(), hintf(fmt.Sprintf("vibe read %s --lathe %s says why", shellWord(args[1]), shellWord(j.lathe.Name)),
					"%s has no reading that may be used, and was not kept", in.name))
			}
			kept, err := in.session.close()
			if err != nil {
				return err
			}
			p := newPage(cmd.OutOrStdout())
			p.overTime(r.stretches, r.band)
			p.line("")
			p.wrap("", "The lathe's own shake, "+kept)
			err = p.flush(cmd.OutOrStdout())
			doubts, unread := in.doubts(cmd.Context(), r.stretches)
			say(cmd.ErrOrStderr(), slices.Concat(r.doc.Recording.Notes, j.meant(dial), doubts))
			return cmp.Or(err, unread)
		},
	}
	cmd.Flags().SortFlags = false
	cmd.Flags().Var(amount(speedKind, &dial), "speed", "that the dial says, for a recording at one speed")
	recordingFlags(cmd.Flags(), &opts)
	return cmd
}

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
)

func newPlan() *cobra.Command {
	var j job
	var asJSON, asCard bool
	var to string
	cmd := &cobra.Command{
		Use:   "plan --diameter 310mm",
		Short: "before mounting: where to start, how fast at most, and why",
		Long: `Says, before a blank is mounted, which speed to switch on at, how fast it may
ever go, which rule sets that limit, and what energy would be turning. The more
you tell it, the less it has to assume the worst.`,
		Example: `  vibe plan --diameter 310mm --length 120mm --balance rough --held faceplate
  vibe plan --diameter 12in --wood cherry --lowest 250 --highest 3000
  vibe plan --card --lowest 250 --highest 3000 --to card.svg`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := j.check(); err != nil {
				return err
			}
			switch {
			case asCard:
				return j.card(cmd, to)
			case cmd.Flags().Changed("to"):
				return usage{hintf("vibe plan --card --to "+to+" does", "--to writes a speed card alone")}
			}
			plan, err := assess.MakePlan(j.lathe, j.blank, j.task)
			if err != nil {
				return inputError(err)
			}
			err = answer(cmd, asJSON, plan, func(p *page) { p.plan(plan) })
			say(cmd.ErrOrStderr(), j.notes())
			return err
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	j.flags(fs)
	fs.BoolVar(&asJSON, "json", false, "one JSON document on standard output, no text")
	fs.BoolVar(&asCard, "card", false, "a speed card of the lathe instead, for the wall")
	fs.StringVar(&to, "to", "", "write the card as a drawing (SVG) into this new `FILE`")
	return cmd
}

// card prints the speed card of the lathe, or draws it into the file to. A flag that it has
// no use for is refused.
func (j *job) card(cmd *cobra.Command, to string) error {
	var idle []string
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if !slices.Contains([]string{"card", "to", "lowest", "highest", "steps", "chuck-max", "lathe-mass", "lathe", "shop"}, f.Name) {
			idle = append(idle, "--"+f.Name)
		}
	})
	if len(idle) > 0 {
		return usage{hintf("leave it out, or leave --card out for a plan", "a card is about the lathe alone and has no use for %s", strings.Join(idle, ", "))}
	}
	card, err := assess.MakeCard(j.lathe)
	switch {
	case err != nil:
		return inputError(err)
	case !cmd.Flags().Changed("to"):
		p := newPage(cmd.OutOrStdout())
		p.line("%s\n", card.Text())
		p.list(card.Notes())
		p.cautions(assess.Cautions())
		return p.flush(cmd.OutOrStdout())
	}
	if err := named(to, ".svg"); err != nil {
		return err
	}
	if err := saveNew(to, func(w io.Writer) error { _, err := io.WriteString(w, card.SVG()); return err }); err != nil {
		return err
	}
	return writeHarmless(cmd.OutOrStdout(), "%s holds the card, as a drawing to print\n", to)
}

// mph is a mile an hour in m/s, exact: 1609.344 m over 3600 s (the yard agreement of 1959).
const mph = 0.44704

// plan writes what is to be known before mounting, the speed to start at first.
func (p *page) plan(plan assess.Plan) {
	p.wrap("", p.paint(bold, plan.Say))
	if plan.More != "" {
		p.wrap("", plan.More)
	}
	p.ceilings(plan.Ceilings)
	if f := plan.Figures; plan.Window.High > 0 {
		p.head(fmt.Sprintf("What %v means, the fastest this blank may go", plan.Window.High))
		p.figure(f.RimSpeed > 0, "rim speed %.1f m/s (%.0f km/h, %.0f mph)", f.RimSpeed, f.RimSpeed*3.6, f.RimSpeed/mph)
		p.figure(f.Energy > 0, "energy of the turning blank %s J; 10 %% slower saves %s J of it", rounded(f.Energy), rounded(f.Slower))
		p.figure(f.Drop > 0, "a piece that leaves the rim hits like one dropped from %s m", rounded(f.Drop))
		p.figure(f.Whirl > 0, "a blank this long begins to whip at about %.0f rpm", float64(f.Whirl))
	}
	if len(plan.Assumed) > 0 {
		p.head("Not told, so the worst was assumed")
		p.list(plan.Assumed)
	}
	p.cautions(plan.Cautions)
	if p.scrolled() {
		p.line("")
		p.wrap("", p.paint(bold, plan.Say))
	}
}

// rounded is v to two digits, or to all before the point: a small one is not 0.
func rounded(v float64) string {
	switch {
	case v >= 10:
		return fmt.Sprintf("%.0f", v)
	case v < 0.01:
		return "less than 0.01"
	}
	return fmt.Sprintf("%.2g", v)
}

// figure writes one line, or none when the number is not known.
func (p *page) figure(known bool, format string, args ...any) {
	if known {
		p.wrap("  - ", fmt.Sprintf(format, args...))
	}
}

// answer writes doc as JSON, or else the page.
func answer(cmd *cobra.Command, asJSON bool, doc any, write func(*page)) error {
	if asJSON {
		return writeJSON(cmd.OutOrStdout(), doc)
	}
	p := newPage(cmd.OutOrStdout())
	write(p)
	return p.flush(cmd.OutOrStdout())
}

// writeJSON writes v as one line.
func writeJSON(out io.Writer, v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = out.Write(append(text, '\n'))
	return err
}

// say tells notes where they disturb no document; below the page, whose first line is the
// advice.
func say(stderr io.Writer, notes []string) {
	p := newPage(stderr)
	for _, n := range notes {
		p.wrap("note: ", n)
	}
	_ = p.flush(stderr) // there is nowhere else to say it
}

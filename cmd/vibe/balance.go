package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/sensor"
)

// balancing is what `vibe balance` was told.
type balancing struct {
	job      job
	opts     sensor.Options
	shakes   []float64 // mm/s, typed
	trial    float64   // kg
	radius   assess.MM
	angles   []float64 // degrees
	speed    assess.RPM
	fastened assess.Fastening
	check    float64 // mm/s, with the fix on
	from     []string
	again    bool
	afresh   bool
	played   bool // it is the simulated blank
	asJSON   bool
}

func newBalance() *cobra.Command {
	var b balancing
	cmd := &cobra.Command{
		Use:   "balance",
		Short: "which side of the blank is heavy, and what to do about it",
		Long: `Finds the heavy side of a blank from how hard it shakes: once as it is, then
with a small known mass at three marked places, all at one low speed. No phase,
no marks on the spindle: the sensor on the headstock is enough.

Guided, one call a run; it remembers where it was, and a run that fails costs
no other:
  vibe balance --trial 20g --radius 90mm ...   before the first run
  vibe balance --from run.csv                  after each run, or
  vibe balance --from 12,13,14,15              kept sessions, or
  vibe balance --from serial:PORT              while it turns
  vibe balance                                 what comes next
Or all at once from numbers you have: --runs, the first one without the mass.

Angles are counted clockwise from a pencil mark, as seen from the tailstock.`,
		Example: `  vibe balance --runs 4.8,3.1,6.0,6.6 --trial 50g --radius 100mm
  vibe balance --trial 20g --radius 90mm --fastened screwed --diameter 310mm
  vibe balance --from simulated`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := b.job.check(); err != nil {
				return err
			}
			if cmd.Flags().Changed("runs") {
				return b.typed(cmd)
			}
			return b.guided(cmd)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	b.flags(fs)
	return cmd
}

func (b *balancing) flags(fs *pflag.FlagSet) {
	fs.Var(list("mm/s", func(s string) error {
		v, err := parseNumber(s)
		if err == nil && !(v > 0) {
			err = fmt.Errorf("a shake of %g mm/s cannot be", v)
		}
		if err != nil {
			return hintf("the shakes in mm/s, the run without the mass first: 4.8,3.1,6.0,6.6", "%w", err)
		}
		b.shakes = append(b.shakes, v)
		return nil
	}), "runs", "shakes in mm/s, first without the mass: 4.8,3.1,6.0,6.6")
	fs.Var(amount(massKind, &b.trial), "trial", "the mass to put on, weighed: 20g, 1oz")
	fs.Var(amount(lengthKind, &b.radius), "radius", "from the axis to the middle of that mass: 90mm")
	fs.Var(list("degrees", func(s string) error {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v >= 0 && v <= 360) {
			return hintf("degrees from the mark, 0 to 360: 0,120,240", "%q is no angle", s)
		}
		b.angles = append(b.angles, v)
		return nil
	}), "angles", "its places, in degrees from the mark (0,120,240)")
	fs.Var(word(&b.fastened, assess.Screwed, assess.Taped), "fastened", "how it is held: screwed, or taped with tape all round")
	fs.Var(amount(speedKind, &b.speed), "speed", "of all the runs; without it a safe one is named")
	fs.Var(amount(shakeKind, &b.check), "check", "with --runs: the shake with the fix put on")
	fs.Var(list("FILE", func(s string) error {
		b.from = append(b.from, s)
		return nil
	}), "from", "the next run: a recording or the number of a kept session, several with commas, a board as serial:PORT, or simulated")
	fs.BoolVar(&b.again, "again", false, "forget the newest run, to make it again")
	fs.BoolVar(&b.afresh, "new", false, "forget the balancing under way, and begin another")
	b.job.flags(fs)
	recordingFlags(fs, &b.opts)
	fs.BoolVar(&b.asJSON, "json", false, "one JSON document on standard output, no text")
}

// typed answers from amplitudes on the command line.
func (b *balancing) typed(cmd *cobra.Command) error {
	for _, f := range []string{"from", "again", "new"} {
		if cmd.Flags().Changed(f) {
			return usage{hintf("leave one of them out", "--runs and --%s do not go together", f)}
		}
	}
	if err := b.needs(); err != nil {
		return err
	}
	angles, err := b.places(len(b.shakes) - 1)
	if err != nil {
		return err
	}
	in := assess.Balancing{Lathe: b.job.lathe, Blank: b.job.blank, Task: b.job.task, Fastened: b.fastened}
	for i, shake := range b.shakes {
		r := assess.Run{Shake: shake, Speed: b.speed}
		if i > 0 {
			r.Mass, r.Radius, r.Angle = 1000*b.trial, b.radius, angles[i-1]
		}
		in.Runs = append(in.Runs, r)
	}
	heavy, err := in.Solve()
	if err != nil {
		return inputError(err)
	}
	if b.check > 0 {
		if !heavy.Known {
			return hintf("leave --check out; there was no fix to check", "these runs name no fix")
		}
		in.Runs = append(in.Runs, assess.Run{Mass: heavy.Fix.Grams, Radius: heavy.Fix.Radius, Angle: heavy.Fix.Angle, Shake: b.check, Speed: b.speed})
		if heavy, err = in.Solve(); err != nil {
			return inputError(err)
		}
	}
	err = b.show(cmd.OutOrStdout(), heavy, in, nil)
	say(cmd.ErrOrStderr(), append(b.job.notes(), b.daring()...))
	return err
}

// daring says of typed runs that they should not have been made so fast.
func (b *balancing) daring() []string {
	var out []string
	if b.speed == 0 {
		return out
	}
	if err := b.fastened.Refuse(assess.Mass{Grams: 1000 * b.trial, Radius: b.radius}, b.speed); err != nil {
		out = append(out, "do not make such a run again: "+err.Error())
	}
	if b.job.blank.Diameter > 0 {
		if top := assess.Ceilings(b.job.lathe, b.job.blank, b.job.task)[0]; b.speed > top.RPM {
			out = append(out, fmt.Sprintf("do not make such a run again: %v is above the %.0f rpm that this blank allows (%s)", b.speed, float64(top.RPM), top.Name))
		}
	}
	return out
}

// needs refuses a balancing without a trial mass.
func (b *balancing) needs() error {
	switch {
	case b.trial == 0:
		return usage{hintf("weigh a screw, a washer or a nut, and say --trial 20g; vibe balance --from simulated is a blank to play with", "--trial, the mass that is put on, is missing")}
	case b.radius == 0:
		return usage{hintf("measure from the axis to the middle of the mass, and say --radius 90mm", "--radius, where the mass is put, is missing")}
	}
	return nil
}

// places are the angles of n runs with the mass: as told, or thirds of a turn. Of another
// number nobody can guess them, and the last may well be a run with the fix on.
func (b *balancing) places(n int) ([]float64, error) {
	switch {
	case len(b.angles) == 0 && n > 1 && n != 3:
		return nil, usage{hintf("say them, as in --angles 0,90,180,270; a run with the fix on is --check", "%s, and not where", plural(n, "run with the mass is given", "runs with the mass are given"))}
	case len(b.angles) == 0:
		return []float64{0, 120, 240}, nil
	case len(b.angles) != n:
		return nil, usage{hintf("one angle for each run with the mass; the first run has none", "%s and %s do not fit together", plural(n, "run with the mass", "runs with the mass"), plural(len(b.angles), "angle", "angles"))}
	}
	return b.angles, nil
}

// show prints what the runs say, as JSON or as a page.
func (b *balancing) show(out io.Writer, heavy assess.HeavySide, in assess.Balancing, trial *assess.Trial) error {
	if b.asJSON {
		doc, err := json.Marshal(heavy)
		if err != nil {
			return err
		}
		more, err := json.Marshal(struct {
			Runs     []assess.Run  `json:"runs"`
			Trial    *assess.Trial `json:"trial"`
			Cautions []string      `json:"cautions"`
		}{append([]assess.Run{}, in.Runs...), trial, slices.Concat(assess.BalanceCautions(), assess.Cautions())})
		if err != nil {
			return err
		}
		return writeJSON(out, json.RawMessage(string(doc[:len(doc)-1])+","+string(more[1:])))
	}
	p := newPage(out)
	p.heavySide(heavy, in, nil)
	return p.flush(out)
}

// heavySide writes where the blank is heavy and what to do about it; next, which may be
// nil, writes the run to come.
func (p *page) heavySide(h assess.HeavySide, in assess.Balancing, next func()) {
	headline := ""
	if h.Known {
		headline = fmt.Sprintf("HEAVY at %.0f° ± %.0f° from the mark: %s on a clock with the mark at twelve, seen from the tailstock.",
			h.Heavy, max(1, h.Within), assess.ClockPosition(h.Heavy))
	} else {
		headline, h.Warnings = telltale(h)
	}
	if said := verdict(h); said != "" {
		p.wrap("", p.paint(bold, said))
	}
	p.wrap("", p.paint(bold, headline))
	if h.Known {
		p.remedies(h)
		p.gains(h)
	}
	p.runs(h, in)
	if next != nil {
		next()
	}
	p.cautions(slices.Concat(assess.BalanceCautions(), assess.Cautions()))
	if p.scrolled() {
		p.line("")
		p.wrap("", p.paint(bold, headline))
		if next != nil {
			next()
		}
	}
}

// verdict is what the run with the fix on showed, "" before there was one.
func verdict(h assess.HeavySide) string {
	if h.Checked == 0 {
		return ""
	}
	said := fmt.Sprintf("with the fix on it shakes %s, %.0f %% of the %s without it.", assess.ShakeText(h.Checked), 100*h.Checked/h.Before, assess.ShakeText(h.Before))
	if h.Worked() {
		return "IT WORKED: " + said
	}
	return "NO BETTER: " + said + " Does it sit where it was said?"
}

// telltale is why there is no answer, as a headline, and what else was to be said: the last
// warning, but rather one that says what to do than that it is all too vague.
func telltale(h assess.HeavySide) (headline string, rest []string) {
	i := len(h.Warnings) - 1
	if i > 0 && h.Faults[i] == assess.Vague {
		i--
	}
	return "NO ANSWER YET: " + h.Warnings[i] + ".", slices.Delete(slices.Clone(h.Warnings), i, i+1)
}

// remedies are the three ways to make it better.
func (p *page) remedies(h assess.HeavySide) {
	p.wrap("", fmt.Sprintf("Its imbalance is %.0f g·mm (%.0f to %.0f with 95 %% certainty).", h.Imbalance, h.Edges[0], h.Edges[1]))
	p.figure(h.Shift > 0, "the centre of mass sits %.2g mm off the axis", h.Shift)
	if h.Worked() {
		p.head("The mass may stay on, screwed; or, with the plug pulled, instead of it")
	} else {
		p.head(map[bool]string{true: "One of these, with the plug pulled", false: "This, with the plug pulled"}[h.Take.Grams > 0 || h.Shift > 0])
		p.wrap("  - ", fmt.Sprintf("put %s on the light side, at %.0f° (%s), %v from the axis%s", grams(h.Fix.Grams), h.Fix.Angle, assess.ClockPosition(h.Fix.Angle), h.Fix.Radius, pull(h.Fix, h.Speed)))
	}
	if h.Take.Grams > 0 {
		much := ""
		if h.Chips > 0 {
			much = fmt.Sprintf(", about %.0f cm³", h.Chips)
		}
		p.wrap("  - ", fmt.Sprintf("or take %s of wood%s off the heavy side, at %.0f° (%s), about %v from the axis", grams(h.Take.Grams), much, h.Take.Angle, assess.ClockPosition(h.Take.Angle), h.Take.Radius))
	}
	p.figure(h.Shift > 0, "or mount it on a new centre, %.2g mm from the old one towards the heavy side, at %.0f° (%s)", h.Shift, h.Heavy, assess.ClockPosition(h.Heavy))
}

// pull says what a mass that stays on the blank pulls with; nothing without a speed.
func pull(m assess.Mass, n assess.RPM) string {
	if n == 0 {
		return ""
	}
	if assess.Screwed.Refuse(m, n) != nil {
		return fmt.Sprintf("; but it pulls with %s at %v, too much for a screw: take wood off instead", assess.Newtons(m.Throw(n)), n)
	}
	return fmt.Sprintf("; it pulls with %s at %v, four times that at twice the speed: screw it on", assess.Newtons(m.Throw(n)), n)
}

// gains are what the fix is good for.
func (p *page) gains(h assess.HeavySide) {
	p.head("What that gives")
	at := "at the speed of the runs"
	if h.Speed > 0 {
		at = "at " + h.Speed.String()
	}
	p.wrap("  - ", fmt.Sprintf("%s: shake %s as it is, then about %s, below %s with 95 %% certainty", at, assess.ShakeText(h.Before), assess.ShakeText(h.After), assess.ShakeText(h.High)))
	p.figure(h.Allows > 0, "by what these runs know it could then go up to %v, one step at a time and by its own readings", h.Allows)
	if h.Grade > 0 {
		p.wrap("  - ", fmt.Sprintf("balance grade at %v: G %.0f as it is (%s), then about G %.0f (%s) [%s]", h.Speed,
			h.Grade, assess.GradeWords(h.Grade), h.GradeAfter, assess.GradeWords(h.GradeAfter), assess.GradeSource))
	}
	if h.Checked == 0 {
		p.wrap("  ", "Then run once more at the same speed, to see whether it worked.")
	}
}

// runs lists the runs and how well they agree.
func (p *page) runs(h assess.HeavySide, in assess.Balancing) {
	p.head("The runs")
	for i, r := range in.Runs {
		what := "as it is"
		if r.Mass > 0 {
			what = fmt.Sprintf("%s at %.0f° (%s), %v", grams(r.Mass), r.Angle, assess.ClockPosition(r.Angle), r.Radius)
		}
		line := fmt.Sprintf("  %d  %-34s %s", i+1, what, assess.ShakeText(r.Shake))
		if r.Speed > 0 {
			line += fmt.Sprintf(" at %v", r.Speed)
		}
		p.line("%s", line)
	}
	if h.Residual > 0 {
		p.wrap("  ", fmt.Sprintf("they differ from the answer by %s", assess.ShakeText(h.Residual)))
	}
	may := ""
	if h.Agreeing[1] > 0 {
		may = fmt.Sprintf("; by their errors it may be %.2f to %.2f", h.Agreeing[0], h.Agreeing[1])
	}
	p.figure(h.Consistency > 0, "consistency %.2f (1.00: the runs agree exactly%s)", h.Consistency, may)
	p.figure(h.Agreeing[1] > 0 && (h.Consistency < h.Agreeing[0] || h.Consistency > h.Agreeing[1]), "that is beyond: look at the runs again, and make the odd one anew")
	p.list(h.Warnings)
	if len(h.Answers) > 1 {
		for _, a := range h.Answers {
			if a.Within >= 90 {
				p.wrap("  - ", fmt.Sprintf("possible: heavy on one side or another, %.3g g·mm or more, %.0f %% likely", a.Edges[0], 100*a.Share))
				continue
			}
			p.wrap("  - ", fmt.Sprintf("possible: heavy at %.0f° ± %.0f° (%s), %.0f g·mm, %.0f %% likely", a.Heavy, a.Within, assess.ClockPosition(a.Heavy), a.Imbalance, 100*a.Share))
		}
	}
}

// grams writes a mass as a kitchen balance shows it.
func grams(g float64) string {
	if g < 10 {
		return fmt.Sprintf("%.1f g", g)
	}
	return fmt.Sprintf("%.0f g", g)
}

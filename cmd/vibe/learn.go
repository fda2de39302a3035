package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/sensor"
)

// person is whose marks and whose hand.
type person struct{ lathe, who string }

func (p *person) flags(fs *pflag.FlagSet) {
	fs.Var(freeText(&p.lathe), "lathe", "which lathe, by a name of yours")
	fs.Var(freeText(&p.who), "who", "which person, by a name")
}

// learnt says that the advice kept to a limit of this person's own.
func (in input) learnt() []string {
	if in.unlearnt != nil {
		return []string{fmt.Sprintf("your own limit is not known, for %v: until it can be read only what is calm counts as comfortable, below %s; %s", in.unlearnt, assess.ShakeText(in.comfort), hintOf(in.unlearnt))}
	}
	switch {
	case in.comfort == 0:
		return nil
	case in.then:
		return []string{"comfort limit " + assess.ShakeText(in.comfort) + ", as it was then"}
	case in.comfort == assess.DefaultEdges[1]:
		return []string{"comfort limit " + assess.ShakeText(in.comfort) + ", the starting value: your own marks do not settle it yet, or lie above: see vibe learn"}
	}
	return []string{"comfort limit " + assess.ShakeText(in.comfort) + ", from your own marks: see vibe learn"}
}

var shakeKind = kind{name: "mm/s", units: []unit{{"mm/s", 1}}, bare: true, most: 1000, example: "3.2"}

func newLearn() *cobra.Command {
	var who person
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "learn",
		Short: "your comfort limit, and your hand trained against the number",
		Long: `Shows what was learned of you on this lathe: the shake that you call too much,
from your own marks, and how well your hand knows the four words.`,
		Example: `  vibe learn mark too-much --shake 5.1
  vibe learn hand --sounds sounds
  vibe learn hear --shake 4.5 --speed 600 --to rough.wav`,
		Args: knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f, err := loadLearned()
			if err != nil {
				return err
			}
			l := f.of(who.lathe, who.who)
			comfort, score := assess.LearnComfort(l.Marks), assess.HandScore(l.Guesses)
			return answer(cmd, asJSON, map[string]any{"comfort": comfort, "hand": score, "cautions": assess.Cautions()}, func(p *page) {
				p.comfort(comfort)
				p.hand(score)
				if score.Guesses == 0 {
					p.wrap("  ", "to make some: vibe learn hand --sounds DIR, or --from serial at the lathe")
				}
				p.cautions(assess.Cautions())
			})
		},
	}
	who.flags(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON document on standard output, no text")
	cmd.AddCommand(newMark(), newHand(), newHear())
	return cmd
}

func (p *page) comfort(c assess.ComfortLimit) {
	p.head("Comfort limit")
	p.wrap("  ", c.Say)
	p.wrap("  ", fmt.Sprintf("%s fine, %d too much; used: %s. The advice never raises above %s, where rough begins, whatever is marked [edges: %s]", plural(c.Fine, "mark", "marks"), c.TooMuch,
		assess.ShakeText(c.Use), assess.ShakeText(assess.DefaultEdges[1]), assess.EdgesSource))
	if c.Fine+c.TooMuch == 0 {
		p.wrap("  ", "to make some: c (fine) and x (too much) in vibe watch, or vibe learn mark")
	}
}

func (p *page) hand(s assess.Score) {
	p.head("The hand")
	p.wrap("  ", s.Say)
	for _, t := range s.Sessions {
		p.wrap("  ", fmt.Sprintf("%-16s %3.0f %% of %d", t.Session, 100*t.Right, t.Guesses))
	}
}

// newMark keeps one mark.
func newMark() *cobra.Command {
	var who person
	var shake float64
	cmd := &cobra.Command{
		Use:   "mark fine|too-much --shake 3.2",
		Short: "say of a shake that it is fine, or too much",
		Args:  takes("word: fine or too-much"),
		RunE: func(cmd *cobra.Command, args []string) error {
			said, err := choose(args[0], []string{"fine", "too-much"})
			if err != nil {
				return usage{err}
			}
			if shake == 0 {
				return usage{hintf("the number on the screen at that moment, as in --shake 3.2", "--shake is missing")}
			}
			f, err := loadLearned()
			if err != nil {
				return err
			}
			l := f.of(who.lathe, who.who)
			l.Marks = append(l.Marks, assess.Mark{Shake: shake, TooMuch: said == "too-much"})
			if err := f.save(); err != nil {
				return err
			}
			p := newPage(cmd.OutOrStdout())
			p.wrap("", fmt.Sprintf("Kept: %s is %s.", assess.ShakeText(shake), map[string]string{"fine": "fine", "too-much": "too much"}[said]))
			p.comfort(assess.LearnComfort(l.Marks))
			p.caution()
			return p.flush(cmd.OutOrStdout())
		},
	}
	who.flags(cmd.Flags())
	cmd.Flags().Var(amount(shakeKind, &shake), "shake", "of that moment, mm/s")
	return cmd
}

// hearing is what is to be heard.
type hearing struct {
	shake, at float64 // mm/s; s
	speed     assess.RPM
	from      string
	shop      shopFile
	opts      sensor.Options
}

// newHear writes a sound.
func newHear() *cobra.Command {
	var h hearing
	var to string
	cmd := &cobra.Command{
		Use:   "hear --to FILE.wav",
		Short: "a shake as sound: one throb a turn, loudness true to the shake",
		Long: `Writes a WAV file of a shake, pitched up so that an ear hears it: one throb for
each turn. Twice the shake is twice as loud, in every file alike; set the
volume once, with a file of 4.5 mm/s. Of a recording it takes the four seconds
that shake most, or those about --at.`,
		Example: `  vibe learn hear --shake 4.5 --speed 600 --to rough.wav
  vibe learn hear --from roughing.csv --at 12 --to moment.wav
  vibe learn hear --from 12 --to session.wav`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if to == "" {
				return usage{hintf("as in --to rough.wav", "--to, the file to write, is missing")}
			}
			if err := named(to, ".wav"); err != nil {
				return err
			}
			readings, r, err := h.readings(cmd)
			if err != nil {
				return err
			}
			if err := saveNew(to, func(w io.Writer) error { return writeSound(w, sound(readings)) }); err != nil {
				return err
			}
			return writeHarmless(cmd.OutOrStdout(), "%s holds %g s at %.0f rpm, %s, %s\n", filepath.Base(to), float64(len(readings))/4, float64(r.Speed), assess.ShakeText(r.Shake), assess.FeelOf(r.Shake))
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.Var(amount(shakeKind, &h.shake), "shake", "to be heard, mm/s, with --speed")
	fs.Var(amount(speedKind, &h.speed), "speed", "of the spindle, with --shake")
	fs.StringVar(&h.from, "from", "", "a recording's `FILE`, or a kept session's number, to take it from")
	h.shop.flag(fs)
	fs.Var(amount(kind{name: "s", units: []unit{{"s", 1}}, bare: true, most: 1e6, example: "12.5"}, &h.at), "at", "which moment of it, in s")
	fs.StringVar(&to, "to", "", "the new WAV `FILE`")
	recordingFlags(fs, &h.opts)
	return cmd
}

// slowestHeard makes two throbs in the four seconds that a sound lasts.
const slowestHeard assess.RPM = 30

// readings are four seconds of what is to be heard, and of is the one that they are about.
func (h hearing) readings(cmd *cobra.Command) (found []assess.Reading, of assess.Reading, err error) {
	switch {
	case h.from != "" && (h.shake > 0 || h.speed > 0):
		return nil, of, usage{hintf("leave one of them out", "--from and --shake or --speed do not go together")}
	case h.from == "" && h.shake > 0 && h.speed > 0 && h.speed < slowestHeard:
		return nil, of, usage{hintf(fmt.Sprintf("at least %v", slowestHeard), "at %v four seconds hold not even two turns", h.speed)}
	case h.from == "" && h.shake > 0 && h.speed > 0:
		found = invented(h.speed, h.shake, 4)
		return found, found[0], nil
	case h.from == "":
		return nil, of, usage{hintf("as in --shake 4.5 --speed 600, or --from FILE", "what is to be heard is missing")}
	}
	all, err := readingsOf(cmd, h.shop, h.from, h.opts)
	if err != nil {
		return nil, of, err
	}
	if found, of = moment(all, h.at); found != nil {
		return found, of, nil
	}
	return nil, of, hintf("choose another --at, or another recording", "%s has no four seconds there that are known well enough", nameOf(h.from))
}

// readingsOf reads a recording, or a kept session, to its end.
func readingsOf(cmd *cobra.Command, shop shopFile, from string, opts sensor.Options) ([]assess.Reading, error) {
	src, err := recordingOf(cmd, shop, from, opts)
	if err != nil {
		return nil, err
	}
	in := input{src: src, name: nameOf(from), keep: true, progress: meterOn(cmd.ErrOrStderr())}
	if k, kept := src.(keptSource); kept { // looked for where it was then
		in.dial, in.job.lathe = k.Setup.Dial, k.Setup.Lathe
		if err := in.changed(k); err != nil {
			return nil, cmp.Or(err, src.Close())
		}
		in.dialled(k)
		in.changes = nil
	}
	r, err := in.follow(cmd.Context())
	if err != nil {
		return nil, err
	}
	return r.doc.Readings, nil
}

// moment is four seconds of readings about at, or where they shake most when at is 0, and the
// good one that they are about; nil when no good reading is there.
func moment(all []assess.Reading, at float64) (found []assess.Reading, of assess.Reading) {
	best, most := -1, 0.0
	for i, r := range all {
		if r.OK && (at == 0 && r.Shake > most || at > 0 && math.Abs(r.T-at) <= 2 && (best < 0 || math.Abs(r.T-at) < math.Abs(all[best].T-at))) {
			best, most = i, r.Shake
		}
	}
	if best < 0 {
		return nil, of
	}
	return all[max(0, best-8):min(len(all), best+8)], all[best]
}

package main

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/recordings"
)

func newLogCompare(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "compare A B",
		Short: "shake against speed of two sessions: is the difference real?",
		Args:  takes("NUMBER", "second NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			var both [2]*recordings.Session
			for i := range both {
				if both[i], err = file.session(shop, args[i]); err != nil {
					return err
				}
			}
			if both[0].Number == both[1].Number {
				return usage{hintf("name two: vibe log lists them", "session %d is the same as itself", both[0].Number)}
			}
			p := newPage(cmd.OutOrStdout())
			p.comparison(both[0], both[1])
			return p.flush(cmd.OutOrStdout())
		},
	}
}

func (p *page) comparison(a, b *recordings.Session) {
	c := recordings.Compare(a.Summary, b.Summary)
	p.wrap("", p.paint(bold, c.Say))
	for i, k := range []*recordings.Session{a, b} {
		p.wrap([]string{"  first:  ", "  second: "}[i], fmt.Sprintf("session %d, %s, %s", k.Number, when(k.Setup), title(k)))
	}
	p.head("Shake against speed, mm/s")
	p.line("%s", p.paint(dim, "       rpm       first      second      second/first"))
	type row struct {
		speed assess.RPM
		text  string
	}
	var rows []row
	for _, q := range c.Speeds {
		sure := "not told apart"
		if q.Real {
			sure = "real"
		}
		rows = append(rows, row{q.A.Speed, fmt.Sprintf("%10s  %10s      %4.2f (%.2f–%.2f)  %s", number(q.A.Shake), number(q.B.Shake), q.Ratio, q.Low, q.High, sure)})
	}
	for i, k := range []*recordings.Session{a, b} {
		for _, m := range k.Summary.Map {
			if slices.ContainsFunc(c.Speeds, func(q recordings.Pair) bool { return q.A == m || q.B == m }) {
				continue
			}
			cells := [2]string{"–", "–"}
			cells[i] = number(m.Shake)
			rows = append(rows, row{m.Speed, fmt.Sprintf("%10s  %10s", cells[0], cells[1])})
		}
	}
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.speed, b.speed) })
	for _, r := range rows {
		p.line("%10.0f  %s", float64(r.speed), r.text)
	}
	p.wrap("  ", "In brackets: 95 % edges, with 5 % for a sensor that was clamped anew (chosen). What was mounted, and how, is compared too: only like with like tells of the lathe.")
	p.caution()
}

func newLogTrend(file *shopFile) *cobra.Command {
	var lathe string
	cmd := &cobra.Command{
		Use:   "trend --lathe NAME",
		Short: "a lathe over the months, by its runs with nothing mounted",
		Args:  takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if lathe == "" {
				return usage{hintf("vibe lathe lists them", "--lathe is missing")}
			}
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			runs, err := shop.Sessions(recordings.Filter{Lathe: lathe, Empty: true})
			if err != nil {
				return file.explain(err)
			}
			if len(runs) == 0 {
				hint := "vibe lathe baseline " + shellWord(lathe) + " FILE keeps one; take one every month"
				if _, known, err := shop.Lathe(lathe); err == nil && !known {
					hint = "no lathe of that name is kept: vibe lathe lists them"
				}
				return hintf(hint, "no run of %s with nothing mounted was kept", lathe)
			}
			slices.Reverse(runs)
			p := newPage(cmd.OutOrStdout())
			p.trend(lathe, runs)
			return p.flush(cmd.OutOrStdout())
		},
	}
	cmd.Flags().Var(freeText(&lathe), "lathe", "its name")
	return cmd
}

// columnsOf are the speeds that most of the runs have, by rising speed, as many as fit.
func columnsOf(runs []*recordings.Session, most int) []assess.RPM {
	type column struct {
		speed assess.RPM
		runs  int
	}
	var all []column
	for _, k := range runs {
		for _, s := range k.Summary.Map {
			at := slices.IndexFunc(all, func(c column) bool { return recordings.SameSpeed(c.speed, s.Speed) })
			if at < 0 {
				at, all = len(all), append(all, column{speed: s.Speed})
			}
			all[at].runs++
		}
	}
	slices.SortStableFunc(all, func(a, b column) int { return cmp.Compare(b.runs, a.runs) })
	var out []assess.RPM
	for _, c := range all[:min(len(all), most)] {
		out = append(out, c.speed)
	}
	slices.Sort(out)
	return out
}

// trend writes the runs from the oldest to the newest, each held against the first of those
// that have a reading.
func (p *page) trend(lathe string, runs []*recordings.Session) {
	var first recordings.Summary
	read := slices.DeleteFunc(slices.Clone(runs), func(k *recordings.Session) bool { return len(k.Summary.Map) == 0 })
	switch n := len(read); n {
	case 0:
		p.wrap("", fmt.Sprintf("No run of %s with nothing mounted has a reading yet: ten seconds at each speed give one.", lathe))
	case 1:
		p.wrap("", fmt.Sprintf("One run of %s with nothing mounted has a reading; the next one will tell what has changed.", lathe))
	default:
		p.wrap("", p.paint(bold, fmt.Sprintf("%s, from %s to %s. %s", lathe, read[0].Setup.Started.Local().Format("2006-01-02"),
			read[n-1].Setup.Started.Local().Format("2006-01-02"), recordings.Compare(read[0].Summary, read[n-1].Summary).Say)))
	}
	if len(read) > 0 {
		first = read[0].Summary
	}
	p.head("Nothing mounted: shake, mm/s, and the ratio to the first run")
	const all = len("   1.00 (0.87-1.15)")
	speeds := columnsOf(runs, (p.width-len("12345  2026-01-02")-all)/len("    1234 rpm"))
	head := fmt.Sprintf("%5s  %-10s", "", "day")
	for _, s := range speeds {
		head += fmt.Sprintf("%12s", fmt.Sprintf("%.0f rpm", float64(s)))
	}
	p.line("%s", p.paint(dim, head+"   all"))
	for _, k := range runs {
		c := recordings.Compare(first, k.Summary)
		row := fmt.Sprintf("%5d  %-10s", k.Number, k.Setup.Started.Local().Format("2006-01-02"))
		for _, s := range speeds {
			cell := "–"
			for _, m := range k.Summary.Map {
				if recordings.SameSpeed(s, m.Speed) {
					cell = number(m.Shake)
				}
			}
			row += fmt.Sprintf("%12s", cell)
		}
		all := "   –"
		if c.Ratio > 0 {
			all = fmt.Sprintf("   %.2f (%.2f–%.2f)", c.Ratio, c.Low, c.High)
		}
		p.line("%s", row+all)
	}
	p.wrap("  ", "What grows here is the lathe's own: bearings, belt, pulley, feet, or where the sensor sits.")
	p.cautions(assess.Cautions())
}

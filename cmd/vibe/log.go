package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/recordings"
)

func newLog() *cobra.Command {
	var file shopFile
	cmd := &cobra.Command{
		Use:   "log",
		Short: "the kept sessions: find, compare, show to others, back up",
		Long: `Lists the kept sessions, the newest first. vibe watch keeps every session, vibe
read FILE --keep a recording. The commands below look into them. The shop file
is an SQLite database: its tables say what they hold, and any SQLite tool reads
them.`,
		Example: `  vibe log list cherry --since 2026-01-01
  vibe log show 12
  vibe log compare 12 15`,
		Args: knownCommand,
	}
	list := newLogList(&file)
	cmd.RunE = list.RunE
	cmd.PersistentFlags().SortFlags = false
	file.flag(cmd.PersistentFlags())
	cmd.AddCommand(list, newLogShow(&file), newLogExport(&file), newLogCompare(&file), newLogTrend(&file), newLogReport(&file),
		newLogCheck(&file), newLogPrune(&file), newLogBackup(&file))
	return cmd
}

func newLogList(file *shopFile) *cobra.Command {
	var filter recordings.Filter
	var every bool
	cmd := &cobra.Command{
		Use:   "list [WORDS]",
		Short: "the sessions, newest first, or those that WORDS describe",
		Long: `Lists the newest sessions, newest first, or all those that something said here
chooses. WORDS choose: each must be in the label, the lathe's name, the wood,
the source, the task, the mount or the balance; one such as 310mm or 12in is the
blank's diameter or length.`,
		Example: "  vibe log list cherry 310mm --since 2026-01-01",
		Args:    cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := file.view()
			if err != nil {
				return err
			}
			defer shop.Close()
			for _, word := range args {
				if size, err := lengthKind.parse(word); err == nil {
					filter.Sizes = append(filter.Sizes, assess.MM(size))
				} else {
					filter.Text += " " + word
				}
			}
			p := newPage(cmd.OutOrStdout())
			rows := p.listed()
			chosen := len(args) > 0 || filter.Lathe != "" || !filter.Since.IsZero() || !filter.Until.IsZero()
			if !every && !chosen {
				filter.Most = rows + 1
			}
			all, err := shop.Sessions(filter)
			if err != nil && !errors.Is(err, recordings.ErrDamaged) {
				return file.explain(err)
			}
			older := filter.Most > 0 && len(all) > rows
			if older {
				all = all[:rows]
			}
			switch {
			case len(all) == 0 && chosen:
				p.line("No such session. vibe log list --all shows every one.")
			case len(all) == 0:
				p.line("No session is kept. vibe watch keeps every one, vibe read FILE --keep a recording.")
			default:
				p.sessions(all)
			}
			if older {
				p.wrap("  ", "and older ones: vibe log list --all, or say --since, --until or words")
			}
			return cmp.Or(p.flush(cmd.OutOrStdout()), file.explain(err))
		},
	}
	cmd.Flags().SortFlags = false
	cmd.Flags().Var(freeText(&filter.Lathe), "lathe", "only those on this lathe")
	cmd.Flags().Var(day(&filter.Since, 0), "since", "only those of this day or later: 2026-03-01")
	cmd.Flags().Var(day(&filter.Until, 1), "until", "only those of this day or before")
	cmd.Flags().BoolVar(&every, "all", false, "every one, not only the newest")
	return cmd
}

// day is a date of the local calendar; the time is its begin, days later.
func day(target *time.Time, days int) *value {
	return &value{name: "day", set: func(s string) error {
		t, err := time.ParseInLocation(time.DateOnly, s, time.Local)
		if err != nil {
			return hintf("write it as 2026-03-01", "%q is not a day", s)
		}
		*target = t.AddDate(0, 0, days)
		return nil
	}}
}

// listed is how many sessions are listed where nothing chooses: what fits the terminal with
// the lines below it, or 40 (chosen: a sheet of paper).
func (p *page) listed() int {
	if p.height == 0 {
		return 40
	}
	return min(max(p.height-7, 5), 40)
}

func (p *page) sessions(all []*recordings.Session) {
	over, drawn := "shake over time", 16
	if p.width < 72 {
		over, drawn = "shake", 6
	}
	const besides = 5 + 2 + 16 + 1 + 8 + 1 + 1 + 2 + 1 + 5 // columns of a row
	what := p.width - besides - drawn
	p.line("%s", p.paint(dim, fmt.Sprintf("%5s  %-16s %8s  %-*s  %-*s %s", "", "began or kept", "length", what, "what", drawn, over, "most")))
	broken := ""
	for _, k := range all {
		most, mark := 0.0, " "
		for _, c := range k.Summary.Trace {
			most = max(most, c.High)
		}
		if !k.Ended {
			mark, broken = "…", "… not ended in order: it runs still, or was broken off; "
		}
		p.line("%5d  %-16s %8s%s %s  %s %s", k.Number, k.Setup.Started.Local().Format("2006-01-02 15:04"), clock(k.Summary.Seconds), mark,
			fit(title(k), what), spark(k.Summary, drawn), number(most))
	}
	p.wrap("  ", broken+"shake, mm/s: ▁▂▃ calm, ▄▅ lively, ▆▇ rough, █ violent, · no reading that may be used; edges: "+assess.EdgesSource)
}

// title is a session in a few words.
func title(k *recordings.Session) string {
	s := k.Setup
	if s.Label != "" {
		return s.Label
	}
	var parts []string
	if s.Empty {
		parts = append(parts, "empty run")
	}
	blank := s.Blank.Wood
	if s.Blank.Diameter > 0 {
		blank = strings.TrimSpace(s.Blank.Said(s.Blank.Diameter) + " " + blank)
	}
	for _, w := range []string{s.Lathe.Name, blank, string(s.Task)} {
		if w != "" {
			parts = append(parts, w)
		}
	}
	if len(parts) == 0 {
		return s.Source
	}
	return strings.Join(parts, ", ")
}

// fit makes s as many columns wide as told, in one line.
func fit(s string, width int) string {
	s = harmless(strings.ToValidUTF8(strings.Join(strings.Fields(s), " "), "?"))
	cut, column := 0, 0 // where it must end to leave room for the sign of that
	for at, r := range s {
		if column += visible(string(r)); column < width {
			cut = at + utf8.RuneLen(r)
		}
		if column > width {
			s = s[:cut] + "…"
			break
		}
	}
	return s + strings.Repeat(" ", max(0, width-visible(s)))
}

// sparkEdges are the shakes in mm/s at which the next higher sign begins: the edges of the
// words, and parts of the way between them.
var sparkEdges = []float64{0.6, 1.2, assess.DefaultEdges[0], 3, assess.DefaultEdges[1], 7.5, assess.DefaultEdges[2]}

// spark draws the largest shake of each stretch of time, in width signs for the whole
// session, however short.
func spark(s recordings.Summary, width int) string {
	most := make([]float64, width)
	for i, c := range s.Trace {
		from, to := float64(i)*s.CellSpan/s.Seconds, float64(i+1)*s.CellSpan/s.Seconds
		first, last := int(from*float64(width)), int(math.Ceil(to*float64(width)))
		for at := min(first, width-1); at < min(last, width) && c.N > 0; at++ {
			most[at] = max(most[at], c.High)
		}
	}
	line := []rune(strings.Repeat("·", width))
	for at, v := range most {
		if v > 0 {
			level := 0
			for level < len(sparkEdges) && v >= sparkEdges[level] {
				level++
			}
			line[at] = []rune("▁▂▃▄▅▆▇█")[level]
		}
	}
	return string(line)
}

func newLogShow(file *shopFile) *cobra.Command {
	return &cobra.Command{
		Use:   "show N",
		Short: "one session: what the lathe did, what was said",
		Args:  takes("NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return file.viewSession(args[0], func(k *recordings.Session) error {
				advices, err := k.Advices(advicesRead)
				if err != nil {
					return file.explain(err)
				}
				marks, err := spokenIn(k)
				if err != nil {
					return file.explain(err)
				}
				p := newPage(cmd.OutOrStdout())
				p.session(k, advices, marks)
				return p.flush(cmd.OutOrStdout())
			})
		},
	}
}

// session writes what was kept of a session, from what is stored and nothing else.
func (p *page) session(k *recordings.Session, said []recordings.Said, marks []spoken) {
	last := k.Summary.Last
	if last.Action != "" {
		p.advice(last)
	}
	p.wrap("", fmt.Sprintf("Session %d: %s", k.Number, title(k)))
	for _, line := range facts(k) {
		p.wrap("  ", line)
	}
	if last.Action != "" {
		p.why(last.Reasons, "")
		p.ceilings(last.Ceilings)
	}
	p.trace(k.Summary)
	var turns []recordings.Said
	for _, s := range said {
		turns = turned(turns, s)
	}
	p.onTheWay(turns, last.Action)
	if len(marks) > 0 {
		p.head("What you said")
		for _, m := range marks {
			p.wrap(fmt.Sprintf("%9s  ", clock(m.T)), m.Text)
		}
	}
	p.shakeAgainstSpeed(k.Summary.Points(), last)
	p.line("")
	p.line("  vibe read %d      computes all of it again from the samples", k.Number)
	p.cautions(assess.Cautions())
}

// advicesRead is how many of the newest advices are looked at for the changes to show
// (chosen: the same words come again with other reasons).
const advicesRead = 300

// facts are the lines that say what a session was.
func facts(k *recordings.Session) []string {
	u, s := k.Setup, k.Summary
	out := []string{fmt.Sprintf("%s, %s long, %d samples (%.4g a second, %s), %d lost", when(u), clock(s.Seconds), s.Samples, s.Rate(), plural(s.Axes, "axis", "axes"), s.Lost)}
	if u.Undated {
		out = append(out, "the recording does not say when it was taken")
	}
	if !k.Ended {
		out = append(out, "not ended in order: it runs still, or was broken off; what came before is whole")
	}
	if u.Source != "" {
		out = append(out, "from "+u.Source)
	}
	if l := latheText(u.Lathe); l != "" {
		out = append(out, "lathe: "+l)
	}
	if u.Empty {
		out = append(out, "nothing mounted: a run of the lathe alone")
	} else if b := blankText(u.Blank); b != "" {
		out = append(out, "blank: "+b)
	}
	if u.Task != "" {
		out = append(out, "task: "+string(u.Task))
	}
	if u.Dial > 0 {
		out = append(out, fmt.Sprintf("dial: %v", u.Dial))
	}
	return append(out, fmt.Sprintf("%d readings, %d of them may be used", s.Readings, s.OK))
}

// when a session began, or was kept where that is not known.
func when(u recordings.Setup) string {
	word := "began "
	if u.Undated {
		word = "kept "
	}
	return word + u.Started.Local().Format("2006-01-02 15:04")
}

func latheText(l assess.Lathe) string {
	var parts phrases
	parts.add(l.Name != "", "%s", l.Name)
	parts.add(len(l.Steps) > 0, "steps %s rpm", strings.Trim(fmt.Sprintf("%.0f", l.Steps), "[]"))
	parts.add(l.Low > 0 && l.High > 0, "%.0f to %.0f rpm", float64(l.Low), float64(l.High))
	parts.add(l.Low > 0 && l.High == 0, "from %.0f rpm", float64(l.Low))
	parts.add(l.High > 0 && l.Low == 0, "up to %.0f rpm", float64(l.High))
	parts.add(l.ChuckMax > 0, "chuck up to %.0f rpm", float64(l.ChuckMax))
	parts.add(l.Mass > 0, "%.3g kg", l.Mass)
	return strings.Join(parts, ", ")
}

// phrases are what is known of something, one after the other.
type phrases []string

func (p *phrases) add(known bool, format string, args ...any) {
	if known {
		*p = append(*p, fmt.Sprintf(format, args...))
	}
}

func blankText(b assess.Blank) string {
	var parts phrases
	parts.add(b.Wood != "", "%s", b.Wood)
	parts.add(b.Diameter > 0, "%s across", b.Said(b.Diameter))
	parts.add(b.Length > 0, "%s long", b.Said(b.Length))
	parts.add(b.Mass > 0, "%.3g kg", b.Mass)
	parts.add(b.Balance != "", "%s", b.Balance)
	parts.add(b.Held != "", "held by %s", b.Held)
	parts.add(b.Tailstock, "tailstock up")
	for _, d := range b.Defects {
		parts.add(true, "%s", d)
	}
	return strings.Join(parts, ", ")
}

// trace writes speed and shake over time, at most a dozen rows.
func (p *page) trace(s recordings.Summary) {
	const rows = 12
	if s.OK == 0 {
		return
	}
	p.head("What the lathe did")
	p.line("%s", p.paint(dim, "    from       to         rpm    shake mm/s   feel"))
	step := (len(s.Trace) + rows - 1) / rows
	for i := 0; i < len(s.Trace); i += step {
		var c recordings.Cell
		for _, d := range s.Trace[i:min(i+step, len(s.Trace))] {
			c.Join(d)
		}
		if c.N == 0 {
			continue
		}
		from, to := s.First+float64(i)*s.CellSpan, s.First+min(float64(i+step)*s.CellSpan, s.Seconds)
		feel := assess.FeelOf(c.High)
		p.line("%8s %8s  %10s  %12s   %s", clock(from), clock(to), span(fmt.Sprintf("%.0f", float64(c.Slow)), fmt.Sprintf("%.0f", float64(c.Fast))),
			span(number(c.Low), number(c.High)), p.paint(feelStyle[feel], string(feel)))
	}
}

// span is both, or one where they are the same.
func span(low, high string) string {
	if low == high {
		return low
	}
	return low + "–" + high
}

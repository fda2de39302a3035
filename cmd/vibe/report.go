package main

import (
	"fmt"
	"slices"
	"strings"

	"charm.land/lipgloss/v2"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
)

// feelStyle is the colour that repeats a word.
var feelStyle = map[assess.Feel]lipgloss.Style{
	assess.Calm: green, assess.Lively: green, assess.Rough: yellow, assess.Violent: red,
}

// actionStyle likewise for what to do.
var actionStyle = map[assess.Action]lipgloss.Style{
	assess.Wait: bold, assess.Hold: green, assess.Raise: green, assess.Lower: yellow, assess.Stop: red,
}

// report writes what a recording has told, the advice first.
func (p *page) report(r *record) {
	p.advice(r.doc.Advice)
	p.line("%s", p.paint(dim, r.summary()))
	p.why(r.doc.Advice.Reasons, r.cause)
	if !r.cracked {
		p.ceilings(r.doc.Advice.Ceilings) // a number would look like a way round
	}
	p.overTime(r.stretches, r.band)
	p.onTheWay(r.turns, r.doc.Advice.Action)
	p.shakeAgainstSpeed(r.doc.Map, r.doc.Advice)
	p.cautions(assess.Cautions())
	if p.scrolled() {
		p.line("")
		p.advice(r.doc.Advice)
	}
}

// advice is the line to be read at a glance: the action in capitals first.
func (p *page) advice(a assess.Advice) {
	action := strings.ToUpper(string(a.Action))
	say := a.Say
	if later, ok := strings.CutPrefix(say, assess.NextTime); ok {
		action, say = strings.ToUpper(assess.NextTime[:len(assess.NextTime)-1]), later
	} else if first, rest, _ := strings.Cut(say, " "); strings.EqualFold(strings.TrimSuffix(first, ":"), action) {
		action, say = strings.ToUpper(first), rest
	} else {
		action += ":"
	}
	p.wrap("", p.paint(actionStyle[a.Action], action)+" "+p.paint(bold, say))
}

func (p *page) why(reasons []assess.Reason, cause string) {
	p.head("Why")
	p.explain("In square brackets: where the rule comes from. Much of the trade's knowledge was never measured, and says so.")
	for _, r := range reasons {
		p.wrap("  - ", sourced(r.Text, r.Source))
	}
	if cause != "" {
		p.wrap("  - ", "what shakes: "+cause+" [common practice, no source]")
	}
}

// sourced is a sentence with where it comes from.
func sourced(text, source string) string {
	if source == "" {
		return text
	}
	return strings.TrimSuffix(text, ".") + " [" + source + "]"
}

func (p *page) ceilings(ceilings []assess.Ceiling) {
	if len(ceilings) == 0 {
		return
	}
	p.head("Never faster than the lowest of these")
	p.explain("Limits that no advice passes, from what was said about blank, lathe and task. What was not said counts as the worse case.")
	for _, c := range ceilings {
		p.wrap(fmt.Sprintf("  %5.0f rpm  ", float64(c.RPM)), sourced(c.Name+": "+c.Text, c.Source))
	}
}

func (p *page) overTime(all []stretch, band [2]float64) {
	p.head("What the lathe did")
	p.explain("Speed as the spindle really turned; shake is how hard the headstock moved once per turn, in its worst direction. A reading that may not be used shows a dash, and why.")
	p.line("%s", p.paint(dim, tableHead))
	shown := telling(all, rowsShown)
	var seen []dsp.Fault
	for i := range shown {
		p.line("%s", strings.TrimRight(shown[i].row(p), " "))
		for _, f := range shown[i].faults {
			if !slices.Contains(seen, f) {
				seen = append(seen, f)
			}
		}
	}
	if n := len(all) - len(shown); n > 0 {
		p.line("  (%d shorter stretches left out; --json has every reading)", n)
	}
	if band[1] > 0 {
		p.wrap("  ", fmt.Sprintf("total: all vibration from %.0f to %.0f Hz together, mm/s; slower than %v the shake itself, below %.0[1]f Hz, fades out of it", band[0], band[1], assess.Turns(band[0])))
	}
	if slices.ContainsFunc(shown, func(s stretch) bool { return s.ok && len(s.faults) > 0 }) {
		p.wrap("  ", "(in brackets): so are some readings of that row; its numbers are of those that may be used")
	}
	for _, f := range seen {
		p.wrap("  ", string(f)+": "+assess.FaultWords(f))
	}
}

// onTheWay lists what the advice was, where it changed, unless that is what it is at the end.
func (p *page) onTheWay(turns []recordings.Said, end assess.Action) {
	if len(turns) == 0 || len(turns) == 1 && end == turns[0].Advice.Action {
		return
	}
	p.head("What the advice was on the way")
	p.explain("Said live, it would have been said at these times.")
	if len(turns) > advicesShown {
		turns = turns[len(turns)-advicesShown:]
		p.line("  (earlier ones left out)")
	}
	for _, t := range turns {
		p.wrap(fmt.Sprintf("%9s  ", clock(t.T)), p.paint(actionStyle[t.Advice.Action], t.Advice.Say))
	}
}

// advicesShown is how many changes of the advice fit beside the rest.
const advicesShown = 12

func (p *page) shakeAgainstSpeed(points []assess.MapPoint, advice assess.Advice) {
	lines := picture(points, advice.Speed, p.width, 12, edgeWords)
	if lines == nil {
		return
	}
	p.head("Shake against speed")
	p.explain("● was measured, ○ is expected from it, ▲ lies above the picture. The words' edges are borrowed from a standard for other machines: starting values.")
	for _, l := range lines {
		p.line("%s", l)
	}
	for _, band := range advice.Avoid {
		p.wrap("  ", "avoid, or pass quickly: "+bandText(band))
	}
	if !p.teach {
		p.wrap("  ", "● measured  ○ expected  ▲ above the picture; edges: "+assess.EdgesSource)
	}
}

// bandText is a band of speeds, or the one speed that it is.
func bandText(band [2]assess.RPM) string {
	if band[0] == band[1] {
		return "about " + band[0].String()
	}
	return fmt.Sprintf("%.0f to %v", float64(band[0]), band[1])
}

// caution is the one that sums up the others, below an answer that names no speed to go to.
func (p *page) caution() {
	all := assess.Cautions()
	p.line("")
	p.wrap("", all[len(all)-1])
}

func (p *page) cautions(cautions []string) {
	p.head("Whatever the numbers say")
	p.list(cautions)
}

package main

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
)

// report says what is known and what comes next.
func (s *balanceState) report(cmd *cobra.Command, b *balancing) error {
	mass, heavy, err := s.next()
	if err != nil {
		return err
	}
	t, err := s.trial()
	if err != nil {
		return err
	}
	if b.asJSON {
		err = b.show(cmd.OutOrStdout(), heavy, s.solver(), &t)
	} else {
		p := newPage(cmd.OutOrStdout())
		p.balancing(s, mass, heavy, t, byCommand(s.liveSource(b.from)))
		err = p.flush(cmd.OutOrStdout())
	}
	if n := len(b.from); n > 0 && b.from[n-1] == simulatedBlank && heavy.Known {
		u := s.secret()
		say(cmd.ErrOrStderr(), []string{fmt.Sprintf("the simulated blank is heavy at %.0f°, with %.0f g·mm", math.Mod(360+cmplx.Phase(u)*180/math.Pi, 360), cmplx.Abs(u))})
	}
	return err
}

// handover is how a run gets from the lathe to vibe: the last words of a step's second and third part.
type handover struct{ while, after string }

// byCommand is for a run of a recording, or of what turns now.
func byCommand(turning string) handover {
	if turning == "" {
		return handover{" Record 20 s.", "Switch off, plug pulled. Then: vibe balance --from RECORDING"}
	}
	return handover{"", fmt.Sprintf("While it turns: vibe balance --from %s, which ends by itself. Then switch off, plug pulled.", turning)}
}

// balancing writes what is known and what comes next.
func (p *page) balancing(s *balanceState, mass assess.Mass, heavy assess.HeavySide, t assess.Trial, by handover) {
	most := s.solver().MostNext(mass)
	if heavy.Known {
		most = heavy.High
	}
	if heavy.Has(assess.Unfinished) {
		next := func() {
			p.wrap("", p.paint(bold, fmt.Sprintf("Run %d of %d comes next.", len(s.Runs)+1, len(s.Angles)+1)))
			p.step(s, mass, most, t, by)
		}
		next()
		if len(s.Runs) > 0 {
			p.runs(assess.HeavySide{}, s.solver())
		}
		p.cautions(append(assess.BalanceCautions(), assess.Cautions()...))
		if p.scrolled() {
			p.line("")
			next()
		}
		return
	}
	p.heavySide(heavy, s.solver(), func() {
		switch {
		case heavy.Worked():
			p.wrap("  ", "That was it. vibe balance --new begins the next blank, or this one anew when wood has come off.")
		case mass.Grams > 0:
			p.head("The next run")
			p.step(s, mass, most, t, by)
		}
	})
}

// liveSource is where the newest run came from if that was no recording, "" else: the next run comes
// from there too.
func (s *balanceState) liveSource(from []string) string {
	if s.Play {
		return simulatedBlank
	}
	if len(from) > 0 {
		last := from[len(from)-1]
		if _, wired := portOf(last); wired {
			return last
		}
	}
	return ""
}

// step says what to do for a run with mass on, which may shake with up to most mm/s; 0 is not known.
func (p *page) step(s *balanceState, mass assess.Mass, most float64, t assess.Trial, by handover) {
	n := assess.RPM(s.Speed)
	if most >= assess.DefaultEdges[2] {
		p.wrap("  ", p.paint(red, fmt.Sprintf("Do not make this run: with %s it may shake with up to %s, which is violent. Begin again with a third of the mass: vibe balance --new --trial %s", grams(mass.Grams), assess.ShakeText(most), strings.ReplaceAll(grams(mass.Grams/3), " ", ""))))
		return
	}
	if mass.Grams == 0 {
		p.wrap("  1. ", "Plug pulled. Draw a pencil mark from the centre to the rim on the face towards the tailstock: that is 0°. No mass yet.")
	} else {
		if err := assess.Screwed.Refuse(mass, n); err != nil {
			p.wrap("  ", p.paint(red, fmt.Sprintf("Do not make this run: %s. Take wood off the heavy side instead, or begin again slower: vibe balance --new", err)))
			return
		}
		throw := mass.Throw(n)
		p.wrap("  1. ", fmt.Sprintf("Plug pulled. Any other mass off. Fasten %s at %.0f° (%s), %v from the axis; pull at it.", grams(mass.Grams), mass.Angle, assess.ClockPosition(mass.Angle), mass.Radius))
		p.wrap("     ", fmt.Sprintf("At %v it throws with %s, like a weight of %.2g kg; %s it is trusted with %.0f N.", n, assess.Newtons(throw), throw/9.80665, cmp.Or(s.Fastened, assess.Taped), t.Hold))
		if s.Fastened.Refuse(mass, n) != nil {
			p.wrap("     ", p.paint(red, "That is too much for tape: screw this one on."))
		}
	}
	p.wrap("  2. ", fmt.Sprintf("Turn it by hand once round. Start slow, go to %v, hands off, stand aside. No tool.%s", n, by.while))
	if most >= assess.DefaultEdges[1] {
		p.wrap("     ", p.paint(yellow, fmt.Sprintf("It may shake with up to %s: stop at once if it feels wrong, and take a smaller mass.", assess.ShakeText(most))))
	}
	p.wrap("  3. ", by.after)
}

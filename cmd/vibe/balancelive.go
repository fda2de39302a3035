package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"vibe/assess"
	"vibe/sensor"
)

// errStop ends a live run that must not go on.
type errStop struct{ what, say string }

func (e errStop) Error() string { return e.what + ": " + trimDot(e.say) }
func (e errStop) Hint() string {
	return "switch off and look at the mounting, the mass and the wood before the next run; what was kept before is still there"
}

// gathering collects the readings of a live run until there are enough. An advice to stop
// ends it.
type gathering struct {
	before   assess.RPM // speed of the runs before, 0 for the first
	readings []assess.Reading
	stop     error
}

func (s *balanceState) gather() *gathering {
	g := &gathering{}
	if len(s.Runs) > 0 {
		g.before = s.Runs[0].Speed
	}
	return g
}

// add takes one more. Once it is done, the run is to end.
func (g *gathering) add(r assess.Reading, a assess.Advice) (done bool) {
	if g.done() {
		return true
	}
	g.readings = append(g.readings, r)
	if a.Action == assess.Stop {
		g.stop = errStop{"no run was kept", a.Say}
	}
	return g.done()
}

func (g *gathering) done() bool { return g.stop != nil || g.seconds() >= assess.RunEnough }

// seconds of steady turning so far, RunEnough at most.
func (g *gathering) seconds() float64 {
	return min(assess.RunEnough, assess.Steady(g.readings, g.before))
}

// live runs a source that has no end of its own until there is enough of it for a run, and
// says on msg what the source has to say. A stop rings the bell there.
func (s *balanceState) live(ctx context.Context, in input, msg io.Writer) ([]assess.Reading, error) {
	defer context.AfterFunc(ctx, func() { in.src.Close() })()
	const patience = 10.0 // s without a steady reading (chosen: as long as a lathe takes to its speed)
	g, told := s.gather(), false
	adviser := &assess.Adviser{Lathe: s.Lathe, Blank: s.Blank, Task: s.Task, Checked: true}
	note := func(notes []string) {
		if len(notes) > 0 {
			in.progress.clear()
			say(msg, notes)
		}
	}
	err := loop(in.src, in.tracker(), adviser, func(b sensor.Block) { note(b.Notes) },
		func(r assess.Reading, a assess.Advice) {
			if g.done() {
				return
			}
			done := g.add(r, a)
			in.progress.tell("%.0f of %.0f s of steady turning, %s  ", g.seconds(), assess.RunEnough, assess.ShakeText(r.Shake))
			if !told && !s.Play && r.T > patience && g.seconds() == 0 {
				told = true
				note([]string{fmt.Sprintf("nothing turns steadily near %.0f rpm yet: go to that speed", s.Speed)})
			}
			if g.stop != nil {
				fmt.Fprint(msg, "\a")
			}
			if done {
				in.src.Close()
			}
		})
	in.progress.clear()
	switch {
	case g.stop != nil:
		return nil, g.stop
	case err != nil && !(g.done() && errors.Is(err, sensor.ErrClosed)):
		return nil, err
	}
	return g.readings, in.src.Close()
}

package main

import (
	"fmt"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// farewell is what remains on the terminal after a session: what the lathe did, what was
// said, what was marked. It is no advice: nobody knows what the lathe does now.
func (p *page) farewell(r *record, now live.Snapshot) {
	p.line("%s", p.paint(bold, "Watched "+r.summary()))
	if len(r.stretches) == 0 {
		p.line("No reading was made.")
		p.list(now.Notes) // the screen that showed them is gone
		return
	}
	p.overTime(r.stretches, r.band)
	p.onTheWay(r.turns, "") // it has no other place
	if len(now.Marks) > 0 {
		p.head("Marks")
	}
	for _, m := range now.Marks {
		what := string(m.Kind)
		if m.Speed > 0 {
			what += fmt.Sprintf(": %v, %s", m.Speed, assess.ShakeText(m.Shake))
		}
		p.wrap(fmt.Sprintf("%9s  ", clock(m.T)), what)
	}
	p.cautions(assess.Cautions())
}

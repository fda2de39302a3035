package assess

import (
	"fmt"
	"slices"
)

// unchecked is advice d at reading r when nobody has compared the speed with the dial. A
// motor, a belt or a multiple may look like a spindle, and a raise from a speed that is
// none leads anywhere: it becomes a hold, with what to do if the dial agrees.
func (a *Adviser) unchecked(d Advice, r Reading, top Ceiling) Advice {
	why := Reason{"dial", fmt.Sprintf("the speed was found in the shake alone, and a motor or a belt can look like a spindle: it counts only if the dial shows about %v; if not, say what it shows (--speed, or the key s while watching)", r.Speed), ownReadings}
	switch d.Action {
	case Raise:
		to := d.Speed
		d.Action, d.Speed = Hold, a.present(r.Speed, top.RPM)
		d.Say = fmt.Sprintf("Hold %v: %s, %s. If the dial shows about that, raise to %v.", d.Speed, ShakeText(r.Shake), FeelOf(r.Shake), to)
		d.Reasons = slices.Insert(d.Reasons, 0, why)
	case Hold, Lower:
		d.Reasons = append(d.Reasons, why)
	}
	return d
}

// partly is the raise d at reading r of a sensor that does not measure every direction: the
// lathe may shake more where it does not look, and so it is a hold.
func (a *Adviser) partly(d Advice, r Reading, top Ceiling) Advice {
	d.Action, d.Speed = Hold, a.present(r.Speed, top.RPM)
	d.Say = fmt.Sprintf("Hold %v: %s, %s, as far as %d of 3 axes show.", d.Speed, ShakeText(r.Shake), FeelOf(r.Shake), 3-r.Unseen)
	d.Reasons = []Reason{{"axes", "the lathe may shake more in a direction that is not measured: only with three axes can a higher speed be told to be safe", ownReadings}}
	return d
}

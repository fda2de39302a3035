package assess

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"vibe/dsp"
)

// decide applies the rules in the order of the laws; the first that speaks wins.
func (a *Adviser) decide(r Reading, top Ceiling) Advice {
	if !r.OK {
		return a.blind(r)
	}
	for _, rule := range []func(Reading, Ceiling) (Advice, bool){a.grown, a.stopped, a.rough, a.tooFast, a.lowered, a.heard, a.foreign, a.unsettled, a.unknown, a.raise} {
		if d, ok := rule(r, top); ok {
			return d
		}
	}
	return a.hold(r, top)
}

// violent stops at once, whatever else is known. A line that may be noise or another's speaks
// only where all vibration together is violent too: then the headstock does shake so,
// whichever line is the spindle's. Where only all together is violent, it must last.
func (a *Adviser) violent(r Reading, firm bool) (Advice, bool) {
	if FeelOf(r.Shake) != Violent || !firm && !violentInAll(r) {
		return a.loud.stop(r)
	}
	d := Advice{Action: Stop, Say: fmt.Sprintf("Stop: it shakes %s at %v, violent.", ShakeText(r.Shake), r.Speed),
		Reasons: []Reason{violentReason()}}
	if !firm {
		d.Say = fmt.Sprintf("Stop: it shakes %s in all, violent.", ShakeText(r.Total))
		d.Reasons = append(d.Reasons, Reason{"total", "which of it comes once per turn is not sure, and does not matter for this", EdgesSource})
	}
	d.Reasons = append(d.Reasons, Reason{"make-better", remedies, practice})
	return d, true
}

func violentReason() Reason {
	return Reason{"violent", fmt.Sprintf("%s and more is violent", ShakeText(DefaultEdges[2])), EdgesSource}
}

const remedies = "let it stop, then look for cracks and a loose mount; saw or balance the blank, mount it shorter, or bring up the tailstock"

// cracked stops whatever turns, number or no number, when the blank is said to be cracked.
func (a *Adviser) cracked(r Reading) (Advice, bool) {
	if !a.Blank.cracked() || stands(r) {
		return Advice{}, false
	}
	return Advice{Action: Stop, Say: "Stop: a cracked blank must not turn.", Reasons: []Reason{crackReason}}, true
}

var crackReason = Reason{"crack", "a cracked blank may fly apart at any speed: " + mendCrack, practice}

const mendCrack = "cut the crack away, or glue it and let it harden"

// stands reports whether nothing turns. A stuck or gappy sensor cannot know that, nor one that
// feels violence without a line in it, or a line beyond the lathe's speeds, and must not say so to a hand near the chuck.
func stands(r Reading) bool {
	return r.Has(dsp.NoTurn) && r.Rival == 0 && !r.Has(dsp.Stuck) && !r.Has(dsp.Gap) && !r.Has(dsp.Folded) && !violentInAll(r)
}

// blind is the advice when there is no number: what was unsafe stays unsafe, the rest
// waits.
func (a *Adviser) blind(r Reading) Advice {
	if stands(r) && (a.alarm == nil || a.stoodStill()) {
		felt, why := "the sensor feels nothing turn", faultWords[dsp.NoTurn]
		if a.Lathe.rangeUnknown() != "" { // nobody looked beyond the search
			low, high := a.Lathe.ends()
			felt = fmt.Sprintf("no turning found between %.0f and %v", float64(low), high)
			why = felt + ": it stands still, turns too smoothly to be felt, or turns at another speed; say the lathe's (--lowest, --highest)"
		}
		d := Advice{Action: Wait, Say: "Wait: " + felt + ".", Reasons: []Reason{{"no-turn", why, ownReadings}}}
		if a.Blank.cracked() {
			d.Say, d.Reasons = d.Say+" Do not start a cracked blank.", append(d.Reasons, crackReason)
		}
		return d
	}
	reasons, explained := []Reason{}, []dsp.Fault{}
	for _, w := range whyFaulty {
		if r.Has(w.fault) && slices.Contains(r.Warnings, w.warning) {
			reasons, explained = append(reasons, Reason{w.code, w.warning, ownReadings}), append(explained, w.fault)
		}
	}
	if n := cmp.Or(r.Speed, r.Rival); r.Has(dsp.Doubtful) && n > 0 && len(a.Lathe.Steps) > 0 && a.Lathe.step(n) == 0 {
		reasons = append(reasons, Reason{"foreign", fmt.Sprintf("the line at about %v is none of the lathe's steps, %s rpm: check them, and whether the sensor sees another machine",
			floorTo(n+2.5, 5), strings.Trim(fmt.Sprintf("%.0f", a.Lathe.Steps), "[]")), ownReadings})
	}
	if turned := a.response.bins != nil && a.last-a.response.now <= longestSpan; turned && r.Has(dsp.Changing) {
		explained = append(explained, dsp.Weak, dsp.Doubtful) // the change itself makes it so
	} else if !turned && r.Has(dsp.Weak) && r.T+positive(r.Span)/2-a.begun < longestSpan {
		reasons = append(reasons, Reason{"early", fmt.Sprintf("a first number takes about %d s", longestSpan), ownReadings})
		explained = append(explained, dsp.Weak, dsp.Doubtful, dsp.Changing) // it may only be too short yet
	}
	for _, f := range r.Faults {
		if slices.Contains(explained, f) && (f != dsp.Folded || a.Checked) { // else the dial's word is some help
			continue
		}
		w := faultWords[f]
		switch rival := floorTo(r.Rival+2.5, 5); {
		case f != dsp.Doubtful || r.Rival == 0 || near(r.Rival, r.Speed, 2*sameSpeed): // that near it is the blur of a change
		case !a.Checked && r.Speed > 0 && !near(r.Rival, r.Speed, 2*dialError):
			w = fmt.Sprintf("it may turn at about %.0f or %v: the dial tells which", floorTo(r.Speed+2.5, 5), rival)
		default:
			w = strings.Replace(w, "another speed", fmt.Sprintf("another speed, about %v,", rival), 1)
		}
		if w != "" && (f != dsp.NoTurn || stands(r)) {
			reasons = append(reasons, Reason{string(f), w, ownReadings})
		}
	}
	if low, high := a.Lathe.ends(); r.Has(dsp.NoTurn) && r.Rival > 0 {
		reasons = append(reasons, Reason{"beyond", fmt.Sprintf("something shakes at about %v, and the spindle is looked for between %.0f and %v: if it turns so, say the lathe's speeds (--lowest, --highest)",
			floorTo(r.Rival+2.5, 5), float64(low), high), ownReadings})
	}
	if r.Has(dsp.NoTurn) && violentInAll(r) {
		reasons = append(reasons, Reason{"total", fmt.Sprintf("%s in all, violent, and what turns cannot be told from it", ShakeText(r.Total)), EdgesSource})
	}
	if len(reasons) == 0 {
		reasons = append(reasons, Reason{"no-number", "the reading has no number to act on", ownReadings})
	}
	if a.alarm != nil {
		if a.alarm.Action == Lower { // how it shook is of before
			a.alarm.Say = fmt.Sprintf("Lower to %v, if it is not there yet: %s.", a.alarm.Speed, reasons[0].Text)
		}
		d := *a.alarm
		d.Reasons = append(slices.Clone(d.Reasons), reasons...)
		return d
	}
	return Advice{Action: Wait, Say: "Wait: " + reasons[0].Text + ".", Reasons: reasons}
}

// stoodStill reports whether nothing has turned for 2 s, for sure. Then an alarm is over, and what
// was seen before it is forgotten: nobody knows what was done to the blank since.
func (a *Adviser) stoodStill() bool {
	if a.last-max(a.still, a.unsure) < settledTime {
		return false
	}
	was := a.Map()
	a.forget()
	a.alarm, a.before = nil, was
	return true
}

// whyFaulty are the warnings that say better than the code of a fault what is wrong, with codes of their own.
var whyFaulty = []struct {
	fault         dsp.Fault
	warning, code string
}{
	{dsp.Folded, dsp.FilledIn, "filled-in"},
	{dsp.Coarse, dsp.RoughTimes, "rough-times"},
	{dsp.Stuck, dsp.Numb, string(dsp.Stuck)},
	{dsp.Doubtful, dsp.Mains, "mains"},
	{dsp.Doubtful, dsp.Covered, "covered"},
}

// FaultWords says what a fault means to a turner, the same on every screen; "" for a code
// that is none.
func FaultWords(f dsp.Fault) string { return faultWords[f] }

var faultWords = map[dsp.Fault]string{
	dsp.NoTurn:   "no turning was found: it stands still, turns too smoothly to be felt, or at a speed that was not looked for",
	dsp.Weak:     "the shake is too small, too unsteady or too noisy to be sure of",
	dsp.Changing: "the speed is still changing",
	dsp.Clipped:  "the sensor is at the end of its range",
	dsp.Stuck:    "the sensor gives the same value again and again",
	dsp.Gap:      "samples are missing",
	dsp.Coarse:   "the sensor is too coarse for so small a shake",
	dsp.Folded:   "this sensor is too slow to be sure of the speed; say what the dial shows",
	dsp.Doubtful: "another speed explains the shake as well; check what the dial shows",
}

const lookAt = "look at the mount, the tenon and for cracks; something may be coming loose"

// grown stops on a shake that grows at steady speed.
func (a *Adviser) grown(r Reading, _ Ceiling) (Advice, bool) {
	g, loose := a.growth, a.watch.loosened()
	switch {
	case g >= growthFactor && r.Shake >= growthAtLeast:
		return Advice{Action: Stop, Say: fmt.Sprintf("Stop: the shake grew to %s, %.1f times, and not by the speed.", ShakeText(r.Shake), g),
			Reasons: []Reason{{"growth", fmt.Sprintf("%.1f times within 30 s beyond what the speed explains; 1.6 times is the limit", g), ownReadings}, {"look", lookAt, practice}}}, true
	case loose:
		return Advice{Action: Stop, Say: fmt.Sprintf("Stop: rattling began at %v, something may be loose.", r.Speed),
			Reasons: []Reason{{"loose", "many multiples of the turning speed came up at the same speed", ownReadings}, {"look", lookAt, practice}}}, true
	}
	return Advice{}, false
}

// tooFast lowers to below the ceiling, or stops when the lathe cannot run so slowly: on the step
// of a belt that runs fast, to one that is slower, and from a step above the ceiling also where its
// belt runs slow.
func (a *Adviser) tooFast(r Reading, top Ceiling) (Advice, bool) {
	to, own := a.Lathe.Fit(top.RPM), a.Lathe.step(r.Speed)
	because, more := fmt.Sprintf("%v is above the ceiling", r.Speed), ""
	switch {
	case to > 0 && r.Speed <= ceilingSlip*top.RPM && (own <= top.RPM || near(r.Speed, to, dialError)):
		return Advice{}, false
	case to > 0 && r.Speed <= ceilingSlip*top.RPM: // a belt that runs slow, on a step that is none to hold
		because = fmt.Sprintf("the step of %v is above the ceiling", own)
	case own > 0 && own <= to:
		because = fmt.Sprintf("the step of %v turns %v, above the ceiling", own, r.Speed)
		if to = a.Lathe.Fit(own / leastGain); to == 0 {
			return Advice{Action: Stop, Say: fmt.Sprintf("Stop: the lathe's slowest step, %v, turns %v and %.0f is allowed (%s). %s, or use a slower lathe.",
				own, r.Speed, float64(top.RPM), top.Name, remedy(top)), Reasons: []Reason{tooHigh(top)}}, true
		}
	case to > 0 && r.Speed < littleOver*top.RPM: // the dial is off by a little: ask for a little less
		less := a.Lathe.Fit(littleLess * top.RPM)
		if to = max(less, min(to, a.Lathe.Fit(a.slowest()))); less == 0 {
			more = " If it is set to that already, stop."
		}
	}
	d := a.below(to, top, because)
	d.Say += more
	return d, true
}

// below lowers to a speed below the ceiling, or stops where it is 0, none.
func (a *Adviser) below(to RPM, top Ceiling, because string) Advice {
	why := tooHigh(top)
	if to == 0 {
		return Advice{Action: Stop, Say: "Stop: " + tooSlow(a.Lathe, top), Reasons: []Reason{why}}
	}
	return Advice{Action: Lower, Speed: to, Say: fmt.Sprintf("Lower to %v: %s (%s).", to, because, top.Name), Reasons: []Reason{why, a.byHand()}}
}

func tooHigh(top Ceiling) Reason {
	return Reason{"ceiling", fmt.Sprintf("ceiling %.0f rpm (%s): %s", float64(top.RPM), top.Name, top.Text), top.Source}
}

// rough lowers to a comfortable speed below the ceiling, or stops when there is none. It
// comes before tooFast: a speed below the ceiling may be rough too.
func (a *Adviser) rough(r Reading, top Ceiling) (Advice, bool) {
	feel := FeelOf(r.Shake)
	limit := a.comfort()
	lowering := a.said.Action == Lower && a.said.Reasons[0].Code == "rough"
	over := a.settled() && r.Shake > overLimit*limit || lowering && r.Shake > backToCalm*limit
	if feel != Rough && !over {
		return Advice{}, false
	}
	why := []Reason{{"rough", fmt.Sprintf("%s is above the comfort limit of %s", ShakeText(r.Shake), ShakeText(limit)), ownLimit}}
	if r.Speed > ceilingSlip*top.RPM {
		why = append(why, tooHigh(top))
	}
	if r.Shake <= limit {
		why[0].Text = fmt.Sprintf("%s is still close to the comfort limit of %s", ShakeText(r.Shake), ShakeText(limit))
	}
	if g := a.growth; g >= risingFactor {
		return Advice{Action: Stop, Say: fmt.Sprintf("Stop: the shake grew to %s, %s, and not by the speed.", ShakeText(r.Shake), feel),
			Reasons: append(why, Reason{"growth", fmt.Sprintf("%.1f times within 30 s beyond what the speed explains", g), ownReadings}, Reason{"look", lookAt, practice})}, true
	}
	from := r.Speed
	if own := a.Lathe.step(from); own > 0 { // a belt that runs fast is no slower on its own step
		from = min(from, own)
	}
	to := a.comfortable(min(from/leastGain, top.RPM))
	if to == 0 {
		return Advice{Action: Stop, Say: fmt.Sprintf("Stop: it shakes %s at %v, and no slower speed is sure to be comfortable.", ShakeText(r.Shake), r.Speed),
			Reasons: append(why, Reason{"make-better", remedies, practice})}, true
	}
	why = append(why, Reason{"predicted", fmt.Sprintf("at %v at most %s is expected", to, ShakeText(a.response.edge(to))), ownReadings}, a.byHand())
	say := string(feel)
	if feel != Rough { // the turner's own limit is lower
		say = "with a comfort limit of " + ShakeText(limit)
	}
	return Advice{Action: Lower, Speed: to, Say: fmt.Sprintf("Lower to %v: it shakes %s, %s.", to, ShakeText(r.Shake), say), Reasons: why}, true
}

// comfortable is the fastest speed of the lathe up to n whose upper edge is comfortable, 0
// if there is none.
func (a *Adviser) comfortable(n RPM) RPM {
	if !a.response.refit() {
		return 0
	}
	if a.speeds == nil {
		a.speeds = a.Lathe.Speeds(a.Lathe.ends())
	}
	below, _ := slices.BinarySearch(a.speeds, n)
	for {
		if s := a.Lathe.Fit(n); s > 0 && a.response.edge(s) < backToCalm*a.comfort() && !a.avoids(s) {
			return s
		}
		if below--; below < 0 {
			return 0
		}
		n = a.speeds[below]
	}
}

// stopped keeps an earlier stop until the lathe stood still, or went clearly slower and
// settled; one that asks to look at the mount until it stood still.
func (a *Adviser) stopped(r Reading, _ Ceiling) (Advice, bool) {
	if a.alarm == nil || a.alarm.Action != Stop {
		return Advice{}, false
	}
	if a.settled() && r.Speed <= clearlySlower*a.alarmAt && !a.alarm.looks() {
		a.alarm = nil
		return Advice{}, false
	}
	return *a.alarm, true
}

// looks reports whether d asks to look at the mount.
func (d Advice) looks() bool {
	return slices.ContainsFunc(d.Reasons, func(r Reason) bool { return r.Code == "look" })
}

// clearlySlower is the share of the speed of a stop at which the danger is over: the force
// of an imbalance is then two thirds of what it was (chosen).
const clearlySlower = 0.8

// lowered keeps an earlier lower until it was done or has settled.
func (a *Adviser) lowered(r Reading, _ Ceiling) (Advice, bool) {
	if a.alarm != nil && a.settled() {
		a.alarm = nil
	}
	if a.alarm == nil || r.Speed <= ceilingSlip*a.alarm.Speed {
		return Advice{}, false
	}
	return *a.alarm, true
}

// foreign waits when the speed is none that the lathe runs, to within what a dial or a
// slipping belt is off.
func (a *Adviser) foreign(r Reading, _ Ceiling) (Advice, bool) {
	low, high := a.Lathe.ends()
	runs := r.Speed >= (1-dialError)*low && r.Speed <= (1+dialError)*high
	if len(a.Lathe.Steps) > 0 {
		runs = a.Lathe.step(r.Speed) > 0
	}
	if runs {
		return Advice{}, false
	}
	return Advice{Action: Wait, Say: fmt.Sprintf("Wait: %v is no speed of this lathe.", r.Speed),
		Reasons: []Reason{{"foreign", "the speed read is none that the lathe is said to run: check the lathe's speeds, and whether the sensor sees another machine", ownReadings}}}, true
}

func (a *Adviser) unsettled(r Reading, _ Ceiling) (Advice, bool) {
	if a.settled() {
		return Advice{}, false
	}
	return Advice{Action: Wait, Say: fmt.Sprintf("Wait: %v, %s so far, not settled for 2 s yet.", r.Speed, ShakeText(r.Shake)),
		Reasons: []Reason{{"unsettled", "2 s of good readings at one speed come first", practice}}}, true
}

// unknown waits where nobody said what turns.
func (a *Adviser) unknown(r Reading, _ Ceiling) (Advice, bool) {
	if !a.undescribed() {
		return Advice{}, false
	}
	return Advice{Action: Wait, Say: fmt.Sprintf("Wait: %s, %s at %v. Say the blank's diameter first.", ShakeText(r.Shake), FeelOf(r.Shake), r.Speed),
		Reasons: []Reason{{"diameter", "without the diameter no speed can be called safe, however calm it runs; length, balance and way of holding help too", practice}}}, true
}

// worthMore is how much faster the ceiling must be to be worth a word about what holds the
// speed below it (chosen).
const worthMore = 1.03

// hold stays, and says what keeps the speed from rising.
func (a *Adviser) hold(r Reading, top Ceiling) Advice {
	d := Advice{Action: Hold, Speed: a.present(r.Speed, top.RPM), Reasons: []Reason{}}
	d.Say = fmt.Sprintf("Hold %v: %s, %s.", d.Speed, ShakeText(r.Shake), FeelOf(r.Shake))
	least, _, total, over := a.last2s()
	if total >= DefaultEdges[1] {
		d.Say = fmt.Sprintf("Hold %v: %s once per turn, but %s in all, %s.", d.Speed, ShakeText(r.Shake), ShakeText(total), FeelOf(total))
		d.Reasons = append(d.Reasons, Reason{"total", fmt.Sprintf("all vibration together was up to %s in the last 2 s, and only %s comes once per turn: look for a heavy cut, a loose part, a worn belt or bearing before you go faster", ShakeText(total), ShakeText(r.Shake)), EdgesSource})
	}
	switch {
	case a.Lathe.Fit(top.RPM) <= worthMore*d.Speed:
		d.Reasons = append(d.Reasons, Reason{"ceiling", fmt.Sprintf("the lowest ceiling is %.0f rpm (%s): %s", float64(top.RPM), top.Name, top.Text), top.Source})
	case a.growth >= risingFactor:
		d.Reasons = append(d.Reasons, Reason{"growing", fmt.Sprintf("%.1f times within 30 s beyond what the speed explains: not faster while it grows", a.growth), ownReadings})
	case r.Shake >= justRisen*least:
		d.Reasons = append(d.Reasons, Reason{"growing", fmt.Sprintf("it rose by %.0f %% within %.0f s: not faster while it grows", 100*(r.Shake/least-1), over), ownReadings})
	case total < DefaultEdges[1]:
		d.Reasons = append(d.Reasons, Reason{"edge", fmt.Sprintf("faster could pass the comfort limit of %s, or is not known well enough", ShakeText(a.comfort())), ownReadings})
		if why, ok := a.beyond(r.Speed, top.RPM); ok && r.Unseen == 0 {
			d.Reasons = append(d.Reasons, why)
		}
	}
	return d
}

// present is the speed to name for staying where it is: the lathe's own step, the speed last
// named while it is within 1 %, else to the nearest 5 rpm; never above the ceiling or out
// of the lathe's range.
func (a *Adviser) present(n, ceiling RPM) RPM {
	if own := a.Lathe.step(n); own > 0 && own <= ceiling {
		return own
	}
	if near(n, a.held, 0.01) && a.held <= ceiling {
		return a.held
	}
	a.held = cmp.Or(a.Lathe.Fit(min(n+2.5, ceiling)), a.slowest())
	return a.held
}

// slowest is the lathe's slowest speed.
func (a *Adviser) slowest() RPM {
	low, _ := a.Lathe.ends()
	return low
}

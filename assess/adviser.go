package assess

import (
	"cmp"
	"math"
	"slices"

	"vibe/dsp"
)

// Action is what an advice asks for.
type Action string

// The actions.
const (
	Wait  Action = "wait" // no number to act on yet; change nothing
	Hold  Action = "hold"
	Raise Action = "raise"
	Lower Action = "lower"
	Stop  Action = "stop"
)

// Advice is one action and one speed, with every reason.
type Advice struct {
	Action Action `json:"action"`
	// Speed is where to go or stay; 0 with wait and stop.
	Speed    RPM       `json:"speed_rpm"`
	Say      string    `json:"say"` // one line, read at a glance
	Reasons  []Reason  `json:"reasons"`
	Ceilings []Ceiling `json:"ceilings"` // lowest first; empty while the diameter is not known
	Avoid    [][2]RPM  `json:"avoid"`    // shaky bands below the ceiling, rising
}

// Constants of the advice. Step and settled time are the laws'; the rest is chosen.
const (
	settledTime = 2.0  // s
	sameSpeed   = 0.02 // relative: a speed that has not changed
	longestGap  = 1.0  // s between readings before they count as missing
	smallStep   = 1.15 // largest raise without evidence
	wideStep    = 1.40 // largest raise on the evidence of the fit alone
	dialError   = 0.08 // relative: what a dial or a belt may be off, as in the search with a hint
	leastGain   = 1.01 // a smaller raise is not worth a hand on the dial
	ceilingSlip = 1.02 // above this much over a ceiling the dial must move
	littleOver  = 1.10 // up to this much over a ceiling it may be the dial that is off
	littleLess  = 0.94 // share of the ceiling that is asked for then: with dialError on it, it is just below ceilingSlip
	overLimit   = 1.05 // a settled shake this much over the comfort limit is lowered
	justRisen   = 1.10 // a shake this much over the least of the last 2 s is growing, and no place to go faster from
	backToCalm  = 0.9  // share of the comfort limit that ends a lowering, and that a raise must keep
)

// sources of the reasons.
const (
	ownReadings = "this lathe's own readings"
	ownLimit    = "comfort limit; " + EdgesSource
)

// Adviser turns readings into advice for one blank on one lathe. Set the fields before the
// first See; the zero value is an unknown blank on an unknown lathe, which may do little.
// Later only Comfort and Checked may be set; Change tells of another blank or task. Time is what the
// readings say. The fields must be valid.
type Adviser struct {
	Lathe Lathe
	Blank Blank
	Task  Task
	// Comfort is the shake in mm/s rms that this person takes; 0 is 4.5, and more than
	// the edge of rough counts as that edge.
	Comfort float64
	// Empty is the Map of the lathe with nothing mounted, nil if not known. The measured
	// speeds of it serve to part the lathe's own shake from the blank's; no speed follows.
	Empty []MapPoint
	// Checked says that the dial or pulley was compared with the speed of the readings.
	// Until then a raise is only said with an if: the action is hold.
	Checked bool

	response  response
	shown     fit        // of Map, where that of response is older
	avoided   [][2]RPM   // bands as of avoidedOf
	avoidedOf [2]float64 // s, of the fit, and the comfort limit
	watch     watch
	before    []MapPoint // the map until the lathe stood still after an alarm
	growth    float64    // of the watch, as of the newest ok reading
	tops      []Ceiling  // the ceilings, lowest first, as of topsAt, s
	topsAt    float64
	speeds    []RPM   // that the lathe runs, rising
	last      float64 // s, of the newest reading
	any       bool    // there was one
	since     float64 // s, first reading of the unbroken run of ok ones at one speed
	anchor    RPM     // speed of that run, 0: none
	alarm     *Advice // last stop or lower that nothing has proved over
	alarmAt   RPM     // speed at which it was given
	still     float64 // s, newest reading in which something turned, or that came late
	unsure    float64 // s, newest one that cannot know that nothing turns
	begun     float64 // s, before that nothing turned or nobody looked
	stood     bool    // nothing turned for 2 s since the last settled reading, or nobody knows what did for 30 s
	loud      loud    // the unbroken run of readings that are violent in all
	said      Advice  // last one
	held      RPM     // speed last named for staying where it is
}

// See takes the next reading and returns the advice as of then. Readings come in the order
// of their time; one that does not, or that is not ok, never raises a speed and never
// ends an earlier stop or lower. The slices of the result are the caller's.
func (a *Adviser) See(r Reading) Advice {
	r, firm := a.tidy(r)
	a.note(r)
	ceilings := a.ceilings()
	d, urgent := a.violent(r, firm)
	if !urgent {
		d, urgent = a.cracked(r)
	}
	if !urgent {
		d = a.decide(r, ceilings[0])
	}
	if d.Action == Lower {
		d = a.clear(d)
	}
	if d.Action == Stop && a.alarm != nil && a.alarm.looks() && !d.looks() { // it is still to be looked at
		d.Reasons = append(slices.Clone(d.Reasons), Reason{"look", lookAt, practice})
	}
	if repeated := a.alarm != nil && a.alarm.Say == d.Say; !repeated && (d.Action == Stop || d.Action == Lower) {
		kept := d
		a.alarm, a.alarmAt = &kept, 0
		if firm { // else no speed is known to be slower
			a.alarmAt = r.Speed
		}
	}
	a.said = d
	d.Reasons = slices.Clone(d.Reasons)
	if d.Action == Raise && r.Unseen > 0 {
		d = a.partly(d, r, ceilings[0])
	}
	if r.OK && !a.Checked {
		d = a.unchecked(d, r, ceilings[0])
	}
	if r.OK && d.Action != Wait {
		d.Reasons = append(d.Reasons, a.causesHere(r)...)
	}
	d.Ceilings, d.Avoid = []Ceiling{}, a.avoid()
	if d.Action == Hold {
		d.Avoid = without(d.Avoid, d.Speed)
	}
	if !a.undescribed() { // else those few would look like all there are
		d.Ceilings = slices.Clone(ceilings)
	}
	return d
}

// Map is shake against speed as known now: the speeds seen and the predictions for the
// others up to the lowest ceiling, rising. After an alarm and standing still it is that of
// before, until there is an ok reading. Empty, not nil, before the first one. Looking at it
// changes no advice to come.
func (a *Adviser) Map() []MapPoint {
	out := []MapPoint{}
	view := a.response
	if a.shown.when > view.when {
		view.fit = a.shown
	}
	if !view.refit() {
		return append(out, a.before...)
	}
	a.shown, a.response.room = view.fit, view.room
	seen := view.seen()
	for _, o := range seen {
		s := 1.96 * o.sigma
		out = append(out, MapPoint{o.speed, o.shake, max(0, o.shake-s), o.shake + s, true})
	}
	for _, p := range view.predict(a.ladder()) {
		if !slices.ContainsFunc(seen, func(o observed) bool { return near(o.speed, p.Speed, sameSpeed) }) {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b MapPoint) int { return cmp.Compare(a.Speed, b.Speed) })
	return out
}

// ladder is the speeds worth predicting: from the lathe's slowest up to the lowest ceiling,
// whether or not it has steps.
func (a *Adviser) ladder() []RPM {
	low, high := a.slowest(), a.ceilings()[0].RPM
	return Lathe{Low: low, High: high}.Speeds(low, high)
}

// tidy makes a reading that cannot be into one that is not ok. Firm reports whether its
// shake may be believed all the same when it is violent: however the clock goes, while the
// speed changes, at the end of the sensor's range.
func (a *Adviser) tidy(r Reading) (tidied Reading, firm bool) {
	timed := finite(r.T) && (!a.any || r.T > a.last)
	if !finite(r.T) {
		r.T = a.last
	}
	sane := r.Speed >= slowestTurn && r.Speed <= fastestTurn && r.Shake > 0 && r.Shake <= hardestShake && r.ShakeSE >= 0 && r.ShakeSE <= r.Shake
	if !sane {
		r.Speed, r.Shake, r.ShakeSE = 0, 0, 0
	}
	number := r.OK && !slices.ContainsFunc(r.Faults, forbids)
	other := func(f dsp.Fault) bool {
		return f != dsp.Changing && f != dsp.Clipped && f != dsp.Gap && (f != dsp.Stuck || stuck(r))
	}
	firm = sane && (number || len(r.Faults) > 0 && !slices.ContainsFunc(r.Faults, other))
	r.OK = number && sane && timed && r.Shake >= minShake
	return r, firm
}

// Beyond these no number of a reading is believed (chosen; every lathe is well within).
const (
	slowestTurn  RPM = 1
	fastestTurn  RPM = 1e5
	hardestShake     = 1e5 // mm/s rms
)

// note keeps what the reading adds: the run of ok readings at one speed, the map, the
// growth watch.
func (a *Adviser) note(r Reading) {
	broken := !r.OK || !a.any || r.T <= a.last || r.T-a.last > longestGap
	if r.T < a.last || r.T-a.last > growthTime { // another clock, or long ago
		a.forget()
	}
	if !r.Has(dsp.NoTurn) || !a.any || r.T < a.still || r.T-a.last > longestGap {
		a.still = r.T
	}
	if !stands(r) || r.T < a.unsure {
		a.unsure = r.T
	}
	a.loud.add(r, a.any && r.T >= a.last && r.T-a.last <= longestGap)
	from, to := r.T-positive(r.Span)/2, r.T+positive(r.Span)/2
	if !a.any || to < a.begun {
		a.begun = from
	}
	a.last, a.any = r.T, true
	if broken {
		a.anchor = 0
	}
	stood := r.Has(dsp.NoTurn) && a.last-a.still >= settledTime
	if stood {
		a.begun = to
	}
	if !a.stood && (stood || a.last-a.response.now > growthTime) {
		a.stood = a.response.refit()
	}
	if !r.OK {
		return
	}
	if !near(r.Speed, a.anchor, sameSpeed) {
		a.anchor, a.since = r.Speed, r.T
	}
	if a.stood && a.settled() {
		a.another(r)
	}
	a.before = nil
	a.watch.add(r, a.response, max(1, a.growth))
	a.response.add(r)
	a.growth = a.watch.growth()
}

// another forgets what was measured before the lathe stood still, where it shakes more now than
// the map has for this speed: another blank may be on, or the same held otherwise, and no raise is
// to rest on the one of before.
func (a *Adviser) another(r Reading) {
	a.stood = false
	if r.Shake > a.response.edge(r.Speed) {
		growing := a.watch // what came loose meanwhile has grown all the same
		a.forget()
		a.watch, a.since = growing, r.T
	}
}

func near(a, b RPM, within float64) bool {
	return b > 0 && math.Abs(float64(a/b)-1) <= within
}

// settled reports whether the readings of the last 2 s are ok and of one speed.
func (a *Adviser) settled() bool { return a.anchor > 0 && a.last-a.since >= settledTime }

// comfort is the comfort limit in mm/s rms, never above the edge of rough, however much more
// somebody has learned to bear: rough is lowered from, so a raise beyond that edge would be
// taken back at once; marks tell what a person is used to, not what chuck and wood hold; and
// whoever stands at the lathe next may be another.
func (a *Adviser) comfort() float64 {
	if a.Comfort > 0 {
		return min(a.Comfort, DefaultEdges[1])
	}
	return DefaultEdges[1]
}

// ceilings lists the ceilings of lathe, blank and task, and the one that the measured
// throw sets as of the last fit; lowest first.
func (a *Adviser) ceilings() []Ceiling {
	if a.tops == nil || a.topsAt != a.response.when {
		a.tops, a.topsAt = Ceilings(a.Lathe, a.Blank, a.Task), a.response.when
		if a.undescribed() {
			// The worst of all blanks would call every speed too fast; what is known of the
			// lathe and the task holds all the same.
			known := []string{"lathe", "chuck", "task"}
			if a.Blank.Held == Vacuum {
				known = append(known, "mount")
			}
			a.tops = slices.DeleteFunc(a.tops, func(c Ceiling) bool { return !slices.Contains(known, c.Name) })
		}
		if c := a.walk(); c.RPM > 0 && c.RPM < farAbove {
			a.tops = append(a.tops, c)
			slices.SortStableFunc(a.tops, func(a, b Ceiling) int { return cmp.Compare(a.RPM, b.RPM) })
		}
	}
	return a.tops
}

// undescribed reports whether nobody said how large the blank is. Then no speed can be
// called safe: rough and violent are still said, nothing else is.
func (a *Adviser) undescribed() bool { return a.Blank.Diameter == 0 }

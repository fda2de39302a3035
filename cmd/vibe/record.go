package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
	"vibe/sensor"
)

// document is what `vibe read --json` prints. What is not known is null, lists are never.
type document struct {
	Recording recording         `json:"recording"`
	Readings  []assess.Reading  `json:"readings"`
	Map       []assess.MapPoint `json:"map"`
	Advice    assess.Advice     `json:"advice"`
}

// recording describes the samples as they came.
type recording struct {
	Name    string      `json:"name"`
	Seconds float64     `json:"seconds"` // from the first sample to the last
	RateHz  *float64    `json:"rate_hz"` // samples that came, a second; nil below two samples
	Axes    int         `json:"axes"`
	Skipped int         `json:"skipped"` // bad rows left out, and samples known to be lost
	Faults  []dsp.Fault `json:"faults"`  // of the data, seen in any reading
	Notes   []string    `json:"notes"`   // what the source found out by itself
}

// ofData are the faults that speak of the recording and not of the spindle.
var ofData = []dsp.Fault{dsp.Clipped, dsp.Stuck, dsp.Gap, dsp.Coarse, dsp.Folded}

// record is what a run through the loop leaves. Its size does not grow with the length of
// the recording, but for the readings, which are kept only where they are to be printed.
type record struct {
	doc       document
	stretches []stretch
	turns     []recordings.Said // the last at which it became another advice
	cause     string            // of the newest ok reading
	cracked   bool              // the blank
	knocks    bool              // in some reading something did
	byDial    bool              // some number is what it is by the dial alone
	unseen    int               // directions that no ok reading measured, 3 where there is none
	band      [2]float64        // Hz, of the total
	samples   int
	since     float64  // s, time of the first of them
	until     float64  // s, time of the last
	holes     int      // longer than longHole
	missing   float64  // s, of all of them
	amiss     string   // what is wrong with the samples themselves, in words
	misses    int      // readings of which that is so
	good      int      // readings that may be used
	apart     []string // what to say of a dial that the newest ok reading does not agree with
	closing   assess.Closing
}

// turned appends what was said, where it asks for something else than what was said before. To wait asks for nothing.
func turned(turns []recordings.Said, s recordings.Said) []recordings.Said {
	asks := func(a assess.Advice) bool { return len(a.Reasons) > 0 && a.Reasons[0].Code == "dial" }
	if n := len(turns); n > 0 {
		if was := turns[n-1].Advice; was.Action == s.Advice.Action && was.Speed == s.Advice.Speed && asks(was) == asks(s.Advice) {
			return turns
		}
	}
	if s.Advice.Action == assess.Wait {
		return turns
	}
	return append(turns, s)
}

// shortest is how long a recording must be, in s, to be judged at all (chosen: two turns of
// a slow lathe; from there on the readings themselves say what they lack).
const shortest = 1

// input is one recording to be run through the loop.
type input struct {
	src      sensor.Source
	name     string
	job      job
	dial     assess.RPM // 0: not known
	comfort  float64    // mm/s, this person's limit; 0: not learned
	unlearnt error      // why the limit could not be read, nil if it could
	then     bool       // the limit is that of the kept session
	keep     bool       // all readings, for JSON
	progress *meter     // nil for none
	session  *keeper    // nil: it is not kept
	checked  bool       // the dial needs no comparing
	changes  []changeAt // of a session that runs again
	dials    []changeAt // those with another dial to look near
}

// follow runs the loop to the end of the source and closes it. Cancelling ctx closes the
// source early, which is an error like every other end but io.EOF.
func (in input) follow(ctx context.Context) (*record, error) {
	stop := context.AfterFunc(ctx, func() { in.src.Close() })
	defer stop()
	adviser, r := in.adviser(), newRecord(in.name)
	changed := func(until float64) {
		for _, c := range in.due(until) {
			c.tell(adviser)
		}
	}
	tracker, way := in.tracker(), hurry
	if len(in.dials) > 0 { // turn does not leave the tracker alone
		way = loop
	}
	err := way(in.src, tracker, adviser, func(b sensor.Block) {
		if r.samples == 0 && len(b.T) > 0 {
			in.session.dated(in.src)
			changed(b.T[0])
		}
		in.session.block(b)
		in.turn(tracker, b)
		r.block(b)
		in.progress.tell("%s: %s read ", in.name, clock(r.doc.Recording.Seconds))
	}, func(reading assess.Reading, advice assess.Advice) {
		in.session.see(reading, advice)
		if reading.OK && in.dial > 0 { // for the readings that follow: a raise needs two seconds of them
			adviser.Checked = agree(in.dial, reading.Speed)
			r.apart = nil
			if !adviser.Checked {
				r.apart = []string{fmt.Sprintf("the dial says %v and the sensor %v: every speed here is the sensor's; if the dial is far off or something else turns nearby, this may not be the spindle", in.dial, reading.Speed)}
			}
		}
		changed(reading.T + reading.Span/2)
		r.see(reading, advice, in.keep)
	})
	in.progress.clear()
	if err := cmp.Or(err, in.src.Close()); err != nil {
		return nil, err
	}
	known := slices.ContainsFunc(r.stretches, func(s stretch) bool { return s.ok })
	if len(r.stretches) == 0 || !known && r.doc.Recording.Seconds < shortest {
		return nil, hintf("record ten seconds or more at one speed",
			"%s: %s in %.3g s: too little to tell a speed", in.name, plural(r.samples, "sample", "samples"), r.doc.Recording.Seconds)
	}
	if r.holes > holesTold {
		r.doc.Recording.Notes = append(r.doc.Recording.Notes, fmt.Sprintf("no samples for %.1f s in all, in %d holes", r.missing, r.holes))
	}
	r.doc.Recording.Notes = append(r.doc.Recording.Notes, r.apart...)
	r.doc.Advice = r.closing.Advice(clock)
	r.cracked = slices.Contains(in.job.blank.Defects, assess.Crack)
	r.doc.Map = append([]assess.MapPoint{}, adviser.Map()...)
	return r, nil
}

func newRecord(name string) *record {
	return &record{unseen: 3, doc: document{Recording: recording{Name: name, Faults: []dsp.Fault{}, Notes: []string{}}, Readings: []assess.Reading{}}}
}

// adviser knows of the job what was said.
func (in input) adviser() *assess.Adviser {
	return &assess.Adviser{Lathe: in.job.lathe, Blank: in.job.blank, Task: in.job.task, Checked: in.dial > 0 || in.checked, Comfort: in.comfort, Empty: in.job.empty}
}

// agree reports whether dial and found are one speed: within 3 %. Chosen: pulleys and a
// dial's scale are that good; what is further off may be another machine.
func agree(dial, found assess.RPM) bool {
	return math.Abs(float64(found/dial-1)) <= 0.03
}

// tracker searches where this lathe can turn, with a tenth beyond its nominal ends
// (chosen: name plates and belts are not exact), near the dial's speed if that is known, or else near what its pulleys
// give.
func (in input) tracker() *dsp.Tracker {
	t := &dsp.Tracker{Hint: in.dial.Hz()}
	low, high := in.job.lathe.Range() // 0 where not known, as for the tracker
	t.Low, t.High = 0.9*low.Hz(), 1.1*high.Hz()
	for _, s := range in.job.lathe.Steps {
		t.Steps = append(t.Steps, s.Hz())
	}
	return t
}

func (r *record) block(b sensor.Block) {
	rec := &r.doc.Recording
	rec.Skipped += b.Lost
	if rec.Notes = append(rec.Notes, b.Notes...); len(b.T) == 0 {
		return
	}
	for _, t := range b.T {
		if r.samples == 0 {
			r.since = t
		}
		if hole := t - r.until; hole > longHole && hole > 20*(r.until-r.since)/float64(r.samples) && r.samples > 1 {
			if r.holes++; r.holes <= holesTold {
				rec.Notes = append(rec.Notes, fmt.Sprintf("no samples for %.1f s from %s on", hole, clock(r.until)))
			}
			r.missing += hole
		}
		r.samples++
		r.until = t
	}
	rec.Axes = len(b.Axes)
	rec.Seconds = math.Round(1e6*(r.until-r.since)) / 1e6
	if rate := math.Round(1e4*float64(r.samples-1-r.holes)/(r.until-r.since-r.missing)) / 1e4; rate > 0 && !math.IsInf(rate, 0) {
		rec.RateHz = &rate
	}
}

// longHole in the times, if it is many of the usual intervals too, is told and does not count for
// the rate (chosen: nothing that samples loses more in its stride).
const longHole = 0.5 // s

// holesTold is how many are told one by one (chosen: a sensor that sleeps every few seconds makes
// thousands in an hour).
const holesTold = 5

func (r *record) see(reading assess.Reading, advice assess.Advice, keep bool) {
	r.stretches = together(r.stretches, reading)
	r.closing.See(reading, advice)
	r.turns = turned(r.turns, recordings.Said{T: reading.T + reading.Span/2, Advice: advice})
	r.turns = r.turns[max(0, len(r.turns)-advicesShown-1):]
	if reading.OK {
		r.good++
		r.cause = reading.Cause
		r.unseen = min(r.unseen, reading.Unseen)
	}
	r.knocks = r.knocks || slices.Contains(reading.Warnings, dsp.Knocks)
	r.byDial = r.byDial || slices.Contains(reading.Warnings, dsp.ByDial)
	for _, w := range [...]string{dsp.Numb, dsp.RoughTimes, dsp.FilledIn} { // a reading counts once
		if slices.Contains(reading.Warnings, w) {
			r.amiss = w
			r.misses++
			break
		}
	}
	if reading.Band[1] > 0 {
		r.band = reading.Band
	}
	for _, f := range reading.Faults {
		if slices.Contains(ofData, f) && !slices.Contains(r.doc.Recording.Faults, f) {
			r.doc.Recording.Faults = append(r.doc.Recording.Faults, f)
		}
	}
	if keep {
		r.doc.Readings = append(r.doc.Readings, reading)
	}
}

// tryNext says what would help a recording that led to no advice, or whose dial was turned on the way.
func (r *record) tryNext(dial assess.RPM) []string {
	const few = 10 // times as many good ones, and it may be chance. Chosen
	if few*r.misses > r.good {
		return []string{r.amiss}
	}
	if i := slices.IndexFunc(r.stretches, stretch.elsewhere); dial > 0 && i > 0 {
		return []string{fmt.Sprintf("from %s on something else turns than near the %v of --speed, which holds for one speed: leave it out if the dial was turned", clock(r.stretches[i].from), dial)}
	}
	if r.doc.Advice.Action != assess.Wait {
		return nil
	}
	because := func(codes ...string) bool {
		return slices.ContainsFunc(r.doc.Advice.Reasons, func(why assess.Reason) bool { return slices.Contains(codes, why.Code) })
	}
	const bare = "fasten the sensor on bare metal near the front bearing"
	weak, doubtful := because(string(dsp.Weak)), because(string(dsp.Doubtful))
	known := slices.ContainsFunc(r.stretches, func(s stretch) bool { return s.ok })
	guessed := slices.ContainsFunc(r.stretches, func(s stretch) bool { return s.fast > 0 })
	longer := []string{"for a sure number record ten seconds or more at one speed"}
	switch {
	case because("mains", "covered", "beyond"): // which say it themselves
		return nil
	case because("early"):
		return longer
	case dial > 0 && !known && doubtful && guessed:
		return []string{fmt.Sprintf("what turns near the %v of --speed is not alone there: stop what else runs nearby, or record at another speed", dial)}
	case dial > 0 && !known && weak:
		return []string{fmt.Sprintf("what turns near the %v of --speed is too faint: %s, or record at a faster speed that is still calm", dial, bare)}
	case dial > 0 && !known:
		return []string{fmt.Sprintf("no clear line near the %v of --speed: check it, or leave it out to search all speeds", dial)}
	case dial == 0 && (doubtful || because(string(dsp.Folded))):
		return []string{"pass what the dial showed with --speed, about right is enough: it settles which line is the spindle"}
	case dial == 0 && !known && weak:
		return []string{"if it turned, pass what the dial showed with --speed, which makes weak recordings readable; or " + bare}
	case r.doc.Recording.Seconds < longEnough:
		return longer
	}
	return nil
}

// warned says what was warned of on the way.
func (r *record) warned() (say []string) {
	if r.byDial {
		say = append(say, dsp.ByDial)
	}
	if r.knocks {
		say = append(say, dsp.Knocks+" at times: look for what is loose, or catches, before going faster")
	}
	return say
}

// partly says what fewer than three axes, or dead ones, leave out.
func (r *record) partly() []string {
	if r.unseen == 0 || r.unseen == 3 {
		return nil
	}
	seen := fmt.Sprintf("no more than %d of three axes measured anything of their own", 3-r.unseen)
	if axes := r.doc.Recording.Axes; axes == 3-r.unseen {
		seen = "the recording has " + plural(axes, "axis", "axes") + " of three"
	}
	return []string{seen + ": what shakes in another direction is not seen, and may be more"}
}

// longEnough is about the recording at one speed that the README asks for, in s: a hand stops ten seconds a little early.
const longEnough = 9.5

// rateText is a rate in Hz to four digits, in plain figures.
func rateText(hz float64) string {
	if hz >= 1000 {
		return fmt.Sprintf("%.0f", hz)
	}
	return fmt.Sprintf("%.4g", hz)
}

// summary is the recording in one line.
func (r *record) summary() string {
	rec := r.doc.Recording
	s := fmt.Sprintf("%s: %s", rec.Name, clock(rec.Seconds))
	if rec.RateHz != nil {
		s += fmt.Sprintf(", %s samples a second", rateText(*rec.RateHz))
	}
	if rec.Axes == 0 {
		s = rec.Name + ": no samples"
	} else {
		s += fmt.Sprintf(", %s", plural(rec.Axes, "axis", "axes"))
	}
	if rec.Skipped > 0 {
		s += fmt.Sprintf(", %s missing or bad", plural(rec.Skipped, "sample", "samples"))
	}
	return s
}

func plural(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

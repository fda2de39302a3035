package assess

import (
	"fmt"
	"slices"
	"strings"

	"vibe/dsp"
)

// Closing finds the advice that a recording ends with. Most end with the lathe at rest, and
// "nothing turns" is no answer to somebody who asks where to go: the advice of the last
// turns is, said for the next time. The zero value is ready.
type Closing struct {
	last, kept  Advice
	at, stillAt float64 // s, of kept, and of the first reading after it in which nothing turned
	// readings since kept: all, those in which nothing turned, and those in a row that are neither
	// that nor a change of speed, at most mostVague+1
	after, still, vague int
}

const (
	// coasting is how long a lathe may take from its last steady turn to standing still, in s
	// (chosen; too long would let an old advice speak for a later run).
	coasting = 15
	// mostVague is how many weak or doubtful readings in a row may lie in between (chosen: less than a
	// second of them; a lathe that runs down is seen to, and with more nobody knows what it did meanwhile).
	mostVague = 3
	// atRest is how many readings in which nothing turned show that it stands (chosen: two
	// seconds of them).
	atRest = 8
)

// See takes a reading and the advice that followed from it, in the order of their time.
func (c *Closing) See(r Reading, d Advice) {
	c.last = d
	other := slices.ContainsFunc(r.Faults, func(f dsp.Fault) bool { return !slices.Contains(ofRunDown, f) })
	if r.OK || other || d.Action != Wait {
		*c = Closing{last: d, kept: d, at: r.T}
		return
	}
	c.after++
	vague := !r.Has(dsp.NoTurn) && !r.Has(dsp.Changing)
	switch {
	case c.vague > mostVague: // that stays
	case !vague:
		c.vague = 0
	case c.still < atRest: // later it is noise
		c.vague++
	}
	if r.Has(dsp.NoTurn) {
		if c.still == 0 {
			c.stillAt = r.T
		}
		c.still++
	}
}

// ofRunDown are the faults of a spindle that slows down, and of noise when it stands still.
var ofRunDown = []dsp.Fault{dsp.NoTurn, dsp.Changing, dsp.Weak, dsp.Doubtful}

// Advice is that of the last turns if the recording ends at rest, else the last one. clock
// writes a time in s. Its slices are not to be written to.
func (c *Closing) Advice(clock func(float64) string) Advice {
	d := c.kept
	alarm := d.Action == Stop || d.Action == Lower // is not lost in the noise of a lathe at rest
	ended := (2*c.still > c.after || alarm && c.still >= atRest) && c.stillAt-c.at <= coasting
	unsure := c.vague > mostVague && !alarm
	if !ended || unsure || d.Action == "" || d.Action == Wait {
		return c.last
	}
	if d.Action != Stop && d.Say != "" {
		d.Say = NextTime + strings.ToLower(d.Say[:1]) + d.Say[1:]
	}
	d.Reasons = append(slices.Clone(d.Reasons), Reason{"then-stopped", fmt.Sprintf("this held at %s, before the spindle stopped", clock(c.at)), "this recording"})
	return d
}

// NextTime begins what is said of a speed to a lathe that stands.
const NextTime = "Next time: "

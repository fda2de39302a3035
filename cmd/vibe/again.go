package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
	"vibe/sensor"
)

// changeAt is a recordings.Change with its time.
type changeAt struct {
	at float64 // s, see recordings.Change
	recordings.Change
}

// tell tells the adviser what it was told then.
func (c changeAt) tell(a *assess.Adviser) {
	a.Comfort, a.Checked = c.Comfort, c.Checked
	if c.Blank != nil {
		_ = a.Change(*c.Blank, c.Task) // what cannot be was not taken then either
	}
}

// due hands out, once and in order, what was said until a time in s.
func (in *input) due(until float64) []changeAt {
	n := 0
	for n < len(in.changes) && in.changes[n].at <= until {
		n++
	}
	now := in.changes[:n]
	in.changes = in.changes[n:]
	return now
}

// turn lets the tracker look near the dial that was said then, from the block on that begins there.
func (in *input) turn(tracker *dsp.Tracker, b sensor.Block) {
	for len(b.T) > 0 && len(in.dials) > 0 && in.dials[0].at <= b.T[0] {
		lookNear(tracker, in.dials[0].Dial)
		in.dials = in.dials[1:]
	}
}

// parted cuts the blocks of a source so that at each of some times, rising, one begins.
type parted struct {
	sensor.Source
	at   []changeAt
	rest sensor.Block
}

// Next implements sensor.Source.
func (p *parted) Next() (b sensor.Block, err error) {
	if b, p.rest = p.rest, b; len(b.T) == 0 {
		if b, err = p.Source.Next(); err != nil {
			return b, err
		}
	}
	for len(p.at) > 0 && len(b.T) > 0 && p.at[0].at <= b.T[0] {
		p.at = p.at[1:]
	}
	if len(p.at) > 0 {
		n, _ := slices.BinarySearch(b.T, p.at[0].at)
		b, p.rest = cutAt(b, n)
	}
	return b, nil
}

// cutAt makes two of a block: its first n samples, with what it says of the whole, and the others.
func cutAt(b sensor.Block, n int) (first, rest sensor.Block) {
	first, rest = b, sensor.Block{T: b.T[n:], Range: b.Range}
	first.T, first.Axes = b.T[:n:n], nil
	for _, x := range b.Axes {
		first.Axes, rest.Axes = append(first.Axes, x[:n:n]), append(rest.Axes, x[n:])
	}
	return first, rest
}

// again makes in the run of a kept session as it was: with all that was known then and said
// on the way. Where something else is said now it stays what it is, and left says what of the
// session is left out. A recording that is no kept session has no such thing.
func (in *input) again(cmd *cobra.Command) (left []string) {
	k, ok := in.src.(keptSource)
	if !ok {
		return nil
	}
	if err := in.changed(k); err != nil {
		left = append(left, "what was changed on the way cannot be read: "+err.Error())
	}
	if !cmd.Flags().Changed("speed") { // what the dial showed then stays so
		in.dialled(k)
	}
	if saidAnew(cmd.Flags()) {
		if n := len(in.changes) - len(in.dials); n > 0 {
			left = append(left, fmt.Sprintf("read anew with what you say now; %s on the way left out: vibe log show %d", plural(n, "change", "changes"), k.Number))
		}
		in.changes = nil
		// Nobody is named: it is who it was then, and of two limits the lower one counts.
		if was := k.Setup.Comfort; !cmd.Flags().Changed("who") && was > 0 && (in.comfort == 0 || was < in.comfort) {
			in.comfort, in.unlearnt, in.then = was, nil, true
		}
		return left
	}
	u := k.Setup
	in.job.blank, in.job.task, in.job.lathe = u.Blank, u.Task, u.Lathe
	in.comfort, in.unlearnt, in.then, in.checked = u.Comfort, nil, true, u.Checked
	var err error
	if in.job.empty, _, err = k.shop.Baseline(u.Lathe.Name, k.Number); err != nil {
		left = append(left, "the lathe's empty run cannot be read: "+err.Error())
	}
	return left
}

// changed reads what was changed on the way of a kept session; the error is that of the first change that cannot be read.
func (in *input) changed(k keptSource) error {
	marks, err := k.Marks()
	for _, m := range marks {
		if m.Kind != recordings.Changed {
			continue
		}
		c := changeAt{at: m.T}
		if bad := json.Unmarshal([]byte(m.Text), &c.Change); bad != nil {
			err = cmp.Or(err, fmt.Errorf("at %s: %w", clock(m.T), bad))
			continue
		}
		in.changes = append(in.changes, c)
	}
	return err
}

// dialled lets the line be looked for where the dial was said to be then.
func (in *input) dialled(k keptSource) {
	dial := assess.RPM(0)
	for _, c := range in.changes {
		if c.Dial != dial {
			in.dials, dial = append(in.dials, c), c.Dial
		}
	}
	if in.dials != nil {
		in.src = &parted{Source: k, at: in.dials}
	}
}

// ofViews are the flags that say how to look and not what at.
var ofViews = []string{"json", "shop", "from", "pace", "panel", "lan", "address", "sound", "no-keep"}

// saidAnew reports whether a flag says something of the work.
func saidAnew(fs *pflag.FlagSet) (anew bool) {
	fs.Visit(func(f *pflag.Flag) { anew = anew || !slices.Contains(ofViews, f.Name) })
	return anew
}

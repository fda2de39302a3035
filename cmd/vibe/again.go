package main

import (
	"encoding/json"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/recordings"
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

// again makes in the run of a kept session as it was: with all that was known then and said
// on the way. Where something else is said now it stays what it is, and left says what of the
// session is left out. A recording that is no kept session has no such thing.
func (in *input) again(cmd *cobra.Command) (left []string) {
	k, ok := in.src.(keptSource)
	if !ok {
		return nil
	}
	marks, err := k.Marks()
	if err != nil {
		left = append(left, "what was changed on the way cannot be read: "+err.Error())
	}
	for _, m := range marks {
		if m.Kind != recordings.Changed {
			continue
		}
		c := changeAt{at: m.T}
		if err := json.Unmarshal([]byte(m.Text), &c.Change); err != nil {
			left = append(left, fmt.Sprintf("a change at %s cannot be read: %v", clock(m.T), err))
			continue
		}
		in.changes = append(in.changes, c)
	}
	if saidAnew(cmd.Flags()) {
		if n := len(in.changes); n > 0 {
			left = append(left, fmt.Sprintf("read anew with what you say now; %s on the way left out: vibe log show %d", plural(n, "change", "changes"), k.Number))
		}
		in.changes = nil
		// Nobody is named: it is who it was then, and of two limits the lower one counts.
		if was := k.Setup.Comfort; !cmd.Flags().Changed("who") && was > 0 && (in.comfort == 0 || was < in.comfort) {
			in.comfort = was
		}
		return left
	}
	u := k.Setup
	in.job.blank, in.job.task, in.job.lathe, in.job.kept = u.Blank, u.Task, u.Lathe, true
	in.comfort, in.checked = u.Comfort, u.Checked
	if in.job.empty, _, err = k.shop.Baseline(u.Lathe.Name, k.Number); err != nil {
		left = append(left, "the lathe's empty run cannot be read: "+err.Error())
	}
	return left
}

// ofViews are the flags that say how to look and not what at.
var ofViews = []string{"json", "shop", "from", "pace", "panel", "lan", "address", "sound", "no-keep"}

// saidAnew reports whether a flag says something of the work.
func saidAnew(fs *pflag.FlagSet) (anew bool) {
	fs.Visit(func(f *pflag.Flag) { anew = anew || !slices.Contains(ofViews, f.Name) })
	return anew
}

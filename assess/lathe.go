package assess

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
)

// The range that counts for a lathe whose own is not known: the range of the search, not
// of a lathe.
const (
	searchLow  RPM = 60
	searchHigh RPM = 4000
)

// Lathe is what is known of a lathe. The zero value is an unknown one.
type Lathe struct {
	Name     string  `json:"name"`
	Low      RPM     `json:"low_rpm"`       // slowest speed; 0: not known
	High     RPM     `json:"high_rpm"`      // fastest speed; 0: not known
	Steps    []RPM   `json:"steps_rpm"`     // of the pulleys, in any order; nil: any speed from Low to High
	ChuckMax RPM     `json:"chuck_max_rpm"` // fastest speed written on the chuck; 0: not known, no ceiling from it
	Mass     float64 `json:"mass_kg"`       // with its stand and what weighs it down; 0: not known, counted as a light one
}

// lightestLathe is the mass in kg that a lathe counts as whose own is not known (chosen: hardly
// a wood lathe weighs less; more could let a light one walk).
const lightestLathe = 20

// mass is the lathe's in kg, and in words.
func (l Lathe) mass() (kg float64, words string) {
	if l.Mass > 0 {
		return l.Mass, ""
	}
	return lightestLathe, fmt.Sprintf("; its mass is not known and counts as %d kg", lightestLathe)
}

// MarshalJSON writes null for a mass that is not known.
func (l Lathe) MarshalJSON() ([]byte, error) {
	type plain Lathe // without this method
	return json.Marshal(struct {
		plain
		Mass number `json:"mass_kg"`
	}{plain(l), known(l.Mass, 6)})
}

// heaviestLathe is the largest mass in kg that is believed (chosen; large bowl lathes weigh a
// tenth of it).
const heaviestLathe = 10000

// Validate returns an InputError for a lathe that cannot be.
func (l Lathe) Validate() error {
	for _, n := range append([]RPM{l.Low, l.High, l.ChuckMax}, l.Steps...) {
		if !finite(float64(n)) || n < 0 || n > fastestTurn {
			return &InputError{fmt.Sprintf("%g rpm in the description of the lathe cannot be", float64(n)), fmt.Sprintf("give speeds in rpm, above zero and up to %.0f", float64(fastestTurn))}
		}
	}
	if !finite(l.Mass) || l.Mass < 0 || l.Mass > heaviestLathe {
		return &InputError{fmt.Sprintf("a lathe of %g kg cannot be", l.Mass), fmt.Sprintf("give its mass with the stand, up to %d kg, or leave it out", heaviestLathe)}
	}
	if slices.Contains(l.Steps, 0) {
		return &InputError{"a step of the lathe is 0 rpm", "list the speeds of the pulley steps alone"}
	}
	if low, high := l.ends(); low > high {
		return &InputError{fmt.Sprintf("slowest speed %v is above the fastest, %v", low, high), "check the lathe's speeds"}
	}
	return nil
}

// Range returns the slowest and the fastest speed of the lathe, each 0 where it is not known.
func (l Lathe) Range() (low, high RPM) {
	if len(l.Steps) > 0 {
		return slices.Min(l.Steps), slices.Max(l.Steps)
	}
	return l.Low, l.High
}

// ends returns the slowest and the fastest speed, the ends of the search where not known.
func (l Lathe) ends() (low, high RPM) {
	low, high = l.Range()
	return cmp.Or(low, searchLow), cmp.Or(high, searchHigh)
}

// rangeUnknown says which end of the range is not the lathe's own, "" when both are.
func (l Lathe) rangeUnknown() string {
	low, high := l.Range()
	from, to := l.ends()
	switch {
	case low == 0 && high == 0:
		return fmt.Sprintf("the lathe's own range of speeds is not known: %.0f to %v is only the range of the search", float64(from), to)
	case low == 0:
		return fmt.Sprintf("the lathe's slowest speed is not known: %v is only the end of the search", from)
	case high == 0:
		return fmt.Sprintf("the lathe's fastest speed is not known: %v is only the end of the search", to)
	}
	return ""
}

// Fit returns the fastest speed that the lathe runs and that is not above n: a step, or
// for a lathe without steps n to 5 rpm below. 0 when every speed is above n.
func (l Lathe) Fit(n RPM) RPM {
	low, high := l.ends()
	if !(n >= low) {
		return 0
	}
	if len(l.Steps) == 0 {
		return max(low, floorTo(min(n, high), 5))
	}
	var best RPM
	for _, s := range l.Steps {
		if s <= n {
			best = max(best, s)
		}
	}
	return best
}

// step is the step of the lathe that turns at n, the nearest to within what a dial or a belt may
// be off; 0 where there is none.
func (l Lathe) step(n RPM) (own RPM) {
	for _, s := range l.Steps {
		if near(n, s, dialError) && (own == 0 || math.Abs(float64(s-n)) < math.Abs(float64(own-n))) {
			own = s
		}
	}
	return own
}

// floorTo is n rounded down to a multiple of step.
func floorTo(n, step RPM) RPM { return RPM(int(n/step)) * step }

// Speeds lists the speeds that the lathe runs from low to high, rising: its steps, or a
// ladder of about 2.5 % ending with high.
func (l Lathe) Speeds(low, high RPM) []RPM {
	first, last := l.ends()
	low, high = max(low, first), min(high, last)
	var out []RPM
	if len(l.Steps) > 0 {
		for _, s := range slices.Sorted(slices.Values(l.Steps)) {
			if s >= low && s <= high {
				out = append(out, s)
			}
		}
		return slices.Compact(out)
	}
	for n := low; n < high; n = floorTo(max(n+5, n*1.025), 5) {
		out = append(out, n)
	}
	if high >= low && high > 0 {
		out = append(out, high)
	}
	return out
}

package assess

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Plan is what may be said before mounting.
type Plan struct {
	Window Window `json:"window"`
	// Start is the speed to switch on at; 0 when it must not be started, and when it is the
	// slowest speed of a lathe whose slowest is not known. Say tells which.
	Start RPM    `json:"start_rpm"`
	Say   string `json:"say"` // one line
	// More says which answers would allow a higher speed, and how high; "" if none.
	More     string    `json:"more"`
	Ceilings []Ceiling `json:"ceilings"` // lowest first, the first one wins
	Figures  Figures   `json:"figures"`
	// Assumed says what was not given and how it was counted.
	Assumed  []string `json:"assumed"`
	Cautions []string `json:"cautions"`
}

// Window is the range of speeds that the job is usually done at, once the blank has shown that
// it runs calmly: 0 and 0 when the lathe has none. Plan.Start, to switch on at, may well lie
// below Low. Low alone is 0 when it is the slowest speed of a lathe whose slowest is not known.
type Window struct {
	Low  RPM `json:"low_rpm"`
	High RPM `json:"high_rpm"`
}

// Figures show what a speed means, at the top of the window. 0 is unknown.
type Figures struct {
	RimSpeed float64 // m/s
	Energy   float64 // J of the whole blank turning
	Drop     float64 // m, height from which a piece leaving the rim would fall with its energy
	Slower   float64 // J less of Energy at 10 % less speed
	Whirl    RPM     // first bending speed, when length and wood are known and the blank is long
	// Offset in mm of the centre of mass at balance grade G 40, the grade of car wheels
	// (ISO 21940-11:2016, table 1).
	Offset float64
}

// MarshalJSON writes null for what is not known.
func (f Figures) MarshalJSON() ([]byte, error) {
	return jsonObject(
		field{"rim_speed_m_s", known(f.RimSpeed, 2)}, field{"energy_j", known(f.Energy, 1)},
		field{"drop_height_m", known(f.Drop, 2)}, field{"energy_saved_by_10_percent_j", known(f.Slower, 1)},
		field{"whirl_rpm", f.Whirl}, field{"g40_offset_mm", known(f.Offset, 3)})
}

// startShare is the share of the ceiling to switch on at (chosen: the less even the blank,
// the slower it starts).
var startShare = map[Balance]float64{True: 0.5, Sawn: 0.45, RoughBlank: 0.4, Burl: 0.33, "": 0.33}

// MakePlan returns the plan for a blank on a lathe. It returns an InputError, with a hint,
// for what cannot be and for a missing diameter. A cracked blank and no speed slow enough
// are no errors: the window and the start are then unknown, and Say tells what to do.
func MakePlan(l Lathe, b Blank, t Task) (Plan, error) {
	if err := Validate(l, b, t); err != nil {
		return Plan{}, err
	}
	if b.Diameter == 0 {
		return Plan{}, &InputError{"no diameter", "give the largest diameter that turns, as in --diameter 310mm or 12in"}
	}
	p := Plan{Ceilings: Ceilings(l, b, t), Cautions: Cautions()}
	_, p.Assumed = b.worst()
	p.Assumed = append(p.Assumed, unknownsOf(l, b, t)...)
	if b.cracked() {
		p.Ceilings = []Ceiling{} // no speed is slow enough
		p.Say = "Do not start: a cracked blank must not turn. First " + mendCrack + "; then plan again."
		return p, nil
	}
	p.More = sayMore(l, b, t)
	top := p.Ceilings[0]
	high := l.Fit(top.RPM)
	if high == 0 {
		p.Say = "Do not start: " + tooSlow(l, top)
		return p, nil
	}
	slowest, _ := l.Range()
	atLeast := func(n RPM) RPM { return max(slowest, l.Fit(n)) }
	p.Window = Window{High: high, Low: atLeast(min(high, max(taskRanges[t].low, thumbLow*high/thumbHigh)))}
	p.Start = atLeast(RPM(startShare[b.Balance]) * high)
	p.Figures = figures(b, high)
	p.Say = sayStart(l, p.Start, high, top.Name)
	if r := taskRanges[t]; r.low > high {
		p.Say += fmt.Sprintf(" The usual %v to %v for %s is too fast for this blank.", r.low, r.high, t)
	}
	return p, nil
}

// sayStart is where to start and how far to go. Where the lathe's slowest speed is not known
// it is the turner who must look at it: a lathe whose slowest is above high is none for
// this blank.
func sayStart(l Lathe, start, high RPM, top string) string {
	at := start.String()
	if start == 0 {
		at = "the lathe's slowest speed"
	}
	say := fmt.Sprintf("Start at %s; up to %v when it runs calmly (%s).", at, high, top)
	if slowest, _ := l.Range(); slowest == 0 {
		say += fmt.Sprintf(" Not on a lathe whose slowest speed is above %v.", high)
	}
	return say
}

// sayMore says which answers that were not given would allow a higher speed, at best, and
// how high: each alone and all together. "" when none would.
func sayMore(l Lathe, b Blank, t Task) string {
	type answer struct {
		open  bool
		words string
		give  func(*Blank, *Task)
	}
	var open []answer
	for _, a := range []answer{
		{b.Balance == "", "--balance true", func(b *Blank, _ *Task) { b.Balance = True }},
		{b.Length == 0, "--length " + strings.ReplaceAll(b.Said(b.Diameter), " ", ""), func(b *Blank, _ *Task) { b.Length = b.Diameter }},
		{b.Held == "", "--held faceplate", func(b *Blank, _ *Task) { b.Held = Faceplate }},
		{!b.tailstock(), "--tailstock", func(b *Blank, _ *Task) { b.Tailstock = true }},
		{t == "", "--task finishing", func(_ *Blank, t *Task) { *t = Finishing }},
	} {
		if a.open {
			open = append(open, a)
		}
	}
	with := func(given ...answer) RPM {
		b, t := b, t
		for _, a := range given {
			a.give(&b, &t)
		}
		return l.Fit(Ceilings(l, b, t)[0].RPM)
	}
	all := with(open...)
	if all <= with() {
		return ""
	}
	var each []string
	for i, a := range open {
		others := slices.Delete(slices.Clone(open), i, i+1)
		switch alone := with(a); {
		case alone > with():
			each = append(each, fmt.Sprintf("%s (up to %v)", a.words, alone))
		case with(others...) < all:
			each = append(each, a.words)
		}
	}
	say := "What was not said counts as the worst. If it is so, say " + strings.Join(each, ", ")
	if len(each) > 1 {
		say += fmt.Sprintf("; all together up to %v", all)
	}
	return say + "."
}

// Validate returns an InputError for what cannot be, alone or together.
func Validate(l Lathe, b Blank, t Task) error {
	if err := l.Validate(); err != nil {
		return err
	}
	if err := t.Validate(); err != nil {
		return err
	}
	return b.Validate(t)
}

// tooSlow says that the lathe has no speed below the ceiling, and what to do.
func tooSlow(l Lathe, top Ceiling) string {
	slowest, _ := l.Range()
	if slowest == 0 {
		return fmt.Sprintf("%.0f rpm is allowed (%s), slower than lathes run. %s, and say all that is known of it.", float64(top.RPM), top.Name, remedy(top))
	}
	return fmt.Sprintf("the lathe's slowest speed is %v and %.0f is allowed (%s). %s, or use a slower lathe.", slowest, float64(top.RPM), top.Name, remedy(top))
}

// remedy is what raises the ceiling.
func remedy(top Ceiling) string {
	known := map[string]string{"chuck": "Use another chuck", "task": "Leave this task", "mount": "Hold it another way",
		"whirl": "Make it shorter or bring up the tailstock", "diameter": "Make it smaller"}[top.Name]
	return cmp.Or(known, "Saw it round and balance it first")
}

func unknownsOf(l Lathe, b Blank, t Task) []string {
	var out []string
	add := func(unknown bool, words string) {
		if unknown {
			out = append(out, words)
		}
	}
	add(t == "", "task not given: counted as roughing")
	add(t == Drilling && b.Bit == 0, "bit not given: counted as the largest")
	add(l.rangeUnknown() != "", l.rangeUnknown())
	if holds := map[Held]string{"": "chuck", Chuck: "chuck", Faceplate: "faceplate"}[b.Held]; holds != "" {
		add(l.ChuckMax == 0, fmt.Sprintf("the %s's fastest speed is not known: read it on the %[1]s and stay below it", holds))
	}
	return out
}

func figures(b Blank, n RPM) Figures {
	f := Figures{RimSpeed: RimSpeed(b.Diameter, n), Energy: DiscEnergy(b.mass().likely, b.Diameter, n), Offset: BalanceOffset(40, n)}
	f.Drop = DropHeight(f.RimSpeed)
	f.Slower = f.Energy - DiscEnergy(b.mass().likely, b.Diameter, 0.9*n)
	if WoodOf(b.Wood).Known() && b.Length >= slender*b.Diameter {
		f.Whirl = b.whirl()
	}
	return f
}

package assess

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Task is the stage of the work. "" is unknown and counts as Roughing.
type Task string

// The tasks.
const (
	Roughing  Task = "roughing"
	Shaping   Task = "shaping"
	Finishing Task = "finishing"
	Sanding   Task = "sanding"
	Drilling  Task = "drilling"
	Hollowing Task = "hollowing"
	Threading Task = "threading"
	Texturing Task = "texturing"
	Chatter   Task = "chatter"
)

// Tasks lists the tasks.
func Tasks() []Task {
	return []Task{Roughing, Shaping, Finishing, Sanding, Drilling, Hollowing, Threading, Texturing, Chatter}
}

// Validate returns an InputError for a word that is no task.
func (t Task) Validate() error { return oneOf("task", t, Tasks()...) }

// Ceiling is a speed that must not be passed, and why.
type Ceiling struct {
	Name    string `json:"name"`
	RPM     RPM    `json:"rpm"`
	Text    string `json:"text"`    // plain words
	Formula string `json:"formula"` // with the numbers put in, "" where there is none
	Source  string `json:"source"`
}

// The rule of thumb: diameter × speed between 15 000 and 22 500 cm·rpm (common practice,
// no source). The trade also writes 6000 to 9000 inch·rpm, which is 15 240 to 22 860, and
// calls it a rim speed of 18 to 27 mph or 29 to 43 km/h: 6000 to 9000 inch·rpm is 7.98 to
// 11.97 m/s, 17.9 to 26.8 mph, 28.7 to 43.1 km/h. The centimetre form is the lower one and
// is used for all.
const (
	thumbLow  = 15000
	thumbHigh = 22500
)

// Ceilings lists every ceiling that applies, lowest first: the first one wins. What is not
// known of lathe, blank and task counts as the less favourable case; a ceiling of what is
// not known at all is listed only where it wins. The arguments must be valid.
func Ceilings(l Lathe, b Blank, t Task) []Ceiling {
	guessed := map[string]string{} // by the name of a ceiling, what of it was not told
	if b.Length == 0 {
		guessed["whirl"] = "the length"
	}
	if b.Diameter == 0 {
		guessed["diameter"], guessed["whirl"] = "the diameter", "the diameter"
	}
	if b.Held == "" {
		guessed["mount"] = "how it is held"
	}
	b, _ = b.worst()
	out := []Ceiling{latheCeiling(l), diameterCeiling(b)}
	if l.ChuckMax > 0 {
		out = append(out, Ceiling{"chuck", l.ChuckMax, "the fastest speed written on the chuck", "", "the chuck's own rating"})
	}
	for _, c := range []Ceiling{blankCeiling(b, t), mountCeiling(b), taskCeiling(b, t), whirlCeiling(b)} {
		if c.RPM > 0 && c.RPM <= farAbove {
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b Ceiling) int { return cmp.Compare(a.RPM, b.RPM) })
	if what := guessed[out[0].Name]; what != "" {
		out[0].Text += "; " + what + " was not told, and counts as the worst"
	}
	return append(out[:1], slices.DeleteFunc(out[1:], func(c Ceiling) bool { return guessed[c.Name] != "" })...)
}

// farAbove is the speed above which a ceiling is not worth naming: no wood lathe gets
// there.
const farAbove RPM = 10000

func latheCeiling(l Lathe) Ceiling {
	_, high := l.ends()
	if _, own := l.Range(); own == 0 {
		return Ceiling{"lathe", high, "the lathe's fastest speed is not known; this is only the end of the search", "", practice}
	}
	return Ceiling{"lathe", high, "the lathe's fastest speed", "", "this lathe"}
}

func diameterCeiling(b Blank) Ceiling {
	n := RPM(thumbHigh / (float64(b.Diameter) / 10))
	formula := fmt.Sprintf("22 500 cm·rpm / %.1f cm", float64(b.Diameter)/10)
	if b.Inches {
		formula = fmt.Sprintf("%.0f in·rpm / %s", thumbHigh*10/inch, b.Said(b.Diameter))
	}
	return Ceiling{"diameter", n, fmt.Sprintf("the rule of thumb, diameter times speed, at its top for %s: a rim speed of %.1f m/s", b.Said(b.Diameter), RimSpeed(b.Diameter, n)),
		formula, practice}
}

// blankCeiling is the rule of thumb for a blank that is not round, even, small and well
// held: shares of its top, multiplied (each chosen after common practice: the less
// balanced, larger and longer, the lower in the window, or below it).
func blankCeiling(b Blank, t Task) Ceiling {
	share, why := 1.0, []string(nil)
	lower := func(by float64, words string) {
		if by < 1 {
			share *= by
			why = append(why, fmt.Sprintf("%s × %.2f", words, by))
		}
	}
	lower(balanceShare(b.Balance, t))
	lower(1-0.2*between01(float64(b.Diameter), 250, 450), "large diameter")
	if !b.tailstock() {
		lower(0.85, "no tailstock")
		lower(1-0.4*between01(float64(b.Length/b.Diameter), 1, 3), "long overhang")
		if b.Held == Screw || b.Held == Vacuum { // neither takes a moment that could be relied on
			lower(0.8, "held by one screw, by suction or nobody said how")
		}
	}
	if t == Sanding {
		lower(thumbLow/float64(thumbHigh), "sanding, slower than the finishing cut")
	}
	for _, d := range []Defect{Void, Bark, Punky, Crack} {
		if slices.Contains(b.Defects, d) {
			lower(map[Defect]float64{Void: 0.8, Bark: 0.8, Punky: 0.7, Crack: 0.5}[d], string(d))
		}
	}
	if share == 1 {
		return Ceiling{}
	}
	top := diameterCeiling(b)
	return Ceiling{"blank", RPM(share) * top.RPM, fmt.Sprintf("the rule of thumb's %.0f rpm, less for this blank: %s", float64(top.RPM), strings.Join(why, ", ")),
		fmt.Sprintf("%s × %.2f", top.Formula, share), practice}
}

// balanceShare is the share of the rule of thumb for a balance, at which a blank counts as
// no better than the task can have made it: the middle of the rule when sawn, its low end
// when rough or being roughed, below it for a burl.
func balanceShare(b Balance, t Task) (float64, string) {
	share, word := map[Balance]float64{True: 1, Sawn: 5.0 / 6, RoughBlank: 2.0 / 3, Burl: 0.5}[b], string(b)
	switch {
	case (t == Roughing || t == "") && share > 2.0/3:
		return 2.0 / 3, "still to be roughed"
	case t == Shaping && share > 5.0/6:
		return 5.0 / 6, "still to be shaped"
	}
	return share, word + " balance"
}

// between01 is where v lies from low to high: 0 up to low, 1 from high on.
func between01(v, low, high float64) float64 { return min(1, max(0, (v-low)/(high-low))) }

func mountCeiling(b Blank) Ceiling {
	if b.Held != Vacuum {
		return Ceiling{}
	}
	return Ceiling{"mount", 600, "a vacuum chuck runs at 600, and never over 800", "", practice}
}

// taskRange is the trade's range of a task in rpm, 0 where it has no end.
type taskRange struct {
	low, high RPM
	text      string
}

var taskRanges = map[Task]taskRange{
	Threading: {200, 400, "thread chasing by hand runs at 200 to 400 (a thread cutter running on the spindle, with the blank not turning, at about 2500)"},
	Texturing: {400, 700, "texturing runs at 400 to 700"},
	Chatter:   {1200, 2800, "chatter work runs at 1200 to 2800"},
	Hollowing: {0, 1200, "even a small box is hollowed at about 1200"},
}

func taskCeiling(b Blank, t Task) Ceiling {
	if t == Drilling {
		return drillCeiling(b)
	}
	r := taskRanges[t]
	return Ceiling{"task", r.high, r.text, "", practice}
}

// The trade's rule keeps a bit of evenBit below 1000 rpm, chosen as fullBit.
const (
	evenBit MM = 25
	fullBit    = 990.0 // rpm
)

// drillCeiling keeps a bit larger than that slower in proportion.
func drillCeiling(b Blank) Ceiling {
	bit, count := b.Bit, "this one is"
	if bit == 0 {
		bit, count = min(largestBit, b.Diameter), "not given, this one counts as"
	}
	c := Ceiling{"task", fullBit, fmt.Sprintf("a bit of up to %s runs below 1000, a larger one slower in proportion; %s %s", evenBit.In(b.BitInches), count, bit.In(b.BitInches)),
		fmt.Sprintf("%.0f rpm, as the bit is no larger than %s", fullBit, evenBit.In(b.BitInches)), practice}
	if bit > evenBit {
		c.RPM = fullBit * RPM(evenBit/bit)
		c.Formula = fmt.Sprintf("%.0f rpm × %s / %s", fullBit, evenBit.In(b.BitInches), bit.In(b.BitInches))
	}
	return c
}

func whirlCeiling(b Blank) Ceiling {
	n := b.whirl()
	return Ceiling{"whirl", whirlShare * n, "a long thin blank starts to whip at its first bending speed; kept below 70 % of it",
		fmt.Sprintf("0.7 × %.0f rpm", float64(n)),
		"Thomson, Theory of Vibration with Applications, table 9.5-1; Wood Handbook FPL-GTR-190, table 5-3a"}
}

// whirlShare keeps the response to bow and imbalance below 1/(1−0.7²), about twice the
// slow one (chosen).
const whirlShare = 0.7

// walk is the speed at which the imbalance as measured throws with a fifth of the lathe's
// weight: m·e = X·(M+b) with X the throw, M the lathe's mass and b the blank's, so that m·e·ω²
// is 0.2·M·g at ω = √(0.2·g/X · M/(M+b)). All of both may move (the careful side: less does, and
// m·e is then less). Its RPM is 0 where X is not known. A blank that nobody described is none.
func (a *Adviser) walk() Ceiling {
	x := a.response.throw()
	if x == 0 {
		return Ceiling{}
	}
	lathe, counted := a.Lathe.mass()
	blank := 0.0
	if b, _ := a.Blank.worst(); !a.undescribed() {
		blank = b.mass().high
	}
	return Ceiling{"walk", Turns(math.Sqrt(walkShare*gravity*1000/x*lathe/(lathe+blank)) / (2 * math.Pi)),
		"the imbalance as measured then throws with a fifth of the lathe's weight, and the lathe may walk" + counted,
		fmt.Sprintf("60/2π × √(0.2 × g / %.3f mm × %.3g kg / (%.3g kg + %.3g kg))", x, lathe, lathe, blank),
		"Thomson, Theory of Vibration with Applications, eq. 3.2-4, on " + ownReadings + "; the share is " + practice}
}

package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
)

// The largest blank that is believed, and what an unknown diameter or length then counts as (chosen: more than nearly every wood
// lathe takes; smaller would let an unknown blank turn faster).
const (
	largestDiameter MM = 900
	largestLength   MM = 2500
	largestBit      MM = 100 // drills for the lathe end below this; chosen
)

// Held is how the blank is held. "" is unknown and counts as a vacuum chuck.
type Held string

// The ways of holding.
const (
	Chuck     Held = "chuck"
	Faceplate Held = "faceplate"
	Centres   Held = "centres" // the tailstock is then part of it
	Vacuum    Held = "vacuum"
	Screw     Held = "screw"
)

// Balance is how far the blank is from round and even. "" is unknown and counts as Burl.
type Balance string

// The balances, from best to worst.
const (
	True       Balance = "true"  // turned round
	Sawn       Balance = "sawn"  // cut round on the bandsaw
	RoughBlank Balance = "rough" // a log or an uncut block
	Burl       Balance = "burl"  // uneven in shape and density
)

// Defect is a fault of the wood that makes it likelier to come apart.
type Defect string

// The defects.
const (
	Void  Defect = "void"
	Bark  Defect = "bark"
	Crack Defect = "crack"
	Punky Defect = "punky" // soft, half rotten wood
)

// Helds lists the ways of holding.
func Helds() []Held { return []Held{Chuck, Faceplate, Centres, Vacuum, Screw} }

// Balances lists the balances, from best to worst.
func Balances() []Balance { return []Balance{True, Sawn, RoughBlank, Burl} }

// Defects lists the defects.
func Defects() []Defect { return []Defect{Void, Bark, Crack, Punky} }

// Blank is the piece of wood on the lathe. The zero value is a blank of which nothing is
// known; each zero field counts as the less favourable case.
type Blank struct {
	Diameter  MM       `json:"diameter_mm"`      // largest of the swing
	Length    MM       `json:"length_mm"`        // from the mounting to the far end
	Mass      float64  `json:"mass_kg"`          // 0: reckoned from wood, moisture and size
	Wood      string   `json:"wood"`             // common name, see Woods; "" or another name: heavy and weak
	Moisture  float64  `json:"moisture_percent"` // of the dry mass; 0: soaking wet
	Held      Held     `json:"held"`
	Tailstock bool     `json:"tailstock"` // supports the far end; implied by Centres
	Balance   Balance  `json:"balance"`
	Defects   []Defect `json:"defects"` // seen; nil is none seen
	Bit       MM       `json:"bit_mm"`  // diameter of the drill, for the task drilling; 0: as large as it can be
	// Inches, and BitInches, say that its sizes, and the drill's, were said in inches: they are
	// said back so.
	Inches    bool `json:"inches,omitempty"`
	BitInches bool `json:"bit_inches,omitempty"`
}

// Said writes a size of the blank in the unit that its sizes were said in.
func (b Blank) Said(l MM) string { return l.In(b.Inches) }

// tailstock reports whether the far end is supported.
func (b Blank) tailstock() bool { return b.Tailstock || b.Held == Centres }

// cracked reports whether a crack was seen. Such a blank is not to be started.
func (b Blank) cracked() bool { return slices.Contains(b.Defects, Crack) }

// Validate returns an InputError for a blank that cannot be, for this task, and nil when it can. What is not known is no error, and neither is a crack: the
// plan and the advice speak of it.
func (b Blank) Validate(task Task) error {
	for _, check := range []func() error{
		b.sizes,
		b.words,
		func() error { return b.drill(task) },
		b.weight,
	} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (b Blank) sizes() error {
	for _, c := range []struct {
		name       string
		value, top float64
		unit, hint string
	}{
		{"diameter", float64(b.Diameter), float64(largestDiameter), "mm", "give the largest diameter that turns, with its unit, as in --diameter 310mm or 12in"},
		{"length", float64(b.Length), float64(largestLength), "mm", "give the length from the mounting to the far end, with its unit, as in --length 90mm"},
		{"mass", b.Mass, 2000, "kg", "weigh the blank, as in --mass 4.2kg, or leave it out"},
		{"moisture", b.Moisture, 300, "%", "give the moisture in percent of the dry mass, as in 12, or leave it out"},
		{"bit", float64(b.Bit), float64(largestBit), "mm", "cut a larger hole with a turning tool"},
	} {
		switch {
		case !finite(c.value) || c.value < 0:
			return &InputError{fmt.Sprintf("%s %g %s cannot be", c.name, c.value, c.unit), c.hint}
		case c.value > c.top && c.unit == "mm":
			inches := b.Inches && c.name != "bit" || b.BitInches && c.name == "bit"
			return &InputError{fmt.Sprintf("%s %s is more than %s", c.name, MM(c.value).In(inches), MM(c.top).In(inches)), c.hint}
		case c.value > c.top:
			return &InputError{fmt.Sprintf("%s %g %s is more than %g %s", c.name, c.value, c.unit, c.top, c.unit), c.hint}
		case c.value > 0 && c.value < 1 && c.unit == "mm":
			return &InputError{fmt.Sprintf("%s %g mm is too small to turn", c.name, c.value), c.hint}
		}
	}
	cylinder := math.Pi / 4 * float64(b.Diameter) * float64(b.Diameter) * float64(b.Length) * 1e-9 // m³
	if b.Mass > 0 && b.Mass < lightest*cylinder {
		return &InputError{fmt.Sprintf("%.3g g are too little for a blank of %s by %s", 1000*b.Mass, b.Said(b.Diameter), b.Said(b.Length)), "grams for kilograms? Give the mass as in --mass 4.2kg, or leave it out"}
	}
	return nil
}

// lightest is the mass in kg a m³ of its cylinder below which no blank is believed (chosen: a bowl of
// balsa turned down to a twentieth).
const lightest = 5.0

func (b Blank) words() error {
	if err := oneOf("way of holding", b.Held, Helds()...); err != nil {
		return err
	}
	if err := oneOf("balance", b.Balance, Balances()...); err != nil {
		return err
	}
	for _, d := range b.Defects {
		if err := oneOf("defect", d, Defects()...); err != nil {
			return err
		}
	}
	return nil
}

// oneOf returns an InputError when word is neither empty nor among allowed.
func oneOf[S ~string](what string, word S, allowed ...S) error {
	if word == "" || slices.Contains(allowed, word) {
		return nil
	}
	var names []string
	for _, a := range allowed {
		names = append(names, string(a))
	}
	return &InputError{fmt.Sprintf("no such %s: %q", what, word), "one of " + strings.Join(names, ", ")}
}

func (b Blank) drill(task Task) error {
	switch {
	case b.Bit > 0 && task != Drilling:
		return &InputError{fmt.Sprintf("a bit of %s does not go with the task %q", b.Bit.In(b.BitInches), task), "say --task drilling, or leave the bit out"}
	case b.Bit > 0 && b.Diameter > 0 && b.Bit >= b.Diameter:
		return &InputError{fmt.Sprintf("a bit of %s does not fit into a blank of %s", b.Bit.In(b.BitInches), b.Said(b.Diameter)), "the bit must be smaller than the blank"}
	case task == Drilling && b.Held == Centres:
		return &InputError{"a blank between centres cannot be drilled from the tailstock", "hold it in a chuck or on a faceplate"}
	}
	return nil
}

func (b Blank) weight() error {
	most := b.mass().high
	b.Mass = 0
	if most == 0 || b.Diameter == 0 || b.Length == 0 {
		return nil
	}
	if solid := b.mass().high; most > solid*(1+1e-9) {
		return &InputError{fmt.Sprintf("%.2f kg is more than a solid cylinder of %s by %s can weigh (%.2f kg)", most, b.Said(b.Diameter), b.Said(b.Length), solid),
			"check mass, diameter, length, wood and moisture, and their units"}
	}
	return nil
}

// massRange is a mass in kg: the likely value, 0 when wood or size are not known, and the
// heaviest it may well be, 0 when the size is not known.
type massRange struct{ likely, high float64 }

// mass of the blank: as weighed, or that of the solid cylinder, π/4·D²·L·ρ.
func (b Blank) mass() massRange {
	if b.Mass > 0 {
		return massRange{b.Mass, b.Mass}
	}
	d, l := float64(b.Diameter)/1000, float64(b.Length)/1000
	volume := math.Pi / 4 * d * d * l
	likely, high := WoodOf(b.Wood).Density(b.Moisture)
	return massRange{volume * likely, volume * high}
}

// worst is b with every unknown that decides a ceiling counted as the less favourable case,
// and what was counted, in words.
func (b Blank) worst() (Blank, []string) {
	var said []string
	count := func(unknown bool, set func(), format string, args ...any) {
		if unknown {
			set()
			said = append(said, fmt.Sprintf(format, args...))
		}
	}
	count(b.Diameter == 0, func() { b.Diameter = largestDiameter }, "diameter not given: counted as %s", b.Said(largestDiameter))
	count(b.Length == 0, func() { b.Length = largestLength }, "length not given: counted as %s", b.Said(largestLength))
	count(b.Balance == "", func() { b.Balance = Burl }, "balance not given: counted as an uneven burl")
	count(b.Held == "", func() { b.Held = Vacuum }, "way of holding not given: counted as a vacuum chuck")
	count(!WoodOf(b.Wood).Known(), func() {}, "wood not given or not in the table: counted as the heaviest and least stiff")
	count(b.Moisture == 0, func() {}, "moisture not given: counted as soaking wet")
	return b, said
}

// MarshalJSON writes null for what is not known.
func (b Blank) MarshalJSON() ([]byte, error) {
	type plain Blank // without this method
	return json.Marshal(struct {
		plain
		Mass     number   `json:"mass_kg"`
		Wood     *string  `json:"wood"`
		Moisture number   `json:"moisture_percent"`
		Held     *Held    `json:"held"`
		Balance  *Balance `json:"balance"`
	}{plain(b), known(b.Mass, 6), word(b.Wood), known(b.Moisture, 3), word(b.Held), word(b.Balance)})
}

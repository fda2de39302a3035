package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/recordings"
)

// job is what a turner says about the work: the blank, the lathe it hangs on, what is to
// be done. What is not said stays unknown, and unknown never makes a speed higher.
type job struct {
	blank assess.Blank
	lathe assess.Lathe
	task  assess.Task

	shop  shopFile
	empty []assess.MapPoint // how it shakes with nothing mounted, nil if not known
}

// flags registers the flags that describe a job, the same in every command.
func (j *job) flags(fs *pflag.FlagSet) {
	b, l := &j.blank, &j.lathe
	fs.Var(length(&b.Diameter, &b.Inches), "diameter", "largest diameter that turns: 310mm, 31cm or 12in")
	fs.Var(length(&b.Length, &b.Inches), "length", "length from the mounting to the far end")
	fs.Var(amount(massKind, &b.Mass), "mass", "of the blank: 2.4kg, 5lb (else from wood and size)")
	fs.Var(freeText(&b.Wood), "wood", "kind of wood: cherry, ash, white oak")
	fs.Var(amount(percentKind, &b.Moisture), "moisture", "of the dry mass: 12 when seasoned (else as wet)")
	fs.Var(word(&b.Held, assess.Helds()...),
		"held", "by chuck, faceplate, centres, vacuum or screw")
	fs.BoolVar(&b.Tailstock, "tailstock", false, "the tailstock supports the far end")
	fs.Var(word(&b.Balance, assess.Balances()...),
		"balance", "true (turned round), sawn, rough or burl; off its centre: burl")
	fs.Var(list("words", func(s string) error {
		defect, err := choose(s, assess.Defects())
		b.Defects = append(b.Defects, defect)
		return err
	}),
		"defects", "seen in the wood: void,bark,crack,punky")
	fs.Var(word(&j.task, assess.Tasks()...), "task", "roughing, shaping, finishing, sanding, drilling, hollowing, threading, texturing or chatter")
	fs.Var(length(&b.Bit, &b.BitInches), "bit", "diameter of the drill: 25mm, 1/2in")
	latheFlags(fs, l)
	fs.Var(freeText(&l.Name), "lathe", "one of your lathes, by its name: see vibe lathe")
	j.shop.flag(fs)
}

// latheFlags registers the flags that describe a lathe.
func latheFlags(fs *pflag.FlagSet, l *assess.Lathe) {
	fs.Var(amount(speedKind, &l.Low), "lowest", "slowest speed of the lathe")
	fs.Var(amount(speedKind, &l.High), "highest", "fastest speed of the lathe")
	fs.Var(rising(&l.Steps), "steps", "its speeds, if it has pulleys: 500,800,1250")
	fs.Var(amount(speedKind, &l.ChuckMax), "chuck-max", "fastest speed written on the chuck or faceplate")
	fs.Var(amount(massKind, &l.Mass), "lathe-mass", "of the lathe with its stand: 90kg, 200lb")
}

// check takes the lathe that was named from the shop, and refuses what cannot be, as wrong
// usage.
func (j *job) check() error {
	if err := checkRange(j.lathe); err != nil {
		return err
	}
	if err := j.pick(); err != nil {
		return err
	}
	return inputError(assess.Validate(j.lathe, j.blank, j.task))
}

func checkRange(l assess.Lathe) error {
	if _, high := l.Range(); high > 0 && high < slowestLathe {
		return usage{hintf("say speeds in rpm, as in --steps 500,800,1250", "a lathe whose fastest speed is %v cannot be", high)}
	}
	if stepsAgree(l, l.Steps) {
		return nil
	}
	return usage{hintf("leave --lowest and --highest out, the steps say both", "--steps run from %v to %v, --lowest and --highest say another range", slices.Min(l.Steps), slices.Max(l.Steps))}
}

// slowestLathe is what every wood lathe can turn faster than (chosen: where the search without the lathe's range begins).
const slowestLathe assess.RPM = 60

// stepsAgree reports whether steps, if there are any, end where the range that was said of a lathe does.
func stepsAgree(said assess.Lathe, steps []assess.RPM) bool {
	return len(steps) == 0 || (said.Low == 0 || said.Low == slices.Min(steps)) && (said.High == 0 || said.High == slices.Max(steps))
}

// pick takes what the shop knows of the lathe that was named. What was said beside the name
// wins. A name that the shop does not know is an error: with a slip in it the lathe's speeds would be missed, and with its pulleys what
// tells its spindle from a motor.
func (j *job) pick() error {
	said := j.lathe
	if said.Name == "" {
		return nil
	}
	shop, err := j.shop.view()
	if errors.Is(err, errNothing) {
		return noLathe(said.Name, nil)
	}
	if err != nil {
		return err
	}
	defer shop.Close()
	known, ok, err := shop.Lathe(said.Name)
	if err != nil {
		return j.shop.explain(err)
	}
	if !ok {
		all, err := shop.Lathes()
		return cmp.Or(j.shop.explain(err), noLathe(said.Name, all))
	}
	j.lathe = over(said, known)
	j.empty, _, err = shop.Baseline(j.lathe.Name, 0)
	return j.shop.explain(err)
}

// noLathe is the error of a name that no lathe has.
func noLathe(name string, all []assess.Lathe) error {
	var names []string
	for _, l := range all {
		names = append(names, l.Name)
	}
	hint := "vibe lathe add " + shellWord(name) + " --lowest 250 --highest 3000 keeps one"
	if near := nearest(name, names); near != "" {
		hint = "did you mean " + shellWord(near) + "? vibe lathe lists them"
	}
	return hintf(hint, "no lathe %s is kept", name)
}

// over is what was said of a lathe, and else what was known: an end of its range that was not
// said stays, so that saying the other one makes nothing faster, and so do steps that agree.
func over(said, known assess.Lathe) assess.Lathe {
	low, high := known.Range()
	switch {
	case len(said.Steps) > 0:
		known.Low, known.High, known.Steps = 0, 0, said.Steps
	case len(known.Steps) == 0 || !stepsAgree(said, known.Steps):
		known.Low, known.High, known.Steps = cmp.Or(said.Low, low), cmp.Or(said.High, high), nil
	}
	known.ChuckMax, known.Mass = cmp.Or(said.ChuckMax, known.ChuckMax), cmp.Or(said.Mass, known.Mass)
	return known
}

// inputError makes a usage error of what assess refuses, with its hint.
func inputError(err error) error {
	if input := new(assess.InputError); errors.As(err, &input) {
		return usage{hintf(input.Hint, "%w", err)}
	}
	return err
}

// notes says what of the description could not be used.
func (j *job) notes() []string {
	var notes []string
	if wood := j.blank.Wood; wood != "" && !assess.WoodOf(wood).Known() {
		notes = append(notes, fmt.Sprintf("wood %q is not in the table, so it counts as heavy and weak; known: %s",
			wood, strings.Join(assess.Woods(), ", ")))
	}
	return notes
}

// sizeless says what saying less than all costs. (A plan lists all it was not told.)
func (j *job) sizeless() []string {
	if j.blank.Diameter == 0 {
		return []string{"without --diameter no speed can be called safe; say also --length, --held and --balance"}
	}
	var missing []string
	for _, m := range []struct {
		unsaid bool
		flag   string
	}{{j.blank.Length == 0, "--length"}, {j.blank.Held == "", "--held"}, {j.blank.Balance == "", "--balance"}} {
		if m.unsaid {
			missing = append(missing, m.flag)
		}
	}
	if missing == nil {
		return nil
	}
	return []string{"not told: " + strings.Join(missing, ", ") + "; the worst was assumed, so the ceilings may be lower than this blank needs"}
}

// resume makes j the job of a kept session, but for what was said anew. A tailstock that was
// up then is up now, unless told says that its flag was given.
func (j *job) resume(u recordings.Setup, told bool) {
	b, was := &j.blank, u.Blank
	if b.Diameter != was.Diameter && b.Diameter > 0 || b.Length != was.Length && b.Length > 0 {
		was.Mass = 0 // that of another size
	}
	if b.Diameter == 0 && b.Length == 0 {
		b.Inches = was.Inches
	}
	if b.Bit == 0 {
		b.BitInches = was.BitInches
	}
	b.Diameter, b.Length = cmp.Or(b.Diameter, was.Diameter), cmp.Or(b.Length, was.Length)
	b.Mass, b.Moisture, b.Wood = cmp.Or(b.Mass, was.Mass), cmp.Or(b.Moisture, was.Moisture), cmp.Or(b.Wood, was.Wood)
	b.Held, b.Balance, b.Bit = cmp.Or(b.Held, was.Held), cmp.Or(b.Balance, was.Balance), cmp.Or(b.Bit, was.Bit)
	if !told {
		b.Tailstock = was.Tailstock
	}
	if b.Defects == nil {
		b.Defects = was.Defects
	}
	j.task = cmp.Or(j.task, u.Task)
	if j.lathe.Name == "" || recordings.SameName(j.lathe.Name, u.Lathe.Name) {
		j.lathe = over(j.lathe, u.Lathe)
	}
}

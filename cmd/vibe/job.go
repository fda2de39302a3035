package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"vibe/assess"
)

// job is what a turner says about the work: the blank, the lathe it hangs on, what is to
// be done. What is not said stays unknown, and unknown never makes a speed higher.
type job struct {
	blank assess.Blank
	lathe assess.Lathe
	task  assess.Task
}

// flags registers the flags that describe a job, the same in every command.
func (j *job) flags(fs *pflag.FlagSet) {
	b, l := &j.blank, &j.lathe
	fs.Var(amount(lengthKind, &b.Diameter), "diameter", "largest diameter that turns: 310mm, 31cm or 12in")
	fs.Var(amount(lengthKind, &b.Length), "length", "length from the mounting to the far end")
	fs.Var(amount(massKind, &b.Mass), "mass", "of the blank: 2.4kg, 5lb (else from wood and size)")
	fs.Var(freeText(&b.Wood), "wood", "kind of wood: cherry, ash, white oak")
	fs.Var(amount(percentKind, &b.Moisture), "moisture", "of the dry mass: 12 when seasoned (else as wet)")
	fs.Var(word(&b.Held, assess.Helds()...),
		"held", "by chuck, faceplate, centres, vacuum or screw")
	fs.BoolVar(&b.Tailstock, "tailstock", false, "the tailstock supports the far end")
	fs.Var(word(&b.Balance, assess.Balances()...),
		"balance", "true (turned round), sawn, rough or burl")
	fs.Var(list("words", func(s string) error {
		defect, err := choose(s, assess.Defects())
		b.Defects = append(b.Defects, defect)
		return err
	}),
		"defects", "seen in the wood: void,bark,crack,punky")
	fs.Var(word(&j.task, assess.Tasks()...), "task", "roughing, shaping, finishing, sanding, drilling,\nhollowing, threading, texturing or chatter")
	fs.Var(amount(lengthKind, &b.Bit), "bit", "diameter of the drill: 25mm, 1/2in")
	fs.Var(amount(speedKind, &l.Low), "lowest", "slowest speed of the lathe")
	fs.Var(amount(speedKind, &l.High), "highest", "fastest speed of the lathe")
	fs.Var(rising(&l.Steps), "steps", "its speeds, if it has pulleys: 500,800,1250")
	fs.Var(amount(speedKind, &l.ChuckMax), "chuck-max", "fastest speed written on the chuck or faceplate")
}

// check refuses what cannot be, as wrong usage.
func (j *job) check() error {
	if l := j.lathe; len(l.Steps) > 0 {
		low, high := l.Steps[0], l.Steps[len(l.Steps)-1]
		if l.Low > 0 && l.Low != low || l.High > 0 && l.High != high {
			return usage{hintf("leave --lowest and --highest out, the steps say both", "--steps run from %v to %v, --lowest and --highest say another range", low, high)}
		}
	}
	return inputError(assess.Validate(j.lathe, j.blank, j.task))
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
	if wood := j.blank.Wood; wood != "" && !assess.WoodOf(wood).Known() {
		return []string{fmt.Sprintf("wood %q is not in the table, so it counts as heavy and weak; known: %s",
			wood, strings.Join(assess.Woods(), ", "))}
	}
	return nil
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

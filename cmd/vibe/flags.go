package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"vibe/assess"
)

// value is a flag value: what it is called in the help, and what takes the text.
type value struct {
	name string
	set  func(string) error
	many bool // may be given more than once
	text string
}

func (v *value) String() string { return v.text }
func (v *value) Type() string   { return v.name }

// Set implements pflag.Value.
func (v *value) Set(s string) error {
	if v.text != "" && !v.many {
		return hintf("say it once", "given twice, as %q and as %q", v.text, s)
	}
	v.text = s
	return v.set(s)
}

// amount is a number with its unit, stored in the base unit of its kind.
func amount[T ~float64](k kind, target *T) *value {
	return &value{name: k.name, set: func(s string) error {
		v, err := k.parse(s)
		*target = T(v)
		return err
	}}
}

// whole is an amount that is a whole number.
func whole(k kind, target *int) *value {
	return &value{name: k.name, set: func(s string) error {
		v, err := k.parse(s)
		if *target = int(v); err == nil && float64(*target) != v {
			err = hintf("as in "+k.example+", or leave it out", "%q is no whole number", s)
		}
		return err
	}}
}

// length is an amount of millimetres; inches becomes true where it was said in inches.
func length(target *assess.MM, inches *bool) *value {
	return &value{name: lengthKind.name, set: func(s string) error {
		v, err := lengthKind.parse(s)
		*target, *inches = assess.MM(v), *inches || inInches(s)
		return err
	}}
}

// word is one of a few words.
func word[T ~string](target *T, known ...T) *value {
	return &value{name: "word", set: func(s string) (err error) {
		*target, err = choose(s, known)
		return err
	}}
}

// freeText is any text but an empty one.
func freeText(target *string) *value {
	return &value{name: "name", set: func(s string) error {
		*target = strings.TrimSpace(s)
		if strings.ContainsFunc(*target, unicode.IsControl) {
			return hintf("some words in one line will do", "%q has characters that cannot be shown", *target)
		}
		return notEmpty(*target)
	}}
}

// fileName is the name of a file or a folder. It is not -, as nothing there is for a pipe.
func fileName(target *string) *value {
	v := freeText(target)
	text := v.set
	v.set = func(s string) error {
		if s == "-" {
			return hintf("give it a name; ./- if that is it", "- is no place to keep anything")
		}
		return text(s)
	}
	return v
}

// list is several values with commas between them; each takes one.
func list(name string, each func(string) error) *value {
	return &value{name: name, many: true, set: func(s string) error {
		for part := range strings.SplitSeq(s, ",") {
			part = strings.TrimSpace(part)
			if err := notEmpty(part); err != nil {
				return err
			}
			if err := each(part); err != nil {
				return err
			}
		}
		return nil
	}}
}

// rising is a list of speeds from slow to fast.
func rising[T ~float64](target *[]T) *value {
	return list("speeds", func(s string) error {
		v, err := speedKind.parse(s)
		if n := len(*target); err == nil && n > 0 && T(v) <= (*target)[n-1] {
			err = hintf("write them from slow to fast: 500,800,1250", "%g rpm comes after %g rpm", v, float64((*target)[n-1]))
		}
		*target = append(*target, T(v))
		return err
	})
}

func notEmpty(s string) error {
	if s == "" {
		return hintf("leave the flag out when it is not known", "a value is missing")
	}
	return nil
}

// choose returns the one of known that s spells, in any case.
func choose[T ~string](s string, known []T) (T, error) {
	var all []string
	for _, k := range known {
		if strings.EqualFold(s, string(k)) {
			return k, nil
		}
		all = append(all, string(k))
	}
	hint := "choose one of " + strings.Join(all, ", ")
	near := nearest(s, all)
	if slices.Contains(all, string(assess.True)) {
		near = cmp.Or(balanceMeant[strings.ToLower(s)], near)
	}
	if near != "" {
		hint = fmt.Sprintf("did you mean %s? (%s)", near, strings.Join(all, ", "))
	}
	return "", hintf(hint, "%q is not known here", s)
}

// balanceMeant is what turners call a balance by another name, whose spelling would lead to rough.
var balanceMeant = map[string]string{"round": "true (turned round) or sawn", "rounded": "true (turned round) or sawn", "turned": "true"}

// nearest returns the word that s was most likely meant to be, "" if none is close: the
// first that s begins, else the one with the fewest letters wrong, two at most and no more
// than half of them.
func nearest(s string, words []string) string {
	s = strings.ToLower(s)
	if i := slices.IndexFunc(words, func(w string) bool { return len(s) > 1 && strings.HasPrefix(w, s) }); i >= 0 {
		return words[i]
	}
	best, at := "", min(2, len(s)/2)+1
	for _, w := range words {
		if d := distance(s, w); d < at {
			best, at = w, d
		}
	}
	return best
}

// distance counts the single-letter edits between a and b (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			swap := diagonal
			if a[i-1] != b[j-1] {
				swap++
			}
			diagonal = row[j]
			row[j] = min(swap, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

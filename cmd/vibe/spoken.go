package main

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"vibe/assess"
	"vibe/recordings"
)

// spoken is a mark in words.
type spoken struct {
	T    float64 // s
	Text string
	Word string // the same for a drawing; "" where it need not show it
}

// spokenIn puts the marks of a session into words; of a change, what is another than before.
func spokenIn(k *recordings.Session) ([]spoken, error) {
	marks, err := k.Marks()
	if err != nil {
		return nil, err
	}
	u := k.Setup
	was := recordings.Change{Blank: &u.Blank, Task: u.Task, Comfort: u.Comfort, Checked: u.Checked}
	var out []spoken
	for _, m := range marks {
		var now recordings.Change
		if m.Kind != recordings.Changed || json.Unmarshal([]byte(m.Text), &now) != nil {
			kind := strings.ReplaceAll(m.Kind, "-", " ")
			out = append(out, spoken{m.T, strings.TrimSuffix(kind+": "+m.Text, ": "), kind})
			continue
		}
		if now.Blank == nil {
			now.Blank, now.Task = was.Blank, was.Task
		}
		if text, word := difference(was, now); text != "" {
			out = append(out, spoken{m.T, text, word})
		}
		was = now
	}
	return out, nil
}

// difference is what a change changed.
func difference(was, now recordings.Change) (text, word string) {
	var parts []string
	if was.Blank.Diameter != now.Blank.Diameter {
		word = now.Blank.Diameter.String()
	}
	if !reflect.DeepEqual(was.Blank, now.Blank) {
		parts = append(parts, "the blank is now "+blankText(*now.Blank))
	}
	if was.Task != now.Task {
		word = string(now.Task)
		parts = append(parts, "the task is now "+word)
	}
	if was.Comfort != now.Comfort {
		parts = append(parts, "comfort limit "+assess.ShakeText(now.Comfort)+" from here on")
	}
	if was.Checked != now.Checked {
		parts = append(parts, map[bool]string{true: "the dial was compared: it agrees", false: "the dial must be compared again"}[now.Checked])
	}
	switch {
	case now.Dial == was.Dial:
	case now.Dial > 0:
		parts = append(parts, fmt.Sprintf("the dial shows %v, and the spindle is looked for near that", now.Dial))
	default:
		parts = append(parts, "what the dial showed is old, and the spindle is looked for everywhere")
	}
	return strings.Join(parts, "; "), word
}

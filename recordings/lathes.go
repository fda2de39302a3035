package recordings

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"vibe/assess"
)

// longestName is what fits a line of the screen beside the rest, in characters (chosen).
const longestName = 40

// SaveLathe keeps a lathe under its name, over what was known by that name. A lathe without
// one, or one that cannot be, is an *assess.InputError.
func (s *Shop) SaveLathe(l assess.Lathe) error {
	if l.Name == "" {
		return &assess.InputError{Text: "the lathe has no name", Hint: "give it one that tells it from the others of the shop"}
	}
	if utf8.RuneCountInString(l.Name) > longestName || strings.ContainsFunc(l.Name, unicode.IsControl) {
		return &assess.InputError{Text: "the lathe's name is too long, or has characters that cannot be shown", Hint: "some words in one line will do, as in mini or long bed"}
	}
	if err := l.Validate(); err != nil {
		return err
	}
	text, err := json.Marshal(l)
	if err != nil {
		return err
	}
	_, err = s.db.Exec("INSERT INTO lathe (name, said) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET said = excluded.said", l.Name, string(text))
	return word(err)
}

// SameName reports whether two names are one: in any case, with whatever letters.
func SameName(a, b string) bool { return strings.EqualFold(a, b) }

// Lathe returns the lathe of that name, rather the one that is spelled just so; ok is false where
// there is none.
func (s *Shop) Lathe(name string) (l assess.Lathe, ok bool, err error) {
	all, err := s.Lathes()
	at := slices.IndexFunc(all, func(l assess.Lathe) bool { return l.Name == name })
	if at < 0 {
		at = slices.IndexFunc(all, func(l assess.Lathe) bool { return SameName(l.Name, name) })
	}
	if err != nil || at < 0 {
		return l, false, err
	}
	return all[at], true, nil
}

// RemoveLathe forgets the one that Lathe finds; its sessions stay. ok is false where there is
// none.
func (s *Shop) RemoveLathe(name string) (ok bool, err error) {
	l, ok, err := s.Lathe(name)
	if err != nil || !ok {
		return false, err
	}
	_, err = s.db.Exec("DELETE FROM lathe WHERE name = ?", l.Name)
	return err == nil, word(err)
}

// Lathes lists the lathes by name.
func (s *Shop) Lathes() ([]assess.Lathe, error) {
	rows, err := s.db.Query("SELECT said FROM lathe ORDER BY name")
	if err != nil {
		return nil, word(err)
	}
	defer rows.Close()
	var out []assess.Lathe
	for rows.Next() {
		var text []byte
		var l assess.Lathe
		if err := rows.Scan(&text); err != nil {
			return nil, word(err)
		}
		if err := json.Unmarshal(text, &l); err != nil {
			return nil, fmt.Errorf("a lathe: %w: %w", ErrDamaged, err)
		}
		out = append(out, l)
	}
	return out, word(rows.Err())
}

// Baseline returns shake against speed of that lathe with nothing mounted, as
// assess.Adviser.Empty takes it, of the newest such run with a speed to it kept before the session of that
// number, 0 being the next one, and the number of the run; nil and 0 where there is none.
func (s *Shop) Baseline(lathe string, before int64) ([]assess.MapPoint, int64, error) {
	if lathe == "" { // a lathe without a name may be any
		return nil, 0, nil
	}
	runs, err := s.Sessions(Filter{Lathe: lathe, Empty: true})
	if err != nil {
		return nil, 0, err
	}
	for _, k := range runs {
		if len(k.Summary.Map) > 0 && (before == 0 || k.Number < before) {
			return k.Summary.Points(), k.Number, nil
		}
	}
	return nil, 0, nil
}

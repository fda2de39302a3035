package recordings

import (
	"database/sql"
	"encoding/json"
	"errors"
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

// Lathe returns the lathe of that name, in any case; ok is false where there is none.
func (s *Shop) Lathe(name string) (l assess.Lathe, ok bool, err error) {
	all, err := s.Lathes()
	at := slices.IndexFunc(all, func(l assess.Lathe) bool { return strings.EqualFold(l.Name, name) })
	if err != nil || at < 0 {
		return l, false, err
	}
	return all[at], true, nil
}

// RemoveLathe forgets the lathe of that name, in any case; its sessions stay. ok is false
// where there is none.
func (s *Shop) RemoveLathe(name string) (ok bool, err error) {
	done, err := s.db.Exec("DELETE FROM lathe WHERE name = ? COLLATE NOCASE", name)
	if err != nil {
		return false, word(err)
	}
	n, err := done.RowsAffected()
	return n > 0, err
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
	var number int64
	err := s.db.QueryRow("SELECT id FROM session JOIN progress ON progress.session = id WHERE empty = 1 AND json_array_length(summary, '$.map') > 0 AND lathe = ?1 COLLATE NOCASE AND (id < ?2 OR ?2 = 0) ORDER BY started DESC, id DESC LIMIT 1", lathe, before).Scan(&number)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, word(err)
	}
	k, err := s.Session(number)
	if err != nil {
		return nil, 0, err
	}
	return k.Summary.Points(), number, nil
}

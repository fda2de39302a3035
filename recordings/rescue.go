package recordings

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// rescue writes what can be reached of a damaged shop into a new, sound file: every session
// with the chunks that are left, and as much of the other tables as SQLite can read.
func (s *Shop) rescue(to string) (err error) {
	if err := create(to); err != nil {
		return err
	}
	sound, err := open(to, "mode=rw", steps)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, sound.Close()) }()
	all, err := s.Sessions(Filter{})
	if nothing(err) != nil {
		return err
	}
	for _, k := range all {
		if err := transact(sound.db, func(tx *sql.Tx) error { return k.rescue(tx) }); err != nil {
			return fmt.Errorf("session %d: %w", k.Number, err)
		}
	}
	return transact(sound.db, func(tx *sql.Tx) error {
		for _, table := range []string{"reading", "advice", "mark", "lathe"} {
			if err := s.copyRows(tx, table); err != nil {
				return err
			}
		}
		return nil
	})
}

// rescue writes the session and its chunks.
func (k *Session) rescue(tx *sql.Tx) error {
	u := k.Setup
	setup, err := json.Marshal(u)
	if err != nil {
		return err
	}
	summary, err := json.Marshal(k.Summary)
	if err != nil {
		return err
	}
	if _, err := tx.Exec("INSERT INTO session VALUES (?,?,?,?,?,?,?)", k.Number, stamp(u.Started), u.Label, u.Lathe.Name, u.Blank.Wood, u.Empty, string(setup)); err != nil {
		return err
	}
	if _, err := tx.Exec("INSERT INTO progress VALUES (?,?,?,?)", k.Number, k.Ended && !k.torn, k.parts, string(summary)); err != nil {
		return err
	}
	said := any(string(setup))
	for part := range k.parts {
		b, err := k.shop.chunk(k.Number, part)
		if gone(err) {
			continue
		}
		if err != nil {
			return err
		}
		if k.torn && part == k.parts-1 {
			b.Notes = append(b.Notes, torn)
		}
		r := chunkRow(chunkID(k.Number, part), b, said)
		if _, err := tx.Exec(r.into, r.values...); err != nil {
			return err
		}
		said = nil
	}
	return nil
}

// gone reports that a part is missing or damaged, and not that the file cannot be read.
func gone(err error) bool {
	return errors.Is(err, ErrDamaged) || errors.Is(err, errCoded) || errors.Is(err, sql.ErrNoRows)
}

// copyRows copies the rows of a table that can be read and whose session is there.
func (s *Shop) copyRows(tx *sql.Tx, table string) error {
	rows, err := s.db.Query("SELECT * FROM " + table)
	if err != nil {
		return nothing(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return nothing(err)
	}
	into := "INSERT OR IGNORE INTO " + table + " SELECT " + strings.TrimSuffix(strings.Repeat("?,", len(names)), ",")
	if names[0] == "session" {
		into += " WHERE EXISTS (SELECT 1 FROM session WHERE id = ?)"
	}
	values, places := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		places[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return nothing(err)
		}
		args := values
		if names[0] == "session" {
			args = append(append([]any{}, values...), values[0])
		}
		if _, err := tx.Exec(into, args...); err != nil {
			return err
		}
	}
	return nothing(rows.Err())
}

// nothing passes over damage: what cannot be read cannot be copied.
func nothing(err error) error {
	if err = word(err); errors.Is(err, ErrDamaged) {
		return nil
	}
	return err
}

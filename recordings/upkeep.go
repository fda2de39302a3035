package recordings

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Trouble is one thing that is wrong with a shop file.
type Trouble struct {
	Session int64 // 0: the file as a whole
	Text    string
}

// Check reads everything: the structure of the file, and every sample of every session. It
// returns what is missing or damaged, nothing where all is well. A session that was broken
// off is no trouble: its samples are there up to the last second.
func (s *Shop) Check() ([]Trouble, error) {
	out, err := s.structure()
	if err != nil {
		return out, err
	}
	all, err := s.Sessions(Filter{})
	if err != nil && !errors.Is(err, ErrDamaged) {
		return out, err
	}
	if err != nil {
		out = append(out, Trouble{0, "the list of sessions cannot be read whole"})
	}
	for _, k := range all {
		missing := 0
		for part := range k.parts {
			if _, err := s.chunk(k.Number, part); gone(err) {
				missing++
			} else if err != nil {
				return out, err
			}
		}
		if missing > 0 {
			out = append(out, Trouble{k.Number, fmt.Sprintf("about %.0f of its %.0f s are missing or damaged", k.span(missing), k.span(k.parts))})
		}
		if k.torn {
			out = append(out, Trouble{k.Number, "its end is missing; how long it was is not known"})
		}
	}
	return out, nil
}

// structure is what SQLite itself finds wrong.
func (s *Shop) structure() ([]Trouble, error) {
	rows, err := s.db.Query("PRAGMA integrity_check(10)")
	if err != nil {
		return damage(nil, err)
	}
	defer rows.Close()
	var out []Trouble
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return damage(out, err)
		}
		if text != "ok" {
			out = append(out, Trouble{0, text})
		}
	}
	return damage(out, rows.Err())
}

// look returns ErrDamaged where SQLite finds something wrong in a quarter of a second (chosen: nobody waits; of a thousand samples a second
// it is the whole of two hours, measured). It begins with what is free and with the newest of each table, where a session is written.
func (s *Shop) look() error {
	ctx, stop := context.WithTimeout(context.Background(), 250*time.Millisecond)
	defer stop()
	var found string
	switch err := s.db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&found); {
	case err == nil && found != "ok":
		return ErrDamaged
	case ctx.Err() != nil:
		return nil
	default:
		return word(err)
	}
}

// damage makes a trouble of an error that says so.
func damage(out []Trouble, err error) ([]Trouble, error) {
	if err = word(err); errors.Is(err, ErrDamaged) {
		return append(out, Trouble{0, err.Error()}), nil
	}
	return out, err
}

// Size is the number of bytes that the samples of a session take in the file; readings and
// advice come on top.
func (k *Session) Size() (int64, error) {
	var n sql.NullInt64
	err := k.shop.db.QueryRow("SELECT sum(length(data)) FROM chunk WHERE id >= ? AND id < ?", chunkID(k.Number, 0), chunkID(k.Number+1, 0)).Scan(&n)
	return n.Int64, word(err)
}

// Prune removes sessions for good, all or none of them, and gives their room back to the
// disk, or keeps it for sessions that follow where there is too little to make the file
// anew. On a disk with no room at all it returns ErrFull. ErrNoSession and ErrRunning name
// the first that is not there, or is being written. It looks through the structure of the
// whole file first: ErrDamaged, and nothing removed, where something is wrong with it.
func (s *Shop) Prune(numbers ...int64) error {
	for _, n := range numbers {
		k, err := s.Session(n)
		if err != nil {
			return err
		}
		if k.Running() {
			return fmt.Errorf("session %d: %w", n, ErrRunning)
		}
	}
	if found, err := s.structure(); err != nil || len(found) > 0 {
		return cmp.Or(err, ErrDamaged)
	}
	err := transact(s.db, func(tx *sql.Tx) error {
		for _, n := range numbers {
			if err := remove(tx, n); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = s.db.Exec("VACUUM; PRAGMA wal_checkpoint(TRUNCATE)")
	return ignore(word(err), ErrFull)
}

// remove takes a session out of its tables; ErrNoSession where there is none.
func remove(tx *sql.Tx, number int64) error {
	done, err := tx.Exec("DELETE FROM session WHERE id = ?", number)
	if err != nil {
		return err
	}
	if gone, err := done.RowsAffected(); err != nil || gone == 0 {
		return cmp.Or(err, fmt.Errorf("%w: %d", ErrNoSession, number))
	}
	_, err = tx.Exec("DELETE FROM chunk WHERE id >= ? AND id < ?", chunkID(number, 0), chunkID(number+1, 0))
	return err
}

// Backup writes a copy of the shop as it is now to a new file, whole or not at all. Others
// may go on writing to the shop. Of a file whose structure is damaged the copy, sound
// itself, holds what can still be reached, and missing is what Check says. The error
// satisfies errors.Is(err, fs.ErrExist) where there is a file already.
func (s *Shop) Backup(to string) (missing []Trouble, err error) {
	if _, err := os.Lstat(to); err == nil {
		return nil, &fs.PathError{Op: "backup", Path: to, Err: fs.ErrExist}
	}
	folder, err := os.MkdirTemp(filepath.Dir(to), ".vibe-*")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	temp := filepath.Join(folder, "shop")
	_, err = s.db.Exec("VACUUM INTO ?", temp)
	if err = word(err); errors.Is(err, ErrDamaged) {
		if missing, err = s.Check(); err == nil {
			err = errors.Join(ignore(os.Remove(temp), fs.ErrNotExist), s.rescue(temp))
		}
	}
	if err != nil {
		return nil, err
	}
	if err := flush(temp); err != nil {
		return nil, err
	}
	return missing, putAt(temp, to)
}

// flush waits until a file is on the disk.
func flush(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

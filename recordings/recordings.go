// Package recordings keeps the sessions of a shop in one SQLite file: the samples as they
// came, the readings, the advice as it was said, marks, and what was known of lathe and
// blank. A kept session is a sensor.Source: what runs it again gets the same samples, bit
// for bit.
//
// What it promises: what Append has committed, about once a second with full
// synchronisation, survives a killed process and a power cut, as far as the disk keeps what
// it says it has written. At most the last two seconds are lost. A file that is cut
// short is never written to, no session is begun in one where a short look finds damage,
// and from a damaged one nothing is pruned: what can still be reached is read, and Check
// says what is missing. What it does not promise: that a disk which lies, or a file edited
// by others, holds what was said. Backup makes a copy to put elsewhere.
//
// The tables are documented in the file itself: `sqlite3 FILE .schema` shows them, and any
// SQLite tool reads them. Only this package writes them.
package recordings

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sync"

	"modernc.org/sqlite"
)

// What can be wrong with a shop file, for errors.Is.
var (
	ErrForeign   = errors.New("not a shop file")
	ErrNewer     = errors.New("written by a newer vibe")
	ErrDamaged   = errors.New("the file is damaged or cut short")
	ErrFull      = errors.New("the disk is full")
	ErrReadOnly  = errors.New("the file cannot be written to")
	ErrBusy      = errors.New("another program holds the file")
	ErrNoSession = errors.New("no such session")
	ErrRunning   = errors.New("it is being written, or was broken off just now")
)

// Shop is one shop file. It may be used by several goroutines, and the file by several
// processes at once.
type Shop struct {
	db       *sql.DB
	path     string
	readOnly bool
	wreck    func() *wreck // what lies about in a damaged file; searched once, when asked for
}

// Open opens the shop file at path to read and write. Where there is none it makes one, in
// a folder that exists. A file of an older schema is brought forward. Errors: ErrForeign
// (also for an empty file), ErrNewer, ErrDamaged, ErrReadOnly, ErrBusy; such a file is left
// as it was. Of damage it finds what lies where it reads, and a file cut short: to look
// through all takes 1 to 9 s for 20 hours kept (600 MB, measured).
func Open(path string) (*Shop, error) {
	_, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		err = create(path)
	}
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	s, err := open(path, "mode=rw", steps)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	return s, nil
}

// View opens an existing shop file to read. It changes nothing. A damaged file opens too,
// as far as its beginning can be read. The error satisfies errors.Is(err, fs.ErrNotExist)
// where there is no file.
func View(path string) (*Shop, error) {
	s, err := open(path, "mode=ro&_pragma=writable_schema(1)", nil)
	if log, none := os.Stat(path + "-wal"); (errors.Is(err, errCannot) || errors.Is(err, ErrReadOnly)) && (none != nil || log.Size() == 0) {
		// No place for the files by which processes share the file, and nothing in them:
		// nobody writes.
		s, err = open(path, "mode=ro&immutable=1&_pragma=writable_schema(1)", nil)
	}
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	return s, nil
}

// Close closes the file. Sessions of it cannot be read or written any longer.
func (s *Shop) Close() error { return word(s.db.Close()) }

// Path is where the file is.
func (s *Shop) Path() string { return s.path }

// pageSize in bytes: small, for a chunk fills whole pages but for its last one (measured: of
// an hour of samples 4096 leaves a fifth empty, 1024 a fiftieth).
const pageSize = 1024

// create makes a shop file beside path and then moves it there, so that it is there whole or
// not at all, and over no other file.
func create(path string) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".vibe-*")
	if err != nil {
		return err
	}
	temp := f.Name()
	defer func() { err = errors.Join(err, ignore(os.Remove(temp), fs.ErrNotExist)) }()
	if err := errors.Join(f.Chmod(0o644), f.Close()); err != nil {
		return err
	}
	db, err := connect(temp, "mode=rw")
	if err != nil {
		return err
	}
	_, err = db.Exec(fmt.Sprintf("PRAGMA page_size = %d", pageSize))
	if err == nil {
		err = migrate(db, steps)
	}
	if err == nil {
		_, err = db.Exec("PRAGMA journal_mode = WAL")
	}
	if err := errors.Join(err, db.Close()); err != nil {
		return word(err)
	}
	return ignore(putAt(temp, path), fs.ErrExist) // another process was faster
}

// putAt gives a file its name; fs.ErrExist where another has it.
func putAt(temp, path string) error {
	err := os.Link(temp, path)
	if err != nil && !errors.Is(err, fs.ErrExist) { // a file system without links
		return os.Rename(temp, path)
	}
	return err
}

// open opens a file that exists. With steps it is brought to the newest schema.
func open(path, mode string, steps []string) (*Shop, error) {
	if err := recognise(path); err != nil {
		return nil, err
	}
	db, err := connect(path, mode)
	if err != nil {
		return nil, err
	}
	s := &Shop{db: db, path: path, readOnly: steps == nil}
	s.wreck = sync.OnceValue(func() *wreck {
		w, err := search(path)
		if err != nil {
			return &wreck{}
		}
		return w
	})
	if steps != nil {
		err = migrate(db, steps)
	}
	if steps != nil && err == nil { // a backup is without
		_, err = db.Exec("PRAGMA journal_mode = WAL")
	}
	if err == nil {
		err = s.readable()
	}
	if salvage := steps == nil && errors.Is(word(err), ErrDamaged); salvage && len(s.wreck().sessions) > 0 {
		err = nil
	}
	if err != nil {
		return nil, errors.Join(word(err), db.Close())
	}
	return s, nil
}

// readable returns ErrNewer for a schema that this package does not know.
func (s *Shop) readable() error {
	var version int
	if err := s.db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if version > len(steps) {
		return newer(version)
	}
	return nil
}

func newer(version int) error {
	return fmt.Errorf("%w: its schema is version %d, this one knows %d", ErrNewer, version, len(steps))
}

// recognise reads the header of a file without touching it: SQLite's magic string, and our
// number in it (SQLite, Database File Format, section 1.3).
func recognise(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	head := make([]byte, 100)
	n, err := io.ReadFull(f, head)
	if err := f.Close(); err != nil {
		return err
	}
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return fmt.Errorf("%w: it is empty", ErrForeign)
	case err != nil && !errors.Is(err, io.ErrUnexpectedEOF):
		return err
	case string(head[:16]) != "SQLite format 3\x00":
		return ErrForeign
	case binary.BigEndian.Uint32(head[68:]) != application:
		return fmt.Errorf("%w, but another SQLite database", ErrForeign)
	}
	return nil
}

// connect opens the database with what every connection needs. A second process may hold
// the file for as long as a slow disk takes to write.
func connect(path, mode string) (*sql.DB, error) {
	whole, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	whole = filepath.ToSlash(whole)
	if whole[0] != '/' { // a drive letter
		whole = "/" + whole
	}
	return sql.Open("sqlite", "file://"+(&url.URL{Path: whole}).EscapedPath()+"?"+mode+
		"&_txlock=immediate&_pragma=busy_timeout(10000)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)")
}

// migrate runs the steps that the file has not seen, all or none.
func migrate(db *sql.DB, steps []string) error {
	return transact(db, func(tx *sql.Tx) error {
		var version int
		if err := tx.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
			return err
		}
		if version == len(steps) {
			return nil
		}
		if version > len(steps) {
			return newer(version)
		}
		for _, step := range steps[version:] {
			if _, err := tx.Exec(step); err != nil {
				return err
			}
		}
		_, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", application, len(steps)))
		return err
	})
}

// transact runs f in a transaction: all of it or nothing.
func transact(db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.BeginTx(context.Background(), nil)
	if err != nil {
		return word(err)
	}
	if err := f(tx); err != nil {
		_ = tx.Rollback() // which fails, and harms nothing, where SQLite has rolled back itself (sqlite.org/lang_transaction.html)
		return word(err)
	}
	return word(tx.Commit())
}

func ignore(err, this error) error {
	if errors.Is(err, this) {
		return nil
	}
	return err
}

// errCannot is SQLITE_CANTOPEN.
var errCannot = errors.New("the file cannot be opened")

// word makes the errors that a person can act on out of SQLite's result codes
// (https://sqlite.org/rescode.html).
func word(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	kind, ok := map[int]error{5: ErrBusy, 6: ErrBusy, 8: ErrReadOnly, 11: ErrDamaged, 13: ErrFull, 14: errCannot, 26: ErrForeign}[e.Code()&0xff]
	if e.Code() == 522 { // IOERR_SHORT_READ
		kind, ok = ErrDamaged, true
	}
	if !ok || errors.Is(err, kind) {
		return err
	}
	return fmt.Errorf("%w (%w)", kind, err)
}

package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"vibe/recordings"
)

// shopFile is which shop file a command works on.
type shopFile string

func (f *shopFile) flag(fs *pflag.FlagSet) {
	fs.Var(fileName((*string)(f)), "shop", "`FILE` of the kept sessions (else in your data folder)")
}

// path is the file that was named, or the user's own.
func (f shopFile) path() (string, error) {
	if f != "" {
		return string(f), nil
	}
	return dataFile("shop.sqlite")
}

// open opens the shop to read and write, and makes the user's own where there is none.
func (f shopFile) open() (*recordings.Shop, error) {
	path, err := f.path()
	if err != nil {
		return nil, err
	}
	if f == "" {
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return nil, hintf("set XDG_DATA_HOME to a folder that can be written to, or name a file with --shop", "there is no place for the shop file: %w", err)
		}
	}
	s, err := recordings.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noPlace(path)
	}
	return s, f.explain(err)
}

// view opens the shop to read.
func (f shopFile) view() (*recordings.Shop, error) {
	path, err := f.path()
	if err != nil {
		return nil, err
	}
	s, err := recordings.View(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, hintf("vibe watch keeps every session, vibe read FILE --keep a recording, vibe lathe add NAME a lathe", "%w: there is no shop file %s", errNothing, path)
	}
	return s, f.explain(err)
}

// errNothing is a shop file that does not exist.
var errNothing = errors.New("nothing was kept yet")

// explain adds what to try next.
func (f shopFile) explain(err error) error {
	for _, known := range []struct {
		err  error
		hint string
	}{
		{recordings.ErrForeign, "it was left as it is; name another file with --shop"},
		{recordings.ErrNewer, "install the newer vibe, or name another file with --shop"},
		{recordings.ErrDamaged, "it was left as it is: vibe log check says what is missing, vibe log backup saves the rest; go on with another file by --shop"},
		{recordings.ErrReadOnly, "make it writable, or name another file with --shop"},
		{recordings.ErrFull, "make room on that disk; then vibe log prune takes out old sessions"},
		{recordings.ErrRunning, "end its vibe watch first, or wait ten minutes"},
		{recordings.ErrBusy, "wait until the other program is done"},
		{recordings.ErrNoSession, "vibe log lists the sessions"},
	} {
		if errors.Is(err, known.err) {
			return hintf(known.hint, "%w", err)
		}
	}
	return err
}

// viewSession finds a session by what was typed, and closes the shop after do.
func (f shopFile) viewSession(typed string, do func(*recordings.Session) error) error {
	shop, err := f.view()
	if err != nil {
		return err
	}
	defer shop.Close()
	k, err := f.session(shop, typed)
	if err != nil {
		return err
	}
	return do(k)
}

// session finds a kept session by what was typed.
func (f shopFile) session(s *recordings.Shop, typed string) (*recordings.Session, error) {
	n, err := number64(typed)
	if err != nil {
		return nil, err
	}
	k, err := s.Session(n)
	return k, f.explain(err)
}

// number64 reads the number of a session.
func number64(typed string) (int64, error) {
	n, ok := sessionNumber(typed)
	if !ok {
		return 0, usage{hintf("vibe log lists them with their numbers", "%q is not the number of a session", typed)}
	}
	return n, nil
}

// sessionNumber reads 12 or #12.
func sessionNumber(typed string) (n int64, ok bool) {
	digits := strings.TrimPrefix(typed, "#")
	if digits == "" || len(digits) > 12 || strings.Trim(digits, "0123456789") != "" {
		return 0, false
	}
	for _, d := range digits {
		n = 10*n + int64(d-'0')
	}
	return n, n > 0
}

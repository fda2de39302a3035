package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// saveNew writes a new file, whole or not at all, and over no other one.
func saveNew(name string, write func(io.Writer) error) error { return save(name, false, write) }

// named refuses a name that promises another format than what is to be written.
func named(name, ending string) error {
	if name != "" && !strings.EqualFold(filepath.Ext(name), ending) {
		return usage{hintf("give it a name that ends in "+ending, "%s would hold %s, which its name does not say", name, strings.ToUpper(ending[1:]))}
	}
	return nil
}

// save writes a file, whole or not at all. Where there is one it takes force to replace it,
// and only a regular file is.
func save(name string, force bool, write func(io.Writer) error) (err error) {
	if name == "" {
		return usage{hintf("give the file a name", "the new file has no name")}
	}
	switch there, err := os.Lstat(name); {
	case err == nil && !force:
		return hintf("choose another name, or remove it first", "%s is there already", name)
	case err == nil && !there.Mode().IsRegular():
		return hintf("choose another name", "%s is no file that could be replaced", name)
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".vibe-*")
	if errors.Is(err, fs.ErrNotExist) {
		return noPlace(name)
	}
	if err != nil {
		return notTemporary(name, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if err := cmp.Or(write(f), f.Chmod(0o644), f.Close()); err != nil {
		return notTemporary(name, err)
	}
	return os.Rename(f.Name(), name)
}

// notTemporary is what went wrong with the file of that name, not with the temporary one that it is written as.
func notTemporary(name string, err error) error {
	if path := new(fs.PathError); errors.As(err, &path) && strings.HasPrefix(filepath.Base(path.Path), ".vibe-") {
		return fmt.Errorf("write %s: %w", name, path.Err)
	}
	return err
}

// noPlace is the error of a new file whose folder does not let it be made.
func noPlace(name string) error {
	folder, _ := filepath.Split(name) // not cleaned: there is no x/../y without an x
	folder = cmp.Or(folder, ".")
	if _, err := os.Stat(folder); err == nil { // /proc, for one
		return hintf("choose a folder that files can be made in", "no file can be made in %s", folder)
	}
	return hintf("make the folder first, or choose another", "there is no folder %s", folder)
}

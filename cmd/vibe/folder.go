package main

import (
	"os"
	"path/filepath"

	"github.com/adrg/xdg"
)

// dataFile is where a file of this user's is kept, by the XDG base directory specification
// (or what the system has in its place). Nothing is made. It is an error where nobody is at home: the
// root of the disk is no place for it.
func dataFile(name string) (string, error) {
	if _, err := os.UserHomeDir(); err != nil && !filepath.IsAbs(os.Getenv("XDG_DATA_HOME")) {
		return "", hintf("set HOME to your own folder, or XDG_DATA_HOME to one that can be written to", "there is no place for %s: %w", name, err)
	}
	xdg.Reload() // as the environment is now
	return filepath.Join(xdg.DataHome, "vibe", name), nil
}

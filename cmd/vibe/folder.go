package main

import (
	"path/filepath"

	"github.com/adrg/xdg"
)

// dataFile is where a file of this user's is kept, by the XDG base directory specification
// (or what the system has in its place). Nothing is made.
func dataFile(name string) string {
	xdg.Reload() // as the environment is now
	return filepath.Join(xdg.DataHome, "vibe", name)
}

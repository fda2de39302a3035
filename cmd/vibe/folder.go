package main

import "github.com/adrg/xdg"

// dataFile is where a file of this user's is kept, by the XDG base directory specification
// (or what the system has in its place). The folder is made if it is missing.
func dataFile(name string) (string, error) {
	xdg.Reload() // as the environment is now
	path, err := xdg.DataFile("vibe/" + name)
	if err != nil {
		return "", hintf("set XDG_DATA_HOME to a folder that can be written to", "there is no place to keep %s: %w", name, err)
	}
	return path, nil
}

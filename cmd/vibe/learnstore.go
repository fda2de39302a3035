package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"vibe/assess"
	"vibe/recordings"
)

// learned is what one person on one lathe has told: the marks of what is comfortable, and
// what the hand guessed. It is one small file for all of them, in the user's data folder.
type learned struct {
	Marks   []assess.Mark  `json:"marks"`
	Guesses []assess.Guess `json:"guesses"`
}

// learnedFile is that file. The key is lathe and person, with a slash between.
type learnedFile struct {
	Version int                 `json:"version"`
	People  map[string]*learned `json:"people"`
}

const learnedVersion = 1

// loadLearned reads that file; there may be none yet.
func loadLearned() (*learnedFile, error) {
	f := &learnedFile{Version: learnedVersion, People: map[string]*learned{}}
	path, err := dataFile("learned.json")
	if err != nil {
		return f, nil // nobody can have learned; whoever saves is told
	}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return f, nil
	}
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(text, f); err != nil || f.Version != learnedVersion || f.People == nil {
		return nil, hintf("put it elsewhere, and vibe learn begins anew", "%s holds nothing that this vibe can read", path)
	}
	return f, nil
}

// setLimit sets the comfort limit of who. A file that cannot be read may hold
// a limit below the usual one: until it can be, nothing but calm counts as comfortable (chosen:
// hardly anybody marks that as too much).
func (in *input) setLimit(who string) {
	people, err := loadLearned()
	if in.unlearnt = err; err != nil {
		in.comfort = assess.DefaultEdges[0]
		return
	}
	in.comfort = people.of(in.job.lathe.Name, who).comfort()
}

// of is what is known of a person on a lathe, names in any case; writing into it changes the file's
// content.
func (f *learnedFile) of(lathe, who string) *learned {
	key := lathe + "/" + who
	for _, k := range slices.Sorted(maps.Keys(f.People)) {
		if f.People[key] == nil && recordings.SameName(k, key) {
			key = k
		}
	}
	if f.People[key] == nil {
		f.People[key] = &learned{}
	}
	return f.People[key]
}

// comfort is what the adviser is to take for this person's limit, mm/s; 0: nobody marked
// anything.
func (l *learned) comfort() float64 {
	if len(l.Marks) == 0 {
		return 0
	}
	return assess.LearnComfort(l.Marks).Use
}

func (f *learnedFile) save() error { return replaceJSON("learned.json", f) }

// replaceJSON writes v into the user's file called name in place of what is there, whole or not at all, and on the
// disk before it returns. The folder is made if it is missing.
func replaceJSON(name string, v any) (err error) {
	path, err := dataFile(name)
	if err != nil {
		return err
	}
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return hintf("set XDG_DATA_HOME to a folder that can be written to", "there is no place to keep %s: %w", name, err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".vibe-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	_, err = f.Write(append(text, '\n'))
	if err := cmp.Or(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

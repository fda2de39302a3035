package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// arrows are the imports between our packages that are allowed, by the top folder; cmd may
// import all. Sub-packages stand for their parent and may import it.
var arrows = map[string][]string{
	"dsp":        {},
	"sensor":     {},
	"assess":     {"dsp"},
	"recordings": {"sensor", "assess"},
	"cmd":        {"dsp", "sensor", "assess", "recordings"},
}

// TestImports holds the shape of the house: no arrow but those above, and each third-party
// module imported by one package alone, so that none of their types can spread.
func TestImports(t *testing.T) {
	t.Parallel()
	owner := map[string]string{}
	for file, imports := range importsOf(t, "../..") {
		dir := filepath.ToSlash(filepath.Dir(file))
		top, _, _ := strings.Cut(dir, "/")
		require.Contains(t, arrows, top, "%s: a package that DEVELOPERS.md does not know", file)
		for _, path := range imports {
			inside, ours := strings.CutPrefix(path, "vibe/")
			first, _, _ := strings.Cut(inside, "/")
			switch {
			case ours:
				assert.True(t, first == top || slices.Contains(arrows[top], first), "%s must not import %s", file, path)
			case strings.Contains(strings.SplitN(path, "/", 2)[0], "."):
				module := moduleOf(path)
				if owner[module] == "" {
					owner[module] = dir
				}
				assert.Equal(t, owner[module], dir, "%s is imported by two packages", module)
			}
		}
	}
}

// TestTopLevel keeps the first thing a newcomer sees as small as DEVELOPERS.md has it.
func TestTopLevel(t *testing.T) {
	t.Parallel()
	allowed := []string{"README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum",
		"cmd", "sensor", "dsp", "assess", "recordings", "testdata"}
	entries, err := os.ReadDir("../..")
	require.NoError(t, err)
	for _, e := range entries {
		if name := e.Name(); !strings.HasPrefix(name, ".") {
			assert.Contains(t, allowed, name)
		}
	}
}

// importsOf maps each non-test Go file below root to what it imports.
func importsOf(t *testing.T, root string) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		for _, spec := range f.Imports {
			found[rel] = append(found[rel], strings.Trim(spec.Path.Value, `"`))
		}
		return err
	})
	require.NoError(t, err)
	require.NotEmpty(t, found)
	return found
}

// moduleOf returns the module of an import path; cobra and its flag library count as one.
func moduleOf(path string) string {
	parts := strings.Split(path, "/")
	if parts[0] == "github.com" || parts[0] == "golang.org" {
		return strings.Join(parts[:min(3, len(parts))], "/")
	}
	return strings.Join(parts[:2], "/")
}

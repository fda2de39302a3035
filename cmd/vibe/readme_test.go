package main

import (
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// TestReadme runs every `$ vibe …` and `go run ./cmd/vibe …` line of the README and of
// DEVELOPERS.md, in order and in an empty folder, so that no example there can rot. Each
// must end well; its flags must therefore exist.
func TestReadme(t *testing.T) {
	command := regexp.MustCompile(`(?m)^(?:\$ vibe|go run \./cmd/vibe)(.*)$`)
	var lines []string
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile("../../" + name)
		require.NoError(t, err)
		for _, m := range command.FindAllStringSubmatch(string(text), -1) {
			lines = append(lines, m[1])
		}
	}
	require.Greater(t, len(lines), 4, "the README has no examples")
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	t.Chdir(t.TempDir())
	for _, line := range lines {
		t.Logf("$ vibe%s", line)
		code, out, msg := vibe(t, nil, strings.Fields(line)...)
		assert.Zero(t, code, "vibe%s: %s", line, msg)
		assert.NotEmpty(t, out, "vibe%s", line)
	}
}

// update writes what the demo prints today into the README.
var update = flag.Bool("update", false, "TestReadmeExcerpt writes what the demo prints into the README")

// What the README shows of the demo is what the demo prints, to the last digit: the advice,
// the usable rows of the table, and the picture.
func TestReadmeExcerpt(t *testing.T) {
	part := func(pattern string) string {
		found := regexp.MustCompile(pattern).FindString(demoText())
		require.NotEmpty(t, found, "the demo has no %s", pattern)
		return found
	}
	rows := regexp.MustCompile(`(?m)^ +from .*\n(?: .* s .*\n)+`).FindString(demoText())
	rows = regexp.MustCompile(`(?m)^.*\?.*\n`).ReplaceAllString(rows, "")
	table := part(`(?m)^(RAISE|HOLD|LOWER) .*\n`) + "\nWhat the lathe did\n" + rows
	picture := part(`(?ms)^  mm/s\n.*^  avoid.*?\n`)

	fence := regexp.MustCompile("(?s)(From the demo:\n\n```\n).*?(```\n.*?```\n).*?(```)")
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	m := fence.FindSubmatch(readme)
	require.NotNil(t, m, "the README shows no table and picture")
	want := string(m[1]) + table + string(m[2]) + picture + string(m[3])
	if *update {
		require.NoError(t, os.WriteFile("../../README.md", []byte(strings.Replace(string(readme), string(m[0]), want, 1)), 0o644))
		return
	}
	assert.Equal(t, want, string(m[0]), "go test -run ReadmeExcerpt ./cmd/vibe -update writes it anew")
}

// The README's cautions are those of every screen, and its list of the JSON leaves nothing out.
func TestReadmeSays(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	for _, c := range assess.Cautions() {
		assert.Contains(t, string(text), "\n- "+c+"\n")
	}
	_, list, _ := strings.Cut(string(text), "**JSON** of `vibe read --json`")
	list, plan, _ := strings.Cut(list, "**JSON** of `vibe plan --json`")
	plan, _, _ = strings.Cut(plan, "\n\n")
	for described, args := range map[string][]string{list: {"demo"}, list + plan: {"plan", "--diameter", "310mm"}} {
		words := strings.FieldsFunc(described, func(r rune) bool { return r != '_' && (r < '0' || r > '9') && (r < 'a' || r > 'z') })
		code, out, msg := vibe(t, nil, append(args, "--json")...)
		require.Zero(t, code, msg)
		for _, m := range regexp.MustCompile(`"([a-z0-9_]+)":`).FindAllStringSubmatch(out, -1) {
			require.Contains(t, words, m[1])
		}
	}
}

// Every flag that the README names is one that some command has, and the other way round.
func TestReadmeFlags(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	named := map[string]bool{}
	for _, m := range regexp.MustCompile("--([a-z][a-z-]+)").FindAllStringSubmatch(string(text), -1) {
		named[m[1]] = true
	}
	has := map[string]bool{"help": true}
	all := newRoot().Commands()
	for _, c := range newRoot().Commands() {
		all = append(all, c.Commands()...)
	}
	for _, c := range all {
		for _, m := range regexp.MustCompile(`--([a-z-]+)`).FindAllStringSubmatch(c.Flags().FlagUsages(), -1) {
			has[m[1]] = true
		}
	}
	for name := range named {
		assert.True(t, has[name], "the README names --%s, which no command has", name)
	}
	for name := range has {
		assert.True(t, named[name], "the README does not name --%s", name)
	}
}

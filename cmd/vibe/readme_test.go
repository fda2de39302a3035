package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
	t.Chdir(t.TempDir())
	for _, line := range lines {
		t.Logf("$ vibe%s", line)
		code, out, msg := vibe(t, nil, strings.Fields(line)...)
		assert.Zero(t, code, "vibe%s: %s", line, msg)
		assert.NotEmpty(t, out, "vibe%s", line)
	}
}

// What the README shows of the demo is what the demo prints, but for the last digits and the
// reservations of single readings.
func TestReadmeExcerpt(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	excerpt := regexp.MustCompile("(?s)From the demo:\n\n```\n(.*?)```").FindSubmatch(text)
	require.NotNil(t, excerpt)
	plain := func(s string) string {
		s = regexp.MustCompile(`\d+\.\d+|\(.*?\)`).ReplaceAllString(s, "")
		return strings.Join(strings.Fields(s), " ")
	}
	var printed []string
	for line := range strings.Lines(demoText()) {
		printed = append(printed, plain(line))
	}
	for line := range strings.Lines(string(excerpt[1])) {
		assert.Contains(t, printed, plain(line))
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
	for _, c := range newRoot().Commands() {
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

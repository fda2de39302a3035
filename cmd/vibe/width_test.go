package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
)

// Eighty columns are enough, for every help text, the welcome and the whole demo.
func TestWidth(t *testing.T) {
	t.Setenv("COLUMNS", "")
	texts := map[string]string{"the demo": demoText()}
	print := func(args ...string) {
		code, out, msg := vibe(t, nil, args...)
		assert.Zero(t, code, msg)
		texts[strings.Join(args, " ")] = out
	}
	var help func(c *cobra.Command)
	help = func(c *cobra.Command) {
		print(append(strings.Fields(c.CommandPath())[1:], "--help")...)
		for _, sub := range c.Commands() {
			help(sub)
		}
	}
	help(newRoot())
	print()
	print("--version")
	print("plan", "--diameter", "310mm")
	assert.Greater(t, len(texts), 20)
	for name, text := range texts {
		for line := range strings.Lines(text) {
			line = strings.TrimRight(line, "\n")
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 80, "%s: %s", name, line)
		}
	}
}

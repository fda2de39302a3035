package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/recordings"
)

// Names come from files and from other people: nothing of them steers the terminal, and none
// is wider than its column.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "a\nb\x1b[1mcd", harmless("a\r\n\x07b\x1b[1mc\x1b[2Jd\u009b"))
	for _, label := range []string{"two\nlines\x1b[2J\x07", "日本語のとても長いラベル日本語のとても長い", strings.Repeat("a story without an end ", 1e5), "ordinary", "e\u0301e\u0301\xff", strings.Repeat("\xff", 90), ""} {
		for width := 60; width <= 100; width += 20 {
			p := &page{width: width}
			p.sessions([]*recordings.Session{{Number: 12, Ended: true, Setup: recordings.Setup{Label: label}}})
			text := harmless(p.text.String())
			assert.NotContains(t, text, "\x1b")
			rows := strings.Split(text, "\n")
			require.Greater(t, len(rows), 2)
			assert.Equal(t, width, visible(rows[0])+1, "%q: %s", label, rows[0])
			assert.Equal(t, width-4, visible(rows[1]), "%q: %s", label, rows[1])
		}
	}
	code, _, msg := vibe(t, nil, "read", "-", "--keep", "--label", "two\nlines")
	assert.Equal(t, 2, code, msg)
}

func TestShellWord(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"bowl.csv": "bowl.csv", "-x.csv": "./-x.csv", "long bed": "'long bed'", "it's": `'it'\''s'`, "": "''", "bürl": "bürl",
	} {
		assert.Equal(t, want, shellWord(typed))
	}
}

// What is said of a lathe wins over what was known, and what is not said stays: no end of its
// range is forgotten by naming the other.
func TestOver(t *testing.T) {
	t.Parallel()
	known := assess.Lathe{Name: "mini", Low: 200, High: 1200, ChuckMax: 2000, Mass: 40}
	pulleys := assess.Lathe{Name: "mini", Steps: []assess.RPM{500, 800, 1250}}
	for _, c := range []struct{ said, known, want assess.Lathe }{
		{assess.Lathe{}, known, known},
		{assess.Lathe{Low: 250}, known, assess.Lathe{Name: "mini", Low: 250, High: 1200, ChuckMax: 2000, Mass: 40}},
		{assess.Lathe{High: 900, Mass: 50}, known, assess.Lathe{Name: "mini", Low: 200, High: 900, ChuckMax: 2000, Mass: 50}},
		{assess.Lathe{Steps: pulleys.Steps}, known, assess.Lathe{Name: "mini", Steps: pulleys.Steps, ChuckMax: 2000, Mass: 40}},
		{assess.Lathe{Low: 300}, pulleys, assess.Lathe{Name: "mini", Low: 300, High: 1250}},
		{assess.Lathe{}, pulleys, pulleys},
		{assess.Lathe{Low: 500}, pulleys, pulleys},
		{assess.Lathe{Low: 500, High: 1250}, pulleys, pulleys},
		{assess.Lathe{Low: 500, High: 800}, pulleys, assess.Lathe{Name: "mini", Low: 500, High: 800}},
	} {
		assert.Equal(t, c.want, over(c.said, c.known))
	}
}

// Where nothing chooses, the newest are listed, as many as fit; what chooses lists all it fits.
func TestListOfMany(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.sqlite")
	shop, err := recordings.Open(path)
	require.NoError(t, err)
	for i := range 45 {
		w, err := shop.Begin(recordings.Setup{Label: "bowl", Started: time.Date(2026, 1, 1, i, 0, 0, 0, time.UTC)})
		require.NoError(t, err)
		require.NoError(t, w.Close())
	}
	require.NoError(t, shop.Close())
	for rows, args := range map[int][]string{40: {"log"}, 45: {"log", "list", "--all"}, 46: {"log", "list", "bowl"}} {
		_, out, _ := vibe(t, nil, append(args, "--shop", path)...)
		assert.Equal(t, min(rows, 45), strings.Count(out, " bowl "), args)
		assert.Equal(t, rows == 40, strings.Contains(out, "and older ones"), args)
		assert.Regexp(t, `^.*\n +45  `, out)
	}
	assert.Equal(t, 17, (&page{height: 24}).listed())
}

// The columns of a trend are the speeds that most runs have, not those of the first alone.
func TestTrendColumns(t *testing.T) {
	t.Parallel()
	run := func(speeds ...assess.RPM) *recordings.Session {
		k := &recordings.Session{Number: 1}
		for _, s := range speeds {
			k.Summary.Map = append(k.Summary.Map, recordings.Speed{Speed: s, Shake: 0.4, N: 40})
		}
		return k
	}
	runs := []*recordings.Session{run(300, 400, 500, 560), run(600, 1000), run(605, 1000), run(600, 1200)}
	assert.Equal(t, []assess.RPM{300, 600, 1000}, columnsOf(runs, 3))
	p := &page{width: 80}
	p.trend("mini", runs)
	for line := range strings.Lines(p.text.String()) {
		assert.LessOrEqual(t, visible(strings.TrimRight(line, "\n")), 80, line)
	}
	assert.Contains(t, p.text.String(), "600 rpm")
}

// The speeds of two sessions are listed by rising speed, whether both have them or one.
func TestComparisonRises(t *testing.T) {
	t.Parallel()
	run := func(n int64, speeds ...assess.RPM) *recordings.Session {
		k := &recordings.Session{Number: n}
		for _, s := range speeds {
			k.Summary.Map = append(k.Summary.Map, recordings.Speed{Speed: s, Shake: 1, N: 400})
		}
		return k
	}
	p := &page{width: 80}
	p.comparison(run(1, 300, 600, 900), run(2, 400, 601))
	assert.Regexp(t, `(?s)\n +300 .*\n +400 .*\n +600 .*not told apart\n +900 `, p.text.String())
}

// A run that brought no reading, the oldest or the newest, hides no trend of the others.
func TestTrendWithoutReading(t *testing.T) {
	t.Parallel()
	empty := &recordings.Session{Number: 9}
	run := func(shake float64) *recordings.Session {
		return &recordings.Session{Number: 1, Summary: recordings.Summary{Map: []recordings.Speed{{Speed: 600, Shake: shake, N: 400}}}}
	}
	say := func(runs ...*recordings.Session) string {
		p := &page{width: 80}
		p.trend("mini", runs)
		return p.text.String()
	}
	for _, runs := range [][]*recordings.Session{{empty, run(0.4), run(0.8)}, {run(0.4), run(0.8), empty}} {
		out := say(runs...)
		assert.Contains(t, out, "The difference is real")
		assert.NotContains(t, out, "cannot be compared")
		assert.Contains(t, out, "2.00 (")
	}
	assert.Contains(t, say(empty, run(0.4)), "One run of mini with nothing mounted has a reading")
	assert.Contains(t, say(empty, empty), "has a reading yet")
}

package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
	"vibe/sensor"
)

// demoText is what the demo prints: it takes seconds, so once is enough.
var demoText = sync.OnceValue(func() string {
	var out, msg strings.Builder
	if code := run(context.Background(), []string{"demo"}, nil, &out, &msg); code != 0 || msg.String() != "" {
		return fmt.Sprintf("exit %d: %s", code, &msg)
	}
	return out.String()
})

// The demo is the first thing a newcomer sees: it must say that it is simulated, give an
// advice with its speed, show every step of the story, and fit on eighty columns.
func TestDemo(t *testing.T) {
	t.Parallel()
	out := demoText()
	assert.Regexp(t, `^A simulated recording of an invented lathe`, out)
	assert.Regexp(t, `(?m)^(RAISE|HOLD|LOWER|STOP) .*\b\d+ rpm`, out)
	last := -1
	for _, part := range []string{"\nWhy\n", "\nNever faster", "\nWhat the lathe did\n", "\nWhat the advice was on the way\n",
		"\nShake against speed\n", "\nWhatever the numbers say\n", "\nTry next\n"} {
		at := strings.Index(out, part)
		assert.Greater(t, at, last, "%q is missing or out of place", part)
		last = at
	}
	for _, row := range []string{`430 +1\.[0-9–.]+ .* calm`, `560 +[67]\.[0-9–.]+ .* rough`, `740 +3\.[0-9–.]+ .* lively`} {
		assert.Regexp(t, row, out, "the truth of the simulated lathe")
	}
	for _, line := range strings.Split(out, "\n") {
		if !strings.HasPrefix(line, "  vibe ") { // commands are there to be copied
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 80, line)
		}
	}
	assert.NotContains(t, out, "\x1b", "colour where there is no terminal")
}

// What the demo saves and what read makes of it is the demo.
func TestDemoSaved(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "demo.csv")
	code, out, msg := vibe(t, nil, "demo", "--save", file)
	require.Zero(t, code, msg)
	out = strings.ReplaceAll(out, "\\\n", "") // as a shell does
	next := regexp.MustCompile(`(?m)^  vibe (read .*)$`).FindStringSubmatch(out)
	require.NotNil(t, next, "it says how to go on: %s", out)
	code, read, msg := vibe(t, nil, strings.Fields(next[1])...)
	require.Zero(t, code, msg)
	first := regexp.MustCompile(`(?m)^(RAISE|HOLD|LOWER|STOP) .*$`)
	assert.Equal(t, first.FindString(demoText()), first.FindString(read))
	assert.Equal(t, first.FindString(read), strings.SplitN(read, "\n", 2)[0], "the advice is the first line")

	code, _, msg = vibe(t, nil, "demo", "--save", file)
	assert.Equal(t, 1, code)
	assert.Contains(t, msg, "is there already")
	code, _, _ = vibe(t, nil, "demo", "--save", filepath.Join(file, "no", "folder.csv"))
	assert.Equal(t, 1, code)
	left, err := os.ReadDir(filepath.Dir(file))
	require.NoError(t, err)
	assert.Len(t, left, 1, "a half-written file was left")
}

func TestInterrupted(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, msg strings.Builder
	assert.Equal(t, 1, run(ctx, []string{"read", "-"}, &sine{hz: 10, rows: 1e9}, &out, &msg))
	assert.Empty(t, out.String())
	assert.Contains(t, msg.String(), "interrupted")
}

// Every fault code that a reading can carry is said in words.
func TestFaultWords(t *testing.T) {
	t.Parallel()
	for _, f := range []dsp.Fault{dsp.NoTurn, dsp.Weak, dsp.Changing, dsp.Clipped, dsp.Stuck, dsp.Gap, dsp.Coarse, dsp.Folded, dsp.Doubtful} {
		assert.NotEmpty(t, assess.FaultWords(f), f)
	}
}

// The one advice of a recording that ends without any is not lost; said twice it would be noise.
func TestOnTheWay(t *testing.T) {
	t.Parallel()
	once := []recordings.Said{{T: 3, Advice: assess.Advice{Action: assess.Hold, Say: "Hold 600 rpm."}}}
	for end, want := range map[assess.Action]bool{assess.Wait: true, assess.Lower: true, assess.Hold: false} {
		p := newPage(nil)
		p.onTheWay(once, end)
		assert.Equal(t, want, strings.Contains(p.text.String(), "3.0 s  Hold 600 rpm."), end)
	}
}

func TestStretches(t *testing.T) {
	t.Parallel()
	var all []stretch
	now := 0.0
	add := func(n int, r assess.Reading) {
		for range n {
			now += 0.25
			r.T = now
			all = together(all, r)
		}
	}
	calm := assess.Reading{OK: true, Speed: 600, Shake: 1, Feel: assess.Calm}
	add(2, assess.Reading{Faults: []dsp.Fault{dsp.NoTurn}})
	add(1, assess.Reading{Speed: 3000, Faults: []dsp.Fault{dsp.Doubtful}})
	add(1, assess.Reading{Faults: []dsp.Fault{dsp.NoTurn}})
	add(6, assess.Reading{Speed: 300, Faults: []dsp.Fault{dsp.Changing}})
	add(2, assess.Reading{Speed: 500, Faults: []dsp.Fault{dsp.Changing, dsp.Weak}})
	add(5, calm)
	add(1, assess.Reading{Speed: 1200, Faults: []dsp.Fault{dsp.Doubtful}})
	add(4, calm)
	faster := calm
	faster.Speed = 660
	add(3, faster)
	faster.Shake, faster.Feel = 5, assess.Rough
	add(1, faster)
	var rows []string
	for i := range all {
		row := all[i].row(newPage(nil))
		assert.NotRegexp(t, " $", row, "blanks at the end would fold it on a narrow terminal")
		rows = append(rows, oneLine(row))
	}
	assert.Equal(t, []string{
		"0.2 s 1.0 s – – – no-turn doubtful",
		"1.2 s 3.0 s 300–500? – – changing weak",
		"3.2 s 5.5 s 600 1.00 – calm (doubtful)",
		"5.8 s 6.2 s 660 1.00 – calm",
		"6.5 s 6.5 s 660 5.00 – rough",
	}, rows)

	coast := stretch{n: 2, slow: 112, fast: 4163, faults: []dsp.Fault{dsp.Changing}}
	assert.Equal(t, []string{"0.0", "s", "0.0", "s", "–", "–", "–", "changing"}, strings.Fields(coast.row(newPage(nil))), "a spindle that ran down, and noise")

	wide := &page{width: 80}
	crowded := stretch{ok: true, n: 1, faults: []dsp.Fault{dsp.Doubtful, dsp.Changing, dsp.Clipped, dsp.NoTurn}, most: assess.Reading{Shake: 10, Feel: assess.Violent}}
	assert.Regexp(t, `violent  \(doubtful …\)$`, crowded.row(wide), "as many faults as there is room for")
	assert.LessOrEqual(t, visible(crowded.row(wide)), 80)
	crowded.ok = false
	assert.Regexp(t, `doubtful changing …$`, crowded.row(wide))
	assert.LessOrEqual(t, visible(crowded.row(wide)), 80)

	kept := telling(all, 2)
	require.Len(t, kept, 2)
	assert.InDelta(t, 600, kept[0].speed/float64(kept[0].n), 0, "the longest")
	assert.Equal(t, assess.Rough, kept[1].most.Feel, "the roughest, however short")
}

// Nobody knows what the lathe did where samples are missing: no row runs over that, and no
// blip behind it belongs to what was before.
func TestHoleEndsAStretch(t *testing.T) {
	t.Parallel()
	calm := assess.Reading{OK: true, Speed: 600, Shake: 1, Span: 1, Feel: assess.Calm}
	weak := assess.Reading{Speed: 600, Span: 1, Faults: []dsp.Fault{dsp.Weak}}
	var all []stretch
	see := func(r assess.Reading, at ...float64) {
		for r.T = range slices.Values(at) {
			all = together(all, r)
		}
	}
	see(calm, 1, 1.25, 1.5, 3, 4.5) // windows 0.5 s apart at most
	see(calm, 6.1, 6.3)
	see(weak, 7.8)
	see(calm, 8)
	see(weak, 9.7, 10, 12)
	var rows []string
	for i := range all {
		rows = append(rows, oneLine(all[i].row(newPage(nil))))
	}
	assert.Equal(t, []string{"1.0 s 4.5 s 600 1.00 – calm", "6.1 s 6.3 s 600 1.00 – calm", "7.8 s 7.8 s 600? – – weak", "8.0 s 8.0 s 600 1.00 – calm",
		"9.7 s 10.0 s 600? – – weak", "12.0 s 12.0 s 600? – – weak"}, rows)
}

// A recording that ends with the lathe switched off: run up, ten seconds of turning, switched off.
func TestSwitchedOff(t *testing.T) {
	t.Parallel()
	src := demoLathe()
	src.Speed = []sensor.Point{{At: 2, Value: 0}, {At: 5, Value: 7}, {At: 15, Value: 7}, {At: 19, Value: 0}}
	src.Seconds = 40
	r, err := input{src: src, name: "run", job: demoJob()}.follow(t.Context())
	require.NoError(t, err)
	a := r.doc.Advice
	assert.NotEqual(t, assess.Wait, a.Action, a.Say)
	assert.True(t, strings.HasPrefix(a.Say, assess.NextTime), a.Say)
	page := newPage(io.Discard)
	page.advice(a)
	assert.Regexp(t, `^NEXT TIME: (hold|raise|lower)`, page.text.String())
	require.NotEmpty(t, a.Reasons)
	assert.Equal(t, "then-stopped", a.Reasons[len(a.Reasons)-1].Code)
}

func TestPicture(t *testing.T) {
	t.Parallel()
	assert.Nil(t, picture(nil, 0, 80, 12, edgeWords))
	assert.Nil(t, picture([]assess.MapPoint{{Speed: 500, Shake: 1}}, 500, 80, 12, edgeWords), "nothing measured")
	got := picture([]assess.MapPoint{
		{Speed: 400, Shake: 1, Seen: true}, {Speed: 500, Shake: 2, Seen: true}, {Speed: 600, Shake: 4, Seen: true},
		{Speed: 700, Shake: 9}, {Speed: 2000, Shake: 50}}, 500, 60, 12, edgeWords)
	assert.Equal(t, strings.Split(strings.Trim(`
  mm/s
      │··························▲······ rough from 4.5
      │                   ●
  3.6 │
      │
      │
  2.4 │
      │·············●··················· lively from 1.8
      │
  1.2 │      ●
      │
      │
  0.0 │
      └─────────────────────────────────
       300          ↑500               800  rpm`, "\n"), "\n"), got)
}

func TestWrap(t *testing.T) {
	t.Parallel()
	p := &page{width: 20, colour: true}
	p.wrap("  - ", "one two three "+p.paint(red, "four five")+" six ünïcödé")
	assert.Equal(t, "  - one two three\n    \x1b[1;31mfour five\x1b[m six\n    ünïcödé\n", p.text.String())
}

// Two shaky bands that no dial goes between are one: the map is not as exact as that.
func TestBandsAreApart(t *testing.T) {
	t.Parallel()
	r, err := input{src: demoLathe(), name: "demo"}.follow(t.Context())
	require.NoError(t, err)
	bands := r.doc.Advice.Avoid
	require.Greater(t, len(bands), 1)
	for i, band := range bands[1:] {
		assert.Greater(t, float64(band[0]), 1.05*float64(bands[i][1]), "%v", bands)
	}
	assert.Equal(t, "about 1090 rpm", bandText([2]assess.RPM{1090, 1090}))
	assert.Equal(t, "525 to 650 rpm", bandText(bands[0]))
}

// An axis that stops in the midst of a recording is said to have, and not that the dial was turned.
func TestReadNumbAxis(t *testing.T) {
	t.Parallel()
	var rows strings.Builder
	rows.WriteString("t_s,x_m/s2,y_m/s2,z_m/s2\n")
	for i := range 20 * 200 {
		u := float64(i) / 200
		p := 2 * math.Pi * 10 * u
		x := math.Cos(p) + 0.02*math.Sin(997*u)
		if u > 8 {
			x = 0
		}
		fmt.Fprintf(&rows, "%.3f,%.4f,%.4f,%.4f\n", u, x, 0.3*math.Sin(p)+0.02*math.Sin(811*u), 9.8+0.02*math.Cos(613*u))
	}
	code, _, msg := vibe(t, strings.NewReader(rows.String()), "read", "-", "--speed", "600")
	assert.Zero(t, code)
	assert.Contains(t, msg, dsp.Numb)
	assert.NotContains(t, msg, "something else turns")
}

// TestRivalBesideTheDial: a second line beside the spindle's, 5 % off and alike, leaves doubt, and is no
// sign that the dial was turned.
func TestRivalBesideTheDial(t *testing.T) {
	t.Parallel()
	var rows strings.Builder
	rows.WriteString("t_s,x_m/s2,y_m/s2,z_m/s2\n")
	for i := range 25 * 200 {
		u := float64(i) / 200
		p, q := 2*math.Pi*10*u, 2*math.Pi*9.5*max(0, u-4) // the second from 4 s on
		fmt.Fprintf(&rows, "%.3f,%.4f,%.4f,%.4f\n", u, math.Cos(p)+0.9*math.Sin(q)+0.02*math.Sin(997*u), 0.3*math.Sin(p)+0.3*math.Sin(q)+0.02*math.Sin(811*u), 9.8+0.02*math.Cos(613*u))
	}
	code, out, msg := vibe(t, strings.NewReader(rows.String()), "read", "-", "--speed", "600")
	assert.Zero(t, code)
	assert.Contains(t, out, "doubtful")
	assert.NotContains(t, msg, "something else turns")
}

// TestPartly: what is not measured is told, of a recording with fewer axes and of dead ones alike, each as what it is.
func TestPartly(t *testing.T) {
	t.Parallel()
	for want, c := range map[string][2]int{ // axes, and directions not seen
		"the recording has 1 axis of three: ":                         {1, 2},
		"the recording has 2 axes of three: ":                         {2, 1},
		"no more than 1 of three axes measured anything of their own": {3, 2},
	} {
		r := newRecord("bowl.csv")
		r.doc.Recording.Axes, r.unseen = c[0], c[1]
		assert.Contains(t, strings.Join(r.partly(), ""), want)
	}
}

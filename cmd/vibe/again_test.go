package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/recordings"
	"vibe/sensor"
)

// spokenTo is a watching of the lathe to play with, at which a turner speaks on the way: a cut,
// another task, the dial, too much. It returns the shop file.
func spokenTo(t *testing.T, speaks map[int]func(*live.Session, live.Snapshot)) string {
	t.Helper()
	lathe := playLathe()
	lathe.Seconds = 100
	j := demoJob()
	d := newDial(lathe, j.lathe, 245)
	return spokenAt(t, &watching{in: input{src: lathe, name: "lathe", job: j}}, func(n int, s *live.Session, r assess.Reading, a assess.Advice) {
		d.hear(r.T+r.Span/2, a)
		if say := speaks[n]; say != nil {
			say(s, s.Now())
		}
	})
}

// spokenAt is any watching, with what happens at each of its readings. It returns the shop file.
func spokenAt(t *testing.T, w *watching, speaks func(int, *live.Session, assess.Reading, assess.Advice)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "shop.sqlite")
	w.in.job.shop = shopFile(path)
	w.record = newRecord("lathe")
	require.Empty(t, w.keep(keeping{}), "it is kept")
	adviser := w.in.adviser()
	w.session = live.New("lathe", adviser)
	n := 0
	require.NoError(t, w.loop(adviser, func(r assess.Reading, a assess.Advice) error {
		speaks(n, w.session, r, a)
		n++
		return nil
	}, func(string) {}))
	_, err := w.in.session.close()
	require.NoError(t, err)
	return path
}

// A session in the midst of which the turner spoke says, run again, what it said then:
// each reading and each advice.
func TestAgain(t *testing.T) {
	t.Parallel()
	path := spokenTo(t, map[int]func(*live.Session, live.Snapshot){
		20: func(s *live.Session, _ live.Snapshot) { s.Dial(245) },
		90: func(s *live.Session, n live.Snapshot) {
			n.Blank.Diameter -= 10
			assert.NoError(t, s.Tell(n.Blank, n.Task))
		},
		160: func(s *live.Session, n live.Snapshot) { assert.NoError(t, s.Tell(n.Blank, assess.Sanding)) },
		200: func(s *live.Session, n live.Snapshot) { assert.NoError(t, s.Tell(n.Blank, assess.Sanding)) },
		240: func(s *live.Session, _ live.Snapshot) { s.Mark(live.TooMuch) },
		300: func(s *live.Session, _ live.Snapshot) { s.Dial(2000) },
	})
	copied := readAgain(t, path, 6)
	then, now := heard(t, path), heard(t, copied)
	assert.Equal(t, then.readings, now.readings)
	require.Equal(t, len(then.said), len(now.said))
	for i := range then.said {
		require.Equal(t, then.said[i], now.said[i])
	}
	actions := map[assess.Action]int{}
	for _, s := range then.said {
		actions[s.Advice.Action]++
	}
	assert.Positive(t, actions[assess.Raise], "%v", actions)
	assert.Positive(t, actions[assess.Lower], "%v", actions)

	page := func(args ...string) string { // what was said on the way
		code, out, msg := vibe(t, nil, append(args, "--shop", path)...)
		require.Zero(t, code, msg)
		_, out, _ = strings.Cut(out, "What the advice was on the way\n")
		out, _, _ = strings.Cut(out, "\n\n")
		return out
	}
	last := ""
	for _, s := range then.said {
		if s.Advice.Action == assess.Hold || s.Advice.Action == assess.Raise {
			last = s.Advice.Say
		}
	}
	assert.Contains(t, oneLine(page("log", "show", "1")), last)
	assert.Equal(t, page("log", "show", "1"), page("read", "1"))
}

// readAgain reads the first session of a shop once more, with so many changes on the way, and
// keeps that in the first of another shop file, which it returns.
func readAgain(t *testing.T, path string, changes int) string {
	t.Helper()
	shop, err := recordings.View(path)
	require.NoError(t, err)
	k, err := shop.Session(1)
	require.NoError(t, err)
	copied := shopFile(filepath.Join(t.TempDir(), "again.sqlite"))
	in := input{src: keptSource{k, shop}, name: "session 1"}
	assert.Empty(t, in.again(newRead()))
	assert.Len(t, in.changes, changes)
	in.session, err = copied.keep(in.setup())
	require.NoError(t, err)
	_, err = in.follow(t.Context())
	require.NoError(t, err)
	_, err = in.session.close()
	require.NoError(t, err)
	return string(copied)
}

// A phone's line is looked for near the dial's word, from when it was said to when it was found
// to be old: also where its session runs again.
func TestAgainPhone(t *testing.T) {
	t.Parallel()
	lathe := &sensor.Simulated{Seconds: 60, Imbalance: 0.002, Chip: sensor.Chip{Rate: 60, Jitter: 0.002, Step: 0.02, Noise: 0.002},
		Speed: []sensor.Point{{At: 0, Value: 12.2}, {At: 25, Value: 12.2}, {At: 27, Value: 15.6}}}
	path := spokenAt(t, &watching{in: input{src: lathe, name: "lathe", job: demoJob()}, word: spokenDial{always: true}}, func(n int, s *live.Session, _ assess.Reading, _ assess.Advice) {
		switch n {
		case 30:
			s.Dial(735)
		case 190:
			s.Dial(940)
		}
	})
	then := heard(t, path)
	sure := func(from, to float64) (n int) {
		for _, r := range then.readings {
			if r.OK && r.T > from && r.T < to {
				n++
			}
		}
		return n
	}
	assert.Zero(t, sure(0, 8)+sure(25, 48), "its rate alone tells nothing")
	assert.Greater(t, sure(8, 25), 50)
	assert.Greater(t, sure(48, 60), 30)
	for _, how := range [][]string{{"hear", "--to", filepath.Join(t.TempDir(), "phone.wav")}, {"hand"}} {
		code, _, msg := vibe(t, nil, append([]string{"learn", how[0], "--from", "1", "--shop", path}, how[1:]...)...)
		assert.NotContains(t, msg, "no four seconds")
		assert.NotContains(t, msg, "no two steady seconds")
		assert.Equal(t, how[0] == "hear", code == 0, msg)
	}
	now := heard(t, readAgain(t, path, 4))
	assert.Equal(t, then.readings, now.readings)
	assert.Equal(t, then.said, now.said)
	code, out, msg := vibe(t, nil, "watch", "--from", "1", "--pace", "max", "--json", "--shop", path)
	require.Zero(t, code, msg)
	assert.Equal(t, sure(0, 60), strings.Count(out, `"ok":true`))
	code, out, msg = vibe(t, nil, "read", "1", "--json", "--shop", path, "--task", "sanding")
	require.Zero(t, code, msg)
	assert.Equal(t, sure(0, 60), strings.Count(out, `"ok":true`), "what the dial showed stays so, whatever is said now")
	assert.Contains(t, msg, "1 change on the way left out")
	_, out, _ = vibe(t, nil, "log", "show", "1", "--shop", path)
	assert.Contains(t, oneLine(out), "the dial shows 735 rpm, and the spindle is looked for near that")
}

// Watched once more by its number a session says the same as when it ran, with the limit of then
// and all that was said on the way; and what is said now goes first.
func TestWatchAgain(t *testing.T) {
	t.Parallel()
	path := spokenTo(t, map[int]func(*live.Session, live.Snapshot){
		20: func(s *live.Session, _ live.Snapshot) { s.Dial(245) },
		90: func(s *live.Session, n live.Snapshot) {
			n.Blank.Diameter -= 10
			assert.NoError(t, s.Tell(n.Blank, assess.Sanding))
		},
		250: func(s *live.Session, _ live.Snapshot) {
			_, ok := s.Mark(live.TooMuch)
			assert.True(t, ok)
		},
	})
	watch := func(args ...string) (says []assess.Advice, msg string) {
		code, out, msg := vibe(t, nil, append([]string{"watch", "--from", "1", "--pace", "200", "--json", "--shop", path}, args...)...)
		require.Zero(t, code, msg)
		for line := range strings.Lines(out) {
			var d said
			if require.NoError(t, json.Unmarshal([]byte(line), &d)); d.Reading.Span > 0 { // else silence, on a busy machine
				a := assess.Advice{Action: d.Advice.Action}
				if d.Advice.Speed != nil {
					a.Speed = assess.RPM(*d.Advice.Speed)
				}
				says = append(says, a)
			}
		}
		return says, msg
	}
	k := heard(t, path)
	says, msg := watch()
	assert.NotContains(t, msg, "left out")
	require.Len(t, says, len(k.readings))
	for i, n := 0, 0; i < len(says); i++ {
		end := k.readings[i].T + k.readings[i].Span/2
		for n+1 < len(k.said) && k.said[n+1].T <= end {
			n++
		}
		then := k.said[n].Advice
		require.Equal(t, assess.Advice{Action: then.Action, Speed: then.Speed}, says[i], "at %v: %s", end, then.Say)
	}
	_, msg = watch("--task", "roughing")
	assert.Contains(t, msg, "3 changes on the way left out")
}

// kept is what was said in the first session of a shop.
type kept struct {
	readings []assess.Reading
	said     []recordings.Said
}

func heard(t *testing.T, path string) (out kept) {
	t.Helper()
	shop, err := recordings.View(path)
	require.NoError(t, err)
	defer shop.Close()
	k, err := shop.Session(1)
	require.NoError(t, err)
	require.NoError(t, k.Readings(func(r assess.Reading) bool {
		out.readings = append(out.readings, r)
		return true
	}))
	out.said, err = k.Advices(0)
	require.NoError(t, err)
	return out
}

// What is said now goes before what was said then, and what is left out is told.
func TestAgainAnew(t *testing.T) {
	t.Parallel()
	path := spokenTo(t, map[int]func(*live.Session, live.Snapshot){
		90: func(s *live.Session, n live.Snapshot) { assert.NoError(t, s.Tell(n.Blank, assess.Sanding)) },
	})
	code, out, msg := vibe(t, nil, "read", "1", "--shop", path)
	require.Zero(t, code, msg)
	assert.NotContains(t, msg, "left out")
	assert.Contains(t, out, "sanding")
	code, _, msg = vibe(t, nil, "read", "1", "--shop", path, "--task", "roughing")
	require.Zero(t, code, msg)
	assert.Contains(t, msg, "1 change on the way left out")
}

// A limit that held then holds still where the blank is said anew, but nobody: that of the person
// who is not named now may be a higher one.
func TestAgainComfort(t *testing.T) {
	t.Parallel()
	shop := shopFile(filepath.Join(t.TempDir(), "shop.sqlite"))
	in := input{src: demoLathe(), name: "lathe", job: demoJob(), comfort: 2.5}
	var err error
	in.session, err = shop.keep(in.setup())
	require.NoError(t, err)
	_, err = in.follow(t.Context())
	require.NoError(t, err)
	_, err = in.session.close()
	require.NoError(t, err)
	for args, want := range map[string]float64{"--task=sanding": 2.5, "--who=nobody": 0} {
		view, err := shop.view()
		require.NoError(t, err)
		k, err := view.Session(1)
		require.NoError(t, err)
		cmd := newRead()
		require.NoError(t, cmd.ParseFlags([]string{args}))
		in := input{src: keptSource{k, view}}
		in.again(cmd)
		assert.InDelta(t, want, in.comfort, 0, args)
		require.NoError(t, in.src.Close())
	}
}

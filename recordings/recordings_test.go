package recordings_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
	"vibe/sensor"
	"vibe/sensor/sensortest"
)

// shopAt opens the shop at path; at the end of the test Check must find it sound.
func shopAt(t testing.TB, path string) *recordings.Shop {
	t.Helper()
	s, err := recordings.Open(path)
	require.NoError(t, err)
	t.Cleanup(func() {
		assert.Empty(t, troubles(t, s))
		assert.NoError(t, s.Close())
	})
	return s
}

func newShop(t testing.TB) *recordings.Shop {
	return shopAt(t, filepath.Join(t.TempDir(), "shop.vibe"))
}

func troubles(t testing.TB, s *recordings.Shop) []recordings.Trouble {
	found, err := s.Check()
	require.NoError(t, err)
	return found
}

// turning is a simulated lathe at 600 rpm with wood that shakes, seen by a plain board.
func turning(seconds float64, chip sensor.Chip) *sensor.Simulated {
	return &sensor.Simulated{Seed: 7, Seconds: seconds, Speed: []sensor.Point{{Value: 10}}, Imbalance: 0.002, Chip: chip}
}

var board = sensor.Chip{Rate: 800, Jitter: 0.02, Stamp: 1e-6, Step: 9.80665 / 8192, Noise: 0.002, Range: 39.2}

func setup() recordings.Setup {
	return recordings.Setup{Label: "cherry bowl", Source: "simulated", Version: "test", Dial: 600,
		Started: time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC),
		Lathe:   assess.Lathe{Name: "long bed", Low: 200, High: 3200},
		Blank:   assess.Blank{Diameter: 150, Length: 110, Wood: "cherry", Held: assess.Faceplate, Balance: assess.Burl},
		Task:    assess.Roughing}
}

// run is what came out of a source.
type run struct {
	blocks   []sensor.Block
	readings []assess.Reading
	advices  []assess.Advice
}

// follow takes src through the same steps as the command, and keeps it where w is not nil.
func follow(t testing.TB, src sensor.Source, w *recordings.Writer) run {
	t.Helper()
	var r run
	tracker := &dsp.Tracker{Hint: 10}
	adviser := &assess.Adviser{Lathe: setup().Lathe, Blank: setup().Blank, Task: setup().Task}
	for {
		b, err := src.Next()
		if errors.Is(err, io.EOF) {
			return r
		}
		require.NoError(t, err)
		if tracker.Range == 0 {
			tracker.Range = b.Range
		}
		r.blocks = append(r.blocks, b)
		if w != nil {
			require.NoError(t, w.Append(b))
		}
		if len(b.T) == 0 {
			continue
		}
		for _, rev := range tracker.Add(b.T, b.Axes) {
			reading := assess.Read(rev)
			heard := reading
			heard.T += heard.Span / 2
			advice := adviser.See(heard)
			r.readings, r.advices = append(r.readings, reading), append(r.advices, advice)
			if w != nil {
				require.NoError(t, w.Say(reading, advice))
			}
		}
	}
}

// keep runs src into a new session and returns it as it was kept.
func keep(t testing.TB, s *recordings.Shop, src sensor.Source) (*recordings.Session, run) {
	t.Helper()
	w, err := s.Begin(setup())
	require.NoError(t, err)
	r := follow(t, src, w)
	require.NoError(t, w.Close())
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	return k, r
}

// joined puts blocks together: all times, all of each axis.
func joined(blocks []sensor.Block) (all sensor.Block) {
	for _, b := range blocks {
		all.T = append(all.T, b.T...)
		for i := range b.Axes {
			if len(all.Axes) <= i {
				all.Axes = append(all.Axes, nil)
			}
			all.Axes[i] = append(all.Axes[i], b.Axes[i]...)
		}
		all.Lost += b.Lost
		all.Notes = append(all.Notes, b.Notes...)
	}
	return all
}

// A session that is run again gives the same samples and therefore the same readings and
// the same advice, bit for bit; and the tables hold what was said.
func TestReplay(t *testing.T) {
	t.Parallel()
	for name, chip := range map[string]sensor.Chip{
		"board":         board,
		"no grid":       {Rate: 500, Jitter: 0.2, Noise: 0.003},
		"one axis":      {Rate: 400, Axes: 1, Step: 0.01},
		"samples lost":  {Rate: 800, Missing: 0.01, Step: 0.01, Gaps: []sensor.Point{{At: 4, Value: 3}}},
		"at its limits": {Rate: 800, Range: 10, Step: 0.02},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k, first := keep(t, newShop(t), turning(12, chip))
			again := follow(t, k, nil)
			assert.Equal(t, joined(first.blocks), joined(again.blocks))
			require.NotEmpty(t, again.readings)
			assert.Equal(t, first.readings, again.readings)
			assert.Equal(t, first.advices, again.advices)
			for _, b := range again.blocks {
				assert.Equal(t, chip.Range, b.Range)
			}

			at := 0
			require.NoError(t, k.Readings(func(r assess.Reading) bool {
				want := first.readings[at]
				assert.Equal(t, [...]any{want.T, want.Span, want.OK, want.Speed, want.SpeedSE, want.Shake, want.ShakeSE, want.Travel, want.Total, want.Feel},
					[...]any{r.T, r.Span, r.OK, r.Speed, r.SpeedSE, r.Shake, r.ShakeSE, r.Travel, r.Total, r.Feel})
				assert.ElementsMatch(t, want.Faults, r.Faults)
				at++
				return true
			}))
			assert.Equal(t, len(first.readings), at)
			said, err := k.Advices(0)
			require.NoError(t, err)
			for i, r := range first.readings {
				for len(said) > 1 && said[1].T <= r.T+r.Span/2 {
					said = said[1:]
				}
				want, got, age := first.advices[i], said[0].Advice, r.T+r.Span/2-said[0].T
				require.Equal(t, want.Action, got.Action)
				require.Equal(t, want.Speed, got.Speed)
				if age == 0 || age >= 5 { // numbers alone are kept once in that time
					require.Equal(t, want.Say, got.Say, "at %v s", r.T)
				}
			}
		})
	}
}

func TestSessionIsASource(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	follow(t, turning(5, board), w)
	require.NoError(t, w.Append(sensor.Block{Notes: []string{"the cable is out"}}))
	require.NoError(t, w.Close())
	sensortest.TestSource(t, func() sensor.Source {
		k, err := s.Session(w.Number())
		require.NoError(t, err)
		return k
	})
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	assert.Equal(t, []string{"the cable is out"}, joined(follow(t, k, nil).blocks).Notes)
}

// What was said before a session is there after it, and finds it again.
func TestSetupAndSearch(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	for i, change := range []func(*recordings.Setup){
		func(*recordings.Setup) {},
		func(u *recordings.Setup) {
			u.Label, u.Blank.Wood, u.Started = "lamp", "ash", u.Started.AddDate(0, 0, 1)
		},
		func(u *recordings.Setup) { u.Lathe.Name, u.Empty, u.Started = "mini", true, u.Started.AddDate(0, 0, 2) },
	} {
		u := setup()
		change(&u)
		w, err := s.Begin(u)
		require.NoError(t, err)
		assert.EqualValues(t, i+1, w.Number())
		require.NoError(t, w.Mark(recordings.Mark{T: 2, Kind: recordings.TooMuch, Text: "hums"}))
		require.NoError(t, w.Close())
		k, err := s.Session(w.Number())
		require.NoError(t, err)
		assert.Equal(t, u, k.Setup)
		assert.True(t, k.Ended)
		marks, err := k.Marks()
		require.NoError(t, err)
		assert.Equal(t, []recordings.Mark{{T: 2, Kind: recordings.TooMuch, Text: "hums"}}, marks)
	}
	day := setup().Started
	for _, c := range []struct {
		name   string
		filter recordings.Filter
		want   []int64
	}{
		{"all, newest first", recordings.Filter{}, []int64{3, 2, 1}},
		{"label", recordings.Filter{Text: "LAMP"}, []int64{2}},
		{"wood", recordings.Filter{Text: "cherry"}, []int64{3, 1}},
		{"two words", recordings.Filter{Text: "faceplate cherry"}, []int64{3, 1}},
		{"one word missing", recordings.Filter{Text: "faceplate yew"}, nil},
		{"diameter", recordings.Filter{Sizes: []assess.MM{152.4}}, []int64{3, 2, 1}},
		{"another diameter", recordings.Filter{Sizes: []assess.MM{154}}, nil},
		{"diameter and a length that is not", recordings.Filter{Sizes: []assess.MM{150, 500}}, nil},
		{"lathe", recordings.Filter{Lathe: "Long Bed"}, []int64{2, 1}},
		{"since", recordings.Filter{Since: day.AddDate(0, 0, 1)}, []int64{3, 2}},
		{"until", recordings.Filter{Until: day.AddDate(0, 0, 1)}, []int64{1}},
		{"empty", recordings.Filter{Empty: true}, []int64{3}},
		{"nothing", recordings.Filter{Text: "yew"}, nil},
	} {
		found, err := s.Sessions(c.filter)
		require.NoError(t, err)
		var got []int64
		for _, k := range found {
			got = append(got, k.Number)
		}
		assert.Equal(t, c.want, got, c.name)
	}
	_, err := s.Session(9)
	assert.ErrorIs(t, err, recordings.ErrNoSession)
}

func TestLathes(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	long, mini := assess.Lathe{Name: "long bed", Low: 200, High: 3200}, assess.Lathe{Name: "mini", Steps: []assess.RPM{500, 800, 1250}}
	require.NoError(t, s.SaveLathe(mini))
	require.NoError(t, s.SaveLathe(assess.Lathe{Name: "long bed", Low: 100}))
	require.NoError(t, s.SaveLathe(long))
	all, err := s.Lathes()
	require.NoError(t, err)
	assert.Equal(t, []assess.Lathe{long, mini}, all)
	for _, bad := range []assess.Lathe{{}, {Name: "x", Low: 900, High: 100}} {
		assert.ErrorAs(t, s.SaveLathe(bad), new(*assess.InputError))
	}

	points, number, err := s.Baseline("long bed", 0)
	require.NoError(t, err)
	assert.Zero(t, number)
	assert.Nil(t, points)
	u := setup()
	u.Empty = true
	w, err := s.Begin(u)
	require.NoError(t, err)
	follow(t, turning(8, board), w)
	require.NoError(t, w.Close())
	u.Started = u.Started.Add(time.Hour)
	nothing, err := s.Begin(u) // a run that felt nothing hides none that did
	require.NoError(t, err)
	require.NoError(t, nothing.Close())
	points, number, err = s.Baseline("long bed", 0)
	require.NoError(t, err)
	assert.Equal(t, w.Number(), number)
	require.Len(t, points, 1)
	assert.InDelta(t, 600, float64(points[0].Speed), 1)
	assert.True(t, points[0].Seen && points[0].Low < points[0].Shake && points[0].Shake < points[0].High)
}

// A name is one in any case, also where its letters are not ASCII; one that is spelled just so goes
// first.
func TestNames(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	require.NoError(t, s.SaveLathe(assess.Lathe{Name: "Öse", Low: 100}))
	l, ok, err := s.Lathe("öse")
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, "Öse", l.Name)
	u := setup()
	u.Empty, u.Lathe.Name = true, "ÖSE"
	w, err := s.Begin(u)
	require.NoError(t, err)
	follow(t, turning(8, board), w)
	require.NoError(t, w.Close())
	_, number, err := s.Baseline("öse", 0)
	require.NoError(t, err)
	assert.Equal(t, w.Number(), number)
	_, number, err = s.Baseline("öse", w.Number())
	require.NoError(t, err)
	assert.Zero(t, number, "none before itself")
	_, number, err = s.Baseline("", 0)
	require.NoError(t, err)
	assert.Zero(t, number, "a lathe without a name has none")
	all, err := s.Sessions(recordings.Filter{Lathe: "öse", Most: 1})
	require.NoError(t, err)
	assert.Len(t, all, 1)

	require.NoError(t, s.SaveLathe(assess.Lathe{Name: "öse", Low: 200})) // as an older program did
	l, _, err = s.Lathe("öse")
	require.NoError(t, err)
	assert.Equal(t, assess.RPM(200), l.Low)
	for _, name := range []string{"öse", "ÖSE"} {
		ok, err = s.RemoveLathe(name)
		require.NoError(t, err)
		assert.True(t, ok)
	}
	ok, err = s.RemoveLathe("öse")
	require.NoError(t, err)
	assert.False(t, ok)
}

// Files that are not ours, or not for us, are refused and left as they were.
func TestRefusals(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	ours := filepath.Join(folder, "ours")
	s, err := recordings.Open(ours)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	header, err := os.ReadFile(ours)
	require.NoError(t, err)
	changed := func(at int, with ...byte) []byte {
		b := append([]byte{}, header...)
		copy(b[at:], with)
		return b
	}
	for _, c := range []struct {
		name string
		data []byte
		want error
	}{
		{"empty", nil, recordings.ErrForeign},
		{"text", []byte("t,x,y,z\n0,1,2,3\n"), recordings.ErrForeign},
		{"another database", changed(68, 0, 0, 0, 0), recordings.ErrForeign},
		{"newer", changed(60, 0, 0, 3, 7), recordings.ErrNewer},
		{"cut within its first page", header[:1000], recordings.ErrDamaged},
	} {
		path := filepath.Join(folder, c.name)
		require.NoError(t, os.WriteFile(path, c.data, 0o644))
		for how, open := range map[string]func(string) (*recordings.Shop, error){"Open": recordings.Open, "View": recordings.View} {
			_, err := open(path)
			assert.ErrorIs(t, err, c.want, "%s %s", how, c.name)
		}
		now, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, len(c.data), len(now), c.name)
		assert.Equal(t, string(c.data), string(now), c.name)
	}
	_, err = recordings.View(filepath.Join(folder, "missing"))
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, err = recordings.Open(filepath.Join(folder, "no folder", "shop"))
	assert.ErrorIs(t, err, os.ErrNotExist)
}

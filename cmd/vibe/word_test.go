package main

import (
	"flag"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/dsp"
	"vibe/sensor"
)

// looking is what a tracker goes by, of a dial's word that is said in a session.
type looking struct {
	t       *testing.T
	word    spokenDial
	session *live.Session
	tracker *dsp.Tracker
}

func newLooking(t *testing.T, always bool) *looking {
	_, session := watchedSession(t)
	return &looking{t, spokenDial{always: always}, session, &dsp.Tracker{Low: 3}}
}

// near is the speed in rpm that is looked near from a time in s on, 0: everywhere.
func (l *looking) near(at float64) float64 {
	l.session.Block(block(at))
	l.word.follow(l.tracker, l.session, at)
	assert.Equal(l.t, 3.0, l.tracker.Low)
	return 60 * l.tracker.Hint
}

// The tracker of a phone looks where the dial was last said to be, and everywhere when that has led to
// nothing for a while.
func TestPhoneLooksNear(t *testing.T) {
	t.Parallel()
	l := newLooking(t, true)
	assert.Zero(t, l.near(11))
	l.session.Dial(740)
	assert.InDelta(t, 740, l.near(12), 1e-9)
	l.word.heard(reading(20, 735, 2))
	assert.InDelta(t, 740, l.near(29), 1e-9)
	assert.Zero(t, l.near(31))
	l.session.Dial(740)
	assert.InDelta(t, 740, l.near(32), 1e-9, "said again counts again")
	l.word.heard(reading(33, 735, 2))
	l.session.Block(sensor.Block{T: []float64{33.1, 43.2}, Axes: [][]float64{{0, 0}}})
	assert.False(t, l.word.follow(l.tracker, l.session, 33.1), "what a slow network held up was not looked at yet")
}

// Any other tracker looks near the dial's word where a doubt is about that: not before, not after a sure reading, and not
// for long where it leads to nothing.
func TestDoubtLooksNear(t *testing.T) {
	t.Parallel()
	doubt := func(at float64, speed, rival assess.RPM) assess.Reading {
		r := reading(at, speed, 2)
		r.OK, r.Rival, r.Faults = false, rival, []dsp.Fault{dsp.Doubtful}
		return r
	}
	l := newLooking(t, false)
	l.word.heard(doubt(10, 600, 980))
	assert.Zero(t, l.near(11), "nobody said a word")
	l.session.Dial(620)
	assert.Zero(t, l.near(12))
	l.word.heard(doubt(13, 900, 1500))
	assert.Zero(t, l.near(14), "a doubt between others")
	l.word.heard(doubt(14, 980, 600))
	assert.InDelta(t, 620, l.near(15), 1e-9)
	l.word.heard(reading(20, 600, 2))
	assert.InDelta(t, 620, l.near(29), 1e-9)
	l.session.Dial(700)
	assert.InDelta(t, 700, l.near(30), 1e-9, "a new word in its place")
	l.word.heard(doubt(39, 690, 1100))
	assert.Zero(t, l.near(40.5))
	l.word.heard(doubt(41, 690, 1100))
	assert.Zero(t, l.near(42), "it is old")

	l.session.Dial(600)
	assert.Zero(t, l.near(43))
	changing := doubt(43.5, 600, 980)
	changing.Faults = append(changing.Faults, dsp.Changing)
	l.word.heard(changing)
	l.word.heard(changing)
	assert.InDelta(t, 600, l.near(44), 1e-9)
	l.word.heard(reading(44, 600, 2))
	l.word.heard(changing)
	l.word.heard(doubt(45, 600, 980))
	assert.Zero(t, l.near(46), "it may be another speed's by now")

	l.session.Dial(600)
	assert.Zero(t, l.near(47))
	l.word.heard(reading(48, 980, 2))
	l.word.heard(doubt(49, 600, 980))
	assert.Zero(t, l.near(50), "it was answered")
}

// At a board the dial's word settles a doubt: from when a reading asks for it to when it is found to be old, also where the
// session runs again. Until it is said anew there is no number where the dial was turned, and never that of the belt.
func TestDoubtSettled(t *testing.T) {
	t.Parallel()
	lathe := &sensor.Simulated{Seconds: 60, Imbalance: 0.01, Chip: sensor.Chip{Rate: 400, Noise: 0.002, Axes: 3},
		Lines: []sensor.Line{{Order: 1.3, Ratio: [3]complex128{0.8, 0.8i, 0.1}}},
		Speed: []sensor.Point{{At: 0, Value: 10}, {At: 25, Value: 10}, {At: 27, Value: 7.7}}}
	path := spokenAt(t, &watching{in: input{src: lathe, name: "lathe", job: demoJob()}}, func(n int, s *live.Session, _ assess.Reading, _ assess.Advice) {
		switch n {
		case 30:
			s.Dial(590)
		case 190:
			s.Dial(470)
		}
	})
	then := heard(t, path)
	sure := func(from, to float64, speed assess.RPM) (n int) {
		for _, r := range then.readings {
			if r.OK && r.T > from && r.T < to {
				n++
				assert.InEpsilon(t, float64(speed), float64(r.Speed), 0.004, "at %v", r.T)
			}
		}
		return n
	}
	assert.Zero(t, sure(0, 7, 0), "two lines alone")
	assert.Greater(t, sure(7, 25, 600), 50)
	assert.Zero(t, sure(27, 47, 0))
	assert.Greater(t, sure(47, 60, 462), 30)
	now := heard(t, readAgain(t, path, 4))
	assert.Equal(t, then.readings, now.readings)
	assert.Equal(t, then.said, now.said)
	code, out, msg := vibe(t, nil, "watch", "--from", "1", "--pace", "max", "--json", "--shop", path)
	require.Zero(t, code, msg)
	assert.Equal(t, sure(0, 25, 600)+sure(25, 60, 462), strings.Count(out, `"ok":true`))
}

var words = flag.Int("words", 0, "random lathes more in TestStaleWord")

// wordy is a random lathe with a belt's or a motor's line, whose dial is read out once, right to 3 %, and turned later
// without a word: every other one to where that line is what the word may mean. All numbers are chosen, as in TestMix of dsp.
func wordy(seed uint64) (lathe *sensor.Simulated, says assess.RPM, at float64) {
	r := rand.New(rand.NewPCG(seed, 91))
	log := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	vector := func(a float64) (v [3]complex128) {
		for i := range v {
			v[i] = cmplx.Rect(a*r.Float64(), 2*math.Pi*r.Float64())
		}
		return v
	}
	f, dial, rate := log(4, 40), 0.97+0.06*r.Float64(), []float64{200, 400, 800}[r.IntN(3)]
	s := &sensor.Simulated{Seed: seed, Seconds: 40, Wander: []float64{0, 0.001}[r.IntN(2)], Chip: sensor.Chip{Rate: rate, Noise: log(1e-4, 5e-3), Axes: 3},
		Horizontal: sensor.Mode{Hz: log(8, 60), Damping: 0.02 + 0.08*r.Float64(), Mass: 60},
		Vertical:   sensor.Mode{Hz: log(12, 80), Damping: 0.02 + 0.08*r.Float64(), Mass: 60}}
	if r.IntN(2) == 0 {
		at = 1 + 7*r.Float64()
	}
	order, then := 0.0, math.Inf(1)
	for then > 60 {
		order, then = []float64{0.3 + 0.6*r.Float64(), 1.15 + 2*r.Float64()}[r.IntN(2)], f*(0.5+1.5*r.Float64())
		if r.IntN(2) == 0 {
			then = f * dial * (1 + 0.14*(r.Float64()-0.5)) / order
		}
	}
	s.Lines = append(s.Lines, sensor.Line{Order: order, Ratio: vector(log(0.1, 1.4) * order)})
	for k := 2.0; k <= 5; k++ {
		if r.IntN(2) == 0 {
			s.Lines = append(s.Lines, sensor.Line{Order: k, Ratio: vector(log(0.01, 1))})
		}
	}
	turn := at + 1 + 25*r.Float64()
	s.Speed = []sensor.Point{{At: 0, Value: f}, {At: turn, Value: f}, {At: turn + log(0.01, 3), Value: then}}
	probe := sensor.Simulated{Seconds: 0.1, Speed: s.Speed[:1], Imbalance: 1, Horizontal: s.Horizontal, Vertical: s.Vertical, Chip: s.Chip}
	_, _ = probe.Next() // its fields are those of s, whose own Next is checked
	s.Imbalance = complex(log(0.2, 10)/1000*2*math.Pi*f*math.Sqrt2/probe.Truth(0.01).Amp, 0)
	return s, assess.Turns(dial * f), at
}

// TestStaleWord: a word of the dial that settles a doubt makes no wrong number when it is stale. -words=N runs so many lathes more.
func TestStaleWord(t *testing.T) {
	t.Parallel()
	silent, said := 0, 0 // readings with a number, where nobody says a word, and where somebody does
	for seed := range uint64(6 + *words) {
		silent += watchedRight(t, seed, false)
		said += watchedRight(t, seed, true)
	}
	t.Logf("readings with a number: %d, without a word %d", said, silent)
	assert.Greater(t, said, silent)
}

// watchedRight watches a lathe of wordy, asserts that no reading with a number has a wrong speed, and returns how many there are.
func watchedRight(t *testing.T, seed uint64, spoken bool) (sure int) {
	lathe, says, at := wordy(seed)
	w := &watching{in: input{src: lathe, name: "lathe"}, record: newRecord("lathe")}
	adviser, wrong := w.in.adviser(), 0
	w.session = live.New("lathe", adviser)
	require.NoError(t, w.loop(adviser, func(r assess.Reading, _ assess.Advice) error {
		if spoken && r.T+r.Span/2 >= at {
			w.session.Dial(says)
			spoken = false
		}
		if r.OK {
			sure++
			if off := math.Abs(float64(r.Speed - assess.Turns(lathe.Truth(r.T).Freq))); off > max(0.01*float64(r.Speed), 3*float64(r.SpeedSE)) {
				wrong++
			}
		}
		return nil
	}, func(string) {}))
	assert.Zero(t, wrong, "readings with a wrong speed, lathe %d: %v", seed, lathe.Speed)
	return sure
}

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/recordings"
	"vibe/sensor"
)

// onlyMotor is a lathe whose well balanced blank turns at 600 rpm and does not show, beside a
// motor that shows at 1488 rpm.
func onlyMotor() *sensor.Simulated {
	return &sensor.Simulated{
		Seed:    7,
		Seconds: 14,
		Speed:   []sensor.Point{{At: 0, Value: 10}},
		Lines:   []sensor.Line{{Hz: 24.8, Amp: [3]complex128{0.15, 0.08i, 0.02}}},
		Chip:    sensor.Chip{Rate: 400, Noise: 0.001},
	}
}

// turnedRound is a small blank in good hands.
func turnedRound() job {
	return job{
		blank: assess.Blank{Diameter: 100, Length: 90, Held: assess.Chuck, Tailstock: true, Balance: assess.True},
		task:  assess.Finishing,
		lathe: assess.Lathe{Low: 300, High: 3000},
	}
}

// Without the dial's word the motor's line is all there is to find: nobody may be told to go
// faster on the strength of it. With the dial's word it is no spindle.
func TestOnlyTheMotorShows(t *testing.T) {
	t.Parallel()
	r, err := input{src: onlyMotor(), name: "motor", job: turnedRound()}.follow(t.Context())
	require.NoError(t, err)
	a := r.doc.Advice
	assert.Equal(t, assess.Hold, a.Action)
	assert.Regexp(t, `^Hold 1490 rpm: .* If the dial shows about that, raise to \d+ rpm\.$`, a.Say)
	require.NotEmpty(t, a.Reasons)
	assert.Equal(t, "dial", a.Reasons[0].Code)
	for _, turn := range r.turns {
		assert.NotEqual(t, assess.Raise, turn.Advice.Action)
	}

	r, err = input{src: onlyMotor(), name: "motor", job: turnedRound(), dial: 600}.follow(t.Context())
	require.NoError(t, err)
	assert.Equal(t, assess.Wait, r.doc.Advice.Action, r.doc.Advice.Say)
}

// One end of the lathe's range is enough to look there: a fast spindle is not called still.
func TestFastSpindle(t *testing.T) {
	t.Parallel()
	src := onlyMotor()
	src.Speed[0].Value = 5500.0 / 60
	src.Lines = []sensor.Line{{Order: 1, Amp: [3]complex128{0.5, 0.4i, 0.1}}}
	j := turnedRound()
	j.lathe = assess.Lathe{High: 6000}
	r, err := input{src: src, name: "fast", job: j}.follow(t.Context())
	require.NoError(t, err)
	last := r.stretches[len(r.stretches)-1]
	assert.True(t, last.ok)
	assert.InEpsilon(t, 5500, float64(last.fast), 0.001)

	src = onlyMotor()
	src.Speed[0].Value, src.Lines = 0, nil
	r, err = input{src: src, name: "still", job: job{}}.follow(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "Wait: no turning found between 60 and 4000 rpm.", r.doc.Advice.Say)
}

// The dial's word makes a plain raise of what it agrees with.
func TestDialToldRaises(t *testing.T) {
	t.Parallel()
	for dial, want := range map[assess.RPM]assess.Action{0: assess.Hold, 700: assess.Raise} {
		src := onlyMotor()
		src.Speed[0].Value = 11.6
		src.Lines = []sensor.Line{{Order: 1, Amp: [3]complex128{0.05, 0.04i, 0.01}}}
		r, err := input{src: src, name: "spindle", job: turnedRound(), dial: dial}.follow(t.Context())
		require.NoError(t, err)
		assert.Equal(t, want, r.doc.Advice.Action, r.doc.Advice.Say)
	}
}

// Rows left out are counted, in words and in JSON.
func TestSkippedRows(t *testing.T) {
	t.Parallel()
	bad := func() *strings.Reader {
		var text strings.Builder
		good, err := io.ReadAll(&sine{hz: 10, rows: 5000})
		require.NoError(t, err)
		for i, line := range strings.SplitAfter(string(good), "\n") {
			if i == 1000 || i == 2000 {
				text.WriteString("?,?,?,?\n")
			}
			text.WriteString(line)
		}
		return strings.NewReader(text.String())
	}
	code, out, msg := vibe(t, bad(), "read", "-", "--skip-bad")
	require.Zero(t, code, msg)
	assert.Contains(t, out, ", 2 samples missing or bad\n")
	code, out, msg = vibe(t, bad(), "read", "-", "--skip-bad", "--json")
	require.Zero(t, code, msg)
	var doc struct{ Recording struct{ Skipped int } }
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	assert.Equal(t, 2, doc.Recording.Skipped)
}

// A recording that leads to no advice is told what would help.
func TestTryNext(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		hz   float64
		rows int
		args string
		want string
	}{
		"another dial": {10, 12000, "--diameter 100mm --speed 900", "no clear line near the 900 rpm of --speed"},
		"short":        {10, 1500, "--speed 600", "for a sure number record ten seconds or more at one speed"},
		"no size":      {10, 12000, "", "without --diameter no speed can be called safe"},
	} {
		code, _, msg := vibe(t, &sine{hz: c.hz, rows: c.rows}, strings.Fields("read - "+c.args)...)
		require.Zero(t, code, msg)
		assert.Contains(t, msg, "note: "+c.want, name)
		assert.LessOrEqual(t, strings.Count(msg, "note: "), 2, "%s: %s", name, msg)
	}
	r := &record{doc: document{Advice: assess.Advice{Action: assess.Wait, Reasons: []assess.Reason{{Code: "folded"}}}}}
	assert.Len(t, r.tryNext(0), 1)
	assert.Contains(t, r.tryNext(0)[0], "--speed")
	r.stretches = []stretch{{fast: 600}}
	for _, c := range []struct {
		code, want string
		dial       assess.RPM
	}{
		{"doubtful", "near the 600 rpm of --speed is not alone there: stop what else runs nearby", 600},
		{"weak", "near the 600 rpm of --speed is too faint: fasten the sensor on bare metal", 600},
		{"early", "for a sure number record ten seconds or more at one speed", 600},
		{"weak", "pass what the dial showed with --speed, which makes weak recordings readable", 0},
	} {
		r.doc.Advice.Reasons[0].Code = c.code
		assert.Contains(t, strings.Join(r.tryNext(c.dial), ""), c.want)
	}
	r.doc.Advice.Action = assess.Hold
	assert.Empty(t, r.tryNext(0))
}

// A cracked blank is not to turn: that comes first, and no ceiling looks like a way round.
func TestReadCracked(t *testing.T) {
	t.Parallel()
	code, out, msg := vibe(t, &sine{hz: 10, rows: 5000}, strings.Fields("read - --diameter 100mm --defects void,crack")...)
	require.Zero(t, code, msg)
	assert.True(t, strings.HasPrefix(out, "STOP: a cracked blank must not turn."), out)
	assert.NotContains(t, out, "Never faster")
}

// A dial that is far from what the sensor finds confirms nothing: no raise, and it is said.
func TestDialApart(t *testing.T) {
	t.Parallel()
	for dial, agrees := range map[assess.RPM]bool{605: true, 645: false} {
		src := onlyMotor()
		src.Lines = []sensor.Line{{Order: 1, Amp: [3]complex128{0.12, 0.05i, 0}}}
		r, err := input{src: src, name: "calm", job: turnedRound(), dial: dial}.follow(t.Context())
		require.NoError(t, err)
		raised := slices.ContainsFunc(r.turns, func(s recordings.Said) bool { return s.Advice.Action == assess.Raise })
		assert.Equal(t, agrees, raised, "dial %v: %v", dial, r.doc.Advice.Say)
		said := slices.ContainsFunc(r.doc.Recording.Notes, func(note string) bool { return strings.Contains(note, "the dial says 645 rpm") })
		assert.Equal(t, !agrees, said, "dial %v: %v", dial, r.doc.Recording.Notes)
	}
}

// A hole in the recording is told, and the rate is that of the samples that are there.
func TestHole(t *testing.T) {
	t.Parallel()
	src := onlyMotor()
	src.Chip.Rate, src.Chip.Gaps = 400, []sensor.Point{{At: 4, Value: 2}}
	r, err := input{src: src, name: "hole", job: turnedRound()}.follow(t.Context())
	require.NoError(t, err)
	assert.InEpsilon(t, 400, *r.doc.Recording.RateHz, 0.01)
	require.NotEmpty(t, r.doc.Recording.Notes)
	assert.Equal(t, "no samples for 2.0 s from 4.0 s on", r.doc.Recording.Notes[0])
}

// Of many holes the first few are told, and what all of them make; and none of them moves the rate.
func TestManyHoles(t *testing.T) {
	t.Parallel()
	src := onlyMotor()
	src.Seconds, src.Chip.Rate, src.Chip.Gaps = 120, 400, nil
	for at := 1.0; at < 119; at += 2 {
		src.Chip.Gaps = append(src.Chip.Gaps, sensor.Point{At: at, Value: 1})
	}
	r, err := input{src: src, name: "holes", job: turnedRound()}.follow(t.Context())
	require.NoError(t, err)
	assert.InEpsilon(t, 400, *r.doc.Recording.RateHz, 1e-4)
	notes := strings.Join(r.doc.Recording.Notes, "\n")
	assert.Contains(t, notes, "no samples for 1.0 s from 1.0 s on\n")
	assert.Contains(t, notes, "no samples for 59.1 s in all, in 59 holes")
	assert.LessOrEqual(t, strings.Count(notes, "no samples for"), 6)
}

// A shake that reaches the end of the sensor gives no number, whether its range is said or not,
// and also where the numbers in the file are calibrated and end a little before it.
func TestClippedFile(t *testing.T) {
	t.Parallel()
	var file strings.Builder
	file.WriteString("clock,pcb,ref,up\n")
	for i := range 3200 {
		turn := 2 * math.Pi * 10 * float64(i) / 400
		fmt.Fprintf(&file, "%.1f,%.3f,%.3f,1\n", 2.5*float64(i), min(max(2.5*math.Sin(turn), -1.98), 1.98), 0.3*math.Cos(turn))
	}
	for _, said := range [][]string{nil, {"--range", "2g"}, {"--range", "1.98g"}} {
		args := append([]string{"read", "-", "--json", "--time", "clock ms", "--axes", "pcb,ref,up", "--unit", "g", "--speed", "600", "--diameter", "100mm"}, said...)
		code, out, msg := vibe(t, strings.NewReader(file.String()), args...)
		require.Zero(t, code, msg)
		assert.Contains(t, out, `"clipped"`, said)
		assert.NotContains(t, out, `"ok":true`, said)
	}
}

// TestWarned: blows, and a speed that is the dial's word, are said below the report, whatever the advice.
func TestWarned(t *testing.T) {
	t.Parallel()
	var r record
	r.see(assess.Reading{T: 1, Span: 2, OK: true, Speed: 900, Shake: 1}, assess.Advice{}, false)
	assert.Empty(t, r.warned())
	r.see(assess.Reading{T: 2, Span: 2, OK: true, Speed: 900, Shake: 1, Warnings: []string{dsp.Knocks}}, assess.Advice{}, false)
	require.Len(t, r.warned(), 1)
	assert.Contains(t, r.warned()[0], dsp.Knocks)
	r.see(assess.Reading{T: 3, Span: 2, OK: true, Speed: 900, Shake: 1, Warnings: []string{dsp.ByDial}}, assess.Advice{}, false)
	assert.Contains(t, r.warned(), dsp.ByDial)
}

// TestTwiceAmiss: a reading with two warnings of its samples is one reading: eight of those in a hundred are no word on the whole.
func TestTwiceAmiss(t *testing.T) {
	t.Parallel()
	var r record
	r.doc.Advice.Action = assess.Hold
	for i := range 100 {
		reading := assess.Reading{T: float64(i), Span: 2, OK: true, Speed: 900, Shake: 1}
		if i < 8 {
			reading.Warnings = []string{dsp.RoughTimes, dsp.Numb}
		}
		r.see(reading, assess.Advice{}, false)
	}
	assert.Empty(t, r.tryNext(0))
}

package serial

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// desk is a stream with a board of 800 Hz that a test plays.
type desk struct {
	stream
	us uint32
	at float64
}

// lines feeds n lines, one by one, each 1.25 ms later; format has the board's time as [1]
// and the number of the line as [2].
func (d *desk) lines(n int, format string) {
	for i := range n {
		d.us += 1250
		d.at += 0.00125
		line := format
		if strings.Contains(format, "%") {
			line = fmt.Sprintf(format, d.us, i)
		}
		d.feed([]byte(line+"\n"), d.at)
	}
}

func newDesk(unit string) *desk {
	d := &desk{stream: stream{port: "p", unit: unit}}
	d.feed([]byte("\n"), 0)
	return d
}

// all takes what there is.
func (d *desk) all(t *testing.T) sensor.Block {
	t.Helper()
	require.NoError(t, d.err)
	b, _ := d.held.Take()
	return b
}

func TestUnits(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		unit, header, values string
		z, limit             float64
		note                 string
	}{
		"told":         {"", "# unit=mg range=16g", "0,0,1010", 1.01 * gravity, 16 * gravity, ""},
		"bare range":   {"", "# unit=g range=4", "0,0,0.99", 0.99 * gravity, 4 * gravity, ""},
		"gravity g":    {"", "#", "0.6,0,0.8", 0.8 * gravity, 0, "no unit given: 1 g of gravity found (mean 1), so the values are in g"},
		"gravity mg":   {"", "# rate=800", "0,0,-980", -0.98 * gravity, 0, "no unit given: 1 g of gravity found (mean 980), so the values are in mg"},
		"gravity m/s2": {"", "# hello", "0,0,9.7", 9.7, 0, "no unit given: 1 g of gravity found (mean 9.7), so the values are in m/s2"},
		"counts":       {"", "# unit=counts range=512", "0,0,262", gravity, 512 * gravity / 262, "the board sends counts: 1 g of gravity found as 262 of them; a sensor whose zero is off makes shake wrong by as much, often some percent"},
		"asked":        {"counts", "#", "0,0,16384", gravity, 0, "the board sends counts: 1 g of gravity found as 1.638e+04 of them; a sensor whose zero is off makes shake wrong by as much, often some percent"},
		"no gravity":   {"", "# unit=g", "0,0,0.01", 0.01 * gravity, 0, "gravity shows as 0.01 g where 1 g belongs: is the sensor wired right?"},
	} {
		d := newDesk(c.unit)
		d.feed([]byte(c.header+"\n"), 0)
		d.lines(1000, fmt.Sprintf("%%[1]d,%s", c.values))
		b := d.all(t)
		require.Len(t, b.T, 1000, name)
		assert.InDelta(t, c.z, b.Axes[2][999], 1e-9, name)
		assert.InDelta(t, c.limit, b.Range, 1e-9, name)
		if c.note == "" {
			assert.Empty(t, b.Notes, name)
		} else {
			assert.Equal(t, []string{"p: " + c.note}, b.Notes, name)
		}
	}
}

// TestCountsWait: a sensor that is being turned gives no scale; one that rests then does.
func TestCountsWait(t *testing.T) {
	t.Parallel()
	d := newDesk(counts)
	d.lines(2000, "%[1]d,%[2]d,0,1000")
	b := d.all(t)
	assert.Empty(t, b.T)
	assert.Equal(t, []string{"p: hold the sensor still for a second: its unit is found from gravity"}, b.Notes)
	d.lines(2000, "%[1]d,0,0,1000")
	b = d.all(t)
	require.NotEmpty(t, b.T)
	assert.InDelta(t, gravity, b.Axes[2][0], 0.01*gravity)
}

// settledDesk has sent a second and a half that has been taken.
func settledDesk(t *testing.T) *desk {
	d := newDesk("")
	d.feed([]byte("# unit=mg rate=800 range=16g\n"), 0)
	d.lines(1200, "%[1]d,0,0,1000")
	require.Len(t, d.all(t).T, 1200)
	return d
}

// TestToldInTime walks through what a board can do, and what is said of it.
func TestToldInTime(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		do    func(*desk)
		lost  int
		came  int
		notes string
	}{
		"half lines": {func(d *desk) {
			d.feed([]byte("1501250,0,"), d.at)
			d.feed([]byte("0,10"), d.at)
			d.feed([]byte("00\n15025"), d.at)
			d.feed([]byte("00,0,0,1000\n"), d.at)
		}, 0, 2, ""},
		"restarted": {func(d *desk) {
			d.at += 2
			d.us = 1000
			d.lines(10, "%[1]d,0,0,1000")
		}, 1600, 10, "p: the board started again|p: 2.0 s are missing, 1600 samples"},
		"paused": {func(d *desk) {
			d.at += 1.5
			d.us += 1.5e6
			d.lines(10, "%[1]d,0,0,1000")
		}, 1200, 10, "p: 1.5 s are missing, 1200 samples"},
		"more than the range": {func(d *desk) {
			d.lines(1, "%[1]d,0,0,17700")
			d.lines(3, "%[1]d,0,0,1000")
		}, 1, 3, `p: 1 line was no samples, the last "173.6 m/s²"`},
		"other talk": {func(d *desk) {
			for i := range 99 {
				d.lines(1, "%[1]d,0,0,1000")
				d.feed(fmt.Appendf(nil, "hum %d\n", i), d.at)
			}
		}, 0, 99, `p: 1 line was no samples, the last "hum 0"|p: 10 lines were no samples, the last "hum 9"`},
		"trouble": {func(d *desk) {
			for range 3 {
				d.feed([]byte("# error=the sensor answers 0x00\n"), d.at)
			}
		}, 0, 0, "p: the board says: the sensor answers 0x00"},
		"no time any more": {func(d *desk) { d.lines(3000, "0,0,1000") }, agree, 2984,
			"p: the board sends no time, so samples are timed by this computer: 800 a second; every speed may be off by 0.4 % at first"},
		"another unit": {func(d *desk) {
			d.feed([]byte("# unit=g range=8g\n"), d.at)
			d.lines(1000, "%[1]d,0,0,1")
		}, 0, 1000, ""},
		"silent": {func(d *desk) { d.tick(d.at + 0.6); d.tick(d.at + 0.8); d.tick(d.at + 5) }, 0, 0,
			"p: the board has stopped sending; the lathe may be turning"},
		"babbling": {func(d *desk) { d.feed([]byte("blah\nblah\n"), d.at+0.6); d.tick(d.at + 0.8) }, 0, 0,
			`p: 1 line was no samples, the last "blah"|p: what comes is no samples any more; the lathe may be turning`},
	} {
		d := settledDesk(t)
		c.do(d)
		b := d.all(t)
		if name == "no time any more" {
			// Lines that had no place in the old layout were told as they came.
			b.Notes = b.Notes[len(b.Notes)-1:]
		}
		assert.Len(t, b.T, c.came, name)
		assert.InDelta(t, c.lost, b.Lost, 1, name)
		assert.Equal(t, c.notes, strings.Join(b.Notes, "|"), name)
	}
}

// TestNothingEver: a port on which nothing comes is told after the time a board may need.
func TestNothingEver(t *testing.T) {
	t.Parallel()
	d := &desk{stream: stream{port: "p"}}
	d.tick(2.9)
	assert.Empty(t, d.all(t).Notes)
	d.tick(3)
	assert.Equal(t, []string{"p: nothing comes: does the board run a program that sends x,y,z lines?"}, d.all(t).Notes)
}

// TestTroubleStays: where the board says why no sample comes, nothing else is guessed.
func TestTroubleStays(t *testing.T) {
	t.Parallel()
	d := &desk{stream: stream{port: "p"}}
	d.feed([]byte("# error=no answer, check the wires\n"), 2)
	assert.Equal(t, []string{"p: the board says: no answer, check the wires"}, d.all(t).Notes)
	d.tick(3.1)
	assert.Empty(t, d.all(t).Notes)
}

// TestPlugged: a board that comes back has its time to start, and is then silent or not.
func TestPlugged(t *testing.T) {
	t.Parallel()
	d := settledDesk(t)
	d.forget()
	d.at += 10
	d.plugged(d.at)
	d.tick(d.at + 2.9)
	assert.Empty(t, d.all(t).Notes)
	d.tick(d.at + 3.1)
	assert.Equal(t, []string{"p: nothing comes: does the board run a program that sends x,y,z lines?"}, d.all(t).Notes)
	d.at += 4
	d.us = 77
	d.lines(1000, "%[1]d,0,0,9.8")
	b := d.all(t)
	require.Len(t, b.T, 999, "the first may be half a line")
	assert.InDelta(t, 14*800, b.Lost, 2)
	assert.InDelta(t, 14, b.T[0]-1.5, 0.01)
}

// TestSaidRate: a rate that is not the one that was said is told, when this computer's clock has
// borne out the board's.
func TestSaidRate(t *testing.T) {
	t.Parallel()
	d := newDesk("")
	d.feed([]byte("# unit=g rate=3200\n"), 0)
	d.lines(4000, "%[1]d,0,0,1")
	assert.Empty(t, d.all(t).T, "which of the two is right is not known yet")
	d.lines(1000, "%[1]d,0,0,1")
	b := d.all(t)
	assert.Len(t, b.T, 5000)
	assert.Equal(t, []string{"p: the board says it sends 3200 samples a second, and 800 come"}, b.Notes)
}

// TestAnotherClock: a program that was built for another clock than the board has would make every
// speed wrong by as much, and so ends the source; where the board says the rate that its times make, it is
// simulated, at a pace of its own.
func TestAnotherClock(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		header string
		pace   float64 // of the board's clock
		sent   int     // samples handed on before
		ends   string
	}{
		"8 MHz, built for 16":  {"# unit=mg rate=800", 0.5, 0, "the board's clock runs at 0.5 of this computer's"},
		"16 MHz, built for 8":  {"# unit=mg rate=800", 2, 0, "the board's clock runs at 2 of this computer's"},
		"16 MHz, built for 20": {"# unit=mg", 1.25, 0, "the board's clock runs at 1.25 of this computer's"},
		"8 MHz, and no rate":   {"# unit=mg", 0.5, 0, "the board's clock runs at 0.5 of this computer's"},
		"simulated":            {"# unit=mg rate=200", 4, 8000, ""},
		"an oscillator":        {"# unit=mg", 1.03, 8000, ""},
	} {
		d := newDesk("")
		d.feed([]byte(c.header+"\n"), 0)
		for i := 0; i < 8000 && d.err == nil; i++ {
			d.feed(fmt.Appendf(nil, "%d,0,0,1000\n", int(float64(i)*1250*c.pace)), float64(i)/800)
		}
		if c.ends == "" {
			assert.Len(t, d.all(t).T, c.sent, name)
			continue
		}
		assert.ErrorContains(t, d.err, c.ends, name)
		b, _ := d.held.Take()
		assert.InDelta(t, c.sent, len(b.T), learning, name)
	}
}

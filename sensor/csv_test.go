package sensor_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// recording is all that a source gave.
type recording struct {
	t     []float64
	axes  [][]float64
	lost  int
	notes []string
}

// read decodes text and returns what came before the end, with the error if it is not io.EOF.
func read(text string, o sensor.Options) (recording, error) {
	var r recording
	s, err := sensor.Decode("r.csv", strings.NewReader(text), o)
	if err != nil {
		return r, err
	}
	for {
		b, err := s.Next()
		if errors.Is(err, io.EOF) {
			return r, nil
		}
		if err != nil {
			return r, err
		}
		if r.axes == nil {
			r.axes = make([][]float64, len(b.Axes))
		}
		r.t, r.lost, r.notes = append(r.t, b.T...), r.lost+b.Lost, append(r.notes, b.Notes...)
		for i := range b.Axes {
			r.axes[i] = append(r.axes[i], b.Axes[i]...)
		}
	}
}

const g = 9.80665

func TestCSVForms(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text string
		o    sensor.Options
		t    []float64
		axes [][]float64
	}{
		"as WriteCSV writes":      {"t_s,x_m/s2,y_m/s2,z_m/s2\n0,1,2,3\n0.5,4,5,6\n", sensor.Options{}, []float64{0, .5}, [][]float64{{1, 4}, {2, 5}, {3, 6}}},
		"one axis, no last end":   {"t_s,x_g\n1,1\n2,2", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"mark, CRLF, blanks":      {"\ufefft_ms, ax_mg , ay_mg\r\n 0 , 1000 , -1000 \r\n\r\n4, 0,0\r\n", sensor.Options{}, []float64{0, .004}, [][]float64{{g, 0}, {-g, 0}}},
		"decimal comma":           {"Time (s);Accel X (m/s^2);Accel Z (m/s^2)\n0,25;-1,5;9,8\n0,5;1e-3;,5\n", sensor.Options{}, []float64{0, .25}, [][]float64{{-1.5, .001}, {9.8, .5}}},
		"minus of print":          {"t_s;x_m/s2\n0,25;\u22121,5\n0,5;\u2212,5\n0,75;2\n", sensor.Options{}, []float64{0, .25, .5}, [][]float64{{-1.5, -.5, 2}}},
		"tabs, decimal comma":     {"t [us]\tacc_x [m/s²]\n0\t1,25\n1000\t+1.5E0\n", sensor.Options{}, []float64{0, .001}, [][]float64{{1.25, 1.5}}},
		"Latin-1 square":          {"t_s,x (m/s\xb2)\n0,1\n1,2\n", sensor.Options{}, []float64{0, 1}, [][]float64{{1, 2}}},
		"quotes":                  {"\"time (s)\",\"x, level (m/s2)\",\"acceleration.x (m/s2)\"\n\"0\",\"a \"\"b\"\"\",\"1.5\"\n1,\"\",2\n", sensor.Options{}, []float64{0, 1}, [][]float64{{1.5, 2}}},
		"stamps":                  {"timestamp,accelerationX (g)\n2026-11-25T10:00:00.5Z,1\n2026-11-25T11:00:00.75+01:00,2\n", sensor.Options{}, []float64{0, .25}, [][]float64{{g, 2 * g}}},
		"stamps with a blank":     {"datetime;y_m_s2\n2026-11-25 10:00:00,125;1\n2026-11-25 10:00:01;2\n", sensor.Options{}, []float64{0, .875}, [][]float64{{1, 2}}},
		"other columns":           {",time_s,gFx,gFy,gFz,TgF,gyro_x\n0,0,1,2,3,9,9\n1,1,4,5,6,9,9\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 4 * g}, {2 * g, 5 * g}, {3 * g, 6 * g}}},
		"z, y, x and two clocks":  {"time,seconds_elapsed,z_g,y_g,x_g\n1700000000000000000,0.5,3,2,1\n1700000000010000000,0.75,3,2,1\n", sensor.Options{}, []float64{0, .25}, [][]float64{{g, g}, {2 * g, 2 * g}, {3 * g, 3 * g}}},
		"lines before":            {"Phone accelerometer\nStarted,2026-11-25\n# made up\n\nt_s,x_g\n0,1\n1,2\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"header in a comment":     {"# t_s,x_g\n0,1\n# pause\n1,2\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"units below":             {"time,x,y\n(ms),(g),(g)\n0,1,2\n500,3,4\n", sensor.Options{}, []float64{0, .5}, [][]float64{{g, 3 * g}, {2 * g, 4 * g}}},
		"sep line":                {"sep=;\nt_s;x_g\n0;1\n1;2\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"trailing commas":         {"t_s,x_g,\n0,1,\n1,2,\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"rate":                    {"x_g,y_g\n1,2\n3,4\n", sensor.Options{Rate: 4}, []float64{0, .25}, [][]float64{{g, 3 * g}, {2 * g, 4 * g}}},
		"rate, no header, unit":   {"1,5\n3,4\n", sensor.Options{Rate: 4, Unit: "m/s2"}, []float64{0, .25}, [][]float64{{1, 3}, {5, 4}}},
		"unit wins":               {"t_s,x_g\n0,1\n1,2\n", sensor.Options{Unit: "m/s^2"}, []float64{0, 1}, [][]float64{{1, 2}}},
		"unit shared":             {"t_s,x_g,y,z\n0,1,2,3\n1,1,2,3\n", sensor.Options{}, []float64{0, 1}, [][]float64{{g, g}, {2 * g, 2 * g}, {3 * g, 3 * g}}},
		"named time":              {"clock,x_g\n1000,1\n1250,2\n", sensor.Options{Time: "Clock ms"}, []float64{0, .25}, [][]float64{{g, 2 * g}}},
		"named time with a unit":  {"t_s,probe (us),x_g\n0,1000,1\n1,251000,2\n", sensor.Options{Time: "probe"}, []float64{0, .25}, [][]float64{{g, 2 * g}}},
		"time unit wins":          {"clock_s,x_g\n1000,1\n1250,2\n", sensor.Options{Time: "clock/ms"}, []float64{0, .25}, [][]float64{{g, 2 * g}}},
		"time called y":           {"y,x_g\n0,1\n1,2\n", sensor.Options{Time: "y s"}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"named stamps":            {"when,x_g\n2026-11-25T10:00:00Z,1\n2026-11-25T10:00:00.5Z,2\n", sensor.Options{Time: "when"}, []float64{0, .5}, [][]float64{{g, 2 * g}}},
		"named":                   {"t_s,Left (g),right\n0,1,2\n1,3,4\n", sensor.Options{Axes: []string{"RIGHT", "left"}}, []float64{0, 1}, [][]float64{{2 * g, 4 * g}, {g, 3 * g}}},
		"bad rows left out":       {"t_s,x_g\n0,1\n1,abc\n2,\n1.5,NaN\n3,3\n3,4\n4,5\n5\n6,7\n7,8\n8,9\n", sensor.Options{SkipBad: true}, []float64{0, 3, 4, 6, 7, 8}, [][]float64{{g, 3 * g, 5 * g, 7 * g, 8 * g, 9 * g}}},
		"zeros after a crash":     {"t_s,x_g\n0,1\n1,2\n" + strings.Repeat("\x00", 200000), sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"old spreadsheet":         {"t_s,x_g\r0,1\r1,2\r", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}}},
		"a board's µs begin anew": {"t_us,x_g\n4294966000,1\n4294967000,2\n704,3\n1704,4\n", sensor.Options{}, []float64{0, .001, .002, .003}, [][]float64{{g, 2 * g, 3 * g, 4 * g}}},
		"cut off":                 {"t_s,x_g,y_g\n0,1,1\n1,2,2\n2,3", sensor.Options{}, []float64{0, 1}, [][]float64{{g, 2 * g}, {g, 2 * g}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := read(c.text, c.o)
			require.NoError(t, err)
			// 1e-12: a stamp of 19 digits is good to 0.3 µs only.
			alike(t, c.t, got.t, 1e-6)
			require.Len(t, got.axes, len(c.axes))
			for i := range c.axes {
				alike(t, c.axes[i], got.axes[i], 1e-12)
			}
			assert.Equal(t, name == "bad rows left out", got.lost == 5, "lost %d", got.lost)
		})
	}
}

// alike holds got against want to within delta. InDeltaSlice alone asks for no more numbers than got has.
func alike(t *testing.T, want, got []float64, delta float64, of ...any) {
	t.Helper()
	assert.Len(t, got, len(want), of...)
	assert.InDeltaSlice(t, want, got[:min(len(got), len(want))], delta, of...)
}

// hundredths are n rows of times in whole hundredths of a second, at rate Hz.
func hundredths(n int, rate float64) string {
	var text strings.Builder
	for i := range n {
		fmt.Fprintf(&text, "%.2f,%d\n", math.Floor(100*float64(i)/rate)/100, 1+i%2)
	}
	return text.String()
}

func TestCSVErrors(t *testing.T) {
	t.Parallel()
	const mend = "; mend it, or leave bad rows out with --skip-bad"
	for name, c := range map[string]struct {
		text string
		o    sensor.Options
		want string
	}{
		"empty":                        {"", sensor.Options{}, `r.csv: empty file; was the recording stopped at once?`},
		"only blanks":                  {"\n \n", sensor.Options{}, `r.csv:2: text, with neither a header nor numbers so far; the header names a time and axes, such as t_s,x_g,y_g,z_g, with commas, semicolons or tabs between`},
		"header only":                  {"t_s,x_g\n", sensor.Options{}, `r.csv:1: a header and no rows; was the recording stopped at once?`},
		"header, no end":               {"t_s,x_g", sensor.Options{}, `r.csv:1: a header and no rows; was the recording stopped at once?`},
		"one column":                   {"1\n2\n3\n", sensor.Options{}, `r.csv:1: one column only; time and at least one axis are needed (comma, semicolon or tab between them), or --rate`},
		"time only":                    {"t_s\n1\n2\n", sensor.Options{}, `r.csv:2: one column only; time and at least one axis are needed (comma, semicolon or tab between them), or --rate`},
		"text":                         {"t_s,x_g,y_g\n0,1,2\n1,2,abc\n", sensor.Options{}, `r.csv:3:5: y_g is "abc", not a finite number` + mend},
		"text, quoted":                 {"t_s,x_g,y_g\n0,1,2\n\"1\",\"2\",\"abc\"\n", sensor.Options{}, `r.csv:3:9: y_g is "abc", not a finite number` + mend},
		"open quote":                   {"t_s,x_g\n0,1\n1,\"2\n", sensor.Options{}, `r.csv:3:5: extraneous or missing " in quoted-field` + mend},
		"NaN":                          {"t_s,x_g\n0,1\n1, NaN\n2,1\n", sensor.Options{}, `r.csv:3:4: x_g is "NaN", not a finite number` + mend},
		"Inf":                          {"t_s,x_g\n0,1\n1,-Inf\n", sensor.Options{}, `r.csv:3:3: x_g is "-Inf", not a finite number` + mend},
		"1e999":                        {"t_s,x_g\n0,1\n1,1e999\n", sensor.Options{}, `r.csv:3:3: x_g is "1e999", not a finite number` + mend},
		"hexadecimal":                  {"t_s,x_g\n0,1\n1,0x10\n", sensor.Options{}, `r.csv:3:3: x_g is "0x10", not a finite number` + mend},
		"absurd":                       {"t_s,x_g\n0,1\n1,1e6\n", sensor.Options{}, `r.csv:3:3: x_g is 1e6 g, more than any sensor shows` + mend},
		"empty cell":                   {"t_s,x_g\n0,1\n1,\n", sensor.Options{}, `r.csv:3:3: x_g is empty` + mend},
		"too few":                      {"t_s,x_g,y_g\n0,1,2\n1,2\n", sensor.Options{}, `r.csv:3:4: 2 cells where 3 belong` + mend},
		"one alone":                    {"t_s,x_g,y_g\n0,1,2\n1\n", sensor.Options{}, `r.csv:3:2: 1 cell where 3 belong` + mend},
		"decimal commas":               {"t_s,x_g\n0,1\n1,2,5\n", sensor.Options{}, `r.csv:3:5: 3 cells where 2 belong (decimal commas need semicolons between the cells)` + mend},
		"time repeats":                 {"t_s,x_g\n0,1\n0,2\n", sensor.Options{}, `r.csv:3:1: t_s repeats 0; give --rate if the clock is too coarse for the sensor, or leave such rows out with --skip-bad if they are few`},
		"time goes back":               {"x_g,t_ms\n1,0\n1,20\n1,10\n", sensor.Options{}, `r.csv:4:3: t_ms goes back to 10` + mend},
		"time goes back after quotes":  {"t_s,x_g\n\"0\",1\n0.2,1\n0.1,1\n", sensor.Options{}, `r.csv:4:1: t_s goes back to 0.1` + mend},
		"all times equal":              {"t,x_g\n7,1\n7,2\n7,3\n", sensor.Options{}, `r.csv:3:1: t repeats 7; give --rate if the clock is too coarse for the sensor, or leave such rows out with --skip-bad if they are few`},
		"equal, skipped":               {"t,x_g\n7,1\n7,2\n7,3\n", sensor.Options{SkipBad: true}, `r.csv: 2 of 3 rows are bad, the first in r.csv:3:1: t repeats 7; too many to leave out: mend the file, or give --rate if only its times are wrong`},
		"all equal, skipped":           {"t,x_g\n7,1\n7,2\n7,3\n7,4\n7,5\n", sensor.Options{SkipBad: true}, `r.csv:6: 4 of 5 rows repeat the time of the row before with other values: the clock of column "t" is too coarse for the sensor, and without them speeds would be wrong; give --rate with what the sensor itself makes in a second, if it samples evenly`},
		"a clock too coarse, skipped":  {"t_s,x_g\n" + hundredths(2000, 110), sensor.Options{SkipBad: true}, `r.csv:1127: 103 of 1126 rows repeat the time of the row before with other values: the clock of column "t_s" is too coarse for the sensor, and without them speeds would be wrong; give --rate with what the sensor itself makes in a second, if it samples evenly: about 110 if no rows are missing`},
		"text, skipped":                {"x_g\n1\na\nb\n", sensor.Options{SkipBad: true, Rate: 100}, `r.csv: 2 of 3 rows are bad, the first in r.csv:3:1: x_g is "a", not a finite number; too many to leave out: mend the file`},
		"broken row below the header":  {"t_s,x_g,y_g\nabc,g,g\n0,1,2\n", sensor.Options{}, `r.csv:2:1: t_s is "abc", not a finite number` + mend},
		"a date of which no one knows": {"t_s,x_g\n11/12/2026 12:00:00.000,1\n11/12/2026 12:00:00.010,1\n", sensor.Options{}, `r.csv:2:1: t_s is "11/12/2026 12:00:00.000", a time in no form that is known; write times as numbers, or like 2026-11-25T10:00:00.125Z or 10:00:00.125; or give --rate`},
		"quoted decimal commas":        {"t_s,x_g\n\"0,01\",\"1,5\"\n", sensor.Options{}, `r.csv:2:1: t_s is "0,01", not a finite number (decimal commas need semicolons between the cells)` + mend},
		"a clock that goes back":       {"time,x_g\n12:00:00.000,1\n11:59:59.000,1\n", sensor.Options{}, `r.csv:3:1: time goes back to 11:59:59.000` + mend},
		"half a row below the header":  {"t_s,x_g,y_g\ns,g\n0,1,2\n", sensor.Options{}, `r.csv:2:4: 2 cells where 3 belong` + mend},
		"axis twice":                   {"t_s,x_g\n0,1\n", sensor.Options{Axes: []string{"x", "X_g"}}, `r.csv:1: column "X_g" is named twice as an axis; name each once`},
		"time as axis":                 {"t_s,x_g\n0,1\n", sensor.Options{Axes: []string{"x", "t_s"}}, `r.csv:1: column "t_s" is the time, which is no axis; name the axes alone`},
		"full scale":                   {"t_s,x_g\n0,1\n", sensor.Options{FullScale: 2}, `r.csv: full scale is for WAV files and this is text; leave --full-scale out, --unit says what its values mean`},
		"rate against the times":       {"t_ms,x_g\n" + ramp(1000, 2, 1), sensor.Options{Rate: 1000}, `r.csv:2: the times in column "t_ms" make 500 samples a second, but --rate says 1000; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate against stamps":          {"time,x_g\n2026-11-25T10:00:00Z,1\n" + strings.Join(stamps(200, 0.02), ""), sensor.Options{Rate: 60}, `r.csv:2: the times in column "time" make 50 samples a second, but --rate says 60; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate off by a little":         {"t,x_g\n" + ramp(1000, 0.002, 1), sensor.Options{Rate: 510}, `r.csv:2: the times in column "t" make 500 samples a second, but --rate says 510; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate against a coarse clock":  {"t_s,x_g\n" + ticks(2000, 400, 0.01), sensor.Options{Rate: 800}, `r.csv:2: the times in column "t_s" make 400 samples a second, but --rate says 800; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate against whole seconds":   {"t_s,x_g\n" + ticks(500, 100, 1), sensor.Options{Rate: 200}, `r.csv:2: the times in column "t_s" make 100 samples a second, but --rate says 200; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate against coarse, unnamed": {"t,x_g\n" + ticks(2000, 400, 0.01), sensor.Options{Rate: 200}, `r.csv:2: the times in column "t" make 400 samples a second, but --rate says 200; leave --rate out, or take the column out of the file if its times are wrong`},
		"rate against coarse stamps":   {"time,x_g\n" + strings.Repeat("2026-11-25T10:00:00Z,1\n", 60) + strings.Repeat("2026-11-25T10:00:01Z,1\n", 100) + "2026-11-25T10:00:02Z,1\n", sensor.Options{Rate: 50}, `r.csv:2: the times in column "time" make 100 samples a second, but --rate says 50; leave --rate out, or take the column out of the file if its times are wrong`},
		"s called ms":                  {"t_ms,x_g\n" + ramp(200, 0.001, 1), sensor.Options{}, `r.csv: the times in column "t_ms" make 1e+06 samples a second in ms, in s it would be 1000; name the column t_s`},
		"rows counted in s":            {"t_s,x_g\n" + ramp(200, 1, 1), sensor.Options{}, `r.csv: the times in column "t_s" make 1 samples a second in s, in ms it would be 1000; give --rate if it counts the rows, or name it t_ms if it is a time`},
		"us called s":                  {"t_s,x_g\n" + ramp(200, 1250, 1), sensor.Options{}, `r.csv: the times in column "t_s" make 0.0008 samples a second in s, in us it would be 800; name the column t_us`},
		"last time absurd":             {"t_s,x_g\n0,1\n0.5,2\n1e9,2\n", sensor.Options{}, `r.csv:4:1: t_s is 1e9, more than a day after the row before, which is no time of this recording` + mend},
		"time absurd":                  {"t_s,x_g\n0,1\n1e300,2\n", sensor.Options{}, `r.csv:3:1: t_s is 1e300, more than a day after the row before, which is no time of this recording` + mend},
		"bad stamp":                    {"time,x_g\n2026-11-25T10:00:00Z,1\n2026-11-25T25:00:00Z,1\n", sensor.Options{}, `r.csv:3:1: time is "2026-11-25T25:00:00Z", not a time like 2026-11-25T10:00:00.125Z` + mend},
		"unknown unit":                 {"t_s,x (counts)\n0,1\n1,1\n", sensor.Options{}, `r.csv:1: unit "counts" of column "x (counts)" is not one of m/s2, g, mg; give --unit if you know it`},
		"unknown time":                 {"t (h),x_g\n0,1\n1,1\n", sensor.Options{}, `r.csv:1: no time column among t (h), x_g; call one t_s, t_ms or t_us, name it with --time, or give --rate`},
		"no time":                      {"x_g,y_g\n0,1\n1,1\n", sensor.Options{}, `r.csv:1: no time column among x_g, y_g; call one t_s, t_ms or t_us, name it with --time, or give --rate`},
		"no axis":                      {"time,pcb,gyro_x\n0,1,1\n1,1,1\n", sensor.Options{}, `r.csv:1: no axis among the columns time, pcb, gyro_x; call them x, y, z, or name them with --axes`},
		"no such axis":                 {"time,pcb\n0,1\n1,1\n", sensor.Options{Axes: []string{"pbc"}}, `r.csv:1: no column "pbc"; the columns are time, pcb`},
		"no such time":                 {"clock,x_g\n0,1\n1,1\n", sensor.Options{Time: "clok ms"}, `r.csv:1: no column "clok ms"; the columns are clock, x_g`},
		"time in hours":                {"clock (h),x_g\n0,1\n1,1\n", sensor.Options{Time: "clock"}, `r.csv:1: unit "h" of column "clock (h)" is not one of s, ms, us, ns; say it behind the name, as in --time "clock (h) ms"`},
		"time is the axis":             {"clock_s,x_g\n0,1\n1,1\n", sensor.Options{Time: "x"}, `r.csv:1: unit "g" of column "x_g" is not one of s, ms, us, ns; say it behind the name, as in --time "x_g ms"`},
		"no axis left":                 {"y,clock\n0,1\n1,1\n", sensor.Options{Time: "y ms"}, `r.csv:1: no axis among the columns y, clock; call them x, y, z, or name them with --axes`},
		"time, no header":              {"0,1\n1,1\n", sensor.Options{Time: "t"}, `r.csv:1: no header, so columns cannot be chosen by name; put one above the numbers, such as t_s,x_g,y_g,z_g`},
		"time and rate":                {"", sensor.Options{Time: "clock", Rate: 100}, `a rate is for a file without times, and column "clock" is named as the time`},
		"beyond the range":             {"t_s,x_g\n0,2.19\n1,-2.21\n", sensor.Options{Range: 2 * g}, `r.csv:3:3: x_g is -2.21 g, more than the 2 g that --range says; say what the sensor's data sheet has, or leave --range out`},
		"range option":                 {"", sensor.Options{Range: math.NaN()}, `range NaN m/s²: want a positive number up to 1e+06`},
		"axes, no header":              {"0,1\n1,1\n", sensor.Options{Axes: []string{"x"}}, `r.csv:1: no header, so columns cannot be chosen by name; put one above the numbers, such as t_s,x_g,y_g,z_g`},
		"five, no header":              {"0,1,2,3,4\n", sensor.Options{}, `r.csv:1: 5 columns and no header; put one above the numbers that names time and axes, such as t_s,x_g,y_g,z_g`},
		"time beside rate":             {ramp(100, 0.01, 9.8), sensor.Options{Rate: 100}, `r.csv:1: the first column rises from row to row, as a time does; leave --rate out, or put a header above the numbers`},
		"no gravity":                   {"t_s,x,y,z\n" + ramp(200, 0.01, 0.1, 0.2, 0.1), sensor.Options{}, `r.csv:2: no unit of acceleration given, and no clear gravity in the data (mean 0.245); give --unit m/s2, g or mg`},
		"1 on one axis":                {"t_s,x\n" + ramp(200, 0.01, 1), sensor.Options{}, `r.csv:2: no unit of acceleration given, and no clear gravity in the data (mean 1); give --unit m/s2, g or mg`},
		"too short":                    {"t_s,x,y,z\n" + ramp(10, 0.01, 0, 9.8, 0), sensor.Options{}, `r.csv:2: no unit of acceleration given, and 0.09 s are too short to find it from gravity; give --unit m/s2, g or mg`},
		"step fits none":               {"t,x_g\n" + ramp(10, 1e9, 1), sensor.Options{}, `r.csv:2: no unit of time given, and steps of 1e+09 fit none; name it in the header, such as t_ms`},
		"neither unit":                 {"t,x\n" + ramp(200, 1e9, 0.1), sensor.Options{}, `r.csv:2: no unit of time given, and steps of 1e+09 fit none; and no unit of acceleration given, and no clear gravity in the data (mean 0.1); name it in the header, such as t_ms; and give --unit m/s2, g or mg`},
		"no unit, times stand":         {"t,x\n" + strings.Repeat("1,9.8\n", 100), sensor.Options{}, `r.csv:2: no unit of acceleration given, and times that do not rise; give --unit m/s2, g or mg, and mend the times`},
		"coarse times beside rate":     {ticks(1000, 400, 0.01), sensor.Options{Rate: 400}, `r.csv:1: the first column rises from row to row, as a time does; leave --rate out, or put a header above the numbers`},
		"times that stand still":       {"t_s,x_g\n" + ticks(1000, 400, 0.01) + strings.Repeat("2.5,1\n", 2000), sensor.Options{Rate: 400}, `r.csv: more rows in column "t_s" are of one time, 2.5 s after the first, than --rate 400 leaves room for; is --rate right, and do the times go on?`},
		"a time twice beside rate":     {"t_ms,x_g\n" + ramp(3000, 1, 1) + "2999,2\n", sensor.Options{Rate: 1000}, `r.csv:3002:1: t_ms repeats 2999; leave such rows out with --skip-bad if they are few`},
		"no unit, no times":            {strings.Repeat("1,0,9.8\n-1,0,9.8\n", 100), sensor.Options{}, `r.csv:1: no unit of acceleration given, and a first column that does not rise, as times would; give --unit m/s2, g or mg, and mend the times, or give --rate if there are none`},
		"the end of a line, and rows":  {"250,-12,35\n" + ramp(100, 1250, 0, 0, 1000), sensor.Options{}, `r.csv:2:7: 4 cells where 3 belong (decimal commas need semicolons between the cells)` + mend},
		"two sensors":                  {"t_s,sensor,x,y,z\n" + inTurn(200), sensor.Options{}, `r.csv:2: rows of more than one sensor, acc and gyr; keep the rows of the accelerometer alone`},
		"bursts":                       {"t_s,x_g\n" + bursts(200, 10, 0.025, 0.0001), sensor.Options{}, `r.csv: the times in column "t_s" come in bursts: 418 samples a second, most of them within 0.1 ms of the one before; give --rate with what the sensor itself makes in a second, if it samples evenly and no rows are missing`},
		"huge":                         {"t_s,x,y,z\n" + ramp(200, 0.01, 1e300, 0, 0), sensor.Options{}, `r.csv:2:3: x is 1e+300, more than any sensor shows` + mend},
		"many digits":                  {"t_s,x_g\n0,1" + strings.Repeat("0", 299) + "\n", sensor.Options{}, `r.csv:2:3: x_g is 1` + strings.Repeat("0", 39) + `… g, more than any sensor shows` + mend},
		"one row":                      {"t,x_g\n0,1\n", sensor.Options{}, `r.csv:2: one row only; was the recording stopped at once?`},
		"no line end":                  {strings.Repeat("123,", 1<<16), sensor.Options{}, `r.csv:1:65536: line of more than 65536 bytes; is this a table with line ends?`},
		"late long line":               {"t_s,x_g\n0,1\n" + strings.Repeat("\"", 1<<17), sensor.Options{SkipBad: true}, `r.csv:3:65536: line of more than 65536 bytes; is this a table with line ends?`},
		"prose":                        {"Dear diary,\ntoday I turned a bowl.\n", sensor.Options{}, `r.csv:2: text, with neither a header nor numbers so far; the header names a time and axes, such as t_s,x_g,y_g,z_g, with commas, semicolons or tabs between`},
		"UTF-16":                       {"\xff\xfet\x00,\x00x\x00", sensor.Options{}, `r.csv: text in UTF-16; save it as UTF-8 ("CSV UTF-8")`},
		"UTF-16, no mark":              {"t\x00,\x00x\x00\n\x00", sensor.Options{}, `r.csv: looks like text in UTF-16; save it as UTF-8 ("CSV UTF-8")`},
		"SQLite":                       {"SQLite format 3\x00", sensor.Options{}, `r.csv: an SQLite database, not a recording; kept sessions are read by their number`},
		"spreadsheet":                  {"PK\x03\x04....", sensor.Options{}, `r.csv: a zip or spreadsheet file (xlsx, ods); save it as CSV, or unpack it`},
		"binary":                       {"\x01\x02\x03\x04\x05\x06\x07", sensor.Options{}, `r.csv: binary data, neither text nor WAV; record or export as CSV or WAV`},
		"a control character in place of a digit": {"t_s,x_g\n0,1\n1,\x002\n2,3\n", sensor.Options{}, `r.csv:3:3: x_g is "\x002", not a finite number; mend it, or leave bad rows out with --skip-bad`},
		"binary, at first like text":              {"Qq8]Qz2,Qf!&\x8f,\x02q\x00,\xb2\x07z\n", sensor.Options{}, `r.csv: binary data, neither text nor WAV; record or export as CSV or WAV`},
		"cut gzip":                                {squeeze("t_s,x_g\n0,1\n")[:20], sensor.Options{}, `r.csv: compressed data are cut off or damaged (unexpected EOF); copy the file again`},
		"rate too small":                          {"", sensor.Options{Rate: 1e-310}, `rate 1e-310 Hz: want 0.001 to 1e6`},
		"counter, no header":                      {ramp(2000, 1, 0, 9.8, 0), sensor.Options{}, `r.csv:1: the first column may count rows; put a header above the numbers that names it t_ms if it is a time, or give --rate`},
		"counter, named":                          {"x_g,time\n1,10\n1,11\n1,12\n", sensor.Options{}, `r.csv:2: column "time" may count rows; name it t_ms if it is a time, or give --rate`},
		"counter, rows lost":                      {"t,x_g\n" + ramp(40, 1, 1) + "42,1\n45,1\n46,1\n", sensor.Options{SkipBad: true}, `r.csv:2: column "t" may count rows; name it t_ms if it is a time, or give --rate`},
		"counter, lost, and rate":                 {"t,x_g\n" + strings.NewReplacer("\n50,1\n", "\n", "\n100,1\n", "\n", "\n150,1\n", "\n").Replace(ramp(200, 1, 1)), sensor.Options{Rate: 400}, `r.csv:2: the times in column "t" make 984.9 samples a second, but --rate says 400; call the column n if it counts the rows, else leave --rate out`},
		"times too near":                          {"t_s,x_g\n0,1\n1e-310,1\n2e-310,1\n", sensor.Options{}, `r.csv:3:1: t_s is 1e-310, less than 1 µs after the row before, faster than any sensor` + mend},
		"times too near, skipped":                 {"t_s,x_g\n0,1\n1e-310,1\n2e-310,1\n", sensor.Options{SkipBad: true}, `r.csv: 2 of 3 rows are bad, the first in r.csv:3:1: t_s is 1e-310, less than 1 µs after the row before, faster than any sensor; too many to leave out: mend the file, or give --rate if only its times are wrong`},
		"damaged gzip":                            {damage(squeeze("t_s,x_g\n0,1\n"), 10), sensor.Options{}, `r.csv: compressed data are cut off or damaged (flate: corrupt input before offset 9); copy the file again`},
		"gzip checksum":                           {damage(squeeze("t_s,x_g\n0,1\n"), -8), sensor.Options{}, `r.csv: compressed data are cut off or damaged (gzip: invalid checksum); copy the file again`},
		"unit option":                             {"", sensor.Options{Unit: "furlong"}, `unit "furlong": want m/s2, g or mg`},
		"rate option":                             {"", sensor.Options{Rate: math.NaN()}, `rate NaN Hz: want 0.001 to 1e6`},
		"rate 0":                                  {"", sensor.Options{Rate: -1}, `rate -1 Hz: want 0.001 to 1e6`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := read(c.text, c.o)
			refused(t, err, c.want)
		})
	}
}

// The range that was said is that of every block, for whoever tells a clipped sample.
func TestCSVRange(t *testing.T) {
	t.Parallel()
	s, err := sensor.Decode("r.csv", strings.NewReader("t_ms,x_g\n"+ramp(3000, 2, 1)), sensor.Options{Range: 2 * g})
	require.NoError(t, err)
	for n := 0; n < 3000; {
		b, err := s.Next()
		require.NoError(t, err)
		require.InDelta(t, 1.9*g, b.Range, 1e-9)
		n += len(b.T)
	}
	require.NoError(t, s.Close())
}

// ramp is rows of a time that rises by step, and constant axes.
func ramp(n int, step float64, axes ...float64) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.9g", float64(i)*step)
		for _, a := range axes {
			fmt.Fprintf(&b, ",%v", a)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// bursts is n rows, so many every so many s, within a burst near together, and one axis.
func bursts(n, each int, every, near float64) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.9g,1\n", float64(i/each)*every+float64(i%each)*near)
	}
	return b.String()
}

// inTurn is n rows each of an accelerometer and of a gyroscope.
func inTurn(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.9g,acc,0.1,0,9.8\n%.9g,gyr,3,-2,%d\n", float64(i)*0.01, float64(i)*0.01+0.001, i%5)
	}
	return b.String()
}

// ticks is n rows at a rate in Hz, of a clock that is read in steps of tick s, and one axis.
func ticks(n int, rate, tick float64) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.9g,1\n", math.Floor((float64(i)+0.5)/rate/tick)*tick)
	}
	return b.String()
}

// stamps is rows of a time stamp every step s, and one axis.
func stamps(n int, step float64) []string {
	var rows []string
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	for range n {
		at = at.Add(time.Duration(step * float64(time.Second)))
		rows = append(rows, at.Format(time.RFC3339Nano)+",1\n")
	}
	return rows
}

// damage spoils byte i of a file, counted from the end where it is negative.
func damage(z string, i int) string {
	b := []byte(z)
	b[(i+len(b))%len(b)] ^= 0xff
	return string(b)
}

func squeeze(text string) string {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write([]byte(text))
	if err := errors.Join(err, w.Close()); err != nil {
		panic(err)
	}
	return b.String()
}

func TestCSVSaysWhatItFound(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text  string
		o     sensor.Options
		size  float64 // magnitude of the mean
		rate  float64
		notes []string
	}{
		"nothing said, m/s²": {ramp(200, 0.01, 0, 9.6, 1), sensor.Options{}, math.Hypot(9.6, 1), 100, []string{
			"no header: the columns are taken as time, then axes",
			"no unit of time given: steps of 0.01 fit s",
			"no unit given: 1 g of gravity found (mean 9.652), so the values are in m/s2"}},
		"nothing said, g, ms": {ramp(200, 16, 0.6, 0.8, 0), sensor.Options{}, g, 62.5, []string{
			"no header: the columns are taken as time, then axes",
			"no unit of time given: steps of 16 fit ms",
			"no unit given: 1 g of gravity found (mean 1), so the values are in g"}},
		"mg, us": {"timestamp,ax,ay,az\n" + ramp(4000, 312.5, 0, -1000, 0), sensor.Options{}, g, 3200, []string{
			"no unit of time given: steps of 312.5 fit us",
			"no unit given: 1 g of gravity found (mean 1000), so the values are in mg"}},
		"ns": {"t,x_g\n" + ramp(20, 1e6, 1), sensor.Options{}, g, 1000, []string{
			"no unit of time given: steps of 1e+06 fit ns"}},
		"rate and time": {"t_s,x_g\n" + ramp(20, 0.5, 1), sensor.Options{Rate: 10}, g, 10, []string{`a rate was given, so column "t_s" is not used: it holds too few times to judge them by`}},
		"two sensors": {"t_s,accX_g,accY_g,userAccX_g,accX_g\n" + ramp(20, 0.5, 0, 1, 2, 3), sensor.Options{}, g, 2, []string{
			`column "userAccX_g" is not used, "accX_g" comes first`, `column "accX_g" is not used, "accX_g" comes first`}},
		"rate and another unit": {"t_s,x_g\n" + ramp(200, 2, 1), sensor.Options{Rate: 500}, g, 500, []string{`the times in column "t_s" are those of the rate that was given, and are used`}},
		"rate and times in bursts": {"t_s,x_g\n" + ramp(90, 0.0001, 1) + strings.ReplaceAll(ramp(90, 0.0001, 1), "0.00", "1.00"), sensor.Options{Rate: 100}, g, 100, []string{
			`a rate was given, so column "t_s" serves only to see whether rows are missing`,
			`the recording ends before column "t_s" could tell whether --rate is right to 1 %: the speeds are as right as that`}},
		"rate and times that begin anew": {"t_s,x_g\n" + strings.Repeat(ramp(90, 0.01, 1), 2), sensor.Options{Rate: 100}, g, 100, []string{
			`a rate was given, so column "t_s" is not used: its times go far back`}},
		"rate and no times":    {"t_s,x_g\n" + strings.Repeat("never,1\n", 100), sensor.Options{Rate: 100}, g, 100, []string{`a rate was given, so column "t_s" is not used: it holds too few times to judge them by`}},
		"rate and row numbers": {"t,x_g\n" + ramp(2000, 1, 1), sensor.Options{Rate: 400}, g, 400, []string{`column "t" counts the rows, and so tells their times`}},
		"rate and row numbers, no header": {ramp(2000, 1, 0, 9.8, 0), sensor.Options{Rate: 400}, 9.8, 400, []string{
			"no header: the columns are taken as row numbers, then axes", `column "time" counts the rows, and so tells their times`,
			"no unit given: 1 g of gravity found (mean 9.8), so the values are in m/s2"}},
		"rate and a coarse clock":  {"t_s,x_g\n" + ticks(2000, 400, 0.01), sensor.Options{Rate: 390}, g, 390, []string{`the times in column "t_s" repeat, so rows are spread evenly within their steps`}},
		"rate and one long packet": {"t_s,x_g\n" + strings.Repeat("0,1\n", 70) + "9,1\n", sensor.Options{Rate: 100}, g, 100, []string{`a rate was given, so column "t_s" is not used: its times are of that rate in no unit`}},
		"milliseconds, named":      {"t_ms,x_g\n" + ramp(200, 1, 1), sensor.Options{}, g, 1000, nil},
		"milliseconds, 800 Hz": {"t,x_g\n0,1\n1,1\n2,1\n3,1\n5,1\n6,1\n7,1\n8,1\n10,1\n", sensor.Options{}, g, 1000, []string{
			"no unit of time given: steps of 1.25 fit ms"}},
		"cut off": {"t_s,x_g\n0,1\n1,1\n2", sensor.Options{}, g, 1, []string{"the last line is cut off and was left out"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := read(c.text, c.o)
			require.NoError(t, err)
			assert.Equal(t, c.notes, got.notes)
			assert.InEpsilon(t, c.rate, 1/(got.t[1]-got.t[0]), 1e-9)
			var size float64
			for _, a := range got.axes {
				size = math.Hypot(size, a[0])
			}
			assert.InEpsilon(t, c.size, size, 1e-9)
		})
	}
}

// The blocks before an error are delivered first.
func TestCSVDeliversWhatPrecedesAnError(t *testing.T) {
	t.Parallel()
	got, err := read("t_s,x_g\n"+ramp(3000, 0.01, 1)+"3000,x\n"+ramp(5, 1, 1), sensor.Options{})
	refused(t, err, `r.csv:3002:6: x_g is "x", not a finite number; mend it, or leave bad rows out with --skip-bad`)
	assert.Len(t, got.t, 3000)
	var where *sensor.ParseError
	require.ErrorAs(t, err, &where)
	assert.Equal(t, []any{"r.csv", 3002, 6}, []any{where.File, where.Line, where.Column})
}

// What a pipe has brought is handed over, and no more is waited for.
func TestCSVFromAPipe(t *testing.T) {
	t.Parallel()
	r, w := io.Pipe()
	s, err := sensor.Decode("pipe", r, sensor.Options{})
	require.NoError(t, err)
	write := func(text string) {
		_, err := io.WriteString(w, text)
		assert.NoError(t, err)
	}
	go write("t_s,x_g\n0,1\n1,2\n")
	b, err := s.Next()
	require.NoError(t, err)
	assert.Equal(t, []float64{0, 1}, b.T)
	go func() { write("2,"); write("3\n") }()
	b, err = s.Next()
	require.NoError(t, err)
	assert.Equal(t, []float64{2}, b.T)
	end := make(chan error)
	go func() {
		_, err := s.Next()
		end <- err
	}()
	require.NoError(t, s.Close())
	assert.Equal(t, sensor.ErrClosed, <-end)
}

// Rows left out count nothing but themselves: time begins with the first sample, what was lost
// at the end is told too.
func TestSkippedRows(t *testing.T) {
	t.Parallel()
	pad := strings.Repeat("x\n", 3000)
	for name, c := range map[string]struct {
		text string
		o    sensor.Options
		t    []float64
		lost int
	}{
		"the first, with a time":    {"t_s,x_g\n-9,1e9\n5,1\n5.5,1\n", sensor.Options{}, []float64{0, 0.5}, 1},
		"the first, with a stamp":   {"time,x_g\n2001-01-01T00:00:00Z,1e9\n2026-11-25T10:00:00Z,1\n2026-11-25T10:00:00.5Z,1\n", sensor.Options{}, []float64{0, 0.5}, 1},
		"the first, without a time": {"x_g\n1e9\n1\n1\n", sensor.Options{Rate: 4}, []float64{0, 0.25}, 1},
		"the last":                  {"x_g\n" + strings.Repeat("1\n", 3069) + pad, sensor.Options{Rate: 1}, nil, 3000},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c.o.SkipBad = true
			got, err := read(c.text, c.o)
			require.NoError(t, err)
			assert.Equal(t, c.lost, got.lost)
			if c.t != nil {
				alike(t, c.t, got.t, 1e-6) // stamps 25 years from zero are good to 0.1 µs
			} else {
				assert.Equal(t, []string{"the end of the recording is bad and was left out"}, got.notes)
			}
		})
	}
}

func BenchmarkCSV(b *testing.B) {
	for name, format := range map[string]string{"6 digits": "%.6f,%.4f,%.4f,%.4f\n", "17 digits": "%.6f,%.17g,%.17g,%.17g\n"} {
		b.Run(name, func(b *testing.B) {
			const n = 100_000
			var text strings.Builder
			text.WriteString("t_s,x_g,y_g,z_g\n")
			for i := range n {
				fmt.Fprintf(&text, format, float64(i)/1000, math.Sin(float64(i)), math.Cos(float64(i)), 1+0.1*math.Sin(3*float64(i)))
			}
			b.SetBytes(int64(text.Len()))
			for b.Loop() {
				s, err := sensor.Decode("bench", strings.NewReader(text.String()), sensor.Options{})
				require.NoError(b, err)
				for err == nil {
					_, err = s.Next()
				}
				require.Equal(b, io.EOF, err)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/row")
		})
	}
}

// TestCSVRepeatsInAnyBlocks: whether too many rows repeat a time does not hang on how many of them come at once.
func TestCSVRepeatsInAnyBlocks(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	text.WriteString("t_s,x_g\n")
	for i := range 2500 {
		fmt.Fprintf(&text, "%.2f,%d\n", float64(i)/100, i%2)
		if slices.Contains([]int{250, 500, 750, 1003, 1100, 1700}, i) { // the fifth is too many, the sixth not
			fmt.Fprintf(&text, "%.2f,%d\n", float64(i)/100, 2)
		}
	}
	for name, r := range map[string]io.Reader{"at once": strings.NewReader(text.String()), "row by row": iotest.OneByteReader(strings.NewReader(text.String()))} {
		src, err := sensor.Decode("r.csv", r, sensor.Options{SkipBad: true})
		require.NoError(t, err)
		for err == nil {
			_, err = src.Next()
		}
		assert.ErrorContains(t, err, "rows repeat the time of the row before", name)
	}
}

// TestCSVClocks: what the time of day may look like. Each has three samples 10 ms apart.
func TestCSVClocks(t *testing.T) {
	t.Parallel()
	for name, rows := range map[string][4]string{
		"date and time":        {"time", "2026-11-26 10:03:12.345", "2026-11-26 10:03:12.355", "2026-11-26 10:03:12.365"},
		"RFC 3339":             {"timestamp", "2026-11-26T10:03:12.345Z", "2026-11-26T10:03:12.355Z", "2026-11-26T10:03:12.365Z"},
		"RFC 3339, zone":       {"timestamp", "2026-11-26T10:03:12.345+01:00", "2026-11-26T10:03:12.355+01:00", "2026-11-26T10:03:12.365+01:00"},
		"time of day":          {"time", "10:03:12.345", "10:03:12.355", "10:03:12.365"},
		"one digit":            {"Zeit", "9:59:59.985", "9:59:59.995", "10:00:00.005"},
		"decimal comma":        {"Czas", "10:03:12,345", "10:03:12,355", "10:03:12,365"},
		"midnight":             {"time", "23:59:59.985", "23:59:59.995", "00:00:00.005"},
		"unit in the name":     {"time (s)", "10:03:12.345", "10:03:12.355", "10:03:12.365"},
		"epoch in s":           {"epoch", "1795687392.345", "1795687392.355", "1795687392.365"},
		"epoch in s, named":    {"epoch_s", "1795687392.345", "1795687392.355", "1795687392.365"},
		"epoch in ms":          {"timestamp", "1795687392345", "1795687392355", "1795687392365"},
		"epoch in us":          {"time", "1795687392345000", "1795687392355000", "1795687392365000"},
		"epoch in ns":          {"time", "1795687392345000000", "1795687392355000000", "1795687392365000000"},
		"epoch in ns, named":   {"time_ns", "1795687392345000000", "1795687392355000000", "1795687392365000000"},
		"epoch, decimal comma": {"Zeit (s)", "1795687392,345", "1795687392,355", "1795687392,365"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := read(fmt.Sprintf("%s;x_g\n%s;1\n%s;2\n%s;3\n", rows[0], rows[1], rows[2], rows[3]), sensor.Options{})
			require.NoError(t, err)
			alike(t, []float64{0, 0.01, 0.02}, got.t, 1e-6)
		})
	}
}

// TestCSVTongues: exports whose words and numbers are in the language of the phone.
func TestCSVTongues(t *testing.T) {
	t.Parallel()
	for _, header := range []string{
		`"Zeit (s)";"Beschleunigung x (m/s^2)";"Beschleunigung y (m/s^2)";"Absolute Beschleunigung (m/s^2)"`,
		`Temps (s);Accélération x (m/s²);Accélération y (m/s²);Accélération absolue (m/s²)`,
		`Tempo (s);Accelerazione lineare x (m/s^2);Accelerazione lineare y (m/s^2);n`,
		`Tiempo (s);Aceleración x (m/s^2);Aceleración y (m/s^2);n`,
		`Tijd (s);Versnelling x (m/s^2);Versnelling y (m/s^2);n`,
		`Tid (s);Acceleration x (m/s^2);Acceleration y (m/s^2);n`,
		`Czas (s);Przyspieszenie x (m/s^2);Przyspieszenie y (m/s^2);n`,
	} {
		got, err := read(header+"\n0,00;1,5;-2,5;3\n0,01;1,25;-2,25E0;3\n", sensor.Options{})
		require.NoError(t, err, header)
		alike(t, []float64{0, 0.01}, got.t, 1e-9, header)
		require.Len(t, got.axes, 2, header)
		alike(t, []float64{1.5, 1.25}, got.axes[0], 1e-9, header)
		alike(t, []float64{-2.5, -2.25}, got.axes[1], 1e-9, header)
	}
}

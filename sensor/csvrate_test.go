package sensor_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// logged is a file of an even sensor: column t, and x, which is a thousandth of the true time. The sensor makes rate rows a second, of which
// the share lost is missing. They are told in steps of tick s; where packet is not 0, all of each packet of so many s as its end, and up
// to late s after it; the very first is first s later, and one in the first second early s before that. A pause is three seconds with no
// rows.
type logged struct {
	rate, tick, lost, packet, late, first, early float64
	pause                                        bool
}

func (l logged) String() string {
	rng := rand.New(rand.NewPCG(1, 2))
	var text strings.Builder
	text.WriteString("t,x\n")
	packet, late := 0.0, 0.0
	for i := range int(20 * l.rate) {
		at := (float64(i) + 0.3) / l.rate
		told := at
		if l.packet > 0 {
			if n := math.Ceil(at / l.packet); n > packet {
				switch packet, late = n, l.late*rng.Float64(); n {
				case 1:
					late += l.first
				case 8:
					late -= l.early
				}
			}
			told = packet*l.packet + late
		}
		if rng.Float64() >= l.lost && !(l.pause && at > 5.1234 && at < 8.4321) {
			fmt.Fprintf(&text, "%.6f,%.9f\n", math.Floor(told/l.tick+1e-6)*l.tick, at/1000)
		}
	}
	return text.String()
}

// TestRateBesideTimes: what --rate makes of a file that has times as well is true, row by row, or is refused.
func TestRateBesideTimes(t *testing.T) {
	t.Parallel()
	const apart = "rows are missing, or the rate is another"
	for name, c := range map[string]struct {
		file  logged
		given float64
		off   float64 // s, that a row may be off its time
		want  string  // of the error
	}{
		"hundredths":                     {logged{rate: 1000, tick: 0.01}, 1000, 0.001, ""},
		"hundredths, rows lost":          {logged{rate: 1000, tick: 0.01, lost: 0.03}, 1000, 0.006, ""},
		"hundredths, many lost":          {logged{rate: 1000, tick: 0.01, lost: 0.15}, 1000, 0.009, ""},
		"hundredths, a pause":            {logged{rate: 1000, tick: 0.01, pause: true}, 1000, 0.002, ""},
		"hundredths, the mean rate":      {logged{rate: 1000, tick: 0.01, lost: 0.03}, 970, 0.006, ""},
		"hundredths, another rate":       {logged{rate: 1000, tick: 0.01}, 970, 0.002, ""},
		"hundredths, three to a tick":    {logged{rate: 333, tick: 0.01}, 333, 0.003, ""},
		"hundredths, three, rows lost":   {logged{rate: 333, tick: 0.01, lost: 0.05}, 333, 0.01, ""},
		"hundredths, 150 with rows lost": {logged{rate: 150, tick: 0.01, lost: 0.05}, 150, 0.01, ""},
		"milliseconds, 2 kHz":            {logged{rate: 2000, tick: 0.001, lost: 0.05}, 2000, 0.001, ""},
		"good times, rows lost":          {logged{rate: 1000, tick: 1e-5, lost: 0.03}, 1000, 1e-5, ""},
		"whole seconds":                  {logged{rate: 500, tick: 1}, 500, 1e-5, ""},
		"whole seconds, rows lost":       {logged{rate: 500, tick: 1, lost: 0.02}, 500, 0, apart},
		"tenths, rows lost":              {logged{rate: 500, tick: 0.1, lost: 0.02}, 500, 0, apart},
		"packets":                        {logged{rate: 1000, tick: 1e-3, packet: 0.025, late: 0.005}, 1000, 1e-5, ""},
		"packets, rows lost":             {logged{rate: 1000, tick: 1e-3, packet: 0.025, late: 0.005, lost: 0.03}, 1000, 0, apart},
		"packets in hundredths":          {logged{rate: 1000, tick: 0.01, packet: 0.016, late: 0.003}, 1000, 1e-5, ""},
		"packets, the sensor is slower":  {logged{rate: 980, tick: 1e-3, packet: 0.025, late: 0.005}, 1000, 0, apart},
		"packets, the sensor is faster":  {logged{rate: 1020, tick: 1e-3, packet: 0.025, late: 0.005}, 1000, 0, apart},
		"steps back":                     {logged{rate: 1000, tick: 1e-3, packet: 0.025, late: 0.04}, 1000, 1e-5, ""},
		"one step back":                  {logged{rate: 800, tick: 1e-4, packet: 0.0125, late: 0.002, early: 0.014}, 800, 1e-5, ""},
		"one step back, sensor slower":   {logged{rate: 760, tick: 1e-4, packet: 0.0125, late: 0.002, early: 0.014}, 800, 0, apart},
		"one step back, sensor faster":   {logged{rate: 840, tick: 1e-4, packet: 0.0125, late: 0.002, early: 0.014}, 800, 0, apart},
		"one step back, a pause":         {logged{rate: 800, tick: 1e-4, packet: 0.0125, late: 0.002, early: 0.014, pause: true}, 800, 0, apart},
		"the first is late":              {logged{rate: 800, tick: 1e-4, packet: 0.0125, late: 0.002, first: 0.06}, 800, 1e-5, ""},
		"the first is late, sensor slow": {logged{rate: 760, tick: 1e-4, packet: 0.0125, late: 0.002, first: 0.06}, 800, 0, apart},
		"steps back, a pause":            {logged{rate: 1000, tick: 1e-3, packet: 0.025, late: 0.04, pause: true}, 1000, 0, apart},
		"steps back, sensor slower":      {logged{rate: 950, tick: 1e-3, packet: 0.025, late: 0.04}, 1000, 0, apart},
		"steps back, sensor faster":      {logged{rate: 1050, tick: 1e-4, packet: 0.025, late: 0.04}, 1000, 0, apart},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := read(c.file.String(), sensor.Options{Rate: c.given, Unit: "m/s2"})
			if c.want != "" {
				require.ErrorContains(t, err, c.want)
				assert.Less(t, got.t[len(got.t)-1], 10.0, "s, when it was found")
				return
			}
			require.NoError(t, err)
			require.Len(t, got.t, strings.Count(c.file.String(), "\n")-1)
			most, least := math.Inf(-1), math.Inf(1)
			for i, at := range got.t {
				off := at - 1000*got.axes[0][i]
				most, least = max(most, off), min(least, off)
				assert.True(t, i == 0 || at > got.t[i-1], "row %d", i)
			}
			assert.LessOrEqual(t, most-least, c.off+2e-6)
		})
	}
}

// TestRateNotOffered: where one packet's time is wrong by more than a packet the rate that was given is right, and no other is offered.
func TestRateNotOffered(t *testing.T) {
	t.Parallel()
	_, err := read(logged{rate: 800, tick: 1e-4, packet: 0.0125, late: 0.002, early: 0.06}.String(), sensor.Options{Rate: 800, Unit: "m/s2"})
	parse := new(sensor.ParseError)
	require.ErrorAs(t, err, &parse)
	assert.Contains(t, parse.Error(), "times are wrong, rows are missing, or the rate is another")
	assert.NotRegexp(t, `\d`, parse.Try)
	assert.NotContains(t, parse.Error(), "rows a second")
}

// TestRateUnchecked: a recording that ends before its times could tell a rate that is wrong by 3 % says so, and one that goes on does not.
func TestRateUnchecked(t *testing.T) {
	t.Parallel()
	const note = `the recording ends before column "t" could tell whether --rate is right to 1 %: the speeds are as right as that`
	lines := strings.SplitAfter(logged{rate: 200, tick: 1}.String(), "\n")
	for seconds, given := range map[int]float64{4: 206, 20: 200} {
		got, err := read(strings.Join(lines[:1+200*seconds], ""), sensor.Options{Rate: given, Unit: "m/s2"})
		require.NoError(t, err)
		assert.Equal(t, seconds < 20, slices.Contains(got.notes, note), "%d s: %q", seconds, got.notes)
	}
	_, err := read(strings.Join(lines, ""), sensor.Options{Rate: 206, Unit: "m/s2"})
	assert.ErrorContains(t, err, "rows are missing, or the rate is another")
}

// TestRateBesideRowNumbers: the numbers of rows tell which are missing, also where they begin anew.
func TestRateBesideRowNumbers(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	var want []float64
	for i := range 2000 {
		if i%150 != 149 {
			fmt.Fprintf(&text, "%d,1\n", i%1024)
			want = append(want, float64(i)/400)
		}
	}
	for _, name := range []string{"t", "n", "Sample", ""} {
		got, err := read(name+",x_g\n"+text.String(), sensor.Options{Rate: 400})
		require.NoError(t, err, name)
		alike(t, want, got.t, 1e-9, name)
	}
	got, err := read("n,x_g\n"+strings.ReplaceAll(text.String(), "1,1\n", "1.5,1\n"), sensor.Options{Rate: 400}) // which are none
	require.NoError(t, err)
	assert.Contains(t, got.notes, `a rate was given, so column "n" is not used`)
	assert.InDelta(t, float64(len(want)-1)/400, got.t[len(want)-1], 1e-9)
}

// TestRowsOutOfOrder: row numbers that go back a little are no beginning, which would move all times after them.
func TestRowsOutOfOrder(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	text.WriteString("n,x_g\n")
	var want []float64
	for i := range 2000 {
		n := i
		switch i % 100 {
		case 50:
			n = i + 1
		case 51:
			n = i - 1
		}
		fmt.Fprintf(&text, "%d,1\n", n)
		if n >= i {
			want = append(want, float64(n)/400)
		}
	}
	_, err := read(text.String(), sensor.Options{Rate: 400})
	refused(t, err, "r.csv:53:1: n goes back to 50; mend it, or leave bad rows out with --skip-bad")
	got, err := read(text.String(), sensor.Options{Rate: 400, SkipBad: true})
	require.NoError(t, err)
	alike(t, want, got.t, 1e-9)
}

// TestHintsLeadOut: row numbers of which one in forty is missing look like whole milliseconds; doing what the hints say of row numbers ends
// in times that are true.
func TestHintsLeadOut(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	var want []float64
	for i := range 2000 {
		if i%40 != 39 {
			fmt.Fprintf(&text, "%d,1\n", i)
			want = append(want, float64(i)/400)
		}
	}
	_, err := read("t,x_g\n"+text.String(), sensor.Options{})
	refused(t, err, `r.csv:2: column "t" may count rows; name it t_ms if it is a time, or give --rate`)
	_, err = read("t,x_g\n"+text.String(), sensor.Options{Rate: 400})
	refused(t, err, `r.csv:2: the times in column "t" make 975 samples a second, but --rate says 400; call the column n if it counts the rows, else leave --rate out`)
	_, err = read(text.String(), sensor.Options{Rate: 400, Unit: "g"})
	refused(t, err, `r.csv:1: the first column rises from row to row, as a time does; put a header above the numbers, that calls the column n if it counts the rows, else leave --rate out`)
	got, err := read("n,x_g\n"+text.String(), sensor.Options{Rate: 400})
	require.NoError(t, err)
	alike(t, want, got.t, 1e-9)
	_, err = read("t_ms,x_g\n"+text.String(), sensor.Options{})
	require.NoError(t, err)
}

package sensor_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// A scale that is wrong shows as gravity that cannot be: 256 counts a g read as mg would show a
// quarter of the shake.
func TestGravityThatCannotBe(t *testing.T) {
	t.Parallel()
	const (
		cannot = " g, where it is 1 g, or none if the recorder took it out, and so the shake would be wrong; "
		counts = cannot + "is the unit right? What a sensor counts must be divided by its counts a g (its data sheet) first"
		full   = cannot + "is --full-scale right? It is the end of the sensor's range"
	)
	rows := func(n int, row func(i int) [3]float64) string {
		var b strings.Builder
		for i := range n {
			a := row(i)
			fmt.Fprintf(&b, "%.2f,%v,%v,%v\n", 0.01*float64(i), a[0], a[1], a[2])
		}
		return "t_s,x_g,y_g,z_g\n" + b.String()
	}
	wav := func(z int16) string {
		var frames []byte
		for range 700 {
			frames = binary.LittleEndian.AppendUint16(append(frames, 0, 0, 0, 0), uint16(z))
		}
		return riff(chunk("fmt ", format(1, 3, 100, 16)), chunk("data", frames))
	}
	still, shaken := ramp(600, 0.01, 0.01, -0.02, 0), rows(600, func(i int) [3]float64 { return [3]float64{3 * math.Cos(float64(i)), math.Sin(float64(i)), 0.1} })
	heavy := rows(600, func(i int) [3]float64 { return [3]float64{0.5 * math.Cos(float64(i)), 0, 1} })
	for text, c := range map[string]struct {
		o    sensor.Options
		want string // of why the unit was not checked; "" where it was
	}{
		"t_s,x_g,y_g,z_g\n" + still: {sensor.Options{}, "there is no gravity in it to check its unit by: "},
		"t_s,x,y,z\n" + still:       {sensor.Options{Unit: "g"}, ""},
		shaken:                      {sensor.Options{}, "it shakes too much to check its unit by gravity: "},
		shaken[:2000]:               {sensor.Options{}, ""}, // a second at most
		heavy:                       {sensor.Options{}, ""},
		"t_s,x_g,y_g\n" + ramp(600, 0.01, 0.01, -0.02): {sensor.Options{}, ""},
	} {
		got, err := read(text, c.o)
		require.NoError(t, err)
		notes := strings.Join(got.notes, " ")
		assert.Contains(t, notes, c.want, "%.200s", text)
		assert.Equal(t, c.want != "", strings.Contains(notes, "taken from the header, g"), "%.200s: %s", text, notes)
	}
	for name, c := range map[string]struct {
		text string
		o    sensor.Options
		want string // "" for none
	}{
		"256 counts a g":         {"t_s,x_mg,y_mg,z_mg\n" + ramp(600, 0.01, 10, 0, 256), sensor.Options{}, "r.csv: gravity shows as 0.256" + counts},
		"256 counts a g, asked":  {"t_s,x,y,z\n" + ramp(600, 0.01, 10, 0, 256), sensor.Options{Unit: "mg"}, "r.csv: gravity shows as 0.256" + counts},
		"64 counts a g":          {"t_s,x_mg,y_mg,z_mg\n" + ramp(600, 0.01, 0, 64, 0), sensor.Options{}, "r.csv: gravity shows as 0.064" + counts},
		"16384 counts a g":       {"t_s,x_mg,y_mg,z_mg\n" + ramp(600, 0.01, 0, 16384, 0), sensor.Options{}, "r.csv: gravity shows as 16.4" + counts},
		"a short one":            {"t_s,x_mg,y_mg,z_mg\n" + ramp(200, 0.01, 10, 0, 256), sensor.Options{}, "r.csv: gravity shows as 0.256" + counts},
		"g called m/s²":          {"t_s,x_m/s2,y_m/s2,z_m/s2\n" + ramp(600, 0.01, 0, 0, 1), sensor.Options{}, "r.csv:2: the unit is said to be m/s2, but gravity shows as 1, as it does in g; give --unit g"},
		"g called m/s², asked":   {"t_s,x,y,z\n" + ramp(600, 0.01, 0, 0, 1), sensor.Options{Unit: "m/s2"}, "r.csv:2: the unit is said to be m/s2, but gravity shows as 1, as it does in g; give --unit g"},
		"no unit, counts":        {"t_s,x,y,z\n" + ramp(600, 0.01, 0, 0, 256), sensor.Options{}, "r.csv:2: no unit of acceleration given, and no clear gravity in the data (mean 256); give --unit m/s2, g or mg; what a sensor counts must be divided by its counts a g (its data sheet) first"},
		"WAV, half of it":        {wav(1 << 13), sensor.Options{FullScale: 2 * g}, "r.csv: gravity shows as 0.5" + full},
		"WAV":                    {wav(1 << 13), sensor.Options{FullScale: 4 * g}, ""},
		"one axis too heavy":     {"t_s,x_mg\n" + ramp(600, 0.01, 1400), sensor.Options{}, "r.csv: gravity shows as 1.4" + counts},
		"one axis, tilted":       {"t_s,x_mg\n" + ramp(600, 0.01, 256), sensor.Options{}, ""},
		"two axes, tilted":       {"t_s,x_mg,y_mg\n" + ramp(600, 0.01, 100, 256), sensor.Options{}, ""},
		"gravity taken out":      {"t_s,x_g,y_g,z_g\n" + ramp(600, 0.01, 0.01, -0.02, 0), sensor.Options{}, ""},
		"its zero is far off":    {"t_s,x_g,y_g,z_g\n" + ramp(600, 0.01, 0, 0.1, 1.25), sensor.Options{}, ""},
		"clamped on at first":    {rows(600, func(i int) [3]float64 { return [3]float64{0, 0.3, 0.4 + float64(i/350)/2} }), sensor.Options{}, ""},
		"shakes more than it is": {rows(600, func(i int) [3]float64 { return [3]float64{0, 0.3, float64(i%2) - 0.4} }), sensor.Options{}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := read(c.text, c.o)
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			refused(t, err, c.want)
		})
	}
}

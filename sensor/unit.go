package sensor

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// unit says how many m/s² one of it is: v·Mul/Div, with Div so that mg and ms divide exactly.
type unit struct {
	name     string
	mul, div float64
}

func (u unit) si(v float64) float64 { return v * u.mul / u.div }

var (
	metric = unit{"m/s2", 1, 1}
	inG    = unit{"g", gravity, 1}
	inMG   = unit{"mg", gravity, 1000}

	seconds = unit{"s", 1, 1}
	millis  = unit{"ms", 1, 1e3}
	micros  = unit{"us", 1, 1e6}
	nanos   = unit{"ns", 1, 1e9}
)

// counted is the unit of time where rows are counted: they come with the rate in Hz.
func counted(rate float64) unit { return unit{"rows", 1, rate} }

// accelerations and times by every spelling, in lower case with no blanks. The lone bytes
// are ² and µ as Latin-1 writes them.
var accelerations = spelt(map[unit]string{
	metric: "m/s2 m/s^2 m/s² m/s\xb2 m/s/s m/s**2 m_s2 m_s^2 ms2 ms^2 ms-2 ms^-2 m.s-2 m·s⁻² ms⁻² m/sec2 m/sec^2 m/sec²",
	inG:    "g gs gn g0 g-force gforce",
	inMG:   "mg milli-g millig",
})

var times = spelt(map[unit]string{
	seconds: "s sec secs second seconds",
	millis:  "ms msec msecs millis millisecond milliseconds",
	micros:  "us µs μs \xb5s usec micros microsecond microseconds",
	nanos:   "ns nsec nanos nanosecond nanoseconds",
})

func spelt(names map[unit]string) map[string]unit {
	m := make(map[string]unit)
	for u, all := range names {
		for _, name := range strings.Fields(all) {
			m[name] = u
		}
	}
	return m
}

// plain is name in lower case with no blanks, as the tables above hold it. Bytes that are
// no UTF-8 stay as they are.
func plain(name string) string {
	b := []byte(strings.Join(strings.Fields(name), ""))
	for i, c := range b {
		if 'A' <= c && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

// ParseAcceleration returns in m/s² what s says, a positive number with a unit: "2g",
// "20 m/s2", "4000mg". The error says what would do.
func ParseAcceleration(s string) (float64, error) {
	text := plain(s)
	i := len(text)
	for i > 0 {
		if _, err := strconv.ParseFloat(text[:i], 64); err == nil {
			break
		}
		i--
	}
	u, known := accelerations[text[i:]]
	v, err := strconv.ParseFloat(text[:i], 64)
	if v = u.si(v); err != nil || !known || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("acceleration %q: want a positive number with m/s2, g or mg, such as 2g", s)
	}
	return v, nil
}

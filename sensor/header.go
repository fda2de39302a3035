package sensor

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// layout says which cells of a row are the time and the axes.
type layout struct {
	names    []string  // of all columns; empty without a header
	cells    int       // in a row
	numbered bool      // the column of the time is one of row numbers, by its name
	axes     int       // 1 to 3
	columnOf [4]int    // column of the time (-1: none) and of each axis
	unit     [4]unit   // of each; the zero unit is not known yet
	title    [4]string // of each, for messages
	notes    []string
}

// readHeader finds time and axes among the names of the columns. The error says why this
// line cannot be the header of a recording.
func readHeader(names []string, o Options) (layout, *ParseError) {
	l := layout{names: names, cells: len(names), columnOf: [4]int{-1}}
	if o.Time == "" {
		l.findTime()
	} else if err := l.namedTime(o.Time); err != nil {
		return l, err
	}
	if l.columnOf[0] < 0 && o.Rate > 0 {
		l.findNumbers()
	}
	if l.columnOf[0] < 0 {
		l.unit[0] = counted(o.Rate)
	}
	var err *ParseError
	if len(o.Axes) > 0 {
		err = l.namedAxes(o.Axes)
	} else {
		err = l.findAxes()
	}
	if err != nil {
		return l, err
	}
	if l.columnOf[0] < 0 && o.Rate == 0 {
		return l, wrong("call one t_s, t_ms or t_us, name it with --time, or give --rate", "no time column among %s", l.list())
	}
	return l, l.findUnits(o.Unit)
}

// list is all names, for messages.
func (l *layout) list() string {
	shown := l.names
	if len(shown) > 12 {
		shown = append(slices.Clone(shown[:12]), fmt.Sprintf("and %d more", len(l.names)-12))
	}
	return strings.Join(shown, ", ")
}

// findTime takes the first time column that names its unit, or else the first.
func (l *layout) findTime() {
	for i, name := range l.names {
		base, text, stated := splitUnit(name)
		words := strings.Join(tokens(base), " ")
		named, isTime := timeNames[words]
		if !isTime {
			continue
		}
		u, known := times[text]
		switch {
		case stated && !known:
			continue
		case !stated:
			u = named
		}
		if l.columnOf[0] < 0 || l.unit[0].name == "" && u.name != "" {
			l.columnOf[0], l.unit[0], l.title[0] = i, u, name
		}
	}
}

// findNumbers takes the first column that is called as if it numbered the rows.
func (l *layout) findNumbers() {
	called := []string{"", "n", "no", "nr", "number", "index", "idx", "sample", "samples", "sample no", "sample number", "row", "count", "counter", "seq", "sequence", "unnamed 0"}
	l.columnOf[0] = slices.IndexFunc(l.names, func(name string) bool { return slices.Contains(called, strings.Join(tokens(name), " ")) })
	if i := l.columnOf[0]; i >= 0 {
		l.title[0], l.numbered = l.names[i], true
	}
}

// timeNames holds the words that name a time column, and the unit where the name is one.
var timeNames = map[string]unit{
	"t": {}, "ts": {}, "time": {}, "timestamp": {}, "time stamp": {}, "timestamps": {}, "datetime": {}, "date time": {}, "elapsed": {},
	"elapsed time": {}, "time elapsed": {}, "sample time": {}, "epoch": {}, "logging time": {}, "device time": {},
	"s": seconds, "sec": seconds, "seconds": seconds, "seconds elapsed": seconds, "elapsed seconds": seconds,
	"ms": millis, "millis": millis, "milliseconds": millis, "us": micros, "micros": micros, "microseconds": micros,
	"ns": nanos, "nanoseconds": nanos,
	"zeit": {}, "temps": {}, "tempo": {}, "tiempo": {}, "tijd": {}, "tid": {}, "czas": {},
}

// namedTime takes the column that the user named, and its unit from behind the name where it
// is said there.
func (l *layout) namedTime(want string) *ParseError {
	i := l.find(want)
	base, unit, stated := splitUnit(want)
	if i < 0 && stated {
		i = l.find(base)
	}
	if i < 0 {
		return wrong("the columns are "+l.list(), "no column %q", want)
	}
	if _, text, named := splitUnit(l.names[i]); !stated {
		unit, stated = text, named
	}
	u, known := times[unit]
	if stated && !known {
		return wrong("say it behind the name, as in --time "+strconv.Quote(l.names[i]+" ms"), "unit %q of column %q is not one of s, ms, us, ns", unit, l.names[i])
	}
	l.columnOf[0], l.unit[0], l.title[0] = i, u, l.names[i]
	return nil
}

// find returns the column of that name, with or without its unit; -1 where there is none.
func (l *layout) find(want string) int {
	return slices.IndexFunc(l.names, func(name string) bool {
		base, _, _ := splitUnit(name)
		return strings.EqualFold(name, want) || strings.EqualFold(base, want)
	})
}

// namedAxes takes the columns that the user named, with or without their unit.
func (l *layout) namedAxes(wanted []string) *ParseError {
	for _, want := range wanted {
		i := l.find(want)
		switch {
		case i < 0:
			return wrong("the columns are "+l.list(), "no column %q", want)
		case i == l.columnOf[0]:
			return wrong("name the axes alone", "column %q is the time, which is no axis", want)
		case slices.Contains(l.columnOf[1:1+l.axes], i):
			return wrong("name each once", "column %q is named twice as an axis", want)
		}
		l.addAxis(i)
	}
	return nil
}

// findAxes takes x, y and z of one kind: the first kind of acceleration in the header, so
// that x of one sensor is never set beside y of another.
func (l *layout) findAxes() *ParseError {
	kind, found := "", [3]int{-1, -1, -1}
	for i, name := range l.names {
		base, _, _ := splitUnit(name)
		axis, k, ok := axisOf(tokens(base))
		switch {
		case !ok || i == l.columnOf[0]:
		case found == [3]int{-1, -1, -1}:
			kind = k
			found[axis] = i
		case k != kind || found[axis] >= 0:
			l.notes = append(l.notes, fmt.Sprintf("column %q is not used, %s comes first", name, l.firstOf(found)))
		default:
			found[axis] = i
		}
	}
	for _, i := range found {
		if i >= 0 {
			l.addAxis(i)
		}
	}
	if l.axes == 0 {
		return wrong("call them x, y, z, or name them with --axes", "no axis among the columns %s", l.list())
	}
	return nil
}

func (l *layout) firstOf(found [3]int) string {
	first := -1
	for _, i := range found {
		if i >= 0 && (first < 0 || i < first) {
			first = i
		}
	}
	return fmt.Sprintf("%q", l.names[first])
}

func (l *layout) addAxis(i int) {
	l.axes++
	l.columnOf[l.axes], l.title[l.axes] = i, l.names[i]
}

// findUnits takes the unit of each axis from the option or else from its name. Axes without
// one share that of the others; where none has one all stay unknown.
func (l *layout) findUnits(option string) *ParseError {
	if option != "" {
		u := accelerations[plain(option)]
		l.unit[1], l.unit[2], l.unit[3] = u, u, u
		return nil
	}
	var any unit
	for k := 1; k <= l.axes; k++ {
		base, text, stated := splitUnit(l.title[k])
		u, known := accelerations[text]
		if stated && !known {
			return wrong("give --unit if you know it", "unit %q of column %q is not one of m/s2, g, mg", text, l.title[k])
		}
		if _, kind, ok := axisOf(tokens(base)); ok && !stated && strings.HasPrefix(kind, "gf") {
			u = inG
		}
		l.unit[k] = u
		if u.name != "" {
			any = u
		}
	}
	for k := 1; k <= l.axes; k++ {
		if l.unit[k].name == "" {
			l.unit[k] = any
		}
	}
	return nil
}

// axisWords holds words that go with an axis; true marks those of which one must be there.
var axisWords = map[string]bool{
	"a": true, "acc": true, "accel": true, "accelero": true, "accelerometer": true, "acceleration": true, "accelerations": true,
	"gf": true, "gforce": true,
	"beschleunigung": true, "accélération": true, "accelerazione": true, "aceleración": true, "aceleracion": true, "versnelling": true, "przyspieszenie": true,
	"lineare": false, "linéaire": false, "lineal": false, "lineaire": false, "linjär": false, "liniowe": false,
	"linear": false, "lin": false, "user": false, "raw": false, "sensor": false, "imu": false, "phone": false, "axis": false,
	"including": false, "incl": false, "with": false, "without": false, "gravity": false,
}

// axisOf says which axis (0 to 2) the words of a column name mean, and of which kind: "acc x",
// "accelX", "x acceleration", "ax" do; "gyro x", "gravity x", "gx" do not.
func axisOf(words []string) (axis int, kind string, ok bool) {
	if len(words) == 3 && words[0] == "g" && words[1] == "force" {
		words = []string{"gforce", words[2]}
	}
	if len(words) == 2 && words[0] == "g" && strings.HasPrefix(words[1], "f") {
		words = []string{"g" + words[1]}
	}
	axis = -1
	var rest []string
	core := false
	for _, w := range words {
		part, letter := w, -1
		if n := len(w); n > 0 {
			if axisWords[w[:n-1]] || n == 1 {
				letter = strings.IndexByte("xyz", w[n-1])
				part = w[:n-1]
			} else if axisWords[w[1:]] {
				letter = strings.IndexByte("xyz", w[0])
				part = w[1:]
			}
		}
		if letter >= 0 {
			if axis >= 0 {
				return 0, "", false
			}
			axis = letter
		} else {
			part = w
		}
		if part == "" {
			continue
		}
		needed, known := axisWords[part]
		if !known {
			return 0, "", false
		}
		core = core || needed
		rest = append(rest, part)
	}
	plainAxis := len(rest) == 0 || len(rest) == 1 && rest[0] == "axis"
	return axis, strings.Join(rest, " "), axis >= 0 && (core || plainAxis)
}

// splitUnit takes the unit off the name of a column: "Accel X (m/s^2)", "time [ms]", "x_m_s2",
// "t_us", "t/s". unit is plain; stated is false when there is none.
func splitUnit(name string) (base, unit string, stated bool) {
	name = strings.TrimSpace(name)
	for _, pair := range []string{"()", "[]", "{}"} {
		if open := strings.IndexByte(name, pair[0]); open > 0 && name[len(name)-1] == pair[1] {
			return strings.TrimRight(name[:open], " /_"), plain(name[open+1 : len(name)-1]), true
		}
	}
	for i := 1; i < len(name); i++ {
		if strings.IndexByte("_ /", name[i]) < 0 {
			continue
		}
		text := plain(name[i+1:])
		_, a := accelerations[text]
		_, t := times[text]
		if a || t {
			return name[:i], text, true
		}
	}
	return name, "", false
}

// tokens splits a name into words in lower case: at everything that is no letter or digit,
// and where a small letter is followed by a capital.
func tokens(name string) []string {
	var words []string
	var word strings.Builder
	small := false
	flush := func() {
		if word.Len() > 0 {
			words = append(words, strings.ToLower(word.String()))
		}
		word.Reset()
	}
	for _, r := range name {
		letter := unicode.IsLetter(r) || unicode.IsDigit(r)
		if !letter || small && unicode.IsUpper(r) {
			flush()
		}
		if letter {
			word.WriteRune(r)
		}
		small = unicode.IsLower(r)
	}
	flush()
	return words
}

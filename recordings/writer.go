package recordings

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"vibe/assess"
	"vibe/sensor"
)

// Setup is what is known of a session before it runs. What is not known is zero.
type Setup struct {
	Started time.Time    `json:"started"` // when the source opened; zero: now
	Label   string       `json:"label"`   // what the turner calls the work
	Source  string       `json:"source"`  // where the samples come from: a file, a port
	Version string       `json:"version"` // of the program that keeps it
	Lathe   assess.Lathe `json:"lathe"`
	Blank   assess.Blank `json:"blank"`
	Task    assess.Task  `json:"task"`
	Dial    assess.RPM   `json:"dial_rpm"`     // what the dial or pulley says
	Checked bool         `json:"dial_checked"` // the dial needs no comparing: it is the program's own
	Comfort float64      `json:"comfort_mm_s"` // the limit of this person, mm/s rms
	// Empty says that nothing is mounted: a run of the lathe alone, its baseline.
	Empty bool `json:"empty"`
	// Undated says that the samples were taken some time before Started: a recording that
	// does not say when.
	Undated bool `json:"undated"`
}

// Mark is what a person said while a session ran.
type Mark struct {
	T    float64 `json:"t_s"` // s since the source opened
	Kind string  `json:"kind"`
	Text string  `json:"text"`
}

// Kinds of a Mark that have a meaning.
const (
	Note        = "note"
	Comfortable = "comfortable" // this shake is fine
	TooMuch     = "too-much"    // this shake is more than the person wants
	Changed     = "changed"     // what the advice rests on is another from here on; Text is a Change in JSON
)

// Change is what the adviser was told while a session ran, after the reading whose window
// ended at T of its mark, or, with the T of the first sample, before any: run again with it
// at the same place the session advises the same.
type Change struct {
	Blank   *assess.Blank `json:"blank,omitempty"` // nil: blank and task stay
	Task    assess.Task   `json:"task,omitempty"`
	Comfort float64       `json:"comfort_mm_s"` // mm/s rms; 0: not learned
	Checked bool          `json:"dial_checked"` // the dial was compared, and agrees
	// Dial is what the dial was said to show where the line was looked for near that alone, from
	// the sample of time T on; 0: everywhere.
	Dial assess.RPM `json:"dial_rpm,omitempty"`
}

// Writer keeps one session while it runs. Hand it each block before it is analysed, then
// what came of it: facts are stored, conclusions can be computed again. Not safe for
// concurrent use.
//
// An error of Append, Say or Mark does not end the session: what could not be written is
// held, up to ten minutes of it, and tried again every second. ErrFull and the rest are for
// the caller to tell the turner, once; the watching goes on.
type Writer struct {
	shop    *Shop
	number  int64
	setup   Setup
	summary Summary
	first   float64 // s, time of the first sample
	begun   bool    // there was one

	open   sensor.Block // the chunk that grows
	parts  int          // chunks closed so far
	chunks []row
	notes  []row // readings, advice, marks and the date not yet written
	n      int   // readings so far
	marks  int
	said   assess.Advice
	saidAt float64   // s
	tried  time.Time // last attempt to write
	failed bool      // that was no success
	closed bool
}

// row waits to be written.
type row struct {
	into    string
	values  []any
	samples int // in a chunk
}

// Chosen: a chunk closes after a second of samples, so that with the one that grows two
// seconds may be lost; held is ten minutes of chunks.
const (
	chunkSpan = 1.0   // s
	chunkSize = 65536 // samples
	held      = 600   // chunks
)

const (
	intoChunk   = "INSERT INTO chunk VALUES (?,?,?,?,?,?,?,?,?)"
	intoReading = "INSERT INTO reading VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)"
	intoAdvice  = "INSERT INTO advice VALUES (?,?,?,?,?,?,?)"
	intoMark    = "INSERT INTO mark VALUES (?,?,?,?,?)"
	dateSession = "UPDATE session SET started = ?, setup = ? WHERE id = ?"
)

// chunkID is the key of a chunk: 194 days of one session at one a second.
func chunkID(session int64, part int) int64 { return session<<24 + int64(part) }

// Begin starts a session. ErrDamaged, and nothing written, where a short look finds damage.
func (s *Shop) Begin(setup Setup) (*Writer, error) {
	if s.readOnly {
		return nil, ErrReadOnly
	}
	if err := s.look(); err != nil {
		return nil, err
	}
	if setup.Started.IsZero() {
		setup.Started = time.Now()
	}
	setup.Started = setup.Started.UTC().Round(0)
	text, err := json.Marshal(setup)
	if err != nil {
		return nil, err
	}
	w := &Writer{shop: s, setup: setup, tried: time.Now()}
	glance, err := w.glance()
	if err != nil {
		return nil, err
	}
	err = transact(s.db, func(tx *sql.Tx) error {
		result, err := tx.Exec("INSERT INTO session (started, label, lathe, wood, empty, setup) VALUES (?,?,?,?,?,?)",
			stamp(setup.Started), setup.Label, setup.Lathe.Name, setup.Blank.Wood, setup.Empty, string(text))
		if err != nil {
			return err
		}
		if w.number, err = result.LastInsertId(); err != nil {
			return err
		}
		_, err = tx.Exec("INSERT INTO progress VALUES (?,0,0,?)", w.number, glance)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("begin a session: %w", err)
	}
	return w, nil
}

// Dated says when the samples began, where the source knows it only once it has read some:
// before the first Append, with whose samples it is written.
func (w *Writer) Dated(at time.Time) {
	w.setup.Started, w.setup.Undated = at.UTC().Round(0), false
	text, _ := json.Marshal(w.setup) // Begin could
	w.notes = append(w.notes, row{into: dateSession, values: []any{stamp(w.setup.Started), string(text), w.number}})
}

// Number is that of the session in its shop.
func (w *Writer) Number() int64 { return w.number }

// Append keeps a block. It does not keep its slices. About once a second it writes, which
// takes as long as the disk does.
func (w *Writer) Append(b sensor.Block) error {
	if w.closed {
		return sensor.ErrClosed
	}
	n := len(b.T)
	if n > 0 && !w.begun {
		w.begun, w.first = true, b.T[0]
	}
	w.summary.block(b, w.first)
	if o := w.open; len(o.T) > 0 && n > 0 && (o.Range != b.Range || len(o.Axes) != len(b.Axes)) {
		w.close()
	}
	o := &w.open
	o.Lost += b.Lost
	o.Notes = append(o.Notes, b.Notes...)
	if n > 0 {
		o.Range = b.Range
		o.T = append(o.T, b.T...)
		if o.Axes == nil {
			o.Axes = make([][]float64, len(b.Axes))
		}
		for i := range b.Axes {
			o.Axes[i] = append(o.Axes[i], b.Axes[i]...)
		}
	}
	full := len(o.T) > 0 && (len(o.T) >= chunkSize || o.T[len(o.T)-1]-o.T[0] >= chunkSpan)
	if full {
		w.close()
	}
	if late := time.Since(w.tried) >= time.Second; !full && !late {
		return nil
	}
	return w.write(false)
}

// close ends the chunk that grows, if there is anything in it.
func (w *Writer) close() {
	o := w.open
	w.open = sensor.Block{}
	n := len(o.T)
	if n == 0 && o.Lost == 0 && len(o.Notes) == 0 {
		return
	}
	if n == 0 {
		o.T = []float64{w.first + w.summary.Seconds} // when it was said
	}
	var said any
	if w.parts == 0 {
		text, _ := json.Marshal(w.setup) // Begin could
		said = string(text)
	}
	w.chunks = append(w.chunks, chunkRow(chunkID(w.number, w.parts), o, said))
	w.parts++
}

// chunkRow is a chunk as the table has it. One without samples has the time it is about in T
// all the same.
func chunkRow(id int64, b sensor.Block, setup any) row {
	var notes any
	if len(b.Notes) > 0 {
		text, _ := json.Marshal(b.Notes) // strings always can be
		notes = string(text)
	}
	n, data := len(b.T), []byte{}
	from, to := 0.0, 0.0
	if n > 0 {
		from, to = b.T[0], b.T[n-1]
	}
	if len(b.Axes) == 0 {
		n = 0
	} else {
		data = encode(b)
	}
	return row{intoChunk, []any{id, from, to, n, b.Lost, known(b.Range), notes, setup, data}, n}
}

// sameAgain is how long an advice whose numbers alone change is not kept anew, s (chosen: a
// screen says them four times a second, and that would take as much room as the samples).
const sameAgain = 5

// news reports whether the advice that was kept last is no longer what is said.
func (w *Writer) news(a assess.Advice, at float64) bool {
	code := func(a, b assess.Reason) bool { return a.Code == b.Code }
	if w.n == 0 || a.Action != w.said.Action || a.Speed != w.said.Speed || !slices.EqualFunc(a.Reasons, w.said.Reasons, code) {
		return true
	}
	return at >= w.saidAt+sameAgain && !reflect.DeepEqual(w.said, a)
}

// Say keeps a reading and the advice that followed from it, where it is another one; one that
// differs in its numbers alone every five seconds.
func (w *Writer) Say(r assess.Reading, a assess.Advice) error {
	if w.closed {
		return sensor.ErrClosed
	}
	w.summary.see(r, a)
	var faults []string
	for _, f := range r.Faults {
		faults = append(faults, string(f))
	}
	var feel any
	if r.Feel != "" {
		feel = string(r.Feel)
	}
	w.notes = append(w.notes, row{into: intoReading, values: []any{w.number, w.n, finite(r.T), known(r.Span), r.OK,
		known(float64(r.Speed)), known(float64(r.SpeedSE)), known(r.Shake), known(r.ShakeSE),
		known(r.Travel), known(r.Total), feel, strings.Join(faults, " ")}})
	if at := r.T + r.Span/2; w.news(a, at) {
		why, err := json.Marshal(a)
		if err != nil {
			return err
		}
		w.notes = append(w.notes, row{into: intoAdvice, values: []any{w.number, w.n, finite(at),
			string(a.Action), known(float64(a.Speed)), a.Say, string(why)}})
		w.said, w.saidAt = a, at
		w.said.Reasons, w.said.Ceilings, w.said.Avoid = slices.Clone(a.Reasons), slices.Clone(a.Ceilings), slices.Clone(a.Avoid)
	}
	w.n++
	return nil
}

// Waiting reports whether the last attempt to write failed, so that what there is waits for the
// next.
func (w *Writer) Waiting() bool { return w.failed }

// Mark keeps what the person said. It is written with the next second of samples.
func (w *Writer) Mark(m Mark) error {
	if w.closed {
		return sensor.ErrClosed
	}
	w.notes = append(w.notes, row{into: intoMark, values: []any{w.number, w.marks, finite(m.T), m.Kind, m.Text}})
	w.marks++
	return nil
}

// Close writes the rest and ends the session. It does not close the shop. The error is that
// of the last write: what it could not write is lost.
func (w *Writer) Close() error {
	if w.closed {
		return nil
	}
	w.close()
	w.closed = true
	return w.write(true)
}

// Discard ends the session and takes what was kept of it out of the shop. It does not close
// the shop.
func (w *Writer) Discard() error {
	w.closed = true
	return transact(w.shop.db, func(tx *sql.Tx) error { return remove(tx, w.number) })
}

// glance is the summary as the table has it now.
func (w *Writer) glance() (string, error) {
	w.summary.Written = time.Now().UTC().Round(0)
	text, err := json.Marshal(w.summary)
	return string(text), err
}

// write commits all that waits. What fails waits on, the oldest dropped and counted when it
// is too much.
func (w *Writer) write(last bool) error {
	w.tried = time.Now()
	glance, err := w.glance()
	if err != nil {
		return err
	}
	err = transact(w.shop.db, func(tx *sql.Tx) error {
		for _, r := range slices.Concat(w.chunks, w.notes) {
			if _, err := tx.Exec(r.into, r.values...); err != nil {
				return err
			}
		}
		done, err := tx.Exec("UPDATE progress SET parts = ?, summary = ?, ended = ? WHERE session = ?", w.parts, glance, last, w.number)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return cmp.Or(err, ErrNoSession)
		}
		return nil
	})
	if w.failed = err != nil; !w.failed {
		w.chunks, w.notes = w.chunks[:0], w.notes[:0]
		return nil
	}
	for len(w.chunks) > held {
		n := w.chunks[0].samples
		w.summary.Samples, w.summary.Lost = w.summary.Samples-n, w.summary.Lost+n
		w.chunks = w.chunks[1:] // whose number is missing: by that a Session counts what is lost
	}
	if over := len(w.notes) - 10*held; over > 0 {
		w.notes = w.notes[over:]
	}
	return fmt.Errorf("keep session %d: %w", w.number, err)
}

// stamp writes a time as the table has it.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// known is v, or NULL for what is not known.
func known(v float64) any {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// finite is v, or 0.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

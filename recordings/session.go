package recordings

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"vibe/assess"
	"vibe/sensor"
)

// Session is a kept session. As a sensor.Source it gives the samples that were appended,
// bit for bit, in blocks of at most a quarter of a second; what is missing is counted in
// Lost where known and said in Notes. Close ends the reading and leaves the shop open.
type Session struct {
	Number  int64
	Setup   Setup
	Ended   bool // in order; else it is running still, or was broken off
	Summary Summary

	shop  *Shop
	parts int
	torn  bool // how many parts there were is not known

	mu    sync.Mutex
	part  int            // the next to read
	ready []sensor.Block // read and not handed out
	gone  int            // parts missed since the last block
	until float64        // s, the newest sample read
	err   error
}

// Running reports whether a writer is at work on the session: it has not ended, and was
// written to a short while ago.
func (k *Session) Running() bool {
	return !k.Ended && time.Since(k.Summary.Written).Abs() < stillRunning
}

// stillRunning is how long a writer may write nothing, for a sensor that is silent (chosen: a
// cable is found in less).
const stillRunning = 10 * time.Minute

// Filter chooses sessions; its zero value all of them.
type Filter struct {
	Text  string      // words, each in label, lathe, wood, source, task, mount or balance, in any case
	Sizes []assess.MM // of the blank, each its diameter or its length, to oneSize
	Lathe string      // the whole name, see SameName
	Since time.Time   // started then or later
	Until time.Time   // started before then
	Empty bool        // runs of the lathe alone only
	Most  int         // the newest so many, where Text, Sizes and Lathe are empty; 0: all
}

const selectSession = "SELECT id, setup, ended, parts, summary FROM session JOIN progress ON progress.session = session.id"

// Sessions lists the sessions that f chooses, the newest first. Of a damaged file it lists
// those that can be found, and returns ErrDamaged as well.
func (s *Shop) Sessions(f Filter) ([]*Session, error) {
	query := selectSession + " WHERE 1"
	var args []any
	add := func(where string, a ...any) { query += " AND " + where; args = append(args, a...) }
	if !f.Since.IsZero() {
		add("started >= ?", stamp(f.Since))
	}
	if !f.Until.IsZero() {
		add("started < ?", stamp(f.Until))
	}
	if f.Empty {
		add("empty = 1")
	}
	query += " ORDER BY started DESC, id DESC"
	if f.Most > 0 && f.Text == "" && len(f.Sizes) == 0 && f.Lathe == "" {
		query += " LIMIT ?"
		args = append(args, f.Most)
	}
	all, err := s.list(query, args)
	if errors.Is(err, ErrDamaged) {
		all = s.salvaged(f)
	}
	return slices.DeleteFunc(all, func(k *Session) bool { return !k.has(f) }), err
}

func (s *Shop) list(query string, args []any) ([]*Session, error) {
	rows, err := s.db.Query(query, args...)
	if err != nil {
		return nil, word(err)
	}
	defer rows.Close()
	var out []*Session
	for rows.Next() {
		k, err := s.scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, k)
	}
	return out, word(rows.Err())
}

// salvaged lists the sessions of a damaged file that f chooses but for what has looks at.
func (s *Shop) salvaged(f Filter) []*Session {
	var out []*Session
	for number := range s.wreck().sessions {
		k, err := s.Session(number)
		if err != nil {
			continue
		}
		u := k.Setup
		if !u.Started.Before(f.Since) &&
			(f.Until.IsZero() || u.Started.Before(f.Until)) && (u.Empty || !f.Empty) {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, func(a, b *Session) int {
		return cmp.Or(b.Setup.Started.Compare(a.Setup.Started), cmp.Compare(b.Number, a.Number))
	})
	return out
}

// Session returns the session of that number, or ErrNoSession.
func (s *Shop) Session(number int64) (*Session, error) {
	k, err := s.scan(s.db.QueryRow(selectSession+" WHERE id = ?", number))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("%w: %d", ErrNoSession, number)
	}
	if errors.Is(err, ErrDamaged) {
		if found := s.wreck().sessions[number]; found != nil {
			return &Session{Number: number, Setup: found.Setup, Ended: found.Ended, Summary: found.Summary, shop: s, parts: found.parts, torn: found.torn}, nil
		}
	}
	return k, err
}

func (s *Shop) scan(row interface{ Scan(...any) error }) (*Session, error) {
	k := &Session{shop: s}
	var setup, summary []byte
	if err := row.Scan(&k.Number, &setup, &k.Ended, &k.parts, &summary); err != nil {
		return nil, word(err)
	}
	if err := cmp.Or(json.Unmarshal(setup, &k.Setup), json.Unmarshal(summary, &k.Summary)); err != nil {
		return nil, fmt.Errorf("session %d: %w: %w", k.Number, ErrDamaged, err)
	}
	return k, nil
}

// oneSize is how far apart two sizes may be that are meant to be one (chosen: what rounding to
// inches or centimetres makes of a small bowl).
const oneSize = 0.02

// has reports whether what was said of the session has the lathe, every word and every size of f.
func (k *Session) has(f Filter) bool {
	s := k.Setup
	if f.Lathe != "" && !SameName(f.Lathe, s.Lathe.Name) {
		return false
	}
	all := strings.ToLower(strings.Join([]string{s.Label, s.Lathe.Name, s.Blank.Wood, s.Source, string(s.Task), string(s.Blank.Held), string(s.Blank.Balance)}, "\n"))
	for _, word := range strings.Fields(strings.ToLower(f.Text)) {
		if !strings.Contains(all, word) {
			return false
		}
	}
	for _, size := range f.Sizes {
		near := func(of assess.MM) bool { return math.Abs(float64(of-size)) <= oneSize*float64(size) }
		if !near(s.Blank.Diameter) && !near(s.Blank.Length) {
			return false
		}
	}
	return true
}

// Next implements sensor.Source. Parts that are missing or damaged are passed over and
// said; an error means that the shop cannot be read at all.
func (k *Session) Next() (sensor.Block, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for k.err == nil && len(k.ready) == 0 {
		k.err = k.read()
	}
	if k.err != nil {
		return sensor.Block{}, k.err
	}
	b := k.ready[0]
	k.ready = k.ready[1:]
	return b, nil
}

// Close implements sensor.Source.
func (k *Session) Close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.err == nil {
		k.err, k.ready = sensor.ErrClosed, nil
	}
	return nil
}

// read makes the next part ready, or nothing where it is missing.
func (k *Session) read() error {
	switch {
	case k.part < k.parts:
	case k.gone > 0:
		k.ready = []sensor.Block{{Notes: []string{k.missing(sensor.Block{})}}}
		k.gone = 0
		return nil
	case k.torn:
		k.ready = []sensor.Block{{Notes: []string{torn}}}
		k.torn = false
		return nil
	default:
		return io.EOF
	}
	b, err := k.shop.chunk(k.Number, k.part)
	k.part++
	switch {
	case gone(err):
		k.gone++
		return nil
	case err != nil:
		return fmt.Errorf("read session %d: %w", k.Number, err)
	}
	if k.gone > 0 {
		b.Notes = append([]string{k.missing(b)}, b.Notes...)
		b.Lost += int(math.Ceil(k.span(k.gone) * k.Summary.Rate()))
		k.gone = 0
	}
	if n := len(b.T); n > 0 {
		k.until = b.T[n-1]
	}
	k.ready = pieces(b)
	return nil
}

// torn is said where the end of a session is gone and nothing is left that knew its length.
const torn = "what came after this is missing from the shop file, and how long it was is not known"

// missing says how much is missing before b, or at the end where that is empty: no more than lies between, as a sensor that was silent
// has made the parts look long.
func (k *Session) missing(b sensor.Block) string {
	to := k.Summary.First + k.Summary.Seconds
	if len(b.T) > 0 {
		to = b.T[0]
	}
	seconds := k.span(k.gone)
	if between := to - max(k.until, k.Summary.First); between > 0 {
		seconds = min(seconds, between)
	}
	return fmt.Sprintf("about %.1f s of this session are missing from the shop file here", seconds)
}

// span is how long so many parts are, about, s.
func (k *Session) span(parts int) float64 {
	if k.parts == 0 || !(k.Summary.Seconds > 0) {
		return chunkSpan * float64(parts)
	}
	return k.Summary.Seconds * float64(parts) / float64(k.parts)
}

// chunk reads one part. sql.ErrNoRows is one that is not there.
func (s *Shop) chunk(session int64, part int) (sensor.Block, error) {
	var samples, lost int
	var scale sql.NullFloat64
	var notes sql.NullString
	var data []byte
	id := chunkID(session, part)
	err := word(s.db.QueryRow("SELECT samples, lost, range_m_s2, notes, data FROM chunk WHERE id = ?", id).
		Scan(&samples, &lost, &scale, &notes, &data))
	if errors.Is(err, ErrDamaged) {
		if v, missed := s.wreck().chunk(s.path, id); missed == nil {
			err = assign(v[3:], &samples, &lost, &scale, &notes, &data)
		}
	}
	if err != nil {
		return sensor.Block{}, err
	}
	var b sensor.Block
	if samples > 0 {
		if b, err = decode(data); err != nil {
			return sensor.Block{}, err
		}
	}
	b.Lost, b.Range = lost, scale.Float64
	if notes.Valid {
		if err := json.Unmarshal([]byte(notes.String), &b.Notes); err != nil {
			return sensor.Block{}, errCoded
		}
	}
	return b, nil
}

// assign puts the columns of a salvaged row where a query would have put them.
func assign(v []any, samples, lost *int, scale *sql.NullFloat64, notes *sql.NullString, data *[]byte) error {
	n, ok1 := v[0].(int64)
	l, ok2 := v[1].(int64)
	blob, ok3 := v[5].([]byte)
	if !ok1 || !ok2 || !ok3 {
		return ErrDamaged
	}
	*samples, *lost, *data = int(n), int(l), blob
	if text, ok := v[3].([]byte); ok {
		*notes = sql.NullString{String: string(text), Valid: true}
	}
	return scale.Scan(v[2])
}

// pieces cuts b into blocks as a live source hands them out. The first carries what is said
// of the whole. They share no memory that append could reach.
func pieces(b sensor.Block) []sensor.Block {
	if len(b.T) == 0 {
		return []sensor.Block{{Lost: b.Lost, Notes: slices.Concat(b.Notes, lostNote(b))}}
	}
	var out []sensor.Block
	for from := 0; from < len(b.T); {
		to := from + 1
		for to < len(b.T) && b.T[to]-b.T[from] < 0.25 {
			to++
		}
		p := sensor.Block{T: b.T[from:to:to], Range: b.Range}
		for _, axis := range b.Axes {
			p.Axes = append(p.Axes, axis[from:to:to])
		}
		if from == 0 {
			p.Lost, p.Notes = b.Lost, b.Notes
		}
		out = append(out, p)
		from = to
	}
	return out
}

// lostNote is what a block without samples must carry: something to say.
func lostNote(b sensor.Block) []string {
	if len(b.Notes) > 0 {
		return nil
	}
	return []string{fmt.Sprintf("%d samples were lost here", b.Lost)}
}

// Readings calls f with each reading in its order, as far as the tables hold it: time,
// span, ok, speed and its standard error, shake and its own, travel, total, feel and
// faults. The rest can be computed again from the samples. f returns false to stop.
func (k *Session) Readings(f func(assess.Reading) bool) error {
	rows, err := k.shop.db.Query("SELECT t_s, span_s, ok, speed_rpm, speed_se_rpm, shake_mm_s, shake_se_mm_s, travel_um, total_mm_s, feel, faults FROM reading WHERE session = ? ORDER BY n", k.Number)
	if err != nil {
		return word(err)
	}
	defer rows.Close()
	for rows.Next() {
		var r assess.Reading
		var n [7]sql.NullFloat64
		var feel sql.NullString
		var faults string
		if err := rows.Scan(&r.T, &n[0], &r.OK, &n[1], &n[2], &n[3], &n[4], &n[5], &n[6], &feel, &faults); err != nil {
			return word(err)
		}
		r.Span, r.Speed, r.SpeedSE = n[0].Float64, assess.RPM(n[1].Float64), assess.RPM(n[2].Float64)
		r.Shake, r.ShakeSE, r.Travel, r.Total = n[3].Float64, n[4].Float64, n[5].Float64, n[6].Float64
		r.Feel = assess.Feel(feel.String)
		r.Faults = words(r.Faults, faults)
		if !f(r) {
			return nil
		}
	}
	return word(rows.Err())
}

// words appends the words of text, as whatever kind of word they are.
func words[W ~string](to []W, text string) []W {
	for w := range strings.FieldsSeq(text) {
		to = append(to, W(w))
	}
	return to
}

// Said is an advice as it was said; it held until the next.
type Said struct {
	T      float64 // s, end of the window of the reading with which it came
	Advice assess.Advice
}

// Advices returns what was said, in its order: the newest ones where there are more than
// most; 0 is no limit.
func (k *Session) Advices(most int) ([]Said, error) {
	if most == 0 {
		most = -1
	}
	rows, err := k.shop.db.Query("SELECT t_s, why FROM advice WHERE session = ? ORDER BY n DESC LIMIT ?", k.Number, most)
	if err != nil {
		return nil, word(err)
	}
	defer rows.Close()
	var out []Said
	for rows.Next() {
		var s Said
		var why []byte
		if err := rows.Scan(&s.T, &why); err != nil {
			return nil, word(err)
		}
		if err := json.Unmarshal(why, &s.Advice); err != nil {
			return nil, fmt.Errorf("session %d: %w: %w", k.Number, ErrDamaged, err)
		}
		out = append(out, s)
	}
	slices.Reverse(out)
	return out, word(rows.Err())
}

// Marks returns what the person said, in its order.
func (k *Session) Marks() ([]Mark, error) {
	rows, err := k.shop.db.Query("SELECT t_s, kind, text FROM mark WHERE session = ? ORDER BY n", k.Number)
	if err != nil {
		return nil, word(err)
	}
	defer rows.Close()
	var out []Mark
	for rows.Next() {
		var m Mark
		if err := rows.Scan(&m.T, &m.Kind, &m.Text); err != nil {
			return nil, word(err)
		}
		out = append(out, m)
	}
	return out, word(rows.Err())
}

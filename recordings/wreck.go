package recordings

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
)

// wreck is a shop file whose structure is broken: cut short, or with pages overwritten. What
// SQLite cannot reach any longer is found by looking at every page by itself. Format:
// SQLite, Database File Format, sections 1.3 (header), 1.6 (pages), 2.1 (records).
type wreck struct {
	file     io.ReaderAt
	size     int                // of a page
	usable   int                // bytes of it
	pages    int                // whole ones in the file
	chunks   map[int64]span     // by id
	sessions map[int64]*Session // by number
	first    map[int64]float64  // s, of the earliest chunk, by session
}

// span is where a record lies: page from 1, byte within.
type span struct{ page, at int }

// Shape of our records: what is looked for among all that lie about.
const (
	leafTable       = 13 // type of a page with rows
	chunkColumns    = 9
	sessionColumns  = 7
	progressColumns = 4
	mostRecord      = 64 << 20 // bytes; chosen, far above any chunk
)

var errRecord = errors.New("no record")

// search looks at every page of the file at path.
func search(path string) (*wreck, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head := make([]byte, 100)
	if _, err := f.ReadAt(head, 0); err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	w := &wreck{file: f, size: int(binary.BigEndian.Uint16(head[16:])), chunks: map[int64]span{}, sessions: map[int64]*Session{}, first: map[int64]float64{}}
	if w.size == 1 {
		w.size = 65536
	}
	if w.size < 512 {
		return nil, errRecord
	}
	w.usable = w.size - int(head[20])
	w.pages = int(info.Size() / int64(w.size))
	for page := 1; page <= w.pages; page++ {
		w.look(page)
	}
	for id := range w.chunks { // sessions of which nothing but samples is left
		number, part := id>>24, int(id&(1<<24-1))
		k := w.session(number)
		k.parts = max(k.parts, part+1)
	}
	w.file = nil
	return w, nil
}

// look notes the rows of ours on a page.
func (w *wreck) look(page int) {
	b, start := w.page(page), 0
	if page == 1 {
		start = 100
	}
	if b == nil || b[start] != leafTable {
		return
	}
	cells := int(binary.BigEndian.Uint16(b[start+3:]))
	for i := range cells {
		p := start + 8 + 2*i
		if p+2 > len(b) {
			return
		}
		at := int(binary.BigEndian.Uint16(b[p:]))
		id, record, err := w.record(page, at)
		if err != nil {
			continue
		}
		switch values, err := columns(record); {
		case err != nil:
		case len(values) == chunkColumns:
			if _, twice := w.chunks[id]; !twice {
				w.extend(id>>24, values)
			}
			w.chunks[id] = span{page, at}
			w.setup(id>>24, values[7])
		case len(values) == sessionColumns:
			w.setup(id, values[6])
		case len(values) == progressColumns:
			w.progress(id, values)
		}
	}
}

// session returns the one of that number, a new one where nothing of it was found before.
func (w *wreck) session(number int64) *Session {
	if w.sessions[number] == nil {
		w.sessions[number] = &Session{Number: number, torn: true}
	}
	return w.sessions[number]
}

func (w *wreck) setup(number int64, value any) {
	var u Setup
	if text, ok := value.([]byte); ok && json.Unmarshal(text, &u) == nil {
		w.session(number).Setup = u
	}
}

// extend adds a chunk to what is known of a session whose summary was not found.
func (w *wreck) extend(number int64, v []any) {
	k := w.session(number)
	from, ok1 := real64(v[1])
	to, ok2 := real64(v[2])
	samples, ok3 := v[3].(int64)
	lost, ok4 := v[4].(int64)
	data, ok5 := v[8].([]byte)
	if !k.torn || !ok1 || !ok2 || !ok3 || !ok4 || !ok5 {
		return
	}
	s := &k.Summary
	if s.Samples == 0 {
		w.first[number] = from
	}
	end := max(w.first[number]+s.Seconds, to)
	w.first[number] = min(w.first[number], from)
	s.First, s.Seconds, s.Samples, s.Lost = w.first[number], end-w.first[number], s.Samples+int(samples), s.Lost+int(lost)
	if s.Axes == 0 && samples > 0 {
		b, _ := decode(data) // what cannot be decoded has none
		s.Axes = len(b.Axes)
	}
}

// progress notes how far a session came: the furthest, where a page holds an older copy.
func (w *wreck) progress(number int64, v []any) {
	var k Session
	parts, ok := v[2].(int64)
	summary, isText := v[3].([]byte)
	if !ok || !isText || json.Unmarshal(summary, &k.Summary) != nil {
		return
	}
	if old := w.session(number); old.torn || old.parts <= int(parts) {
		old.torn, old.parts, old.Summary, old.Ended = false, int(parts), k.Summary, v[1] == int64(1)
	}
}

// chunk returns the columns of a chunk; errRecord where it is gone.
func (w *wreck) chunk(path string, id int64) ([]any, error) {
	at, ok := w.chunks[id]
	if !ok {
		return nil, errRecord
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	whole := *w
	whole.file = f
	_, record, err := whole.record(at.page, at.at)
	if err != nil {
		return nil, err
	}
	return columns(record)
}

// page reads a page, nil where there is none.
func (w *wreck) page(n int) []byte {
	b := make([]byte, w.size)
	if n < 1 || n > w.pages {
		return nil
	}
	if _, err := w.file.ReadAt(b, int64(n-1)*int64(w.size)); err != nil {
		return nil
	}
	return b[:w.usable]
}

// record reads the row whose cell begins at byte at of a leaf, with the pages that it runs
// over onto.
func (w *wreck) record(page, at int) (id int64, record []byte, err error) {
	b := w.page(page)
	if b == nil || at >= len(b) {
		return 0, nil, errRecord
	}
	total, rest, err := varint(b[at:])
	if err != nil || total > mostRecord {
		return 0, nil, errRecord
	}
	key, rest, err := varint(rest)
	if err != nil {
		return 0, nil, errRecord
	}
	size := int(total)
	local := size
	if most := w.usable - 35; size > most {
		least := (w.usable-12)*32/255 - 23
		if local = least + (size-least)%(w.usable-4); local > most {
			local = least
		}
	}
	if local > len(rest) {
		return 0, nil, errRecord
	}
	record, rest = append(record, rest[:local]...), rest[local:]
	for len(record) < size {
		if len(rest) < 4 {
			return 0, nil, errRecord
		}
		rest = w.page(int(binary.BigEndian.Uint32(rest)))
		if len(rest) < 4 {
			return 0, nil, errRecord
		}
		n := min(size-len(record), len(rest)-4)
		record = append(record, rest[4:4+n]...)
	}
	return int64(key), record, nil
}

// columns takes a record apart: int64, float64, []byte for texts and blobs, nil for NULL.
func columns(record []byte) ([]any, error) {
	size, types, err := varint(record)
	if err != nil || size > uint64(len(record)) {
		return nil, errRecord
	}
	types = types[:max(0, int(size)-(len(record)-len(types)))]
	body := record[size:]
	var out []any
	for len(types) > 0 {
		var kind uint64
		if kind, types, err = varint(types); err != nil || len(out) == chunkColumns {
			return nil, errRecord
		}
		n := width(kind)
		if n > uint64(len(body)) {
			return nil, errRecord
		}
		out = append(out, value(kind, body[:n]))
		body = body[n:]
	}
	return out, nil
}

// width is the number of bytes of a value of that serial type.
func width(kind uint64) uint64 {
	if kind >= 12 {
		return (kind - 12) / 2
	}
	return []uint64{0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0}[kind]
}

func value(kind uint64, b []byte) any {
	switch {
	case kind >= 12:
		return b
	case kind == 0 || kind > 9:
		return nil
	case kind >= 8:
		return int64(kind - 8)
	case kind == 7:
		return math.Float64frombits(binary.BigEndian.Uint64(b))
	}
	v := int64(int8(b[0]))
	for _, c := range b[1:] {
		v = v<<8 | int64(c)
	}
	return v
}

// real64 is a REAL, which SQLite stores as a whole number where it is one.
func real64(v any) (float64, bool) {
	if n, ok := v.(int64); ok {
		return float64(n), true
	}
	f, ok := v.(float64)
	return f, ok
}

// varint reads one of SQLite's, of up to nine bytes, the highest first.
func varint(b []byte) (uint64, []byte, error) {
	v := uint64(0)
	for i := range min(9, len(b)) {
		if i == 8 {
			return v<<8 | uint64(b[i]), b[9:], nil
		}
		v = v<<7 | uint64(b[i]&0x7f)
		if b[i] < 0x80 {
			return v, b[i+1:], nil
		}
	}
	return 0, nil, errRecord
}

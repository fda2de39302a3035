package sensor

import (
	"bufio"
	"bytes"
	"cmp"
	"compress/flate"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Options say what a recording itself does not. The zero value is right for a CSV file whose
// header names time, axes and units.
type Options struct {
	// Rate is the number of samples a second, 0.001 to 1e6 Hz, of a CSV file with no time
	// column, or with one that does not do: that counts the rows, that repeats as it is too
	// coarse (rows are then spread evenly within its steps), that comes in packets (rows are then
	// counted). Times that contradict it are an error, also on the way.
	Rate float64
	// Unit of the axes of a CSV file, "m/s2", "g" or "mg". It wins over the header.
	Unit string
	// Time names the column of a CSV file that is the time, as Axes does, with its unit behind it
	// where the name does not say it: "clock ms" is the column clock, in milliseconds.
	Time string
	// Axes names the columns that are the axes, one to three, as the header spells them
	// (any case, with or without the unit). For a WAV file: numbers of channels from 1.
	Axes []string
	// FullScale is the acceleration in m/s² at full scale of a WAV file, which needs it. An
	// option that the format has no use for is an error, as something else was meant.
	FullScale float64
	// Range is the largest magnitude in m/s² that the sensor behind a CSV file can show, for
	// Block.Range, which is a twentieth less; 0 is unknown. Values beyond it by more than a
	// tenth are bad rows.
	Range float64
	// SkipBad leaves out bad rows and counts them in Block.Lost. Without it the first one
	// is an error.
	SkipBad bool
}

func (o Options) check() error {
	switch _, known := accelerations[plain(o.Unit)]; {
	case o.Unit != "" && !known:
		return fmt.Errorf("unit %q: want m/s2, g or mg", o.Unit)
	case o.Rate != 0 && !(o.Rate >= 1e-3 && o.Rate <= 1e6):
		return fmt.Errorf("rate %v Hz: want 0.001 to 1e6", o.Rate)
	case !(o.FullScale >= 0 && o.FullScale <= maxAcceleration):
		return fmt.Errorf("full scale %v m/s²: want a positive number up to %v", o.FullScale, maxAcceleration)
	case !(o.Range >= 0 && o.Range <= maxAcceleration):
		return fmt.Errorf("range %v m/s²: want a positive number up to %v", o.Range, maxAcceleration)
	case o.Rate != 0 && o.Time != "":
		return fmt.Errorf("a rate is for a file without times, and column %q is named as the time", o.Time)
	case len(o.Axes) > 3:
		return fmt.Errorf("%d axes named: want one to three", len(o.Axes))
	}
	return nil
}

// maxAcceleration in m/s² is the limit beyond which a number cannot be meant: chosen, where
// shock sensors end (100 000 g); a file with such a value is refused, or the row left out. It
// is about sensors. What computes with the samples may have a limit of its own, further out.
const maxAcceleration = 1e6

// ParseError is what is wrong with a recording, and where.
type ParseError struct {
	File   string
	Line   int // from 1; 0 where there is no one line
	Column int // in bytes from 1; 0 where there is no one column
	Err    error
	Try    string // what to do about it
}

// wrong is what is wrong and what to try; at adds where.
func wrong(try, format string, args ...any) *ParseError {
	return &ParseError{Err: fmt.Errorf(format, args...), Try: try}
}

func (e *ParseError) at(file string, line int) *ParseError {
	e.File, e.Line = file, line
	return e
}

// Hint returns Try.
func (e *ParseError) Hint() string { return e.Try }

// Error is file:line:column: what. What to try is not in it.
func (e *ParseError) Error() string {
	switch {
	case e.Line == 0:
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	case e.Column == 0:
		return fmt.Sprintf("%s:%d: %v", e.File, e.Line, e.Err)
	}
	return fmt.Sprintf("%s:%d:%d: %v", e.File, e.Line, e.Column, e.Err)
}

// Unwrap returns Err.
func (e *ParseError) Unwrap() error { return e.Err }

// Open opens the recording at path, or standard input for "-"; see Decode. The error
// satisfies errors.Is(err, fs.ErrNotExist) when there is no such file.
func Open(path string, o Options) (Source, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if path == "-" {
		return later("standard input", func() (io.Reader, error) { return os.Stdin, nil }, o)
	}
	if info, err := os.Stat(path); err == nil && info.Mode()&fs.ModeNamedPipe != 0 { // opens when somebody writes
		return later(path, func() (io.Reader, error) { return os.Open(path) }, o)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = wrong("name a recording in it, as in vibe read "+filepath.Join(path, "run.csv"), "is a folder, not a recording").at(path, 0)
	}
	var s Source
	if err == nil {
		s, err = Decode(path, f, o)
	}
	if err != nil {
		return nil, cmp.Or(err, f.Close())
	}
	return s, nil
}

// later is a source of what open gives, where it may block, and the reads of it, for good.
// Through the pipe Close ends Next at once; the goroutine ends with open's reader, or with the process.
func later(name string, open func() (io.Reader, error), o Options) (Source, error) {
	r, w := io.Pipe()
	s, err := Decode(name, r, o)
	if err == nil {
		go func() {
			from, err := open()
			if err == nil {
				_, err = io.Copy(w, from)
			}
			w.CloseWithError(err)
		}()
	}
	return s, err
}

// Decode returns the recording that r holds: CSV (also tab or semicolon separated) or WAV,
// told apart by content, either of them compressed with gzip or not. Options that cannot be
// are an error; what is wrong with the content is a *ParseError from Next, after the blocks
// before it. name is for messages.
//
// Blocks hold up to 1024 samples, and those of one time more where times repeat. From a pipe Next hands over what has arrived, and waits
// only when there is nothing. Memory does not grow with the length of r. Close closes r if
// it is an io.Closer, which has to end a blocked Read for Close to unblock Next.
//
// CSV follows RFC 4180, with these liberties: comma, semicolon or tab; decimal commas where
// the separator is another; a byte-order mark; blank lines and lines that begin with '#';
// up to 50 lines before the header. Time is t, time, timestamp and the like, with a unit s,
// ms, us, ns in the name, or stamps, RFC 3339 or of the time of day; axes are x, y, z, ax, acc_x, "Accel X (m/s^2)"
// and the like. With no header, time comes first. What no name says is taken from the data
// where they leave no doubt, and told in Block.Notes: the unit of acceleration from gravity,
// that of time from the rate, which has to lie between 20 Hz and 20 kHz; but steps of 1 may be
// milliseconds or the numbers of the rows, so that they need a unit or Options.Rate.
//
// Gravity that is neither 1 g nor next to none in three axes, or more than 1 g in fewer, is an
// error of either format: the unit or the full scale is wrong, and every shake with it.
//
// WAV is RIFF with PCM of 16, 24 or 32 bits or 32-bit float, plain or extensible. The length
// in its header may be wrong, as a recorder leaves it that was switched off.
func Decode(name string, r io.Reader, o Options) (Source, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	return &file{name: name, r: r, o: o}, nil
}

// decoder is a format. The block is valid, if it has samples, beside an error too.
type decoder interface {
	next() (Block, error)
}

// file is the Source of a recording: it finds the format, and makes errors stay.
type file struct {
	name string
	r    io.Reader
	o    Options

	dec    decoder // used by Next alone, as scales
	scales scales

	mu     sync.Mutex
	err    error
	closed bool
}

// Began is when the recording's first sample was taken, if its times are dates; not known
// before the first block, nor from files without dates.
func (f *file) Began() (at time.Time, known bool) {
	c, ok := f.dec.(*csvFile)
	if !ok || c.zero.IsZero() {
		return at, false
	}
	return c.zero, true
}

func (f *file) Next() (Block, error) {
	if err := f.ended(nil); err != nil {
		return Block{}, err
	}
	var err error
	if f.dec == nil {
		f.dec, err = f.open()
	}
	var b Block
	if err == nil {
		b, err = f.dec.next()
		if shown := f.scales.add(b, err != nil); shown > 0 && (err == nil || err == io.EOF) {
			err = f.outOfScale(shown)
		}
		if c, ok := f.dec.(*csvFile); ok && f.o.Unit == "" && (err == nil || err == io.EOF) {
			if why := f.scales.unweighed(err != nil); why != "" {
				b.Notes = append(b.Notes, fmt.Sprintf("%s: the unit was taken from the header, %s; where that is wrong every shake is, and --unit says another", why, c.unit[1].name))
			}
		}
	}
	err = f.ended(err)
	switch {
	case len(b.T) > 0:
		return b, nil
	case !errors.Is(err, io.EOF):
	case b.Lost > 0: // nothing good comes after them to tell it with
		return Block{Lost: b.Lost, Notes: append(b.Notes, "the end of the recording is bad and was left out")}, nil
	case len(b.Notes) > 0:
		return Block{Notes: b.Notes}, nil
	}
	return Block{}, err
}

// outOfScale is the error of a recording in which gravity shows as no sensor shows it, in g.
func (f *file) outOfScale(shown float64) error {
	try := "is the unit right? What a sensor counts must be divided by its counts a g (its data sheet) first"
	if f.o.FullScale > 0 {
		try = "is --full-scale right? It is the end of the sensor's range"
	}
	return wrong(try, "gravity shows as %.3g g, where it is 1 g, or none if the recorder took it out, and so the shake would be wrong", shown).at(f.name, 0)
}

// ended keeps the first error and returns it. Whatever a read says after Close is Close.
func (f *file) ended(err error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err == nil {
		f.err = err
	}
	return f.err
}

func (f *file) Close() error {
	f.mu.Lock()
	if f.err == nil {
		f.err = ErrClosed
	}
	closed := f.closed
	f.closed = true
	f.mu.Unlock()
	if c, ok := f.r.(io.Closer); ok && !closed {
		return c.Close()
	}
	return nil
}

// open tells the format from the first bytes.
func (f *file) open() (decoder, error) {
	r := bufio.NewReaderSize(f.r, longest)
	start, err := peek(r, 12)
	if bytes.HasPrefix(start, []byte("\x1f\x8b")) {
		z, err := gzip.NewReader(r)
		if err != nil {
			return nil, wrong("copy it again, or unpack it first", "compressed, but %w", err).at(f.name, 0)
		}
		r = bufio.NewReaderSize(unpacked{z, f.name}, longest)
		start, err = peek(r, 12)
		if err != nil {
			return nil, f.reading(err)
		}
	}
	switch {
	case err != nil:
		return nil, f.reading(err)
	case bytes.HasPrefix(start, []byte("RIFF")):
		switch {
		case f.o.Time != "":
			return nil, wrong("leave --time out", "a WAV file says its own rate and has no column of times").at(f.name, 0)
		case f.o.Range > 0:
			return nil, wrong("leave --range out, --full-scale says what its values mean", "a WAV file ends at its full scale").at(f.name, 0)
		case f.o.Rate > 0 || f.o.Unit != "":
			return nil, wrong("leave --rate and --unit out, --full-scale says what its values mean", "a WAV file says its own rate and has no unit").at(f.name, 0)
		}
		return &wavFile{file: f, r: r}, nil
	}
	if what := foreign(start); what != nil {
		return nil, what.at(f.name, 0)
	}
	if bytes.HasPrefix(start, []byte("\xef\xbb\xbf")) {
		if _, err := r.Discard(3); err != nil {
			return nil, f.reading(err)
		}
	}
	if f.o.FullScale > 0 {
		return nil, wrong("leave --full-scale out, --unit says what its values mean", "full scale is for WAV files and this is text").at(f.name, 0)
	}
	return &csvFile{file: f, r: r}, nil
}

// peek returns up to n bytes: fewer at the end of the data, and when a line ends before, as
// a pipe may bring its lines one by one.
func peek(r *bufio.Reader, n int) ([]byte, error) {
	for k := 1; k <= n; k++ {
		b, err := r.Peek(k)
		if err == io.EOF {
			return b, nil
		}
		if err != nil || b[k-1] == '\n' {
			return b, err
		}
	}
	return r.Peek(n)
}

// reading says what reading was about.
func (f *file) reading(err error) error {
	if damage := new(ParseError); errors.As(err, &damage) {
		return damage
	}
	if path := new(fs.PathError); errors.As(err, &path) {
		err = path.Err // the name is said once
	}
	return fmt.Errorf("read %s: %w", f.name, err)
}

// unpacked reads what gzip holds. Damage is a *ParseError, so that a decoder cannot take it for
// the end of the recording.
type unpacked struct {
	z    *gzip.Reader
	name string
}

func (u unpacked) Read(p []byte) (int, error) {
	n, err := u.z.Read(p)
	var corrupt flate.CorruptInputError
	if errors.As(err, &corrupt) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, gzip.ErrChecksum) || errors.Is(err, gzip.ErrHeader) {
		err = wrong("copy the file again", "compressed data are cut off or damaged (%w)", err).at(u.name, 0)
	}
	return n, err
}

// foreign says what a file is that is no recording, from its first bytes; nil for none known.
func foreign(b []byte) *ParseError {
	for _, f := range []struct{ magic, what, try string }{
		{"SQLite forma", "an SQLite database, not a recording", "kept sessions are read by their number"},
		{"PK\x03\x04", "a zip or spreadsheet file (xlsx, ods)", "save it as CSV, or unpack it"},
		{"\xd0\xcf\x11\xe0", "an old spreadsheet file (xls)", "save it as CSV"},
		{"\x89PNG", "a picture (PNG), not a recording", "export CSV or WAV from the recorder"},
		{"\xff\xd8\xff", "a picture (JPEG), not a recording", "export CSV or WAV from the recorder"},
		{"%PDF", "a PDF file, not a recording", "export CSV or WAV from the recorder"},
		{"fLaC", "a FLAC file", "save it as WAV"},
		{"OggS", "an Ogg file", "save it as WAV"},
		{"ID3", "an MP3 file, which has no exact samples", "record as WAV or CSV"},
		{"RIFX", "a big-endian WAV file (RIFX)", "save it as an ordinary WAV"},
		{"RF64", "a WAV file of more than 4 GB (RF64)", "split it"},
		{"FORM", "an AIFF file", "save it as WAV"},
		{"BZh", "compressed with bzip2", "unpack it, or use gzip"},
		{"\xfd7zXZ", "compressed with xz", "unpack it, or use gzip"},
		{"\x28\xb5\x2f\xfd", "compressed with zstd", "unpack it, or use gzip"},
		{"7z\xbc\xaf", "a 7z archive", "unpack it"},
		{"\xff\xfe", "text in UTF-16", "save it as UTF-8 (\"CSV UTF-8\")"},
		{"\xfe\xff", "text in UTF-16", "save it as UTF-8 (\"CSV UTF-8\")"},
		{"{", "JSON, not a table", "export CSV"},
		{"<", "HTML or XML, not a table", "export CSV"},
	} {
		if bytes.HasPrefix(b, []byte(f.magic)) {
			return wrong(f.try, "%s", f.what)
		}
	}
	if len(b) > 1 && (b[0] == 0) != (b[1] == 0) {
		return wrong("save it as UTF-8 (\"CSV UTF-8\")", "looks like text in UTF-16")
	}
	return unreadable(b)
}

// unreadable is what b is that has bytes which no text has; nil for text.
func unreadable(b []byte) *ParseError {
	for _, c := range b {
		if c < ' ' && c != '\n' && c != '\r' && c != '\t' {
			return wrong("record or export as CSV or WAV", "binary data, neither text nor WAV")
		}
	}
	return nil
}

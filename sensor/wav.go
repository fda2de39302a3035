package sensor

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
)

// Formats of a WAV file: IBM and Microsoft, Multimedia Programming Interface and Data
// Specifications 1.0 (1991), "Waveform Audio File Format"; the extensible form is that of
// mmreg.h, WAVEFORMATEXTENSIBLE.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xfffe
)

// subFormat is all but the first two bytes of the extensible format's identifier.
const subFormat = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// wavFile decodes RIFF WAVE from front to end, so that it may come through a pipe; that is
// why it does not use a library, the known ones seek. github.com/go-audio/wav is the
// independent check in the tests.
type wavFile struct {
	file *file
	r    *bufio.Reader

	ready    bool
	good     int // samples
	bad      int // samples left out
	began    int // frame of the first good one
	float    bool
	bytes    int // in a value: 2, 3 or 4
	channels int
	axes     []int // channels that are axes, from 0
	rate     float64
	left     int64 // bytes of data, MaxInt64 when the header does not know
	stated   bool  // left was stated
	frame    int   // number of the next frame, from 0
	frames   []byte
}

// wrong is what is wrong with the file as a whole.
func (w *wavFile) wrong(try, format string, args ...any) error {
	return wrong(try, format, args...).at(w.file.name, 0)
}

func (w *wavFile) next() (Block, error) {
	if !w.ready {
		if err := w.open(); err != nil {
			return Block{}, err
		}
		w.ready = true
	}
	lost := 0
	for {
		b, err := w.some()
		lost += b.Lost
		if b.Lost = lost; len(b.T) > 0 || err != nil {
			return b, err
		}
	}
}

// some reads up to 1024 frames; the block has no samples when all of them are bad.
func (w *wavFile) some() (Block, error) {
	size := w.bytes * w.channels
	want := min(int64(1024*size), w.left-w.left%int64(size))
	n, failed := io.ReadFull(w.r, w.frames[:want])
	if failed == io.EOF || failed == io.ErrUnexpectedEOF {
		failed = nil
	}
	w.left -= int64(n)
	ended, cut := w.left < int64(size), int64(n) < want
	if !ended && !cut {
		// Look ahead, so that the last block can say that it is the last.
		_, err := w.r.Peek(1)
		cut = err == io.EOF
	}
	b, err := w.block(w.frames[:n-n%size])
	if err == nil && failed != nil {
		return b, w.file.reading(failed)
	}
	ended = ended || cut
	if cut && w.stated {
		b.Notes = append(b.Notes, "the file ends before its header says; what there is was used")
	}
	switch {
	case err != nil:
		return b, err
	case ended && w.frame == 0:
		return b, w.wrong("was the recording stopped at once?", "no samples")
	case ended && w.bad > w.good:
		return b, w.wrong("record it again, or look whether --full-scale is right", "%d of %d samples are no finite acceleration", w.bad, w.frame)
	case ended:
		return b, io.EOF
	}
	return b, nil
}

// block turns frames into a Block.
func (w *wavFile) block(frames []byte) (Block, error) {
	full := w.file.o.FullScale
	b := Block{Axes: make([][]float64, len(w.axes))}
	if !w.float { // floats go beyond full scale, and do not say how far
		b.Range = full * (1 - math.Ldexp(1, 1-8*w.bytes)) // the largest positive value
	}
	size := w.bytes * w.channels
	var row [3]float64
	for ; len(frames) > 0; frames = frames[size:] {
		good := true
		for k, c := range w.axes {
			row[k] = w.value(frames[c*w.bytes:]) * full
			good = good && math.Abs(row[k]) <= maxAcceleration // false for NaN
		}
		w.frame++
		if !good && !w.file.o.SkipBad {
			return b, w.wrong("leave bad samples out with --skip-bad", "sample %d is not a finite acceleration", w.frame)
		}
		if !good {
			b.Lost++
			w.bad++
			continue
		}
		if w.good++; w.good == 1 {
			w.began = w.frame
		}
		b.T = append(b.T, float64(w.frame-w.began)/w.rate)
		for k := range b.Axes {
			b.Axes[k] = append(b.Axes[k], row[k])
		}
	}
	return b, nil
}

// value is the number at the head of b, full scale being 1.
func (w *wavFile) value(b []byte) float64 {
	switch {
	case w.float:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	case w.bytes == 2:
		return float64(int16(binary.LittleEndian.Uint16(b))) / (1 << 15)
	case w.bytes == 3:
		v := int32(b[0])<<8 | int32(b[1])<<16 | int32(b[2])<<24
		return float64(v) / (1 << 31)
	}
	return float64(int32(binary.LittleEndian.Uint32(b))) / (1 << 31)
}

// open reads the chunks up to the data.
func (w *wavFile) open() error {
	var head [12]byte
	if err := w.read(head[:]); err != nil {
		return err
	}
	if string(head[8:]) != "WAVE" {
		return w.wrong("save it as WAV", "a RIFF file, but not WAVE")
	}
	for {
		if err := w.read(head[:8]); err != nil {
			return err
		}
		size := int64(binary.LittleEndian.Uint32(head[4:]))
		switch string(head[:4]) {
		case "data":
			return w.data(size)
		case "fmt ":
			if w.channels > 0 || size < 16 || size > 4096 {
				return w.wrong("save it again as WAV", "its format chunk is damaged")
			}
			format := make([]byte, size+size%2)
			if err := w.read(format); err != nil {
				return err
			}
			if err := w.format(format[:size]); err != nil {
				return err
			}
		default:
			if _, err := io.CopyN(io.Discard, w.r, size+size%2); err != nil {
				return w.short(err)
			}
		}
	}
}

func (w *wavFile) read(b []byte) error {
	_, err := io.ReadFull(w.r, b)
	return w.short(err)
}

// short says what an end of the file before the data means.
func (w *wavFile) short(err error) error {
	switch {
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return w.wrong("copy it again, or was the recording stopped at once?", "cut off before its first sample")
	case err != nil:
		return w.file.reading(err)
	}
	return nil
}

func (w *wavFile) format(b []byte) error {
	tag := binary.LittleEndian.Uint16(b)
	channels := int(binary.LittleEndian.Uint16(b[2:]))
	rate := binary.LittleEndian.Uint32(b[4:])
	align := int(binary.LittleEndian.Uint16(b[12:]))
	bits := int(binary.LittleEndian.Uint16(b[14:]))
	if tag == wavExtensible && len(b) >= 40 && string(b[26:40]) == subFormat {
		tag = binary.LittleEndian.Uint16(b[24:])
	}
	w.float = tag == wavFloat
	switch {
	case w.float && bits != 32, !w.float && bits != 16 && bits != 24 && bits != 32, tag != wavPCM && tag != wavFloat:
		return w.wrong("save it as PCM of 16, 24 or 32 bits, or 32-bit float", "its samples are of format %d with %d bits", tag, bits)
	case rate == 0 || rate > 1e6:
		return w.wrong("want 1 to 1000000", "its header says %d samples a second", rate)
	case channels == 0 || channels > 64 || align != channels*bits/8:
		return w.wrong("save it again as WAV of one to three channels", "its header cannot be: %d channels of %d bits in %d bytes", channels, bits, align)
	}
	w.bytes, w.channels, w.rate = bits/8, channels, float64(rate)
	return w.choose()
}

// choose takes the channels that are axes.
func (w *wavFile) choose() error {
	named := w.file.o.Axes
	if len(named) == 0 {
		if w.channels > 3 {
			return w.wrong("choose one to three with --axes, such as --axes 1,2,3", "%d channels", w.channels)
		}
		for c := range w.channels {
			w.axes = append(w.axes, c)
		}
	}
	for _, name := range named {
		c, err := strconv.Atoi(name)
		if err != nil || c < 1 || c > w.channels {
			return w.wrong(fmt.Sprintf("choose from 1 to %d", w.channels), "no channel %q", name)
		}
		if slices.Contains(w.axes, c-1) {
			return w.wrong("name each once", "channel %d is named twice as an axis", c)
		}
		w.axes = append(w.axes, c-1)
	}
	return nil
}

// data begins the samples. A size of 0 or all ones is what a recorder leaves behind that
// was switched off: then they go on to the end of the file.
func (w *wavFile) data(size int64) error {
	switch {
	case w.channels == 0:
		return w.wrong("save it again as WAV", "its samples come before their format")
	case w.file.o.FullScale == 0:
		return w.wrong("give --full-scale, such as --full-scale 2g", "a WAV file does not say what full scale is")
	}
	w.left, w.stated = size, true
	if size == 0 || size == math.MaxUint32 {
		w.left, w.stated = math.MaxInt64, false
	}
	w.frames = make([]byte, 1024*w.bytes*w.channels)
	return nil
}

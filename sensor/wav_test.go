package sensor_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
	"vibe/sensor/sensortest"
)

// What another library writes we read, to the last bit of the scale.
func TestWAVAgainstGoAudio(t *testing.T) {
	t.Parallel()
	const rate, full = 3200, 2 * g
	for _, bits := range []int{16, 24, 32} {
		for channels := 1; channels <= 3; channels++ {
			path := filepath.Join(t.TempDir(), "r.wav")
			f, err := os.Create(path)
			require.NoError(t, err)
			most := 1<<(bits-1) - 1
			data := []int{most, -most - 1, 0, 1, -1, 12345}
			for i := range 9000 {
				data = append(data, int(0.7*float64(most)*math.Sin(float64(i))))
			}
			data = data[:len(data)/channels*channels]
			e := wav.NewEncoder(f, rate, bits, channels, 1)
			require.NoError(t, e.Write(&audio.IntBuffer{Format: &audio.Format{NumChannels: channels, SampleRate: rate}, Data: data, SourceBitDepth: bits}))
			require.NoError(t, e.Close())
			require.NoError(t, f.Close())

			s, err := sensor.Open(path, sensor.Options{FullScale: full})
			require.NoError(t, err)
			times, axes := drain(t, s)
			require.Len(t, axes, channels)
			require.Len(t, times, len(data)/channels)
			for i, at := range times {
				require.Equal(t, float64(i)/rate, at)
				for k := range axes {
					require.Equal(t, float64(data[i*channels+k])/float64(most+1)*full, axes[k][i])
				}
			}
			require.NoError(t, s.Close())
		}
	}
}

// chunk of a RIFF file, padded to an even length.
func chunk(id string, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body)))
	b = append(b, body...)
	return append(b, make([]byte, len(body)%2)...)
}

func format(tag, channels, rate, bits int) []byte {
	var b []byte
	b = binary.LittleEndian.AppendUint16(b, uint16(tag))
	b = binary.LittleEndian.AppendUint16(b, uint16(channels))
	b = binary.LittleEndian.AppendUint32(b, uint32(rate))
	b = binary.LittleEndian.AppendUint32(b, uint32(rate*channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, uint16(channels*bits/8))
	return binary.LittleEndian.AppendUint16(b, uint16(bits))
}

func extensible(tag, channels, rate, bits int) []byte {
	b := append(format(0xfffe, channels, rate, bits), 22, 0, byte(bits), 0, 0, 0, 0, 0)
	b = binary.LittleEndian.AppendUint16(b, uint16(tag))
	return append(b, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
}

func riff(chunks ...[]byte) string {
	body := append([]byte("WAVE"), bytes.Join(chunks, nil)...)
	return string(chunk("RIFF", body))
}

func floats(v ...float32) []byte {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return b
}

func TestWAVForms(t *testing.T) {
	t.Parallel()
	pcm := chunk("data", []byte{0, 0x40, 0, 0xc0, 0, 0x20, 0, 0xe0}) // ½, −½, ¼, −¼
	size := func(n uint32) []byte { return binary.LittleEndian.AppendUint32([]byte("data"), n) }
	const endsEarly = "the file ends before its header says; what there is was used"
	for name, c := range map[string]struct {
		text  string
		o     sensor.Options
		axes  [][]float64
		notes []string
	}{
		"mono":           {riff(chunk("fmt ", format(1, 1, 10, 16)), pcm), sensor.Options{}, [][]float64{{5, -5, 2.5, -2.5}}, nil},
		"other chunks":   {riff(chunk("LIST", []byte("odd")), chunk("fmt ", append(format(1, 2, 10, 16), 0, 0)), chunk("fact", make([]byte, 4)), pcm, chunk("LIST", make([]byte, 50))), sensor.Options{}, [][]float64{{5, 2.5}, {-5, -2.5}}, nil},
		"extensible":     {riff(chunk("fmt ", extensible(1, 2, 10, 16)), pcm), sensor.Options{}, [][]float64{{5, 2.5}, {-5, -2.5}}, nil},
		"float":          {riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(0.5, -1.25))), sensor.Options{}, [][]float64{{5, -12.5}}, nil},
		"float, ext.":    {riff(chunk("fmt ", extensible(3, 1, 10, 32)), chunk("data", floats(0.5, -1.25))), sensor.Options{}, [][]float64{{5, -12.5}}, nil},
		"float, bad":     {riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(0.5, float32(math.NaN()), 1))), sensor.Options{SkipBad: true}, [][]float64{{5, 10}}, nil},
		"one of two":     {riff(chunk("fmt ", format(1, 2, 10, 16)), pcm), sensor.Options{Axes: []string{"2"}}, [][]float64{{-5, -2.5}}, nil},
		"size 0":         {strings.TrimSuffix(riff(chunk("fmt ", format(1, 1, 10, 16)), size(0), []byte{0, 0x40, 7}), "\x00"), sensor.Options{}, [][]float64{{5}}, nil},
		"size all ones":  {riff(chunk("fmt ", format(1, 1, 10, 16)), size(math.MaxUint32), []byte{0, 0x40, 0, 0x40}), sensor.Options{}, [][]float64{{5, 5}}, nil},
		"size too large": {riff(chunk("fmt ", format(1, 1, 10, 16)), size(99), []byte{0, 0x40, 0, 0x40}), sensor.Options{}, [][]float64{{5, 5}}, []string{endsEarly}},
		"cut at a block": {riff(chunk("fmt ", format(1, 1, 10, 16)), size(9999), make([]byte, 2048)), sensor.Options{}, [][]float64{make([]float64, 1024)}, []string{endsEarly}},
		"gzip":           {squeeze(riff(chunk("fmt ", format(1, 1, 10, 16)), pcm)), sensor.Options{}, [][]float64{{5, -5, 2.5, -2.5}}, nil},
		"silence":        {riff(chunk("fmt ", format(1, 1, 10, 16)), chunk("data", make([]byte, 6))), sensor.Options{}, [][]float64{{0, 0, 0}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c.o.FullScale = 10
			got, err := read(c.text, c.o)
			require.NoError(t, err)
			assert.Equal(t, c.axes, got.axes)
			assert.Equal(t, c.notes, got.notes)
			assert.Equal(t, name == "float, bad", got.lost == 1)
		})
	}
}

func TestWAVErrors(t *testing.T) {
	t.Parallel()
	pcm := chunk("data", make([]byte, 12))
	good := riff(chunk("fmt ", format(1, 1, 10, 16)), pcm)
	for name, c := range map[string]struct {
		text, want string
	}{
		"no full scale": {good, "r.csv: a WAV file does not say what full scale is; give --full-scale, such as --full-scale 2g"},
		"only RIFF":     {"RIFF", "r.csv: cut off before its first sample; copy it again, or was the recording stopped at once?"},
		"cut header":    {good[:30], "r.csv: cut off before its first sample; copy it again, or was the recording stopped at once?"},
		"no data":       {good[:36], "r.csv: cut off before its first sample; copy it again, or was the recording stopped at once?"},
		"no samples":    {good[:44], "r.csv: no samples; was the recording stopped at once?"},
		"half a sample": {good[:45], "r.csv: no samples; was the recording stopped at once?"},
		"not WAVE":      {strings.Replace(good, "WAVE", "AVI ", 1), "r.csv: a RIFF file, but not WAVE; save it as WAV"},
		"8 bit":         {riff(chunk("fmt ", format(1, 1, 10, 8)), pcm), "r.csv: its samples are of format 1 with 8 bits; save it as PCM of 16, 24 or 32 bits, or 32-bit float"},
		"0 bit":         {riff(chunk("fmt ", format(1, 1, 10, 0)), pcm), "r.csv: its samples are of format 1 with 0 bits; save it as PCM of 16, 24 or 32 bits, or 32-bit float"},
		"A-law":         {riff(chunk("fmt ", format(6, 1, 10, 16)), pcm), "r.csv: its samples are of format 6 with 16 bits; save it as PCM of 16, 24 or 32 bits, or 32-bit float"},
		"double":        {riff(chunk("fmt ", format(3, 1, 10, 64)), pcm), "r.csv: its samples are of format 3 with 64 bits; save it as PCM of 16, 24 or 32 bits, or 32-bit float"},
		"0 Hz":          {riff(chunk("fmt ", format(1, 1, 0, 16)), pcm), "r.csv: its header says 0 samples a second; want 1 to 1000000"},
		"no channel":    {riff(chunk("fmt ", format(1, 0, 10, 16)), pcm), "r.csv: its header cannot be: 0 channels of 16 bits in 0 bytes; save it again as WAV of one to three channels"},
		"4 channels":    {riff(chunk("fmt ", format(1, 4, 10, 16)), pcm), "r.csv: 4 channels; choose one to three with --axes, such as --axes 1,2,3"},
		"short format":  {riff(chunk("fmt ", []byte{1, 0}), pcm), "r.csv: its format chunk is damaged; save it again as WAV"},
		"huge format":   {riff(binary.LittleEndian.AppendUint32([]byte("fmt "), math.MaxUint32)), "r.csv: its format chunk is damaged; save it again as WAV"},
		"two formats":   {riff(chunk("fmt ", format(1, 1, 10, 16)), chunk("fmt ", format(1, 1, 10, 16))), "r.csv: its format chunk is damaged; save it again as WAV"},
		"no format":     {riff(pcm), "r.csv: its samples come before their format; save it again as WAV"},
		"not a number":  {riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(1, float32(math.Inf(1))))), "r.csv: sample 2 is not a finite acceleration; leave bad samples out with --skip-bad"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := sensor.Options{FullScale: 10}
			if name == "no full scale" {
				o = sensor.Options{}
			}
			_, err := read(c.text, o)
			refused(t, err, c.want)
		})
	}
	_, err := read(good, sensor.Options{FullScale: 10, Axes: []string{"x"}})
	refused(t, err, `r.csv: no channel "x"; choose from 1 to 1`)
	_, err = read(good, sensor.Options{FullScale: 10, Axes: []string{"1", "1"}})
	refused(t, err, `r.csv: channel 1 is named twice as an axis; name each once`)
	for _, o := range []sensor.Options{{FullScale: 10, Rate: 500}, {FullScale: 10, Unit: "g"}} {
		_, err = read(good, o)
		refused(t, err, `r.csv: a WAV file says its own rate and has no unit; leave --rate and --unit out, --full-scale says what its values mean`)
	}
	_, err = read(good, sensor.Options{FullScale: 10, Time: "t"})
	refused(t, err, `r.csv: a WAV file says its own rate and has no column of times; leave --time out`)
	_, err = read(good, sensor.Options{FullScale: 10, Range: 10})
	refused(t, err, `r.csv: a WAV file ends at its full scale; leave --range out, --full-scale says what its values mean`)
	_, err = read(good, sensor.Options{FullScale: -1})
	require.EqualError(t, err, "full scale -1 m/s²: want a positive number up to 1e+06")
}

func TestWAVRangeIsWhatItCanShow(t *testing.T) {
	t.Parallel()
	s, err := sensor.Decode("r.wav", strings.NewReader(riff(chunk("fmt ", format(1, 1, 10, 16)), chunk("data", []byte{0xff, 0x7f}))), sensor.Options{FullScale: 16 * g})
	require.NoError(t, err)
	b, err := s.Next()
	require.NoError(t, err)
	assert.Equal(t, b.Axes[0][0], b.Range)

	s, err = sensor.Decode("r.wav", strings.NewReader(riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(1.5)))), sensor.Options{FullScale: 16 * g})
	require.NoError(t, err)
	b, err = s.Next()
	require.NoError(t, err)
	assert.Zero(t, b.Range, "floats may go beyond full scale")
}

func TestWAVKeepsTheContract(t *testing.T) {
	t.Parallel()
	text := riff(chunk("fmt ", format(1, 3, 3200, 24)), chunk("data", bytes.Repeat([]byte("abcdefghi"), 5000)))
	sensortest.TestSource(t, func() sensor.Source {
		s, err := sensor.Decode("r.wav", strings.NewReader(text), sensor.Options{FullScale: 2 * g})
		require.NoError(t, err)
		return s
	})
}

// Bad samples, however many in a row, are no block of their own and are all counted.
func TestWAVSkipsManyBadSamples(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	bad, good := slices.Repeat([]float32{nan}, 3000), slices.Repeat([]float32{0.5}, 4000)
	for name, c := range map[string]struct {
		values []float32
		last   float64 // s
		notes  []string
	}{
		"first":  {slices.Concat(bad, good), 399.9, nil},
		"middle": {slices.Concat(good[:1000], bad, good[1000:]), 699.9, nil},
		"last":   {slices.Concat(good, bad), 399.9, []string{"the end of the recording is bad and was left out"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := read(riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(c.values...))), sensor.Options{FullScale: 10, SkipBad: true})
			require.NoError(t, err)
			assert.Len(t, got.t, len(good))
			assert.Zero(t, got.t[0])
			assert.InDelta(t, c.last, got.t[len(good)-1], 1e-9)
			assert.Equal(t, len(bad), got.lost)
			assert.Equal(t, c.notes, got.notes)
		})
	}
	_, err := read(riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(bad...))), sensor.Options{FullScale: 10, SkipBad: true})
	refused(t, err, "r.csv: 3000 of 3000 samples are no finite acceleration; record it again, or look whether --full-scale is right")
}

// What came before the damage is delivered, and the damage is not taken for the end, even where
// the header does not say how long the recording is.
func TestWAVDamagedGzip(t *testing.T) {
	t.Parallel()
	data := make([]byte, 8000)
	for i := range data {
		data[i] = byte(i * i >> 3)
	}
	z := squeeze(riff(chunk("fmt ", format(1, 1, 10, 16)), binary.LittleEndian.AppendUint32([]byte("data"), math.MaxUint32), data))
	got, err := read(z[:len(z)*3/4], sensor.Options{FullScale: 10})
	refused(t, err, "r.csv: compressed data are cut off or damaged (unexpected EOF); copy the file again")
	var wrong *sensor.ParseError
	require.ErrorAs(t, err, &wrong)
	assert.NotZero(t, len(got.t)%1024, "what was read of the last block")
	for i, v := range got.axes[0] {
		require.Equal(t, float64(int16(binary.LittleEndian.Uint16(data[2*i:])))/(1<<15)*10, v)
	}
}

// FuzzWAV: never a panic, never a value that is none, never more samples than bytes.
func FuzzWAV(f *testing.F) {
	pcm := chunk("data", []byte{0, 0x40, 0, 0xc0, 0, 0x20, 0, 0xe0})
	for _, seed := range []string{
		riff(chunk("fmt ", format(1, 1, 10, 16)), pcm), riff(chunk("fmt ", extensible(1, 2, 10, 16)), pcm), riff(chunk("fmt ", format(1, 3, 10, 24)), pcm),
		riff(chunk("LIST", []byte("odd")), chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(0.5, -1.25))), riff(pcm), "RIFF",
		riff(chunk("fmt ", format(3, 1, 10, 32)), chunk("data", floats(slices.Repeat([]float32{float32(math.NaN())}, 1500)...))),
	} {
		f.Add([]byte(seed), true)
	}
	f.Fuzz(func(t *testing.T, data []byte, skip bool) {
		s, err := sensor.Decode("r.wav", bytes.NewReader(data), sensor.Options{FullScale: 2 * g, SkipBad: skip, Axes: []string{"1"}})
		require.NoError(t, err)
		last, n := -1.0, 0
		for {
			b, err := s.Next()
			if err != nil {
				var wrong *sensor.ParseError
				require.True(t, errors.Is(err, io.EOF) || errors.As(err, &wrong), "%v", err)
				break
			}
			if len(b.T) == 0 {
				require.NotEmpty(t, b.Notes)
				continue
			}
			sound(t, b)
			require.Greater(t, b.T[0], last)
			last = b.T[len(b.T)-1]
			n += len(b.T)
		}
		require.LessOrEqual(t, n, max(len(data), 1<<20)) // gzip may hold more than it weighs
	})
}

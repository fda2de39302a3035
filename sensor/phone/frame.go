package phone

import (
	"encoding/binary"
	"fmt"
	"math"
)

// What the page sends, little endian: the number of its run (a page that comes back from the
// background begins another), the number of the first sample since the page was loaded, the
// page's time in ms when it sent, and the samples: the event's time in ms and three axes in
// m/s², times and values as 64-bit floats.
const (
	headBytes   = 16
	sampleBytes = 32
	mostSamples = 1000 // in a frame (chosen: the page sends at most half as many)
	mostBytes   = headBytes + mostSamples*sampleBytes
	longest     = 1e12 // ms that a page may have been there, 30 years (chosen: any more is no time)
)

// frame is a run of consecutive samples as they came.
type frame struct {
	run, first uint32
	sent       float64 // ms, likewise; finite
	samples    []sample
}

// sample is one event of the phone. Its numbers may be anything.
type sample struct {
	ms float64 // since the page was loaded
	v  [3]float64
}

// decode reads a frame. The error says that it is none; what its numbers are worth is left to
// the stream.
func decode(p []byte) (frame, error) {
	n := (len(p) - headBytes) / sampleBytes
	if len(p) > mostBytes || n < 1 || len(p) != headBytes+n*sampleBytes {
		return frame{}, fmt.Errorf("a frame of %d bytes: want %d and %d for each of 1 to %d samples", len(p), headBytes, sampleBytes, mostSamples)
	}
	number := func(at int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(p[at:])) }
	f := frame{binary.LittleEndian.Uint32(p), binary.LittleEndian.Uint32(p[4:]), number(8), make([]sample, n)}
	if f.first > math.MaxUint32-mostSamples || !(math.Abs(f.sent) <= longest) {
		return frame{}, fmt.Errorf("sample number %d sent at %v ms: out of range", f.first, f.sent)
	}
	for i := range f.samples {
		at := headBytes + i*sampleBytes
		f.samples[i] = sample{number(at), [3]float64{number(at + 8), number(at + 16), number(at + 24)}}
	}
	return f, nil
}

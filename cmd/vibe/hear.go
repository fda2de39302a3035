package main

import (
	"encoding/binary"
	"io"
	"math"

	"vibe/assess"
)

// How a shake is made to be heard. The line that turns once per revolution lies at a few Hz,
// below what an ear or a small loudspeaker gives. So it is pitched up by five octaves, and
// swells and fades with the velocity of the headstock itself, in its own time: one throb for
// each turn, higher with speed, harsher with multiples. Loudness is true: twice the shake is
// twice the amplitude, and the same shake sounds the same in every file (all chosen).
const (
	soundRate = 22050 // samples a second
	octaves   = 32.0  // pitch over spindle
	fullShake = 25.0  // mm/s rms that reach full scale; above it the sound is limited
)

// sound makes s of readings, four a second: 16 bit, one channel. What a reading does not
// know for sure is silence.
func sound(readings []assess.Reading) []int16 {
	var out []int16
	turn, loud := 0.0, 0.0
	for _, r := range readings {
		for range soundRate / 4 {
			turn += r.Speed.Hz() / soundRate
			want := 0.0
			if r.OK {
				want = r.Shake / fullShake
			}
			loud += (want - loud) / (0.02 * soundRate) // no click where a reading ends
			v := throb(turn, r.Multiples)
			s := loud * max(0, v) * math.Sin(2*math.Pi*octaves*turn)
			out = append(out, int16(math.Round(32767*min(1, max(-1, s)))))
		}
	}
	return out
}

// throb is the velocity of the headstock over its once-per-turn amplitude: the turn and its
// multiples, whose accelerations are given over that of the turn.
func throb(turn float64, multiples []float64) float64 {
	v := math.Cos(2 * math.Pi * turn)
	for i, m := range multiples {
		k := float64(i + 2)
		v += m / k * math.Cos(2*math.Pi*k*turn)
	}
	return v
}

// writeSound writes a WAV file: RIFF, PCM 16 bit, one channel (Multimedia Programming
// Interface and Data Specifications 1.0, IBM and Microsoft, 1991).
func writeSound(w io.Writer, samples []int16) error {
	bytes := uint32(2 * len(samples))
	head := struct {
		RIFF                 [4]byte
		Size                 uint32
		WAVE, Fmt            [4]byte
		FmtSize              uint32
		Tag, Channels        uint16
		Rate, BytesPerSecond uint32
		Align, Bits          uint16
		Data                 [4]byte
		DataSize             uint32
	}{[4]byte([]byte("RIFF")), 36 + bytes, [4]byte([]byte("WAVE")), [4]byte([]byte("fmt ")), 16, 1, 1,
		soundRate, 2 * soundRate, 2, 16, [4]byte([]byte("data")), bytes}
	if err := binary.Write(w, binary.LittleEndian, head); err != nil {
		return err
	}
	return binary.Write(w, binary.LittleEndian, samples)
}

// invented is s of readings of one speed and shake, to be heard.
func invented(speed assess.RPM, shake, s float64) []assess.Reading {
	out := make([]assess.Reading, int(4*s))
	for i := range out {
		out[i] = assess.Reading{OK: true, Speed: speed, Shake: shake, Multiples: []float64{0.3, 0.2}}
	}
	return out
}

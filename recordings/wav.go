package recordings

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"vibe/sensor"
)

// Wave is what a WAV file does not say itself, and how far it is from the session.
type Wave struct {
	// FullScale is the acceleration in m/s² that the largest value means; with it sensor.Open
	// gives the samples back.
	FullScale float64
	Rate      int     // samples a second, as its header says
	Bits      int     // of a sample: 16, 24 or 32
	Off       float64 // m/s², the largest difference from a sample; 0: bit for bit
	Late      float64 // s, the largest difference from the time of a sample
}

// ErrNoWave says why a session cannot be a WAV file.
var ErrNoWave = errors.New("a WAV file cannot hold this session")

// plan of a WAV file, found in a first pass over the samples.
type wavePlan struct {
	steps []float64 // that the values may be whole multiples of
	axes  int
	n     int
	top   float64 // m/s², the largest magnitude
	first float64 // s
	last  float64
}

// WriteWAV writes the samples as RIFF WAVE, PCM, an axis a channel. A sensor's whole numbers
// come back bit for bit where 32 bits can hold them; else each value is the nearest that 32
// bits can. WAV knows one even rate and no times: what that changes is in Late.
func (k *Session) WriteWAV(w io.Writer) (Wave, error) {
	plan, err := k.planWave()
	if err != nil {
		return Wave{}, err
	}
	wave := Wave{Rate: 1, Bits: 32}
	if plan.n > 1 && plan.last > plan.first {
		wave.Rate = max(1, int(math.Round(float64(plan.n-1)/(plan.last-plan.first))))
	}
	step := k.waveStep(plan)
	for _, bits := range []int{16, 24, 32} {
		if most := math.Ldexp(1, bits-1); step > 0 && math.Round(plan.top/step) < most {
			wave.Bits, wave.FullScale = bits, step*most
			break
		}
	}
	if wave.FullScale == 0 {
		wave.FullScale = plan.top / (1 - math.Ldexp(1, -31))
	}
	if wave.FullScale == 0 {
		wave.FullScale = 1
	}
	size := int64(plan.n) * int64(plan.axes) * int64(wave.Bits/8)
	if size > math.MaxUint32-36 {
		return Wave{}, fmt.Errorf("%w: it would be larger than 4 GB", ErrNoWave)
	}
	out := bufio.NewWriterSize(w, 1<<16)
	if _, err := out.Write(waveHead(wave, plan.axes, uint32(size))); err != nil {
		return Wave{}, err
	}
	if err := k.waveData(out, &wave, plan); err != nil {
		return Wave{}, err
	}
	return wave, out.Flush()
}

// again is the same session from its beginning.
func (k *Session) again() *Session {
	return &Session{Number: k.Number, Setup: k.Setup, Ended: k.Ended, Summary: k.Summary, shop: k.shop, parts: k.parts, torn: k.torn}
}

// each calls f with every block that has samples.
func (k *Session) each(f func(sensor.Block) error) error {
	src := k.again()
	for {
		b, err := src.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil && len(b.T) > 0 {
			err = f(b)
		}
		if err != nil {
			return err
		}
	}
}

// planWave looks at all samples.
func (k *Session) planWave() (wavePlan, error) {
	var p wavePlan
	err := k.each(func(b sensor.Block) error {
		switch {
		case p.n == 0:
			p.axes, p.first = len(b.Axes), b.T[0]
		case p.axes != len(b.Axes):
			return fmt.Errorf("%w: axes come and go", ErrNoWave)
		}
		p.last = b.T[len(b.T)-1]
		p.n += len(b.T)
		for _, axis := range b.Axes {
			for _, v := range axis {
				p.top = max(p.top, math.Abs(v))
			}
			if s := stepOf(axis); s > 0 && len(p.steps) < 16 {
				p.steps = append(p.steps, s)
			}
		}
		return nil
	})
	if err == nil && p.n == 0 {
		err = fmt.Errorf("%w: it has no samples", ErrNoWave)
	}
	return p, err
}

// waveStep returns the step of which all values are whole multiples, bit for bit if there is
// one, else as near as rounding allows; 0 for none. 2^-15 of a whole g is tried too, for a
// WAV file once read in.
func (k *Session) waveStep(p wavePlan) float64 {
	best, least := 0.0, math.Inf(1)
	for _, found := range p.steps {
		for _, step := range []float64{found, nice(found, 1), nice(found, gravity)} {
			if step == 0 {
				continue
			}
			off := 0.0
			err := k.each(func(b sensor.Block) error {
				for _, axis := range b.Axes {
					for _, v := range axis {
						off = max(off, math.Abs(math.Round(v/step)*step-v))
					}
				}
				if off >= least || off > p.top*1e-14 {
					return errCoded // not this one
				}
				return nil
			})
			if err == nil {
				best, least = step, off
			}
			if least == 0 {
				return best
			}
		}
	}
	return best
}

// nice is the fraction of whole that step seems to be, 0 for none.
func nice(step, whole float64) float64 {
	if d := math.Round(whole / step); d >= 1 && close(whole/step, d) {
		return whole / d
	}
	return 0
}

// waveHead is the 44 bytes before the samples (IBM and Microsoft, Multimedia Programming
// Interface and Data Specifications 1.0, 1991, "Waveform Audio File Format").
func waveHead(w Wave, axes int, size uint32) []byte {
	frame := axes * w.Bits / 8
	b := binary.LittleEndian.AppendUint32([]byte("RIFF"), 36+size+size%2)
	b = append(b, "WAVEfmt \x10\x00\x00\x00\x01\x00"...)
	b = binary.LittleEndian.AppendUint16(b, uint16(axes))
	b = binary.LittleEndian.AppendUint32(b, uint32(w.Rate))
	b = binary.LittleEndian.AppendUint32(b, uint32(w.Rate*frame))
	b = binary.LittleEndian.AppendUint16(b, uint16(frame))
	b = binary.LittleEndian.AppendUint16(b, uint16(w.Bits))
	return binary.LittleEndian.AppendUint32(append(b, "data"...), size)
}

// waveData writes the frames, and notes in wave how far they are from the samples.
func (k *Session) waveData(out *bufio.Writer, wave *Wave, p wavePlan) error {
	step := math.Ldexp(wave.FullScale, 1-wave.Bits)
	top := math.Ldexp(1, wave.Bits-1) - 1
	var frame []byte
	at := 0
	err := k.each(func(b sensor.Block) error {
		frame = frame[:0]
		for i, t := range b.T {
			wave.Late = max(wave.Late, math.Abs(t-p.first-float64(at)/float64(wave.Rate)))
			at++
			for _, axis := range b.Axes {
				v := min(max(math.Round(axis[i]/step), -top), top)
				wave.Off = max(wave.Off, math.Abs(v*step-axis[i]))
				whole := uint32(int32(v))
				for n := 0; n < wave.Bits; n += 8 {
					frame = append(frame, byte(whole>>n))
				}
			}
		}
		_, err := out.Write(frame)
		return err
	})
	if odd := at*p.axes*wave.Bits/8%2 == 1; err == nil && odd {
		err = out.WriteByte(0)
	}
	return err
}

package sensor

import (
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sort"
	"sync"
)

// Simulated is a lathe that exists only as numbers, with an accelerometer clamped to its
// headstock: a rotating imbalance pushes two modes of the headstock, integrated in time so
// that transients and ring-down are real, and lines, cutting noise and knocks come on top.
// It knows its own truth. All values are chosen by the caller or marked "chosen" here: they
// describe no real machine.
//
// The axes of the lathe: x across the spindle and level, y up, z along the spindle.
//
// Set the fields before the first Next and leave them alone afterwards. The zero value
// never ends, stands still until SetDial, and delivers 1000 samples a second on three axes.
// The same fields and the same dial give the same samples. Blocks hold at most a quarter of
// a second and at most 1024 samples, so that a closed loop hears an answer soon.
type Simulated struct {
	// Seed picks the random numbers.
	Seed uint64
	// Seconds is the length on the sensor's clock; 0 never ends.
	Seconds float64

	// Speed is the spindle speed in Hz over true time, negative never. Empty is still.
	Speed []Point
	// Wander is the standard deviation of a slow random change of the speed, relative
	// (0.002 is 0.2 %). It forgets itself in about 6 s (chosen).
	Wander float64
	// Lag is the time constant in s, and Slew the largest rate in Hz/s, with which the
	// speed follows SetDial. Zero means 0.5 s and 5 Hz/s (chosen).
	Lag, Slew float64

	// Imbalance is mass times radius in kg·m; its argument is the angle of the heavy side.
	Imbalance complex128
	// Growth multiplies Imbalance over true time; empty is 1.
	Growth []Point
	// Horizontal and Vertical are the modes of the headstock. The zero Mode means 22 Hz and
	// 31 Hz, damping 0.05, 60 kg (chosen: an invented lathe).
	Horizontal, Vertical Mode

	Lines   []Line
	Cutting Cutting
	Knock   Knock
	Chip    Chip

	mu    sync.Mutex
	err   error
	run   *simulation
	truth []Truth
	dial  float64
	aim   bool // the dial was set
}

// Point is a value at a time in s. Between points the value changes linearly; before the
// first and after the last it holds. Times must not decrease; two equal times make a step.
type Point struct{ At, Value float64 }

// Mode is one way in which the headstock swings: natural frequency in Hz, damping ratio
// (0 up to but not including 1), modal mass in kg.
type Mode struct{ Hz, Damping, Mass float64 }

// Line is one further sinusoid: a multiple of the spindle, a belt, a motor, mains hum, a
// neighbour's machine. Its argument is 2π·Order·turns for Order > 0, and 2π·Hz·time
// otherwise; Order 1 belongs to the once-per-turn line itself.
type Line struct {
	Order float64 // periods per turn of the spindle, any real number
	Hz    float64 // fixed frequency, used when Order is 0
	// Ratio is the complex amplitude on each axis of the lathe as a multiple of the
	// steady once-per-turn amplitude at the same speed; Amp is one in m/s² peak. They add.
	// Amp of a Line with Order fades to nothing below 1 Hz of spindle speed.
	Ratio, Amp [3]complex128
}

// Cutting is noise while the tool cuts.
type Cutting struct {
	White float64 // m/s²/√Hz on each axis, one-sided, straight into the sensor
	Force float64 // N/√Hz, one-sided, into both modes, falling with 6 dB an octave above 200 Hz (chosen)
	// On and Off are the mean lengths in s of cuts and pauses (exponential). On 0 always cuts.
	On, Off float64
}

// Knock is a blow once per turn, as of a void that passes the tool: a half sine of 1 ms
// (chosen) on a small part of the lathe with its own ring. Seen as acceleration it adds
// next to nothing to the once-per-turn line itself: (f/Hz)² times what its size suggests.
type Knock struct {
	Peak    float64 // m/s² of the blow; 0 is none
	Hz      float64 // frequency of the ring; 0 means 300 (chosen)
	Damping float64 // damping ratio of the ring; 0 means 0.05 (chosen)
}

// Chip is the accelerometer. It has no filter against aliasing: what lies above half the
// rate folds, as on a cheap board.
type Chip struct {
	Rate      float64    // samples a second on its own clock; 0 means 1000
	Axes      int        // 1 to 3; 0 means 3
	Clock     float64    // relative error of its clock: 1e-4 stamps 1.0001 s for a true second
	Jitter    float64    // standard deviation of sample times, as a fraction of the interval, cut off at 0.45
	Stamp     float64    // s, stamps are rounded to multiples of this; 0 gives the true time. Equal stamps lose the later sample
	Missing   float64    // fraction of samples lost at random, below 1
	Gaps      []Point    // at At s of the sensor's clock, Value seconds are lost
	Hold      int        // each value is delivered this many times; 0 is 1
	Step      float64    // m/s², rounding of the values
	Range     float64    // m/s², clips beyond ±Range and is told in Block.Range; 0 is unlimited and unknown
	Noise     float64    // m/s²/√Hz on each axis, one-sided
	Turned    [3]float64 // rad, rotation about x, then y, then z of the lathe
	NoGravity bool       // leaves out the 9.80665 m/s² (ISO 80000-3) that a sensor at rest shows upwards
}

// Truth is what the simulated lathe knows about one moment.
type Truth struct {
	Time  float64 // s, on the sensor's clock
	Freq  float64 // Hz, true time, spindle speed; 0 when still
	Turns float64 // turns of the spindle since the start
	// Phasor is the once-per-turn acceleration on each axis of the sensor, m/s² peak:
	// aᵢ(t) = Re(Phasorᵢ·exp(2πi·Freq·(t−Time))). Amp is its size in the worst direction,
	// √((|p|² + |p·p|)/2) with p·p not conjugated. Both are the steady answer to the
	// imbalance and the speed of this moment: in a transient the modes lag behind it and
	// Settled is false. At 0 Hz both are 0.
	Phasor [3]complex128
	Amp    float64
	// Settled says that the spindle turns, and that neither programme nor dial have asked
	// for a change of more than 0.1 % (a second) for so long that what rings of it in the
	// modes is below 1 %. Wander and Growth do not count as a change.
	Settled bool
	// Lines holds the amplitude of each of Simulated.Lines in the worst direction, m/s².
	Lines []float64
}

// SetDial asks for a spindle speed in Hz from now on; the Speed programme ends. Negative
// and not finite values are taken as 0. It may be called at any time from any goroutine.
func (s *Simulated) SetDial(hz float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !(hz > 0) || math.IsInf(hz, 0) {
		hz = 0
	}
	s.dial, s.aim = hz, true
}

// Close implements Source.
func (s *Simulated) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err == nil {
		s.err = ErrClosed
	}
	return nil
}

// Next implements Source. It never waits: pacing is the caller's. Fields that describe
// nothing possible are an error.
func (s *Simulated) Next() (Block, error) {
	for {
		b, err := s.chunk()
		if err != nil || len(b.T) > 0 {
			return b, err
		}
	}
}

// chunk makes up to a quarter of a second, which may be empty within a gap.
func (s *Simulated) chunk() (Block, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err == nil && s.run == nil {
		s.err = s.check()
	}
	if s.err != nil {
		return Block{}, s.err
	}
	if s.run == nil {
		s.run = newSimulation(s)
	}
	r := s.run
	b := Block{Axes: make([][]float64, r.axes), Range: s.Chip.Range}
	ended := func() bool { return s.Seconds > 0 && float64(r.made) >= s.Seconds*r.rate }
	for n := int(min(1024, max(1, r.rate/4))); n > 0 && !ended(); n-- {
		r.sample(&b)
	}
	switch {
	case len(b.T) > 0:
		b.Lost, r.lost = r.lost, 0
		r.remember(0)
	case ended():
		s.err = io.EOF
	}
	return b, s.err
}

// Truth returns the truth at t, in s on the sensor's clock: linear between moments 1/64 s
// apart (or one sample, if that is longer). Outside of what Next has made so far it is the
// zero Truth, and so it is more than 10 minutes ago on a lathe that never ends.
func (s *Simulated) Truth(t float64) Truth {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := len(s.truth)
	if n == 0 || !(t >= s.truth[0].Time && t <= s.truth[n-1].Time+s.Chip.Stamp) {
		return Truth{}
	}
	t = min(t, s.truth[n-1].Time) // a rounded stamp may lie a little later
	i := sort.Search(n, func(i int) bool { return s.truth[i].Time >= t })
	if s.truth[i].Time == t {
		return s.truth[i]
	}
	a, b := s.truth[i-1], s.truth[i]
	w := (t - a.Time) / (b.Time - a.Time)
	mix := func(u, v float64) float64 { return u + w*(v-u) }
	m := Truth{Time: t, Freq: mix(a.Freq, b.Freq), Turns: mix(a.Turns, b.Turns),
		Amp: mix(a.Amp, b.Amp), Settled: a.Settled && b.Settled}
	for k := range m.Phasor {
		// Each turned to the moment t at its own speed before they are mixed.
		pa := a.Phasor[k] * cmplx.Rect(1, 2*math.Pi*(m.Turns-a.Turns))
		pb := b.Phasor[k] * cmplx.Rect(1, 2*math.Pi*(m.Turns-b.Turns))
		m.Phasor[k] = pa + complex(w, 0)*(pb-pa)
	}
	for k := range a.Lines {
		m.Lines = append(m.Lines, mix(a.Lines[k], b.Lines[k]))
	}
	return m
}

// check refuses what cannot be simulated.
func (s *Simulated) check() error {
	ok := func(v, low, high float64) bool { return v >= low && v <= high } // false for NaN
	c := s.Chip
	for _, f := range []struct {
		name         string
		v, low, high float64
	}{
		{"Seconds", s.Seconds, 0, 1e9}, {"Wander", s.Wander, 0, 0.2}, {"Lag", s.Lag, 0, 1e3}, {"Slew", s.Slew, 0, 1e6},
		{"Imbalance", cmplx.Abs(s.Imbalance), 0, 1e6},
		{"Horizontal.Hz", s.Horizontal.Hz, 0, 2000}, {"Horizontal.Damping", s.Horizontal.Damping, 0, 0.99}, {"Horizontal.Mass", s.Horizontal.Mass, 0, 1e9},
		{"Vertical.Hz", s.Vertical.Hz, 0, 2000}, {"Vertical.Damping", s.Vertical.Damping, 0, 0.99}, {"Vertical.Mass", s.Vertical.Mass, 0, 1e9},
		{"Cutting.White", s.Cutting.White, 0, 1e6}, {"Cutting.Force", s.Cutting.Force, 0, 1e6}, {"Cutting.On", s.Cutting.On, 0, 1e9}, {"Cutting.Off", s.Cutting.Off, 0, 1e9},
		{"Knock.Peak", s.Knock.Peak, 0, 1e6}, {"Knock.Hz", s.Knock.Hz, 0, 2000}, {"Knock.Damping", s.Knock.Damping, 0, 0.99},
		{"Chip.Rate", c.Rate, 0, 1e6}, {"Chip.Axes", float64(c.Axes), 0, 3}, {"Chip.Clock", c.Clock, -0.1, 0.1},
		{"Chip.Jitter", c.Jitter, 0, 10}, {"Chip.Stamp", c.Stamp, 0, 10}, {"Chip.Missing", c.Missing, 0, 0.99},
		{"Chip.Hold", float64(c.Hold), 0, 1e6}, {"Chip.Step", c.Step, 0, 1e6}, {"Chip.Range", c.Range, 0, 1e6}, {"Chip.Noise", c.Noise, 0, 1e6},
	} {
		if !ok(f.v, f.low, f.high) {
			return fmt.Errorf("simulated lathe: %s is %v, must be from %v to %v", f.name, f.v, f.low, f.high)
		}
	}
	for name, points := range map[string][]Point{"Speed": s.Speed, "Growth": s.Growth, "Chip.Gaps": c.Gaps} {
		for i, p := range points {
			if !ok(p.At, -1e9, 1e9) || !ok(p.Value, 0, 1e9) || i > 0 && p.At < points[i-1].At {
				return fmt.Errorf("simulated lathe: %s[%d] is %+v; times must not decrease, values not be negative", name, i, p)
			}
		}
	}
	return nil
}

// value of a programme at t, with empty for none.
func value(points []Point, t, empty float64) float64 {
	if len(points) == 0 {
		return empty
	}
	i := sort.Search(len(points), func(i int) bool { return points[i].At > t })
	switch i {
	case 0:
		return points[0].Value
	case len(points):
		return points[i-1].Value
	}
	a, b := points[i-1], points[i]
	return a.Value + (t-a.At)/(b.At-a.At)*(b.Value-a.Value)
}

// stream returns random numbers of their own for one purpose, so that switching one
// disturbance on leaves the others as they were.
func (s *Simulated) stream(purpose uint64) *rand.Rand { return rand.New(rand.NewPCG(s.Seed, purpose)) }

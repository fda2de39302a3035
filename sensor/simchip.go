package sensor

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// simulation is a Simulated that runs: the lathe seen through its chip.
type simulation struct {
	s      *Simulated
	lathe  *spindle
	rate   float64
	axes   int
	turned [3][3]float64 // sensor axis i = Σ turned[i][k]·(lathe axis k)

	made  int     // samples taken, lost ones too
	lost  int     // lost since the last block
	clock float64 // s, of the last sample taken, before rounding
	stamp float64 // s, of the last sample delivered
	value [3]float64
	noise float64 // m/s² rms of one sample, of the chip
	white float64 // m/s² rms of one sample, of the cutting

	when, drop, hiss, chips *rand.Rand
}

func newSimulation(s *Simulated) *simulation {
	r := &simulation{s: s, lathe: newSpindle(s), rate: or(s.Chip.Rate, 1000), axes: s.Chip.Axes, stamp: math.Inf(-1),
		turned: rotation(s.Chip.Turned), when: s.stream(3), drop: s.stream(4), hiss: s.stream(5), chips: s.stream(6)}
	if r.axes == 0 {
		r.axes = 3
	}
	// White noise of one-sided density d sampled at rate r has the variance d²·r/2.
	r.noise = s.Chip.Noise * math.Sqrt(r.rate/2)
	r.white = s.Cutting.White * math.Sqrt(r.rate/2)
	return r
}

// sample takes the next sample and appends it to b, or loses it.
func (r *simulation) sample(b *Block) {
	c := r.s.Chip
	r.clock = r.tick()
	clock := r.clock
	r.lathe.advance(clock / (1 + c.Clock))
	if r.made%max(1, c.Hold) == 0 {
		r.value = r.read()
	}
	r.made++
	r.remember(moment)
	if c.Stamp > 0 {
		clock = math.Round(clock/c.Stamp) * c.Stamp
	}
	missing := c.Missing > 0 && r.drop.Float64() < c.Missing
	for _, g := range c.Gaps {
		missing = missing || clock >= g.At && clock < g.At+g.Value
	}
	if missing || clock <= r.stamp {
		r.lost++
		return
	}
	r.stamp = clock
	b.T = append(b.T, clock)
	for i := range b.Axes {
		b.Axes[i] = append(b.Axes[i], r.value[i])
	}
}

// tick is the moment of the next sample on the chip's clock. The first is exactly 0.
func (r *simulation) tick() float64 {
	late := 0.0
	if r.s.Chip.Jitter > 0 && r.made > 0 {
		late = min(max(r.s.Chip.Jitter*r.when.NormFloat64(), -0.45), 0.45)
	}
	return (float64(r.made) + late) / r.rate
}

// read is what the chip shows now, m/s².
func (r *simulation) read() [3]float64 {
	c := r.s.Chip
	a := r.lathe.acceleration()
	if !c.NoGravity {
		a[1] += gravity
	}
	var shown [3]float64
	for i := range r.axes {
		v := r.turned[i][0]*a[0] + r.turned[i][1]*a[1] + r.turned[i][2]*a[2]
		if r.noise > 0 {
			v += r.noise * r.hiss.NormFloat64()
		}
		if r.white > 0 && r.lathe.cuts(r.lathe.t) {
			v += r.white * r.chips.NormFloat64()
		}
		if c.Range > 0 {
			v = min(max(v, -c.Range), c.Range)
		}
		if c.Step > 0 {
			v = math.Round(v/c.Step) * c.Step
		}
		shown[i] = v
	}
	return shown
}

// remember stores the truth of this moment, unless the last one is younger than age, s.
func (r *simulation) remember(age float64) {
	s, p := r.s, r.lathe
	if n := len(s.truth); n > 0 && (r.clock < s.truth[n-1].Time+age || r.clock == s.truth[n-1].Time) {
		return
	}
	a := p.steady()
	size := worst(a)
	t := Truth{Time: r.clock, Freq: p.freq, Turns: p.turns, Settled: p.freq > 0 && p.calm > p.need}
	for _, l := range s.Lines {
		c := p.line(l, size)
		t.Lines = append(t.Lines, worst(r.seen(c)))
		if l.Order == 1 {
			for i := range a {
				a[i] += c[i]
			}
		}
	}
	t.Phasor = r.seen(a)
	t.Amp = worst(t.Phasor)
	for i := range t.Phasor {
		t.Phasor[i] *= cmplx.Rect(1, 2*math.Pi*math.Mod(p.turns, 1))
	}
	if s.truth = append(s.truth, t); s.Seconds == 0 && len(s.truth) >= 2*remembered {
		s.truth = append(s.truth[:0], s.truth[len(s.truth)-remembered:]...)
	}
}

// seen turns a phasor from the lathe's axes to those that the chip has.
func (r *simulation) seen(a [3]complex128) [3]complex128 {
	var p [3]complex128
	for i := range r.axes {
		for k := range a {
			p[i] += complex(r.turned[i][k], 0) * a[k]
		}
	}
	return p
}

// rotation about x, then y, then z by the angles in rad: Rz·Ry·Rx.
func rotation(angle [3]float64) [3][3]float64 {
	sx, cx := math.Sincos(angle[0])
	sy, cy := math.Sincos(angle[1])
	sz, cz := math.Sincos(angle[2])
	return [3][3]float64{
		{cz * cy, cz*sy*sx - sz*cx, cz*sy*cx + sz*sx},
		{sz * cy, sz*sy*sx + cz*cx, sz*sy*cx - cz*sx},
		{-sy, cy * sx, cy * cx},
	}
}

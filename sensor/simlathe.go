package sensor

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

const (
	gravity   = 9.80665    // m/s², standard acceleration of free fall, ISO 80000-3
	finest    = 1.0 / 8192 // s, chosen: longest step of the force; a straight line over it is 0.03 % off a sine of 65 Hz
	cutBand   = 200.0      // Hz, chosen: corner of the cutting force
	blow      = 1e-3       // s, chosen: length of a knock
	wanderFor = 3.0        // s, chosen: time constant of each of the two stages of Wander
	moment    = 1.0 / 64   // s, chosen: distance of the stored truths
	// remembered is how many truths an endless lathe keeps at least: 10 minutes (chosen, some
	// 5 MB), as a panel that runs for days must not grow.
	remembered = 10 * 60 * 64
)

// spindle is the lathe in motion, in its own axes and in true time.
type spindle struct {
	s     *Simulated
	t     float64 // s
	base  float64 // Hz, speed without wander
	freq  float64 // Hz
	turns float64
	calm  float64 // s since the speed was last asked to change
	need  float64 // s of calm until the modes have settled

	modes       [2]oscillator // horizontal, vertical
	ring        oscillator    // of the knock, mass 1
	force       [2]float64    // N, at t
	since       float64       // s since the last blow
	slow, drift float64       // the two stages of Wander, standard deviation 1 and 1/√2

	cutting  bool
	shove    [2]float64 // N, of the tool
	change   float64    // s, when cutting starts or stops next
	wandered *rand.Rand
	cut      *rand.Rand
}

func newSpindle(s *Simulated) *spindle {
	p := &spindle{s: s, wandered: s.stream(1), cut: s.stream(2), since: math.Inf(1), cutting: true, change: math.Inf(1)}
	modes := [2]Mode{orMode(s.Horizontal, 22), orMode(s.Vertical, 31)}
	for i, m := range modes {
		p.modes[i] = oscillator{Mode: m}
		// 5 time constants: e⁻⁵ is 0.7 %. An undamped mode never settles.
		p.need = max(p.need, 5/(2*math.Pi*m.Hz*m.Damping))
	}
	p.ring = oscillator{Mode: Mode{Hz: or(s.Knock.Hz, 300), Damping: or(s.Knock.Damping, 0.05), Mass: 1}}
	if s.Cutting.On > 0 {
		p.change = p.cut.ExpFloat64() * s.Cutting.On
	}
	p.base = value(s.Speed, 0, 0)
	p.freq = p.base
	p.slow = p.wandered.NormFloat64()
	p.calm = math.Inf(1)
	// Starts as if it had always turned like this.
	w := 2 * math.Pi * p.freq
	for i, a := range p.steady() {
		if i < len(p.modes) && w > 0 {
			p.modes[i].x = -real(a) / (w * w)
			p.modes[i].v = imag(a) / w
		}
	}
	p.force = p.push(0, w)
	return p
}

func or(v, zero float64) float64 {
	if v == 0 {
		return zero
	}
	return v
}

func orMode(m Mode, hz float64) Mode {
	return Mode{Hz: or(m.Hz, hz), Damping: or(m.Damping, 0.05), Mass: or(m.Mass, 60)}
}

// advance moves the lathe on to time t in steps no longer than finest. The speed is linear
// within the whole; the force U·ω²(cos θ, sin θ) linear within a step. The force of the
// angular acceleration itself, U·dω/dt, is left out.
func (p *spindle) advance(t float64) {
	dt := t - p.t
	if dt <= 0 {
		return
	}
	before := p.freq
	p.setSpeed(t, dt)
	n := math.Ceil(dt / finest)
	h := dt / n
	for i := range p.modes {
		p.modes[i].prepare(h)
	}
	knocks := p.s.Knock.Peak > 0
	if knocks {
		p.ring.prepare(h)
	}
	rough := 0.0
	if p.cuts(t) {
		rough = p.s.Cutting.Force * math.Sqrt(0.5/h)
	}
	soft := 1 - math.Exp(-2*math.Pi*cutBand*h)
	start, slope := p.turns, (p.freq-before)/dt
	for i := 1.0; i <= n; i++ {
		u := i * h
		turns := start + (before+slope*u/2)*u
		force := p.push(turns, 2*math.Pi*(before+slope*u))
		if p.s.Cutting.Force > 0 {
			for i := range force {
				p.shove[i] += soft * (rough*p.cut.NormFloat64() - p.shove[i])
				force[i] += p.shove[i]
			}
		}
		p.modes[0].step(p.force[0], force[0])
		p.modes[1].step(p.force[1], force[1])
		p.force = force
		if knocks {
			p.knock(turns, h)
		}
		p.turns = turns
	}
	p.t = t
}

// push is the force of the imbalance in N, with the spindle at turns and w rad/s.
func (p *spindle) push(turns, w float64) [2]float64 {
	if w == 0 || p.s.Imbalance == 0 {
		return [2]float64{}
	}
	u := p.s.Imbalance
	if len(p.s.Growth) > 0 {
		u *= complex(value(p.s.Growth, p.t, 1), 0)
	}
	_, part := math.Modf(turns)
	sin, cos := math.Sincos(2 * math.Pi * part)
	w *= w
	return [2]float64{w * (real(u)*cos - imag(u)*sin), w * (real(u)*sin + imag(u)*cos)}
}

// knock lets the blow start when a whole turn is complete, and drives its ring.
func (p *spindle) knock(turns, h float64) {
	hit := func() float64 {
		if p.since >= blow {
			return 0
		}
		return p.s.Knock.Peak * math.Sin(math.Pi*p.since/blow)
	}
	f := hit()
	p.since += h
	if whole := math.Floor(turns); whole > math.Floor(p.turns) {
		p.since = h * (turns - whole) / (turns - p.turns)
	}
	p.ring.step(f, hit())
}

// setSpeed sets the speed for time t, dt after the last.
func (p *spindle) setSpeed(t, dt float64) {
	before, aim := p.base, p.s.dial
	if p.s.aim {
		change := (aim - p.base) * (1 - math.Exp(-dt/or(p.s.Lag, 0.5)))
		most := or(p.s.Slew, 5) * dt
		p.base += min(max(change, -most), most)
		if math.Abs(p.base-aim) < 1e-4*aim || aim == 0 && p.base < 0.05 {
			p.base = aim
		}
	} else {
		p.base = value(p.s.Speed, t, 0)
		aim = p.base
	}
	p.calm += dt
	if math.Abs(p.base-before) > 1e-3*p.base*dt || math.Abs(p.base-aim) > 1e-3*aim {
		p.calm = 0
	}
	p.freq = p.base
	if p.s.Wander > 0 {
		p.slow += -p.slow*dt/wanderFor + math.Sqrt(2*dt/wanderFor)*p.wandered.NormFloat64()
		p.drift += (p.slow - p.drift) * dt / wanderFor
		p.freq = max(0, p.base*(1+math.Sqrt2*p.s.Wander*p.drift))
	}
}

// cuts says whether the tool cuts at time t.
func (p *spindle) cuts(t float64) bool {
	for t >= p.change {
		p.cutting = !p.cutting
		mean := p.s.Cutting.Off
		if p.cutting {
			mean = p.s.Cutting.On
		}
		// Not below 1 ms, so that the loop ends.
		p.change += max(1e-3, p.cut.ExpFloat64()*mean)
	}
	return p.cutting
}

// acceleration of the headstock in the lathe's axes, m/s², without gravity.
func (p *spindle) acceleration() [3]float64 {
	a := [3]float64{p.modes[0].acceleration(p.force[0]), p.modes[1].acceleration(p.force[1])}
	if p.s.Knock.Peak > 0 {
		f := 0.0
		if p.since < blow {
			f = p.s.Knock.Peak * math.Sin(math.Pi*p.since/blow)
		}
		k := p.ring.acceleration(f)
		a[0] += 0.8 * k // chosen: mostly level, towards the tool
		a[1] += 0.6 * k
	}
	if len(p.s.Lines) == 0 {
		return a
	}
	size := worst(p.steady())
	for _, l := range p.s.Lines {
		sin, cos := math.Sincos(2 * math.Pi * p.phase(l))
		for i, c := range p.line(l, size) {
			a[i] += real(c)*cos - imag(c)*sin
		}
	}
	return a
}

// phase of a line, in periods.
func (p *spindle) phase(l Line) float64 {
	if l.Order > 0 {
		return math.Mod(l.Order*p.turns, 1)
	}
	return math.Mod(l.Hz*p.t, 1)
}

// line is the complex amplitude of l when the once-per-turn amplitude is size.
func (p *spindle) line(l Line, size float64) [3]complex128 {
	fade := 1.0
	if l.Order > 0 {
		fade = min(1, p.freq)
	}
	var c [3]complex128
	for i := range c {
		c[i] = complex(size, 0)*l.Ratio[i] + complex(fade, 0)*l.Amp[i]
	}
	return c
}

// steady is the acceleration phasor in the lathe's axes that the imbalance of this moment
// would reach at the speed of this moment, m/s² peak, with the angle of the spindle as zero:
// a = U·ω⁴ / (M·(ωn² − ω² + 2iζωnω)), the steady state of rotating unbalance, Thomson,
// Theory of Vibration with Applications, eq. 3.2-4, for the total mass M; the vertical force
// lags the horizontal one by a quarter turn.
func (p *spindle) steady() [3]complex128 {
	w := 2 * math.Pi * p.freq
	u := p.s.Imbalance * complex(value(p.s.Growth, p.t, 1), 0)
	var a [3]complex128
	for i, m := range p.modes {
		wn := 2 * math.Pi * m.Hz
		a[i] = -u * complex(w*w*w*w/m.Mass, 0) / complex(wn*wn-w*w, 2*m.Damping*wn*w)
	}
	a[1] *= -1i
	return a
}

// worst is the amplitude of the motion p in its worst direction: the long half axis of the
// ellipse, √((|p|² + |p·p|)/2) with p·p not conjugated.
func worst(p [3]complex128) float64 {
	var size float64
	var square complex128
	for _, c := range p {
		size += real(c)*real(c) + imag(c)*imag(c)
		square += c * c
	}
	return math.Sqrt((size + cmplx.Abs(square)) / 2)
}

// oscillator is one damped mode with its state: displacement in m and velocity in m/s.
type oscillator struct {
	Mode
	x, v float64

	h              float64 // s, step that the factors below are for
	xx, xv, x0, x1 float64
	vx, vv, v0, v1 float64
}

// prepare computes the factors of the exact step h under a force that changes linearly:
// Chopra, Dynamics of Structures, table 5.2.1.
func (o *oscillator) prepare(h float64) {
	if h == o.h {
		return
	}
	o.h = h
	w, z := 2*math.Pi*o.Hz, o.Damping
	k, r := o.Mass*w*w, math.Sqrt(1-z*z)
	sin, cos := math.Sincos(w * r * h)
	e := math.Exp(-z * w * h)
	wh, g := w*h, z/r
	o.xx = e * (g*sin + cos)
	o.xv = e * sin / (w * r)
	o.x0 = (2*z/wh + e*(((1-2*z*z)/(r*wh)-g)*sin-(1+2*z/wh)*cos)) / k
	o.x1 = (1 - 2*z/wh + e*((2*z*z-1)/(r*wh)*sin+2*z/wh*cos)) / k
	o.vx = -e * w / r * sin
	o.vv = e * (cos - g*sin)
	o.v0 = (-1/h + e*((w/r+g/h)*sin+cos/h)) / k
	o.v1 = (1 - e*(g*sin+cos)) / (k * h)
}

// step moves on by one prepared step, with the force in N at its beginning and end.
func (o *oscillator) step(f0, f1 float64) {
	o.x, o.v = o.xx*o.x+o.xv*o.v+o.x0*f0+o.x1*f1, o.vx*o.x+o.vv*o.v+o.v0*f0+o.v1*f1
}

// acceleration under force f, m/s².
func (o *oscillator) acceleration(f float64) float64 {
	w := 2 * math.Pi * o.Hz
	return f/o.Mass - 2*o.Damping*w*o.v - w*w*o.x
}

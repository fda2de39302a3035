package assess_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"vibe/assess"
	"vibe/dsp"
)

// shop is a simulated lathe with a blank and a turner who obeys: the truth that the
// adviser is judged by. It knows the response of a rotating imbalance through two modes of
// unlike mass, stiffness and damping, seen in the worst direction.
type shop struct {
	*rand.Rand
	lathe assess.Lathe
	blank assess.Blank
	task  assess.Task

	f, zeta, share [2]float64 // of the modes: Hz, damping, compliance
	cross          float64    // angle in rad by which the second direction is off a right angle
	throw          float64    // mm, amplitude far above resonance
	fading         float64    // share of the throw lost per minute as wood comes off
	dial           float64    // true speed over what the dial says
	slew           float64    // rpm/s
	noise          float64    // relative standard error of a reading
	cutting        float64    // relative wander of the shake
	faulty         float64    // share of readings that are lost in bursts
	tool           *rand.Rand // of the cut
	chips, catches float64    // mm/s rms of the cut; a second
	caught         catch      // the last one

	loosenAt  float64 // s, 0: never
	loosening float64 // growth per s of ln(shake)

	t, speed, target, wander float64
	past                     []moment
	burst                    int
}

type moment struct{ t, speed, shake, total float64 }

// catch is a tool that catches: over within a second, however violent; the turner takes it off
// the wood for five.
type catch struct{ until, level float64 }

func newShop(seed uint64) *shop {
	r := rand.New(rand.NewPCG(seed, 7))
	log := func(a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }
	pick := func(n int) int { return r.IntN(n) }
	s := &shop{Rand: r}
	s.lathe = assess.Lathe{Low: assess.RPM(log(50, 400)), High: assess.RPM(log(1800, 4000))}
	if pick(3) == 0 {
		n := log(300, 500)
		for n < 3600 {
			s.lathe.Steps = append(s.lathe.Steps, assess.RPM(math.Round(n)))
			n *= 1.2 + 0.4*r.Float64()
		}
	}
	d := assess.MM(log(40, 450))
	s.blank = assess.Blank{Diameter: d, Length: d * assess.MM(log(0.2, 2)), Held: []assess.Held{"chuck", "faceplate", "screw"}[pick(3)],
		Tailstock: pick(2) == 0, Balance: []assess.Balance{"true", "sawn", "rough", "burl", ""}[pick(5)], Wood: "cherry", Moisture: log(8, 80)}
	s.task = []assess.Task{"roughing", "shaping", "finishing", "sanding", ""}[pick(5)]
	s.f = [2]float64{log(9, 60), log(9, 60)}
	s.zeta = [2]float64{log(0.015, 0.1), log(0.015, 0.1)}
	s.share = [2]float64{1, log(0.2, 1)}
	s.cross = 0.4 * r.NormFloat64()
	s.throw = log(0.003, 0.3)
	s.fading = log(0.005, 0.2)
	s.dial = 1 + 0.05*(2*r.Float64()-1)
	s.slew = log(40, 300)
	s.noise, s.cutting = log(0.003, 0.03), log(0.005, 0.04)
	if pick(3) == 0 {
		s.faulty = log(0.005, 0.05)
	}
	s.tool = rand.New(rand.NewPCG(seed, 8))
	s.chips, s.catches = log(0.1, 2.5), log(0.002, 0.02)
	return s
}

// visible makes the blank lopsided enough that the sensor sees it at n: nothing can be
// advised about what cannot be measured.
func (s *shop) visible(n assess.RPM) {
	if v := s.truth(float64(n)); v < 0.06 {
		s.throw *= 0.06 / v
	}
}

// truth is the steady shake at n in mm/s rms.
func (s *shop) truth(n float64) float64 {
	w := 2 * math.Pi * n / 60
	var p, q complex128
	for i := range 2 {
		r := n / 60 / s.f[i]
		h := complex(s.share[i]*r*r, 0) / complex(1-r*r, 2*s.zeta[i]*r)
		if i == 0 {
			p = h
			continue
		}
		h *= 1i * cmplx.Exp(complex(0, s.cross))
		q = h
	}
	sum := real(p)*real(p) + imag(p)*imag(p) + real(q)*real(q) + imag(q)*imag(q)
	a := math.Sqrt((sum + cmplx.Abs(p*p+q*q)) / 2)
	throw := s.throw * math.Exp(-s.fading*s.t/60)
	if s.loosenAt > 0 && s.t > s.loosenAt {
		throw *= math.Exp(s.loosening * (s.t - s.loosenAt))
	}
	return throw * w * a / math.Sqrt2
}

// next lets a quarter of a second pass and returns the reading of the window that ends
// then: about eight turns, 0.7 to 4 s.
func (s *shop) next() assess.Reading {
	const step = 0.05
	for range 5 {
		s.t += step
		d := s.target - s.speed
		s.speed += math.Copysign(min(math.Abs(d), s.slew*step), d)
		s.wander += -s.wander*step/1.5 + s.cutting*math.Sqrt(2*step/1.5)*s.NormFloat64()
		shake := s.truth(s.speed) * math.Exp(s.wander)
		s.past = append(s.past, moment{s.t, s.speed, shake, s.all(shake, step)})
	}
	if len(s.past) > 100 {
		s.past = s.past[len(s.past)-100:]
	}
	span := min(4, max(0.7, 8*60/max(s.speed, 1)))
	var shake, speed, square, n, low, high float64
	low = math.Inf(1)
	for _, m := range s.past {
		if m.t > s.t-span {
			shake, speed, square, n = shake+m.shake, speed+m.speed, square+m.total*m.total, n+1
			low, high = min(low, m.speed), max(high, m.speed)
		}
	}
	shake, speed = shake/n, speed/n
	r := assess.Reading{T: s.t - span/2, Span: span, OK: true, Speed: assess.RPM(speed * (1 + 0.0003*s.NormFloat64())), SpeedSE: assess.RPM(0.0003 * speed),
		Shake: shake * (1 + s.noise*s.NormFloat64()), ShakeSE: s.noise * shake, Multiples: []float64{0.2, 0.1}, Total: math.Sqrt(square / n)}
	r.Feel = assess.FeelOf(r.Shake)
	switch {
	case s.speed < 20:
		return assess.Reading{T: r.T, Span: span, Faults: []dsp.Fault{dsp.NoTurn}}
	case high-low > 0.02*speed:
		r.OK, r.Faults = false, []dsp.Fault{dsp.Changing}
	case r.Shake < 0.03:
		r.OK, r.Faults = false, []dsp.Fault{dsp.Weak}
	}
	return s.spoil(r)
}

// all is all vibration from 10 Hz up in mm/s rms: the cut, two seconds of three, catches, and
// from 600 rpm on the shake.
func (s *shop) all(shake, step float64) float64 {
	if s.t > s.caught.until+5 && s.speed > 20 && s.tool.Float64() < s.catches*step {
		s.caught = catch{s.t + 0.1 + 0.8*s.tool.Float64(), 3 * math.Pow(20, s.tool.Float64())}
	}
	sum := 0.0
	if math.Mod(s.t, 3) < 2 {
		sum += s.chips * s.chips
	}
	if s.t < s.caught.until {
		sum += s.caught.level * s.caught.level
	}
	if s.speed >= 600 {
		sum += shake * shake
	}
	return math.Sqrt(sum)
}

// spoil loses readings in bursts: wrong numbers with a fault, or a reading not ok.
func (s *shop) spoil(r assess.Reading) assess.Reading {
	if s.burst == 0 && s.Float64() < s.faulty {
		s.burst = 1 + s.IntN(12)
	}
	if s.burst == 0 {
		return r
	}
	s.burst--
	r.OK = false
	r.Faults = append(r.Faults, []dsp.Fault{dsp.Weak, dsp.Doubtful, dsp.Gap, dsp.Stuck, dsp.Folded, dsp.Coarse, dsp.Clipped}[s.IntN(7)])
	r.Speed *= assess.RPM(0.3 + 2*s.Float64())
	r.Shake *= 0.2 + s.Float64()
	return r
}

// turn sets the dial; the pulley of a lathe with steps gives the step itself.
func (s *shop) turn(n assess.RPM) {
	s.target = float64(n) * s.dial
	if len(s.lathe.Steps) > 0 {
		s.target = float64(n)
	}
}

// outcome of a session.
type outcome struct {
	speed     float64    // rpm at the end
	started   assess.RPM // at last
	said      string
	unsafe    []string
	stopped   string // what was said
	stoppedAt float64
	grown     float64 // s, when the shake passed 1.6 times what it was
}

// run lets the turner obey for so many seconds. After a stop it is over, but for a violent
// one in a start that was too fast: that is tried again slower, as long as the lathe can.
func (s *shop) run(seconds float64, start, top assess.RPM) outcome {
	a := &assess.Adviser{Lathe: s.lathe, Blank: s.blank, Task: s.task, Checked: true}
	var out outcome
	s.turn(start)
	heard, since, turned := assess.Advice{}, 0.0, 0.0
	for s.t < seconds {
		reading := s.next()
		d := a.See(reading)
		if s.loosenAt > 0 && out.grown == 0 && s.loosening*(s.t-s.loosenAt) > math.Log(1.6) && s.truth(s.speed) > 0.28 {
			out.grown = s.t
		}
		if d.Speed > top {
			out.unsafe = append(out.unsafe, "above a ceiling: "+d.Say)
		}
		if d.Action == assess.Raise && s.passesRough(float64(d.Speed)) {
			out.unsafe = append(out.unsafe, d.Say)
		}
		if d.Action == assess.Stop && s.tooFast(d) && s.target > 0 {
			start = s.lathe.Fit(assess.RPM(0.85 * s.speed))
			s.target = 0
		}
		if s.speed > 0 {
			turned = s.t
		}
		if s.target == 0 && s.t-turned > 8 { // readings lag by up to 4 s
			s.turn(start)
		}
		if d.Action == assess.Stop && s.target > 0 {
			out.stopped, out.stoppedAt = d.Say, s.t
			break
		}
		if d.Action != heard.Action || d.Speed != heard.Speed {
			heard, since = d, s.t
		}
		if (d.Action == assess.Raise || d.Action == assess.Lower) && s.t-since >= 1 && s.target > 0 {
			if s.t-since > 5 && reading.OK && len(s.lathe.Steps) == 0 { // sees that the dial is off, and allows for it
				s.dial *= float64(d.Speed / reading.Speed)
				since = s.t - 1
			}
			s.turn(d.Speed)
		}
	}
	out.speed, out.started, out.said = s.speed, start, heard.Say
	return out
}

// tooFast reports whether a stop only means that the blank was started too fast, and the
// lathe can be started slower.
func (s *shop) tooFast(d assess.Advice) bool {
	again := slices.ContainsFunc(d.Reasons, func(r assess.Reason) bool { return r.Code == "make-better" })
	return again && s.loosenAt == 0 && s.truth(s.speed) > 0.9*assess.DefaultEdges[1] && s.lathe.Fit(assess.RPM(0.85*s.speed)) > 0
}

func (s *shop) passesRough(to float64) bool {
	for n := s.speed; n < to; n *= 1.005 {
		if s.truth(n) >= assess.DefaultEdges[1] {
			return true
		}
	}
	return false
}

// fastest is the highest speed of the lathe up to top that is comfortable and can be
// reached from start over comfortable speeds alone, in steps that a raise may take; from
// a start that is not comfortable, the highest comfortable speed below it. 0 if none.
func (s *shop) fastest(start, top assess.RPM) float64 {
	fine := func(n float64) bool { return s.truth(n) < assess.DefaultEdges[1] }
	n := float64(start)
	low := float64(s.lathe.Speeds(0, 1e6)[0])
	if !fine(n) {
		for n > low && !fine(n) {
			n /= 1.005
		}
		n = float64(s.lathe.Fit(assess.RPM(n)))
		if n > 0 && fine(n) {
			return n
		}
		return 0
	}
	best := n
	for ; n <= float64(top) && fine(n); n *= 1.005 {
		if s.lathe.Fit(assess.RPM(n)) > assess.RPM(1.15*best) {
			break // the next pulley step is too far
		}
		best = max(best, float64(s.lathe.Fit(assess.RPM(n))))
	}
	return best
}

package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"vibe/dsp"
	"vibe/sensor"
)

var mixes = flag.Int("mixes", 150, "recordings in TestMix")
var mixFrom = flag.Int("mixfrom", 0, "first seed of TestMix")
var mixHard = flag.Bool("mixhard", false, "sensors without a filter: lines fold")
var mixShow = flag.Bool("mixshow", false, "print every bad reading")

// mix is a random lathe, blank and sensor with a random choice of disturbances.
type mix struct {
	sim     *sensor.Simulated
	kind    string
	noise   float64 // m/s²/√Hz
	canFold bool    // an even sensor cannot tell the speed from its image
	alone   bool    // no line that could be another spindle's
}

func logUniform(r *rand.Rand, lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }

func randomMix(seed uint64) mix {
	r := rand.New(rand.NewPCG(seed, 77))
	m := mix{alone: true}
	f := logUniform(r, 3, 65)
	rates := []float64{60, 100, 200, 400, 800, 1000, 1600, 3200}
	rate := rates[r.IntN(len(rates))]
	s := &sensor.Simulated{Seed: seed, Seconds: 12, Wander: []float64{0, 0.001, 0.003}[r.IntN(3)]}
	if !*mixHard {
		for f > 0.4*rate {
			rate *= 2
		}
	}
	s.Horizontal = sensor.Mode{Hz: logUniform(r, 8, 60), Damping: 0.02 + 0.08*r.Float64(), Mass: 60}
	s.Vertical = sensor.Mode{Hz: logUniform(r, 12, 80), Damping: 0.02 + 0.08*r.Float64(), Mass: 60}
	f2 := f * (0.7 + 0.6*r.Float64())
	s.Speed = []sensor.Point{{At: 0, Value: f}, {At: 6, Value: f}, {At: 6 + math.Abs(f2-f)/2, Value: f2}}
	if r.IntN(3) == 0 {
		s.Speed = s.Speed[:1]
	}
	m.noise = logUniform(r, 1e-4, 5e-3)
	s.Chip = sensor.Chip{Rate: rate, Noise: m.noise, Axes: 1 + r.IntN(3), Turned: [3]float64{r.Float64() * 6, r.Float64() * 6, r.Float64() * 6}}
	if r.IntN(2) == 0 {
		s.Chip.Jitter = 0.2 * r.Float64()
	}
	if r.IntN(4) == 0 {
		s.Chip.Missing = 0.05 * r.Float64()
	}
	if r.IntN(2) == 0 {
		s.Chip.Step = logUniform(r, 5e-4, 0.1)
	}
	// Shake from 0.05 to 20 mm/s rms at f.
	probe := sensor.Simulated{Speed: s.Speed, Horizontal: s.Horizontal, Vertical: s.Vertical, Imbalance: 1, Seconds: 0.1, Chip: s.Chip}
	probe.Next()
	amp := logUniform(r, 0.05, 20) / 1000 * 2 * math.Pi * f * math.Sqrt2
	s.Imbalance = complex(amp/probe.Truth(0.01).Amp, 0)
	phase := func(a float64) complex128 {
		p := r.Float64() * 2 * math.Pi
		return complex(a*math.Cos(p), a*math.Sin(p))
	}
	vec := func(a float64) [3]complex128 {
		return [3]complex128{phase(a), phase(a * r.Float64()), phase(a * r.Float64())}
	}
	for k := 2; k <= 8; k++ {
		if r.IntN(2) == 0 {
			s.Lines = append(s.Lines, sensor.Line{Order: float64(k), Ratio: vec(logUniform(r, 0.01, 1))})
		}
	}
	if r.IntN(4) == 0 {
		m.kind += " cutter"
		k := 3 + r.IntN(2)
		s.Lines = append(s.Lines, sensor.Line{Order: float64(k), Ratio: vec(logUniform(r, 1, 10))}, sensor.Line{Order: float64(2 * k), Ratio: vec(logUniform(r, 0.1, 3))})
	}
	if r.IntN(3) == 0 {
		m.kind += " belt"
		o, a := 0.25+0.55*r.Float64(), logUniform(r, 0.02, 0.6)
		s.Lines = append(s.Lines, sensor.Line{Order: o, Ratio: vec(a * o)}, sensor.Line{Order: 2 * o, Ratio: vec(a * o)})
		m.alone = false
	}
	if r.IntN(3) == 0 {
		m.kind += " motor"
		o := 1.2 + 2*r.Float64()
		s.Lines = append(s.Lines, sensor.Line{Order: o, Ratio: vec(logUniform(r, 0.02, 0.6) * o)})
		m.alone = false
	}
	if r.IntN(3) == 0 {
		m.kind += " hum"
		hz := []float64{50, 60}[r.IntN(2)]
		s.Lines = append(s.Lines, sensor.Line{Hz: hz, Amp: vec(logUniform(r, 0.001, 0.3))}, sensor.Line{Hz: 2 * hz, Amp: vec(logUniform(r, 0.001, 0.3))})
	}
	if r.IntN(3) == 0 {
		m.kind += " cutting"
		s.Cutting = sensor.Cutting{White: logUniform(r, 1e-3, 3e-2), Force: logUniform(r, 0.01, 0.3), On: 1.5, Off: 1.5}
	}
	if r.IntN(4) == 0 {
		m.kind += " knock"
		s.Knock = sensor.Knock{Peak: logUniform(r, 0.5, 30)}
	}
	if !*mixHard {
		// A sensor with a filter: what lies above half the rate is not there.
		s.Lines = slices.DeleteFunc(s.Lines, func(l sensor.Line) bool { return max(l.Order*f*1.3, l.Hz) > 0.5*rate })
		if rate < 800 {
			s.Knock.Peak = 0
		}
	}
	m.sim = s
	m.canFold = rate < 2*70+f
	m.kind = fmt.Sprintf("f %.2f rate %.0f ax %d%s", f, rate, s.Chip.Axes, m.kind)
	return m
}

// tally counts what became of the readings.
type tally struct {
	settled, allowed, allowedOK, ok, wrongSpeed, wrongShake, okUnsettled, wrongUnsettled int
	badFiles                                                                             int
}

func (m mix) run(t *testing.T, hint bool, c *tally) {
	tr := &dsp.Tracker{}
	if hint {
		tr.Hint = m.sim.Speed[0].Value * 1.03
	}
	bad := false
	for {
		b, err := m.sim.Next()
		if err != nil {
			break
		}
		for _, v := range tr.Add(b.T, b.Axes) {
			truth := m.sim.Truth(v.Time)
			settled := true
			for u := -0.5; u <= 0.5; u += 0.1 {
				q := m.sim.Truth(v.Time + u*v.Span)
				settled = settled && q.Settled && math.Abs(q.Freq/truth.Freq-1) < 0.02
			}
			eSpeed, eShake := v.Freq/truth.Freq-1, v.Amp/truth.Amp-1
			w := 2 * math.Pi * truth.Freq
			shake := truth.Amp / w / math.Sqrt2 * 1000
			noise := math.Hypot(m.noise, m.sim.Cutting.White)
			allowed := settled && noise/2 <= 0.04*truth.Amp && shake > 0.03 && v.Span > min(7.5/truth.Freq, 3.9) && (hint || m.alone && !m.canFold) && m.sim.Knock.Peak == 0
			if hint && math.Abs(truth.Freq/tr.Hint-1) > 0.075 {
				continue
			}
			if settled {
				c.settled++
			}
			if allowed {
				c.allowed++
				if v.OK {
					c.allowedOK++
				}
			}
			if v.OK && settled {
				c.ok++
				if math.Abs(eShake) > 0.05 {
					c.wrongShake++
				}
				if math.Abs(eSpeed) > 0.004 {
					c.wrongSpeed++
				}
			}
			if v.OK && !settled {
				c.okUnsettled++
				if math.Abs(eSpeed) > 0.01 {
					c.wrongUnsettled++
				}
			}
			if *mixShow && (v.OK && (math.Abs(eSpeed) > 0.004 && settled || math.Abs(eSpeed) > 0.01 || math.Abs(eShake) > 0.05 && settled) || allowed && !v.OK) {
				mark := "WRONG"
				if !v.OK {
					mark = "miss"
				} else if math.Abs(eSpeed) < 0.004 {
					mark = "shake"
				}
				fmt.Fprintf(os.Stdout, "  %s t %.2f span %.2f f %.3f±%.3f (true %.3f) amp %.4f±%.4f (true %.4f) rival %.2f drift %.2f %v settled %v\n", mark, v.Time, v.Span, v.Freq, v.FreqSE, truth.Freq, v.Amp, v.AmpSE, truth.Amp, v.Rival, v.Drift, v.Faults, settled)
				bad = true
			}
		}
	}
	if bad {
		c.badFiles++
		fmt.Printf("^ seed %s noise %.4f step %.4f jit %.2f miss %.3f wander %.3f hint %v\n", m.kind, m.noise, m.sim.Chip.Step, m.sim.Chip.Jitter, m.sim.Chip.Missing, m.sim.Wander, hint)
	}
}

func TestMix(t *testing.T) {
	for _, hint := range []bool{false, true} {
		var c tally
		for i := range *mixes {
			if *mixShow {
				fmt.Println("seed", *mixFrom+i)
			}
			randomMix(uint64(*mixFrom+i)).run(t, hint, &c)
		}
		fmt.Printf("hint %v: settled %d, allowed %d ok of them %.1f%%; ok %d: wrong speed %d, wrong shake %.2f%%; unsettled ok %d wrong %d\n", hint, c.settled, c.allowed, 100*float64(c.allowedOK)/float64(c.allowed), c.ok, c.wrongSpeed, 100*float64(c.wrongShake)/float64(c.ok), c.okUnsettled, c.wrongUnsettled)
	}
}

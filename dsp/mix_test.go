package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

var (
	mixes    = flag.Int("mixes", 40, "random lathes in TestMix")
	mixFirst = flag.Uint64("mixfirst", 0, "seed of the first of them")
	mixShow  = flag.Bool("mixshow", false, "print every reading that is wrong or missing")
)

// mix is a random lathe, blank and sensor with a random choice of disturbances. All numbers
// are chosen to cover what workshops have and somewhat more: 3 to 65 Hz, 60
// to 3200 samples a second with jitter and missing samples, shake from 0.05 to 20 mm/s rms,
// multiples up to ten times the line, belt, motor, mains, cutting in bursts, knocks.
type mix struct {
	sim   *sensor.Simulated
	noise float64 // m/s²/√Hz, of the sensor
	dial  float64 // what the dial shows to begin with, over the truth
	near  int     // which of the lines is that of newNear, 0 none
	kinds []string
}

type random struct{ *rand.Rand }

func (r random) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
func (r random) one(n int) bool             { return r.IntN(n) == 0 }
func (r random) phasor(a float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * r.Float64())
	return complex(a*cos, a*sin)
}
func (r random) vector(a float64) [3]complex128 {
	return [3]complex128{r.phasor(a), r.phasor(a * r.Float64()), r.phasor(a * r.Float64())}
}

func newMix(seed uint64) mix {
	r := random{rand.New(rand.NewPCG(seed, 77))}
	f := r.log(3, 65)
	rate := []float64{60, 100, 200, 400, 800, 1000, 1600, 3200}[r.IntN(8)]
	for f > 0.4*rate { // what lies higher is for TestFolded
		rate *= 2
	}
	s := &sensor.Simulated{Seed: seed, Seconds: 12, Wander: []float64{0, 0.001, 0.003}[r.IntN(3)]}
	s.Horizontal = sensor.Mode{Hz: r.log(8, 60), Damping: 0.02 + 0.08*r.Float64(), Mass: 60}
	s.Vertical = sensor.Mode{Hz: r.log(12, 80), Damping: 0.02 + 0.08*r.Float64(), Mass: 60}
	s.Speed = []sensor.Point{{At: 0, Value: f}}
	if !r.one(3) {
		g := f * (0.7 + 0.6*r.Float64())
		s.Speed = append(s.Speed, sensor.Point{At: 6, Value: f}, sensor.Point{At: 6 + math.Abs(g-f)/2, Value: g})
	}
	m := mix{sim: s, noise: r.log(1e-4, 5e-3), dial: 1.03}
	s.Chip = sensor.Chip{Rate: rate, Noise: m.noise, Axes: 3, Turned: [3]float64{6 * r.Float64(), 6 * r.Float64(), 6 * r.Float64()}}
	if r.one(4) {
		s.Chip.Axes = 1 + r.IntN(2)
	}
	if r.one(2) {
		s.Chip.Jitter = 0.2 * r.Float64()
	}
	if r.one(4) {
		s.Chip.Missing = 0.05 * r.Float64()
	}
	if r.one(2) {
		s.Chip.Step = r.log(5e-4, 0.1)
	}
	m.scale(r.log(0.05, 20)/1000*2*math.Pi*f*math.Sqrt2, f)
	m.disturb(r, f, rate)
	return m
}

// scale sets the imbalance so that the line at f Hz has amplitude amp in m/s².
func (m *mix) scale(amp, f float64) {
	m.sim.Imbalance = 1
	m.sim.Imbalance = complex(amp/m.amp(f), 0)
}

// amp returns the amplitude of the line at f Hz, m/s². The mix itself knows none of its truth before its first samples.
func (m *mix) amp(f float64) float64 {
	probe := sensor.Simulated{Speed: []sensor.Point{{Value: f}}, Horizontal: m.sim.Horizontal, Vertical: m.sim.Vertical,
		Imbalance: m.sim.Imbalance, Seconds: 0.1, Chip: m.sim.Chip}
	_, _ = probe.Next() // its fields are those of the mix, whose own Next is checked
	return probe.Truth(0.01).Amp
}

func (m *mix) disturb(r random, f, rate float64) {
	s := m.sim
	add := func(kind string, lines ...sensor.Line) {
		if kind != "" {
			m.kinds = append(m.kinds, kind)
		}
		for _, l := range lines {
			// A sensor with a filter: what lies above half the rate is not there.
			if max(1.3*l.Order*f, l.Hz) < rate/2 {
				s.Lines = append(s.Lines, l)
			}
		}
	}
	for k := 2.0; k <= 8; k++ {
		if r.one(2) {
			add("", sensor.Line{Order: k, Ratio: r.vector(r.log(0.01, 1))})
		}
	}
	if r.one(4) {
		k := float64(3 + r.IntN(2))
		add("cutter", sensor.Line{Order: k, Ratio: r.vector(r.log(1, 10))}, sensor.Line{Order: 2 * k, Ratio: r.vector(r.log(0.1, 3))})
	}
	if r.one(3) {
		o, a := 0.25+0.55*r.Float64(), r.log(0.02, 0.6)
		add("belt", sensor.Line{Order: o, Ratio: r.vector(a * o)}, sensor.Line{Order: 2 * o, Ratio: r.vector(a * o)})
	}
	if r.one(3) {
		o := 1.2 + 2*r.Float64()
		add("motor", sensor.Line{Order: o, Ratio: r.vector(r.log(0.02, 0.6) * o)})
	}
	if r.one(3) {
		hz := []float64{50, 60}[r.IntN(2)]
		add("hum", sensor.Line{Hz: hz, Amp: r.vector(r.log(0.001, 0.3))}, sensor.Line{Hz: 2 * hz, Amp: r.vector(r.log(0.001, 0.3))})
	}
	if r.one(3) {
		add("cutting")
		s.Cutting = sensor.Cutting{White: r.log(1e-3, 3e-2), Force: r.log(0.01, 0.3), On: 1.5, Off: 1.5}
	}
	if r.one(4) && rate >= 800 {
		add("knocks")
		s.Knock = sensor.Knock{Peak: r.log(0.5, 30)}
	}
}

// fair reports whether the line could be told by somebody who saw all of the truth: no
// multiple is more than ten times as large, and nothing that is not of the spindle shakes
// faster. A sensor that looks along the wrong axis can hide the line from anybody.
func (m mix) fair(at sensor.Truth) bool {
	for i, a := range at.Lines {
		order := m.sim.Lines[i].Order
		if hz := m.sim.Lines[i].Hz; order == 0 && hz != 50 && hz != 60 && hz != 100 && hz != 120 {
			order = hz / at.Freq
		}
		whole := order == math.Trunc(order) && order > 0
		if whole && a > 10*at.Amp || !whole && order > 0 && a/order > at.Amp {
			return false
		}
	}
	return true
}

// alone reports whether nothing else explains the lines: nothing else turns, and no multiple is faster
// than the spindle's own line, or it could be the spindle, and the line a belt's.
func (m mix) alone(at sensor.Truth) bool {
	for i, l := range m.sim.Lines {
		if l.Order != math.Trunc(l.Order) || l.Order > 1 && at.Lines[i] > l.Order*at.Amp {
			return false
		}
	}
	return true
}

// tally counts what became of readings.
type tally struct {
	settled      int // readings over a settled speed
	ok           int // of these, given as a number
	off, shakeOf int // of the ok ones, more than 0.4 % off in speed, 5 % in shake
	wrong        int // ok at any time, and more than 1 % and three standard errors off in speed
	allowed, got int // the data allow a number; there was one
}

func (m mix) run(t *testing.T, hint bool, c *tally) {
	m.heard(t, hint, c, func(dsp.Revolution, float64) {})
}

// heard is run, and calls see with each reading, and the time in s when its window ends.
func (m mix) heard(t *testing.T, hint bool, c *tally, see func(dsp.Revolution, float64)) {
	tr := &dsp.Tracker{}
	if hint {
		tr.Hint = m.sim.Speed[0].Value * m.dial
	}
	for {
		b, err := m.sim.Next()
		if err != nil {
			return
		}
		for _, v := range tr.Add(b.T, b.Axes) {
			see(v, v.Time+v.Span/2)
			truth := m.sim.Truth(v.Time)
			if m.hidden(truth, v.Time+v.Span/2) || hint && math.Abs(truth.Freq/tr.Hint-1) > 0.075 || !hint && !m.fair(truth) {
				continue
			}
			m.count(t, v, truth, hint, c)
		}
	}
}

// all counts every reading of tr.
func (m mix) all(t *testing.T, tr *dsp.Tracker, c *tally) {
	for {
		b, err := m.sim.Next()
		if err != nil {
			return
		}
		for _, v := range tr.Add(b.T, b.Axes) {
			m.count(t, v, m.sim.Truth(v.Time), tr.Hint > 0, c)
		}
	}
}

func (m mix) count(t *testing.T, v dsp.Revolution, truth sensor.Truth, hint bool, c *tally) {
	settled := true
	for u := -0.5; u <= 0.5; u += 0.1 {
		q := m.sim.Truth(v.Time + u*v.Span)
		settled = settled && q.Settled && math.Abs(q.Freq/truth.Freq-1) < 0.02
	}
	speed, shake := math.Abs(v.Freq/truth.Freq-1), math.Abs(v.Amp/truth.Amp-1)
	wrong := v.OK && speed > 0.01 && math.Abs(v.Freq-truth.Freq) > 3*v.FreqSE
	allowed := settled && m.allowed(v, truth, hint)
	for n, yes := range map[*int]bool{&c.settled: settled, &c.ok: settled && v.OK, &c.off: settled && v.OK && speed > 0.004,
		&c.shakeOf: settled && v.OK && shake > 0.05, &c.wrong: wrong, &c.allowed: allowed, &c.got: allowed && v.OK} {
		if yes {
			*n++
		}
	}
	if *mixShow && (wrong || settled && v.OK && shake > 0.05 || allowed && !v.OK) {
		t.Logf("seed %d (%s) dial=%v wrong=%v ok=%v allowed=%v t=%.2f span=%.2f f=%.3f±%.3f true %.3f amp=%.4f±%.4f true %.4f "+
			"rival=%.2f drift=%.2f %v", m.sim.Seed, m.traits(truth), hint, wrong, v.OK, allowed, v.Time, v.Span, v.Freq, v.FreqSE, truth.Freq, v.Amp, v.AmpSE, truth.Amp, v.Rival, v.Drift, v.Faults)
	}
}

// traits says in words what lathe and sensor are like, and where the other lines stand: times the speed of the spindle, and
// times its velocity.
func (m mix) traits(at sensor.Truth) string {
	c := m.sim.Chip
	var say strings.Builder
	fmt.Fprintf(&say, "%s; %g Hz %d axes jitter %.2f missing %.3f wander %g step %.3f of the line, noise %.4f in 4 s;",
		strings.Join(m.kinds, " "), c.Rate, c.Axes, c.Jitter, c.Missing, m.sim.Wander, c.Step/at.Amp, m.density(at)/2/at.Amp)
	for i, l := range m.sim.Lines {
		if i < len(at.Lines) {
			order := l.Order + l.Hz/at.Freq
			fmt.Fprintf(&say, " %.3fx %.3f", order, at.Lines[i]/order/at.Amp)
		}
	}
	return say.String()
}

// allowed reports whether the data allow a number: a standard error of the amplitude below 4 % in what was heard of
// this speed, at most 4 s, by the Cramér-Rao bound √(S/T); turns enough in the window, no other line that so many
// seconds do not part from it, nothing else that could be the spindle, and no image of it in the range.
//
// With no word of the dial the line may be the multiple of one of a tenth of it, which must have had the chance to
// show: seven standard errors. The error itself is known from what is left over at 14 frequencies of each axis only,
// so by 1/(2√(14·axes)) (chi-squared), and 1.65 times that less is needed to say so 95 % of the time.
func (m mix) allowed(v dsp.Revolution, truth sensor.Truth, hint bool) bool {
	shake := 1000 * truth.Amp / (2 * math.Pi * truth.Freq) / math.Sqrt2 // mm/s rms
	need := 0.04
	if !hint {
		need = 1.0 / 70 / (1 + 1.65/(2*math.Sqrt(14*float64(v.Axes))))
	}
	end := v.Time + v.Span/2
	heard := end
	for _, p := range m.sim.Speed {
		if p.At < end {
			heard = min(heard, end-p.At)
		}
	}
	heard = min(heard, 4)
	clear := m.density(truth)/math.Sqrt(heard) <= need*truth.Amp && shake > 0.1 && m.sim.Knock.Peak == 0 && !m.covered(truth.Freq, heard)
	if !clear || m.coarse(truth) || m.blurred(truth, heard) || v.Span <= min(7.5/truth.Freq, 3.9) {
		return false
	}
	if hint {
		return !m.meant(truth, heard)
	}
	return end > 1.2 && m.alone(truth) && m.sim.Chip.Rate > 140+truth.Freq // a line must have been there before
}

// meant reports whether the dial may mean another line, within its reach as far as that is parted, or one of which the
// spindle's would be a multiple.
func (m mix) meant(at sensor.Truth, seconds float64) bool {
	dial := m.dial * m.sim.Speed[0].Value
	return slices.ContainsFunc(m.sim.Lines, func(l sensor.Line) bool {
		order := l.Order + l.Hz/at.Freq
		other := order != 1 && math.Abs(order*at.Freq-dial) < 0.08*dial+resolved/seconds
		return other || math.Abs(order-0.5) < 0.005 || math.Abs(order-1.0/3) < 0.005
	})
}

// density returns the root of the one-sided density of all noise on the line, m/s²/√Hz: the sensor's, its rounding, of
// variance step²/12 a sample (Widrow and Kollár, Quantization Noise, 2008, ch. 5), the cutting as it is felt, and its
// force, which shakes the same modes as the force of the imbalance. What is missing leaves as much more of it.
func (m mix) density(at sensor.Truth) float64 {
	c, w := m.sim.Chip, 2*math.Pi*at.Freq
	rounding := c.Step / math.Sqrt(6*c.Rate)
	force := m.sim.Cutting.Force / (cmplx.Abs(m.sim.Imbalance) * w * w) * at.Amp
	return math.Hypot(math.Hypot(m.noise, rounding), math.Hypot(m.sim.Cutting.White, force)) / math.Sqrt(1-c.Missing)
}

// coarse reports whether the steps of the sensor leave more than one line that gives the same values. Without noise the
// data say when an axis crosses from step to step, twice a turn for each edge between two of them, and it takes as many
// of those as there are unknowns: the offset, and size and angle of the line and of its multiples 2 to 5 are 11, so six
// edges, or an amplitude of two and a half steps. With noise of standard deviation σ the mean of what is rounded to
// steps q is bent by 2/π·J₁(2πA/q)·exp(−2π²σ²/q²) q (Widrow and Kollár, app. G), J₁ ≤ 0.582, which is 4 % of one step
// at σ = 0.34 q: there smaller lines are allowed too.
func (m mix) coarse(at sensor.Truth) bool {
	c := m.sim.Chip
	sigma := m.noise * math.Sqrt(c.Rate/2)
	return at.Amp < 2.5*c.Step && (at.Amp < c.Step || sigma < 0.34*c.Step)
}

// blurred reports whether another line, large enough to bend this one by more than the error allowed, is closer than
// so many seconds part.
func (m mix) blurred(at sensor.Truth, seconds float64) bool {
	for i, l := range m.sim.Lines {
		f := l.Hz + l.Order*at.Freq
		if d := math.Abs(f - at.Freq); d > 0 && d*seconds < resolved && at.Lines[i] > 0.04*at.Amp {
			return true
		}
	}
	return false
}

// resolved is the distance of two lines that a window parts, in widths 1/seconds.
const resolved = 1.5

// covered reports whether a line at f Hz is where the mains hum, or may be the folded multiple of a line that so many
// seconds do not part from it.
func (m mix) covered(f, seconds float64) bool {
	// Grids hold 0.4 %, and the clock of a sensor may be off too.
	mains := slices.ContainsFunc([]float64{50, 60, 100, 120}, func(hum float64) bool { return math.Abs(f-hum) < 0.0045*hum })
	rate := m.sim.Chip.Rate
	fold := func(g float64) float64 { return math.Abs(g - rate*math.Round(g/rate)) }
	return mains || rate < 150 && slices.ContainsFunc([]float64{2, 3, 4, 5}, func(k float64) bool {
		shows := fold(f)
		for n := 1.0; n < k+1; n++ {
			for _, g := range [2]float64{(n*rate - shows) / k, (n*rate + shows) / k} {
				if math.Abs(g-f)*seconds < resolved {
					return true
				}
			}
		}
		return math.Abs(fold(k*f)-shows)*seconds < resolved
	})
}

// TestMix holds the tracker against the truth of random lathes. Run it with -v for the
// table, and with -mixes=2000 for a long one (100 000 readings).
func TestMix(t *testing.T) {
	t.Parallel()
	n := *mixes
	if testing.Short() {
		n = min(n, 6) // for the race detector, which is ten times slower
	}
	for _, hint := range []bool{false, true} {
		t.Run(fmt.Sprintf("dial=%v", hint), func(t *testing.T) {
			t.Parallel()
			var c tally
			for i := range n {
				newMix(*mixFirst+uint64(i)).run(t, hint, &c)
			}
			share := func(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
			t.Logf("dial known: %v; %d settled readings, %d ok: speed within 0.4 %% in %.1f %%, shake within 5 %% in %.1f %%; wrong speeds %d; of %d that the data allow %.1f %% ok",
				hint, c.settled, c.ok, 100-share(c.off, c.ok), 100-share(c.shakeOf, c.ok), c.wrong, c.allowed, share(c.got, c.allowed))
			assert.Zero(t, c.wrong, "wrong speeds given as ok")
			if testing.Short() {
				return // too few for shares
			}
			assert.Less(t, share(c.off, c.ok), 5.0, "% of speeds more than 0.4 % off")
			assert.Less(t, share(c.shakeOf, c.ok), 5.0, "% of shakes more than 5 % off")
			assert.Greater(t, share(c.got, c.allowed), 90.0, "% ok of what the data allow")
		})
	}
}

// hidden reports whether nobody could see the line beside that of the machine that runs nearly as fast: it is hardly
// above the noise, or the two are less than 1.5 widths 1/seconds apart in what was heard so far, or in 4 s.
func (m mix) hidden(at sensor.Truth, heard float64) bool {
	if m.near == 0 {
		return false
	}
	f := m.sim.Lines[m.near].Hz + m.sim.Lines[m.near].Order*at.Freq
	return math.Abs(f-at.Freq)*min(heard, 4) < 1.5 || math.Hypot(m.noise, m.sim.Cutting.White)/2 > 0.02*at.Amp || m.sim.Chip.Step > at.Amp
}

// newNear is a random lathe whose motor, or a machine beside it, turns nearly as fast as the spindle, up to ten
// times as hard, and whose dial is up to 6 % off.
func newNear(seed uint64) mix {
	m := newMix(seed)
	r := random{rand.New(rand.NewPCG(seed, 79))}
	m.dial = 0.94 + 0.12*r.Float64()
	o := 0.75 + 0.5*r.Float64()
	l := sensor.Line{Order: o, Ratio: r.vector(r.log(0.05, 10) * o)}
	if r.one(2) { // the machine keeps its speed
		f := m.sim.Speed[0].Value
		l.Hz, l.Order = o*f, 0
		l.Amp = r.vector(r.log(0.05, 10) * o * m.amp(f))
	}
	m.kinds = append(m.kinds, fmt.Sprintf("near %.3f dial %.3f", o, m.dial))
	m.sim.Lines = append(m.sim.Lines, sensor.Line{}, l)
	m.near = len(m.sim.Lines) - 1
	return m
}

// TestNear: what turns nearly as fast as the spindle is not taken for it.
func TestNear(t *testing.T) {
	t.Parallel()
	n := *mixes
	if testing.Short() {
		n = min(n, 6)
	}
	seeds := []uint64{60044, 60113, 60216} // the look was no longer young, and what it had shown not yet believed
	for i := range n {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	for _, hint := range []bool{false, true} {
		var c tally
		for _, seed := range seeds {
			newNear(seed).run(t, hint, &c)
		}
		t.Logf("dial known: %v; %d settled readings, %d ok, %d of them with the speed more than 0.4 %% off, %d with the shake more than 5 %%; wrong speeds %d",
			hint, c.settled, c.ok, c.off, c.shakeOf, c.wrong)
		assert.Zero(t, c.wrong, "wrong speeds given as ok")
		if testing.Short() {
			continue // too few for shares
		}
		assert.NotZero(t, c.ok)
		assert.Less(t, c.shakeOf*20, c.ok)
	}
}

// newPhone is a random lathe felt by a slow sensor without a filter, as phones are: 50 to 100
// samples a second, even or not, and a spindle and multiples that may lie above half of that.
func newPhone(seed uint64) mix {
	r := random{rand.New(rand.NewPCG(seed, 78))}
	f, rate := r.log(3, 65), 50+50*r.Float64()
	if r.one(3) { // close to where images meet
		f = min(65, rate*(0.5+0.5*float64(r.IntN(2)))*(0.95+0.1*r.Float64()))
	}
	s := &sensor.Simulated{Seed: seed, Seconds: 12, Speed: []sensor.Point{{At: 0, Value: f}}, Wander: []float64{0, 0.001, 0.003}[r.IntN(3)]}
	s.Horizontal = sensor.Mode{Hz: r.log(8, 60), Damping: 0.05, Mass: 60}
	s.Vertical = sensor.Mode{Hz: r.log(12, 80), Damping: 0.05, Mass: 60}
	m := mix{sim: s, noise: r.log(1e-4, 5e-3), dial: 1.03}
	s.Chip = sensor.Chip{Rate: rate, Noise: m.noise, Stamp: []float64{0, 0, 1e-4, 1e-3}[r.IntN(4)]}
	if r.one(2) {
		s.Chip.Jitter = 0.2 * r.Float64()
	}
	if r.one(4) {
		s.Chip.Rate, s.Chip.Hold = 4*rate, 4
	}
	for k := 2.0; k <= 4; k++ {
		if r.one(2) {
			ratio := r.log(0.05, 1)
			if k > 2 && r.one(4) { // a cutter
				ratio = r.log(1, 30)
			}
			s.Lines = append(s.Lines, sensor.Line{Order: k, Ratio: r.vector(ratio)})
		}
	}
	m.scale(r.log(0.5, 20)/1000*2*math.Pi*f*math.Sqrt2, f)
	return m
}

// TestPhones: whatever is folded onto whatever, no wrong speed is given as ok.
func TestPhones(t *testing.T) {
	t.Parallel()
	n := *mixes
	if testing.Short() {
		n = min(n, 6)
	}
	for _, hint := range []bool{false, true} {
		var c tally
		for i := range n {
			newPhone(*mixFirst+uint64(i)).run(t, hint, &c)
		}
		t.Logf("dial known: %v; %d settled readings, %d ok, %d of them with the speed more than 0.4 %% off, %d with the shake more than 5 %%; wrong speeds %d",
			hint, c.settled, c.ok, c.off, c.shakeOf, c.wrong)
		assert.Zero(t, c.wrong, "wrong speeds given as ok")
		assert.NotZero(t, c.ok)
		assert.Less(t, c.shakeOf*20, c.ok)
	}
}

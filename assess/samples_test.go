package assess_test

import (
	"errors"
	"flag"
	"io"
	"iter"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// sampledShops is how many shops TestSampledLoop tries; 300 and more with
// go test ./assess -run SampledLoop -v -sampled 300 -timeout 1h.
var sampledShops = flag.Int("sampled", 3, "random shops in the closed loop through samples")

const sampledSeconds = 90

// sampled is the lathe of s as samples of an accelerometer: its modes at right angles, with
// multiples, a belt, hum, cutting and a chip of its own.
func (s *shop) sampled(seed uint64) *sensor.Simulated {
	const mass = 60 // kg, moved with the first mode
	s.cross, s.fading = 0, 0
	log := func(a, b float64) float64 { return a * math.Pow(b/a, s.Float64()) }
	second, belt, hum := log(0.02, 0.6), log(0.02, 0.5), log(0.005, 0.05)
	return &sensor.Simulated{
		Seed: seed, Seconds: sampledSeconds,
		Wander: 0.0005, Lag: 0.3, Slew: s.slew / 60,
		Imbalance:  complex(s.throw*mass/1000, 0),
		Horizontal: sensor.Mode{Hz: s.f[0], Damping: s.zeta[0], Mass: mass},
		Vertical:   sensor.Mode{Hz: s.f[1], Damping: s.zeta[1], Mass: mass / s.share[1]},
		Lines: []sensor.Line{
			{Order: 2, Ratio: [3]complex128{complex(second, 0), complex(0, second)}},
			{Order: 0.4 + 0.5*s.Float64(), Ratio: [3]complex128{complex(belt, 0), complex(belt, 0)}},
			{Hz: 100, Amp: [3]complex128{complex(hum, 0), complex(0, hum)}},
		},
		Cutting: sensor.Cutting{White: log(0.0002, 0.001), On: 2, Off: 2},
		Chip:    sensor.Chip{Rate: log(300, 1200), Jitter: 0.05, Step: 0.0012, Range: 39.2, Noise: 0.0004, Turned: [3]float64{0.2, 0.1, 0.7}},
	}
}

// chain counts what came of the sessions through samples.
type chain struct{ sessions, near, all, ok, wrong, settled, off, unsafe int }

// TestSampledLoop is TestClosedLoop with everything between the lathe and the advice: samples,
// the tracker, readings. Its truth is the closed form of the modes, held against the
// simulated lathe's own.
func TestSampledLoop(t *testing.T) {
	t.Parallel()
	var sum chain
	for seed := uint64(0); sum.sessions < *sampledShops; seed++ {
		if s, p, ok := opened(seed); ok {
			sum.session(t, seed, s, p)
		}
	}
	t.Logf("%d sessions of %d s, %d unsafe, %d within 10 %% of the fastest comfortable speed", sum.sessions, sampledSeconds, sum.unsafe, sum.near)
	t.Logf("%d of %d readings ok, %d of them at a wrong speed; of %d settled ones %d have a shake that is off by more than a tenth", sum.ok, sum.all, sum.wrong, sum.settled, sum.off)
	assert.Zero(t, sum.unsafe)
	assert.Zero(t, sum.wrong)
	assert.LessOrEqual(t, 100*sum.off, sum.settled)
	assert.Positive(t, sum.near)
}

// session lets the turner obey, and compare each number with the dial, which lies by up to 5 %.
func (sum *chain) session(t *testing.T, seed uint64, s *shop, p assess.Plan) {
	sum.sessions++
	s.throw *= max(1, 0.5/s.truth(float64(p.Start)))
	src := s.sampled(seed)
	top := p.Ceilings[0].RPM
	low, high := s.lathe.Range()
	tracker := &dsp.Tracker{Low: 0.9 * low.Hz(), High: 1.1 * high.Hz()}
	a := &assess.Adviser{Lathe: s.lathe, Blank: s.blank, Task: s.task}
	s.turn(p.Start)
	heard, since := assess.Advice{}, 0.0
	for b := range blocks(t, src) {
		src.SetDial(s.target / 60)
		for _, rev := range tracker.Add(b.T, b.Axes) {
			r := assess.Read(rev)
			sum.judge(t, seed, s, r, src.Truth(r.T))
			if r.OK {
				a.Checked = math.Abs(float64(r.Speed)*s.dial/s.target-1) < 0.08
			}
			s.speed = max(1, 60*src.Truth(b.T[len(b.T)-1]).Freq)
			r.T += r.Span / 2
			d := a.See(r)
			if d.Speed > top || d.Action == assess.Raise && s.passesRough(float64(d.Speed)) {
				sum.unsafe++
				t.Logf("shop %d: unsafe %q at %.0f rpm, %.1f mm/s", seed, d.Say, s.speed, s.truth(s.speed))
			}
			if d.Action != heard.Action || d.Speed != heard.Speed {
				heard, since = d, r.T
			}
			switch {
			case d.Action == assess.Stop:
				s.target = 0
			case s.target > 0 && (d.Action == assess.Raise || d.Action == assess.Lower) && r.T-since >= 1:
				s.turn(d.Speed)
			}
		}
	}
	best := s.fastest(p.Start, top)
	if s.speed >= 0.9*best || s.target == 0 && best == 0 {
		sum.near++
		return
	}
	t.Logf("shop %d: ended at %.0f of %.0f rpm, %.2f mm/s; %s", seed, s.speed, best, s.truth(s.speed), heard.Say)
}

// judge holds an ok reading against the truth.
func (sum *chain) judge(t *testing.T, seed uint64, s *shop, r assess.Reading, truth sensor.Truth) {
	sum.all++
	if !r.OK {
		return
	}
	sum.ok++
	if math.Abs(float64(r.Speed)/(60*truth.Freq)-1) > 0.01 {
		sum.wrong++
		t.Logf("shop %d: %v at %.1f rpm", seed, r.Speed, 60*truth.Freq)
	}
	if !truth.Settled {
		return
	}
	shake := 1000 * truth.Amp / (2 * math.Pi * truth.Freq) / math.Sqrt2
	require.InEpsilon(t, s.truth(60*truth.Freq), shake, 0.02)
	if sum.settled++; math.Abs(r.Shake/shake-1) > 0.1 {
		sum.off++
		t.Logf("shop %d: %.2f of %.2f mm/s at %v", seed, r.Shake, shake, r.Speed)
	}
}

// TestSteadyQuiet: what turns steadily and is calm, or lively, is never told to stop, whether the dial is known or not, cutting or
// not, with knocks or without.
func TestSteadyQuiet(t *testing.T) {
	t.Parallel()
	const lively = 0.9 * 4.5 // mm/s: below rough
	sessions, readings, ok := 0, 0, 0
	for seed := uint64(0); sessions < *sampledShops; seed++ {
		s, p, there := opened(seed)
		if !there {
			continue
		}
		f := float64(p.Start) / 60 * (0.7 + 0.3*s.Float64())
		s.throw *= lively / s.truth(60*f) * (0.02 + 0.98*s.Float64())
		src := s.sampled(seed)
		src.Speed, src.Lag, src.Slew = []sensor.Point{{Value: f}}, 0, 0
		if sessions%3 == 0 {
			src.Knock = sensor.Knock{Peak: 2}
		}
		tracker, hint := &dsp.Tracker{}, sessions%2 == 0
		if hint {
			tracker.Hint = f * (0.97 + 0.06*s.Float64())
		}
		a := &assess.Adviser{Lathe: s.lathe, Blank: s.blank, Task: s.task, Checked: hint}
		for b := range blocks(t, src) {
			for _, rev := range tracker.Add(b.T, b.Axes) {
				r := assess.Read(rev)
				r.T += r.Span / 2
				if readings++; r.OK {
					ok++
				}
				d := a.See(r)
				require.NotEqual(t, assess.Stop, d.Action, "shop %d, %.0f rpm, %.2f mm/s, dial known: %v: at %.1f s %s on %+v", seed, 60*f, s.truth(60*f), hint, r.T, d.Say, r)
			}
		}
		sessions++
	}
	t.Logf("%d steady recordings of %d s, none told to stop; %d of %d readings ok", sessions, sampledSeconds, ok, readings)
	assert.Positive(t, ok)
}

// blocks are those of src to its end.
func blocks(t *testing.T, src sensor.Source) iter.Seq[sensor.Block] {
	return func(yield func(sensor.Block) bool) {
		for {
			b, err := src.Next()
			if errors.Is(err, io.EOF) {
				return
			}
			require.NoError(t, err)
			if !yield(b) {
				return
			}
		}
	}
}

// TestDialTwice: a dial that shows twice the speed, and a shake of which most comes twice per
// turn: no raise, as half of what the dial says is in the samples too.
func TestDialTwice(t *testing.T) {
	t.Parallel()
	for hint, number := range map[float64]bool{10: true, 20: false} {
		src := &sensor.Simulated{Seed: 1, Seconds: 25, Speed: []sensor.Point{{At: 0, Value: 10}}, Imbalance: 0.0005,
			Lines: []sensor.Line{{Order: 2, Ratio: [3]complex128{12, 12i}}}, Chip: sensor.Chip{Rate: 800, Noise: 0.0005}}
		tracker := &dsp.Tracker{Hint: hint}
		a := turning()
		ok := false
		for b := range blocks(t, src) {
			for _, rev := range tracker.Add(b.T, b.Axes) {
				r := assess.Read(rev)
				ok = ok || r.OK
				r.T += r.Span / 2
				if d := a.See(r); hint == 20 {
					require.NotEqual(t, assess.Raise, d.Action, "%s: %+v", d.Say, r)
				}
			}
		}
		assert.Equal(t, number, ok, "%v Hz", hint)
	}
}

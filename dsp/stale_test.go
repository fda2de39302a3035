package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
	"vibe/sensor"
)

var (
	stales   = flag.Int("stales", 0, "random lathes more in TestStaleDial")
	misreads = flag.Int("misreads", 0, "random lathes more in TestMisreadDial")
)

// newStale is a random lathe whose speed is stepped while the dial's word stays, to where a line of belt or motor comes
// within the dial's reach.
func newStale(seed uint64) mix {
	m := newMix(seed)
	r := random{rand.New(rand.NewPCG(seed, 81))}
	s, f := m.sim, m.sim.Speed[0].Value
	m.dial = 0.97 + 0.06*r.Float64()
	o, g := 0.0, math.Inf(1)
	for g > min(65, 0.4*s.Chip.Rate) { // where o times it is near the dial
		o = []float64{0.3 + 0.6*r.Float64(), 1.15 + 2*r.Float64()}[r.IntN(2)]
		g = f * m.dial * (1 + 0.14*(r.Float64()-0.5)) / o
	}
	at := 5 + 3*r.Float64()
	s.Speed = []sensor.Point{{At: 0, Value: f}, {At: at, Value: f}, {At: at + r.log(0.01, 3), Value: g}}
	s.Lines = append(s.Lines, sensor.Line{Order: o, Ratio: r.vector(r.log(0.05, 1) * o)})
	m.kinds = append(m.kinds, fmt.Sprintf("stale %.3f to %.3f, line of %.3f times", f, g, o))
	return m
}

// TestStaleDial: the lathe was set to another speed, and the dial's word was not: what belt or motor have near that is
// not given as the spindle's. -stales=N -mixfirst=SEED runs so many more.
func TestStaleDial(t *testing.T) {
	t.Parallel()
	seeds := []uint64{1000, 1007, 1016, 1018, 1028, 1031, 1063, 1073, 1112, 1127, 1131, 1180, 1189, 1272}
	lathes, ok := heardByDial(t, seeds, *stales, newStale)
	assert.Greater(t, ok, 8*lathes)
}

// heardByDial asserts that none of the lathes that lathe makes of seeds, and of so many more, has a wrong speed given as ok when all is
// heard with what their dials say, and returns how many lathes there are, and how many readings are ok.
func heardByDial(t *testing.T, seeds []uint64, more int, lathe func(seed uint64) mix) (lathes, ok int) {
	for i := range more {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	var c tally
	bad := 0
	for _, seed := range seeds {
		m := lathe(seed)
		before := c.wrong
		m.all(t, &dsp.Tracker{Hint: m.dial * m.sim.Speed[0].Value}, &c)
		if c.wrong > before {
			bad++
		}
	}
	t.Logf("%d lathes, %d of them with wrong speeds given as ok; %d readings ok, %d wrong", len(seeds), bad, c.ok, c.wrong)
	assert.Zero(t, bad, "lathes with wrong speeds")
	return len(seeds), c.ok
}

// silent makes lathes as lathe does, with no word of their dial.
func silent(lathe func(seed uint64) mix) func(seed uint64) mix {
	return func(seed uint64) mix {
		m := lathe(seed)
		m.dial = 0
		return m
	}
}

// newMisread is a random lathe at one speed, whose dial means a line of belt or motor from the start on.
func newMisread(seed uint64) mix {
	m := newMix(seed)
	r := random{rand.New(rand.NewPCG(seed, 85))}
	s, f, o := m.sim, m.sim.Speed[0].Value, math.Inf(1)
	for o*f > min(65, 0.4*s.Chip.Rate) {
		o = []float64{0.3 + 0.6*r.Float64(), 1.15 + 2*r.Float64()}[r.IntN(2)]
	}
	share := r.log(0.05, 1)
	s.Lines = append(s.Lines, sensor.Line{Order: o, Ratio: r.vector(share * o)})
	s.Speed, m.dial = s.Speed[:1], o*(0.94+0.12*r.Float64())
	m.kinds = append(m.kinds, fmt.Sprintf("misread, line of %.3f times, %.2f", o, share))
	return m
}

// TestMisreadDial: where the dial means a belt's or a motor's line from the start on, and another is faster (m/s) and has as many multiples,
// no number is given. -misreads=N -mixfirst=SEED runs so many more, of which some are wrong: of two lines alone the dial chooses up to there.
func TestMisreadDial(t *testing.T) {
	t.Parallel()
	seeds := []uint64{1000, 1022, 1030, 1043, 1060, 1065, 1087, 1151, 1128, 1155, 1177, 1204, 1238, 1272, 1283}
	heardByDial(t, seeds, *misreads, newMisread)
}

// TestStaleForLong: the same for as long as it lasts. What came is no more the spindle's after a minute.
func TestStaleForLong(t *testing.T) {
	t.Parallel()
	const f, rate = 10.0, 200.0
	r := rand.New(rand.NewPCG(3, 9))
	tr := &dsp.Tracker{Hint: f}
	turn, wrong, before := 0.0, 0, 0
	for i := range int(100 * rate) {
		u := float64(i) / rate
		now := f * (1 + 0.7*max(0, min(1, (u-8)/0.5)))
		turn += 2 * math.Pi * now / rate
		x := math.Cos(turn) + 0.3*math.Cos(0.6*turn) + 0.03*r.NormFloat64()
		y := 0.5*math.Cos(turn+1) + 0.3*math.Cos(0.6*turn+2) + 0.03*r.NormFloat64()
		for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
			switch {
			case v.OK && u < 8:
				before++
			case v.OK && u > 9:
				wrong++
			}
		}
	}
	assert.Greater(t, before, 20)
	assert.Zero(t, wrong)
}

// TestCompanionsStay: a spindle that goes from one speed to another within the dial's reach, at once or slowly, with a belt's line and
// a motor's twice as fast (m/s), gives numbers there again.
func TestCompanionsStay(t *testing.T) {
	t.Parallel()
	for _, f := range []float64{5, 12, 30} {
		for _, takes := range []float64{0.01, 1, 5, 12} {
			r := rand.New(rand.NewPCG(uint64(f), 9))
			tr := &dsp.Tracker{Hint: f}
			turn, ok, n := 0.0, 0, 0
			for i := range int(1000 * (takes + 15)) {
				u := float64(i) / 1000
				now := f * (0.98 + 0.05*max(0, min(1, (u-6)/takes)))
				turn += 2 * math.Pi * now / 1000
				x := math.Cos(turn) + 0.4*math.Cos(0.7*turn) + 0.3*math.Cos(2*turn) + 0.05*r.NormFloat64()
				y := 0.5*math.Cos(turn+1) + 1.37*2*math.Cos(1.37*turn+2) + 0.05*r.NormFloat64()
				for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
					if u > 6+takes+2 {
						n++
						if v.OK {
							ok++
						}
					}
				}
			}
			assert.GreaterOrEqual(t, ok, n*9/10, "%g Hz, in %g s", f, takes)
		}
	}
}

// TestStartAgain: a lathe that was stopped, and is started again with less to turn and a little faster, gives numbers again: what belt and
// motor have was beside the spindle before, or that is so long ago that nothing is known of it.
func TestStartAgain(t *testing.T) {
	t.Parallel()
	const f, rate = 12.0, 400.0
	for _, stands := range []float64{5, 8, 30, 80} {
		r := rand.New(rand.NewPCG(5, 9))
		tr := &dsp.Tracker{Hint: f}
		turn, ok, n := 0.0, 0, 0
		for i := range int(rate * (stands + 30)) {
			u := float64(i) / rate
			speed, size := max(0, min(1, (10-u)/2)), 1.0
			if u > 10 {
				speed, size = 1.01*max(0, min(1, (u-10-stands)/2)), 0.7
			}
			turn += 2 * math.Pi * speed * f / rate
			size *= speed * speed
			x := size*math.Cos(turn) + 0.2*speed*math.Cos(0.7*turn) + 0.3*size*math.Cos(2*turn) + 0.05*r.NormFloat64()
			y := 0.5*size*math.Cos(turn+1) + 1.37*speed*math.Cos(1.37*turn+2) + 0.05*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				if u > 10+stands+8 {
					n++
					if v.OK {
						ok++
					}
				}
			}
		}
		assert.GreaterOrEqual(t, ok, n*9/10, "after %g s", stands)
	}
}

// TestStaysBehind: what stood beside the spindle within the dial's reach is not that when the spindle slows down, in steps, until it hardly
// shakes; nor is what came there when the spindle went beyond what is looked for.
func TestStaysBehind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		spindle, to, each, steps float64 // Hz, Hz, s for each of the steps between
		hz, order, amp           float64 // of the other, m/s²
		grows                    float64 // the spindle's, with that power of the speed
	}{
		{39.86, 13.95, 2.83, 2, 41.84, 0, 0.49, 3.83},
		{44.56, 16.04, 3.25, 3, 46.84, 0, 0.46, 3.46},
		{43.09, 15.94, 3.15, 4, 44.49, 0, 0.56, 3.23},
		{43.10, 12.07, 3.51, 2, 41.37, 0, 0.62, 3.27},
		{58.2, 73, 8, 1, 0, 0.8, 0.45, 2},
	} {
		const rate = 400.0
		r := rand.New(rand.NewPCG(uint64(c.spindle), 9))
		tr := &dsp.Tracker{Hint: c.spindle}
		turn, wrong := 0.0, 0
		for i := range int(30 * rate) {
			u := float64(i) / rate
			f := c.spindle * math.Pow(c.to/c.spindle, min(c.steps, math.Floor(u/c.each))/c.steps)
			turn += 2 * math.Pi * f / rate
			other, size := 2*math.Pi*c.hz*u+c.order*turn, math.Pow(f/c.spindle, c.grows)
			x := size*math.Cos(turn) + c.amp*math.Cos(other) + 0.02*r.NormFloat64()
			y := 0.5*size*math.Cos(turn+1) + 0.6*c.amp*math.Cos(other+2) + 0.02*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				if v.OK && u > c.each*c.steps+1 && math.Abs(v.Freq/f-1) > 0.01 {
					wrong++
				}
			}
		}
		assert.Zero(t, wrong, "%+v", c)
	}
}

// TestYoungBelt: where the dial means the slower (m/s) of two lines, a belt's, no number is given in the first seconds, in which no look is long
// enough to show which of the two explains more.
func TestYoungBelt(t *testing.T) {
	t.Parallel()
	const rate, f, belt = 100.0, 16.32, 13.85
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 9))
		tr := &dsp.Tracker{Hint: 14.3}
		p, wrong := 2*math.Pi*r.Float64(), 0
		for i := range int(3 * rate) {
			u := float64(i) / rate
			turn, round := 2*math.Pi*f*u, 2*math.Pi*belt*u+p
			x := math.Cos(turn) + 0.55*math.Cos(round) + 0.6*math.Cos(2*round) + 0.05*r.NormFloat64()
			y := 0.7*math.Cos(turn+1) + 0.08*math.Cos(2*turn) + 0.5*math.Cos(round+2) + 0.05*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				if v.OK {
					wrong++
				}
			}
		}
		assert.Zero(t, wrong, "seed %d", seed)
	}
}

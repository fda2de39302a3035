package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

var backs = flag.Int("backs", 0, "random steps more in TestThereAndBack")

// back is a slow spindle that steps to a speed close by, and most times back before a window is over.
type back struct {
	f, to, rate   float64 // Hz
	at, until     float64 // s, when it turns at to
	amp, noise    float64 // m/s², peak; of a sample
	second, third float64 // multiples, times amp
	missing       float64
	hundredths    bool // the times are rounded to them
	seed          uint64
}

func newBack(seed uint64) back {
	r := random{rand.New(rand.NewPCG(seed, 87))}
	f, k := r.log(2.5, 9), 1+r.log(0.015, 0.06)
	if r.one(2) {
		k = 1 / k
	}
	c := back{f: f, to: f * k, at: 6 + 2*r.Float64(), until: math.Inf(1), rate: []float64{80, 100, 120, 200, 400, 1000}[r.IntN(6)], seed: seed}
	if !r.one(4) {
		c.until = c.at + r.log(0.5, 4)
	}
	c.hundredths = c.rate <= 100 && r.one(2)
	if r.one(2) {
		c.missing = 0.03
	}
	c.amp, c.noise = r.log(1, 10)/1000*2*math.Pi*f*math.Sqrt2, r.log(0.01, 0.1)
	if r.one(2) {
		c.second, c.third = r.log(0.05, 1), r.log(0.03, 0.7)
	}
	return c
}

func (c back) speed(u float64) float64 {
	if u >= c.at && u < c.until {
		return c.to
	}
	return c.f
}

// samples returns those of it up to 8 s after the step.
func (c back) samples() (t []float64, x [][]float64) {
	r := rand.New(rand.NewPCG(c.seed, 88))
	x = make([][]float64, 3)
	turn, p := r.Float64(), 2*math.Pi*r.Float64()
	for i := range int((c.at + 8) * c.rate) {
		u := float64(i) / c.rate
		turn += c.speed(u) / c.rate
		w := 2 * math.Pi * turn
		v := [3]float64{
			c.amp * (math.Sin(w) + c.second*math.Sin(2*w+p) + c.third*math.Sin(3*w+2*p)),
			c.amp * (0.6*math.Sin(w+1.3) + 0.4*c.second*math.Sin(2*w)),
			9.81,
		}
		for a := range v {
			v[a] += c.noise * r.NormFloat64()
		}
		if r.Float64() < c.missing {
			continue
		}
		if c.hundredths {
			u = math.Round(100*u) / 100
		}
		if n := len(t); n > 0 && u <= t[n-1] {
			continue
		}
		t = append(t, u)
		for a := range x {
			x[a] = append(x[a], v[a])
		}
	}
	return t, x
}

// off returns how far f is from any of the speeds of a window, as a fraction.
func (c back) off(f, from, to float64) float64 {
	off := math.Inf(1)
	for k := range 201 {
		off = min(off, math.Abs(f/c.speed(from+(to-from)*float64(k)/200)-1))
	}
	return off
}

func (c back) String() string {
	return fmt.Sprintf("seed %d: %.3f Hz to %.3f for %.2f s, %.0f/s, noise %.3f of %.3f", c.seed, c.f, c.to, c.until-c.at, c.rate, c.noise, c.amp)
}

// TestThereAndBack: a window that holds two speeds does not give their mean, where the noise leaves it open which it holds. The dial is
// right about the first. -backs=N -mixfirst=SEED runs so many more.
func TestThereAndBack(t *testing.T) {
	t.Parallel()
	seeds := []uint64{1009, 1043, 1053, 1080, 1086, 1094, 1097, 1103, 1160, 1170, 1211, 1269, 1287, 1310}
	for i := range *backs {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	n, ok, wrong := 0, 0, 0
	for _, seed := range seeds {
		c := newBack(seed)
		tr := &dsp.Tracker{Hint: c.f}
		for _, v := range tr.Add(c.samples()) {
			n++
			if !v.OK {
				continue
			}
			ok++
			end := v.Time + v.Span/2
			if off := c.off(v.Freq, end-v.Span, end); off > 0.01 && off*v.Freq > 3*v.FreqSE {
				wrong++
				t.Logf("t=%.2f span=%.2f f=%.3f±%.3f; %v", end, v.Span, v.Freq, v.FreqSE, c)
			}
		}
	}
	t.Logf("%d readings, %d ok, %d of them with a speed that none of the window's is within 1 %% of", n, ok, wrong)
	assert.Zero(t, wrong)
	assert.Greater(t, ok, n*4/10)
}

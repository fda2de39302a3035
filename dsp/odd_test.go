package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"vibe/dsp"
)

var odds = flag.Int("odds", 0, "random streams more in TestOdd")

// odd is a sensor of which anything may be expected: every few seconds another rate, speed, clock, step, gap or blow.
type odd struct {
	random
	axes       int
	u, turn    float64 // s, turns
	rate, f    float64 // Hz
	jitter     float64 // of an interval
	tick, step float64 // s, m/s²; 0 none
	size       float64 // m/s² peak
	missing    float64
	held       int // rows that repeat each
	last       [3]float64
}

func newOdd(seed uint64) *odd {
	o := &odd{random: random{rand.New(rand.NewPCG(seed, 83))}, held: 1}
	o.axes, o.u = 1+o.IntN(3), []float64{0, 1000, -20}[o.IntN(3)]
	o.rate, o.f, o.size = o.log(20, 6400), o.log(0.5, 80), o.log(1e-3, 10)
	return o
}

// change makes one thing another.
func (o *odd) change() {
	switch o.IntN(9) {
	case 0:
		o.rate = o.log(20, 6400)
	case 1, 2, 3:
		o.f *= o.log(0.4, 2.5)
	case 4:
		o.jitter = []float64{0, 0.1, 0.9}[o.IntN(3)]
	case 5:
		o.tick = []float64{0, 1e-3, 1e-2, 0.5 / o.rate}[o.IntN(4)]
	case 6:
		o.step = []float64{0, o.log(1e-3, 1)}[o.IntN(2)]
	case 7:
		o.u += o.log(0.05, 3)
	case 8:
		o.held, o.missing = 1+o.IntN(2)*o.IntN(5), o.Float64()*o.Float64()
	}
}

// rows are the samples of so many seconds.
func (o *odd) rows(seconds float64) (t []float64, x [][]float64) {
	x = make([][]float64, o.axes)
	blow := o.u + seconds*o.log(0.1, 3)
	for end, i := o.u+seconds, 0; o.u < end; i++ {
		o.u += 1 / o.rate
		o.turn += o.f / o.rate
		if o.Float64() < o.missing {
			continue
		}
		u := o.u + o.jitter*(o.Float64()-0.5)/o.rate
		if o.tick > 0 {
			u = o.tick * math.Floor(u/o.tick)
		}
		if o.one(5000) {
			u = []float64{math.NaN(), math.Inf(1), u - 1, 2e9}[o.IntN(4)]
		}
		t = append(t, u)
		for a := range x {
			if i%o.held == 0 {
				o.last[a] = o.size*math.Cos(2*math.Pi*o.turn+float64(a)) + 0.3*o.size*math.Cos(4*math.Pi*o.turn) + 0.01*o.NormFloat64()
				if math.Abs(o.u-blow) < 0.02 {
					o.last[a] += 30 * o.NormFloat64()
				}
				if o.step > 0 {
					o.last[a] = o.step * math.Round(o.last[a]/o.step)
				}
				if o.one(5000) {
					o.last[a] = []float64{math.NaN(), math.Inf(-1), 0, 1e300}[o.IntN(4)]
				}
			}
			x[a] = append(x[a], o.last[a])
		}
	}
	return t, x
}

// TestOdd: whatever a sensor gives, in blocks of any length, a Tracker does not panic, says nothing that is not finite, and says the
// same whether a Scout went ahead of it or not. -odds=N -mixfirst=SEED runs so many more.
func TestOdd(t *testing.T) {
	t.Parallel()
	seeds := []uint64{0, 1, 1045, 10123, 10586}
	for i := range *odds {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	for _, seed := range seeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			o := newOdd(seed)
			alone := &dsp.Tracker{Hint: []float64{0, o.f, o.log(0.3, 200)}[o.IntN(3)], Range: []float64{0, o.size}[o.IntN(2)]}
			if o.one(4) {
				alone.Low, alone.High = o.log(0.1, 10), o.log(10, 500)
			}
			if o.one(4) {
				alone.Steps = []float64{o.f, 2 * o.f, 3.1 * o.f}
			}
			led := &dsp.Tracker{Low: alone.Low, High: alone.High, Hint: alone.Hint, Steps: alone.Steps, Range: alone.Range}
			scout := led.Scout()
			check := func(want, got []dsp.Revolution) {
				require.Equal(t, want, got)
				for _, v := range got {
					require.True(t, finite(v), "%+v", v)
				}
			}
			for range 4 + o.IntN(12) {
				times, x := o.rows(o.log(0.02, 6))
				o.change()
				for block := range slices.Chunk(times, 1+o.IntN(3000)) {
					n := len(block)
					part := make([][]float64, len(x))
					for a := range x {
						part[a], x[a] = x[a][:n], x[a][n:]
					}
					check(alone.Add(block, part), led.Add(block, part, scout.Add(block, part)...))
				}
			}
			check(alone.Flush(), led.Flush())
		})
	}
}

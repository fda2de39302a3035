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

var foreigns = flag.Int("foreigns", 0, "random lathes more in TestForeign")

// newForeign is a random lathe, whose speed may change, beside a machine that keeps its own, and shakes up to as hard.
func newForeign(seed uint64) mix {
	m := newMix(seed)
	r := random{rand.New(rand.NewPCG(seed, 86))}
	f := m.sim.Speed[0].Value
	hz, share := r.log(3, 65), r.log(0.05, 1)
	for hz > 0.4*m.sim.Chip.Rate {
		hz = r.log(3, 65)
	}
	m.sim.Lines = append(m.sim.Lines, sensor.Line{Hz: hz, Amp: r.vector(share * m.amp(f) * hz / f)})
	m.kinds = append(m.kinds, fmt.Sprintf("foreign %.2f Hz, %.2f", hz, share))
	return m
}

// TestForeign: what keeps its speed beside the spindle is not given as that, with no word of the dial. -foreigns=N -mixfirst=SEED runs so
// many more; of two lines alone nobody knows which is the spindle's.
func TestForeign(t *testing.T) {
	t.Parallel()
	_, ok := heardByDial(t, []uint64{2000, 2001, 2002, 2003, 2004, 2005, 2006, 2007}, *foreigns, silent(newForeign))
	assert.NotZero(t, ok)
}

// TestForeignStays: a machine beside the lathe, lesser than the spindle, is not that when the lathe is stopped, or turns faster than is
// looked for.
func TestForeignStays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ spindle, other, share, later float64 }{{12, 20, 0.6, 0}, {12, 20, 0.9, 0}, {60, 24, 0.5, 118}, {25, 9, 0.7, 0}} {
		r := rand.New(rand.NewPCG(uint64(c.other), 9))
		tr := &dsp.Tracker{}
		turn, size := 0.0, 1.0
		for i := range 20000 {
			u, f := float64(i)/1000, c.spindle
			if u > 8 {
				f += (c.later - c.spindle) * min(1, (u-8)/2)
				size = f / c.spindle
			}
			turn += 2 * math.Pi * f / 1000
			own, other := size*size*c.spindle, c.share*c.other // m/s², of as many mm/s, and about 2π
			x := own*math.Cos(turn) + other*math.Cos(2*math.Pi*c.other*u) + 0.05*r.NormFloat64()
			y := own*math.Sin(turn) + 0.3*other*math.Cos(2*math.Pi*c.other*u+1) + 0.05*r.NormFloat64()
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				assert.False(t, v.OK && math.Abs(v.Freq/c.other-1) < 0.02, "%+v: %.2f Hz at %.2f s", c, v.Freq, v.Time)
			}
		}
	}
}

// TestTwoFamilies: a belt's splice knocks once a turn of the belt, more than the blank shakes, with a dozen multiples; the blank has a second
// multiple. With no word of the dial either may be the spindle.
func TestTwoFamilies(t *testing.T) {
	t.Parallel()
	const belt, spindle = 11.5, 41.8 // Hz
	for seed := range uint64(3) {
		r := rand.New(rand.NewPCG(seed, 18))
		tr, n := &dsp.Tracker{}, 0
		for i := range 20 * 800 {
			u := float64(i) / 800
			x, y := 0.03*r.NormFloat64(), 0.03*r.NormFloat64()
			for k := 1.0; k <= 12; k++ {
				x += math.Cos(2*math.Pi*k*belt*u+k*k) / math.Sqrt(k)
			}
			x += 0.45 * spindle / belt * (math.Cos(2*math.Pi*spindle*u) + 0.2*math.Cos(4*math.Pi*spindle*u+1))
			y += 0.3 * spindle / belt * math.Sin(2*math.Pi*spindle*u)
			for _, v := range tr.Add([]float64{u}, [][]float64{{x}, {y}}) {
				n++
				assert.False(t, v.OK && math.Abs(v.Freq/spindle-1) > 0.01, "%.2f Hz at %.2f s", v.Freq, v.Time)
			}
		}
		assert.Greater(t, n, 60)
	}
}

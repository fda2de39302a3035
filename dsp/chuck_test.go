package dsp_test

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/dsp"
)

var chucks = flag.Int("chucks", 0, "random chucks more in TestChuck")

// chuck is a slow spindle whose chuck or blank knocks at some places of each turn, each a half sine.
type chuck struct {
	f, rate, width float64    // Hz, Hz, s
	at, size       []float64  // of the knocks: turns, m/s²
	line           complex128 // m/s², of the imbalance
	noise, start   float64    // m/s², of a sample; turns
	seed           uint64
}

// newChuck is a random one: 1.3 to 6 Hz, 1 to 6 knocks a turn of 3 to 30 m/s², 10 to 50 ms long, beside a line of 1 m/s². Half of them
// are jaws: evenly spaced within a hundredth of a turn, and about as hard as each other.
func newChuck(seed uint64) chuck {
	r := random{rand.New(rand.NewPCG(seed, 83))}
	c := chuck{f: r.log(1.3, 6), rate: r.log(100, 1600), width: r.log(0.01, 0.05), line: r.phasor(1), noise: r.log(0.005, 0.1), start: r.Float64(), seed: seed}
	n, size, jaws, unlike := 1+r.IntN(6), r.log(3, 30), r.one(2), r.log(0.01, 0.3)
	for i := range n {
		c.at, c.size = append(c.at, r.Float64()), append(c.size, r.log(3, 30))
		if jaws {
			c.at[i], c.size[i] = (float64(i)+0.02*(r.Float64()-0.5))/float64(n), max(3, min(30, size*(1+unlike*(2*r.Float64()-1))))
		}
	}
	return c
}

// samples returns 10 s of it.
func (c chuck) samples() (t []float64, x [][]float64) {
	r := rand.New(rand.NewPCG(c.seed, 11))
	x = make([][]float64, 1)
	for i := range int(10 * c.rate) {
		u := float64(i) / c.rate
		turn := u*c.f + c.start
		v := real(c.line*cmplx.Rect(1, 2*math.Pi*turn)) + c.noise*r.NormFloat64()
		for j, at := range c.at {
			if into := (turn - at - math.Floor(turn-at)) / c.f; into < c.width {
				v += c.size[j] * math.Sin(math.Pi*into/c.width)
			}
		}
		t, x[0] = append(t, u), append(x[0], v)
	}
	return t, x
}

// amp returns what k times a turn is in all: half a sine of w s and size a adds 2fa·(π/w)·(1+exp(−iωw))/((π/w)²−ω²), turned by its place.
func (c chuck) amp(k float64) float64 {
	omega, arch := 2*math.Pi*c.f*k, math.Pi/c.width
	sum := complex(0, 0)
	if k == 1 {
		sum = c.line
	}
	for j, at := range c.at {
		sum += complex(2*c.f*c.size[j]*arch/(arch*arch-omega*omega), 0) * (1 + cmplx.Rect(1, -omega*c.width)) * cmplx.Rect(1, -2*math.Pi*k*at)
	}
	return cmplx.Abs(sum)
}

func (c chuck) String() string {
	return fmt.Sprintf("seed %d: %.3f Hz, %.0f/s, %.0f ms, noise %.3f, knocks of %.1f at %.2f", c.seed, c.f, c.rate, 1000*c.width, c.noise, c.size, c.at)
}

// TestChuck: jaws and blanks that knock some times a turn, however hard and however slow: neither a multiple of the speed nor
// a wrong shake is given as ok. -chucks=N -mixfirst=SEED runs so many more.
func TestChuck(t *testing.T) {
	t.Parallel()
	seeds := []uint64{1001, 1009, 1016, 1029, 1043, 1080, 1088, 1089, 1149, 5079, 5303, 5327, 5410}
	for i := range *chucks {
		seeds = append(seeds, *mixFirst+uint64(i))
	}
	for _, known := range []bool{false, true} {
		n, ok, off := 0, 0, 0
		for _, seed := range seeds {
			c := newChuck(seed)
			tr := &dsp.Tracker{}
			if known {
				tr.Hint = 1.02 * c.f
			}
			for _, v := range tr.Add(c.samples()) {
				n++
				if !v.OK {
					continue
				}
				ok++
				if math.Abs(v.Freq/c.f-1) > 0.01 || math.Abs(v.Amp/c.amp(1)-1) > 0.1 {
					off++
					t.Logf("dial=%v t=%.2f span=%.2f f=%.3f±%.3f amp=%.3f±%.3f true %.3f; %v", known, v.Time+v.Span/2, v.Span, v.Freq, v.FreqSE, v.Amp, v.AmpSE, c.amp(1), c)
				}
			}
		}
		t.Logf("dial known: %v; %d readings, %d ok, %d of them with a wrong speed or the shake more than 10 %% off", known, n, ok, off)
		assert.Zero(t, off)
		assert.Greater(t, ok, n/4)
	}
}

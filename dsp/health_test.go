package dsp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestHealth(t *testing.T) {
	t.Parallel()
	const n, rate = 2000, 500.0
	r := rand.New(rand.NewPCG(1, 9))
	made := func(f func(i int, u float64) float64) (t, x []float64) {
		t, x = make([]float64, n), make([]float64, n)
		for i := range t {
			t[i] = float64(i) / rate
			x[i] = f(i, t[i])
		}
		return t, x
	}
	sine := func(u float64) float64 { return 20 * math.Sin(2*math.Pi*7*u) }
	for _, c := range []struct {
		name           string
		x              func(i int, u float64) float64
		limit          float64
		clipped, stuck bool
		step           float64
	}{
		{name: "sine", x: func(_ int, u float64) float64 { return sine(u) }},
		{name: "sine and noise", x: func(_ int, u float64) float64 { return sine(u) + r.NormFloat64() }},
		{name: "fine steps", x: func(_ int, u float64) float64 { return 0.01 * math.Round(sine(u)) }, step: 0.01},
		{name: "coarse steps", x: func(_ int, u float64) float64 { return math.Round(0.1 * sine(u)) }, step: 1},
		{name: "clipped", x: func(_ int, u float64) float64 { return max(-15, min(15, sine(u))) }, clipped: true},
		{name: "clipped whine", x: func(i int, _ float64) float64 {
			return max(-15, min(15, 20*math.Sin(2*math.Pi*0.406*float64(i))+3*r.NormFloat64()))
		}, clipped: true},
		{name: "whine", x: func(i int, _ float64) float64 {
			return 0.5 * math.Round(40*math.Sin(2*math.Pi*0.406*float64(i))+r.NormFloat64())
		}, step: 0.5},
		{name: "hum at a quarter of the rate", x: func(i int, u float64) float64 {
			return 1e-5 * math.Round(1e5*(5*math.Sin(math.Pi/2*float64(i))+0.05*r.NormFloat64()))
		}},
		{name: "hum at a sixth of the rate", x: func(i int, u float64) float64 { return 5*math.Cos(math.Pi/3*float64(i)) + 0.02*r.NormFloat64() }},
		{name: "clipped above", x: func(_ int, u float64) float64 { return min(15, sine(u)) }, clipped: true},
		{name: "at known range", x: func(_ int, u float64) float64 { return max(-15, min(15, sine(u))) }, limit: 15, clipped: true},
		{name: "before its range", x: func(_ int, u float64) float64 { return max(-15, min(15, sine(u))) }, limit: 15.2, clipped: true},
		{name: "below the range", x: func(_ int, u float64) float64 { return sine(u) }, limit: 40},
		{name: "stuck", x: func(i int, u float64) float64 { return sine(min(u, 2) + max(0, u-2.3)) }, stuck: true},
		{name: "all the same", x: func(int, float64) float64 { return 9.81 }, stuck: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			times, x := made(c.x)
			var h health
			var sort []float64
			h.inspect(times, [][]float64{x}, 1/rate, 0, c.limit, &sort)
			assert.Equal(t, c.clipped, h.clipped, "clipped")
			assert.Equal(t, c.stuck, h.stuck, "stuck")
			assert.InDelta(t, c.step, h.step, 1e-6, "step")
			assert.Zero(t, h.missing)
		})
	}
}

// TestMissing: what is missing is counted, however far the samples stray from an even grid, and so is the rate known.
func TestMissing(t *testing.T) {
	t.Parallel()
	for _, jitter := range []float64{0, 0.1, 0.2} {
		for _, missing := range []float64{0, 0.02, 0.1} {
			r := rand.New(rand.NewPCG(1, 3))
			var times []float64
			taken := 0
			for i := range 1000 {
				late := max(-0.45, min(0.45, jitter*r.NormFloat64()))
				if i > 0 && i < 999 && r.Float64() < missing {
					continue
				}
				taken++
				times = append(times, (float64(i)+late)/100)
			}
			x := make([]float64, len(times))
			var h health
			var sort []float64
			h.inspect(times, [][]float64{x}, 0.01, 0.01, 0, &sort)
			assert.InDelta(t, 1-float64(taken)/1000, h.missing, 0.002, "jitter %g", jitter)
			assert.Equal(t, missing > 0, h.holes, "jitter %g, missing %g", jitter, missing)
			var tr Tracker
			tr.dt = tr.interval(times[:200])
			assert.InEpsilon(t, 0.01, tr.interval(times[400:]), 2e-3, "jitter %g, missing %g", jitter, missing)
		}
	}
}

// TestBent: rows that were filled in by straight lines are told, and what was not is left alone: smooth or noisy,
// fine or in steps.
func TestBent(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 9))
	for _, c := range []struct {
		name  string
		fill  int     // rows for each of the sensor's
		noise float64 // m/s²
		digit float64 // m/s², rounding of what is written
		step  float64 // m/s², of the sensor
		want  float64
	}{
		{"two for one", 2, 0.05, 1e-4, 0, 0.5},
		{"two for one, no noise", 2, 0, 1e-9, 0, 0.5},
		{"two for one, steps", 2, 0.05, 1e-5, 0.002, 0.5},
		{"four for one", 4, 0.05, 1e-4, 0, 0.25},
		{"eight for one, no noise", 8, 0, 1e-9, 0, 0.125},
		{"seven for one, steps", 7, 0.05, 1e-5, 0.002, 1.0 / 7},
		{"own rows", 1, 0.05, 1e-4, 0, 0},
		{"own rows, no noise", 1, 0, 1e-12, 0, 0},
		{"own rows, no noise, 4 digits", 1, 0, 1e-4, 1e-4, 0},
		{"own rows, knocks", 1, 0.05, 1e-4, 0, 0},
		{"own rows, hum at a quarter of the rate", 1, 0.001, 1e-4, 0, 0},
		{"own rows, coarse", 1, 0.02, 0.1, 0.1, 0},
		{"own rows, coarse, calm", 1, 0.001, 0.04, 0.04, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			felt := func(f, size, turn float64, i int) float64 {
				v := size*math.Sin(2*math.Pi*f*float64(i)/400+turn) + c.noise*r.NormFloat64()
				switch {
				case c.name == "own rows, knocks" && i%20 < 2:
					v += 30 * r.NormFloat64()
				case c.name == "own rows, hum at a quarter of the rate":
					v += 0.5 * [4]float64{0, 1, 0, -1}[i%4]
				}
				if c.step > 0 {
					v = c.step * math.Round(v/c.step)
				}
				return v
			}
			x := make([][]float64, 3)
			for a := range x {
				last, next := 0.0, felt(10, 0.4, float64(a), 0)
				for i := range 2000 {
					if i%c.fill == 0 {
						last, next = next, felt(10, 0.4, float64(a), i+c.fill)
					}
					v := last + (next-last)*float64(i%c.fill)/float64(c.fill)
					x[a] = append(x[a], c.digit*math.Round(v/c.digit))
				}
			}
			var sort []float64
			got := bent(x, stepOf(x, &sort), &sort)
			if c.want == 0 {
				assert.Zero(t, got)
				return
			}
			assert.InEpsilon(t, c.want, got, 0.3) // where two lines hardly bend nobody sees them meet
		})
	}
}

// TestStepBias holds the bound against sines that really are rounded, at all offsets: the
// worst of them stays below it.
func TestStepBias(t *testing.T) {
	t.Parallel()
	const n = 20000
	r := rand.New(rand.NewPCG(2, 2))
	for _, amp := range []float64{0.8, 1.3, 2.1, 3.4, 7.7} {
		for _, sigma := range []float64{0, 0.2, 0.4} {
			worstOf := 0.0
			for offset := 0.0; offset < 1; offset += 0.1 {
				c, s := 0.0, 0.0
				for i := range n {
					sin, cos := math.Sincos(2 * math.Pi * float64(i) * 0.61803398875)
					v := math.Round(offset + amp*cos + sigma*r.NormFloat64())
					c, s = c+2*v*cos/n, s+2*v*sin/n
				}
				worstOf = max(worstOf, math.Abs(math.Hypot(c, s)/amp-1))
			}
			chance := 3 * (0.3 + sigma) * math.Sqrt(2.0/n) / amp
			assert.LessOrEqual(t, worstOf, stepBias(amp, 1, sigma)+chance, "amplitude %g, noise %g steps", amp, sigma)
		}
	}
}

// TestDither: of a sine that is rounded with noise the mean square that is left tells the noise, if never more of it than
// there is, and without noise none.
func TestDither(t *testing.T) {
	t.Parallel()
	const n = 20000
	r := rand.New(rand.NewPCG(2, 7))
	for _, amp := range []float64{0.2, 0.6, 1.3, 2.1, 7.7} {
		for _, sigma := range []float64{0, 0.1, 0.3, 0.5, 0.8} {
			for offset := 0.0; offset < 1; offset += 0.25 {
				left := 0.0
				for i := range n {
					v := offset + amp*math.Cos(2*math.Pi*float64(i)*0.61803398875)
					left += math.Pow(math.Round(v+sigma*r.NormFloat64())-v, 2) / n
				}
				got := dither(left, amp, 1)
				assert.LessOrEqual(t, got, sigma+0.03, "amplitude %g, noise %g steps, offset %g", amp, sigma, offset)
				if sigma >= 0.5 {
					assert.InEpsilon(t, sigma, got, 0.1, "amplitude %g, noise %g steps, offset %g", amp, sigma, offset)
				}
			}
		}
	}
}

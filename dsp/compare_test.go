package dsp_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/dsp/window"
	"gonum.org/v1/gonum/stat"

	"vibe/dsp"
	"vibe/sensor"
)

// tallest returns the frequency in Hz of the tallest line from 3 to 70 Hz, all axes together, in
// the mean power spectrum of the segments of n samples, half overlapping, under window w, and
// its amplitude in m/s² peak; centre is the largest bin's own, or else interpolated (Grandke).
func tallest(x [][]float64, rate float64, n int, w func([]float64) []float64, centre bool) (f, amp float64) {
	weights := window.NewValues(w, n+1)[:n] // periodic
	gain := 0.0
	for _, v := range weights {
		gain += v
	}
	plan, power, segments := fourier.NewFFT(n), make([]float64, n/2+1), 0.0
	for from := 0; from+n <= len(x[0]); from += n / 2 {
		segments++
		for a := range x {
			part := slices.Clone(x[a][from : from+n])
			mean := stat.Mean(part, nil)
			for i := range part {
				part[i] = (part[i] - mean) * weights[i]
			}
			for k, c := range plan.Coefficients(nil, part) {
				power[k] += 4 * (real(c)*real(c) + imag(c)*imag(c)) / (gain * gain)
			}
		}
	}
	df, best := rate/float64(n), 0
	for k := int(3 / df); float64(k)*df < min(70, 0.45*rate); k++ {
		if power[k] > power[best] || best == 0 {
			best = k
		}
	}
	f, amp = float64(best)*df, math.Sqrt(power[best]/segments)
	if centre {
		return f, amp
	}
	side, sign := power[best+1], 1.0
	if power[best-1] > side {
		side, sign = power[best-1], -1.0
	}
	ratio := math.Sqrt(side / power[best])
	off := (2*ratio - 1) / (ratio + 1)
	// A Hann line between bins is lower by sinc(off)/(1−off²).
	return f + sign*off*df, amp * (1 - off*off) / max(sinc(off), 0.5)
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// score gathers how far estimates are from the truth.
type score struct {
	wrong, n   int // speeds more than 1 % off; estimates
	shakeRight int
	errors     []float64 // of the right ones, relative
}

func (s *score) add(f, amp float64, truth sensor.Truth) {
	s.n++
	e := math.Abs(f/truth.Freq - 1)
	if e > 0.01 {
		s.wrong++
		return
	}
	s.errors = append(s.errors, e)
	if math.Abs(amp/truth.Amp-1) < 0.05 {
		s.shakeRight++
	}
}

func (s *score) row(t *testing.T, name string) {
	slices.Sort(s.errors)
	t.Logf("%-34s %5d speeds, wrong %5.1f %%, median error of the right ones %.3f %%, shake within 5 %% in %5.1f %% of all",
		name, s.n, 100*float64(s.wrong)/float64(s.n), 100*stat.Quantile(0.5, stat.Empirical, s.errors, nil), 100*float64(s.shakeRight)/float64(s.n))
}

// TestComparison holds the tracker against what is usually done: the tallest line of a Hann
// spectrum, and of Welch's mean of flat-top spectra (SciPy's welch(window="flattop"): the
// same weights, overlap and scale). The random lathes of TestMix, from 200 Hz on and at steady speed, 4 s each; run with -v
// for the table.
func TestComparison(t *testing.T) {
	t.Parallel()
	var hann, flat, silent, told score
	asked := 0
	n := *mixes
	if testing.Short() {
		n = min(n, 6)
	}
	for seed := range uint64(n) {
		m := newMix(seed)
		m.sim.Speed, m.sim.Seconds, m.sim.Wander = m.sim.Speed[:1], 4.2, 0
		if m.sim.Chip.Rate < 200 {
			continue
		}
		for _, hint := range []float64{0, 1.03 * m.sim.Speed[0].Value} {
			again := newMix(seed).sim
			again.Speed, again.Seconds, again.Wander = m.sim.Speed, m.sim.Seconds, m.sim.Wander
			tr := &dsp.Tracker{Hint: hint}
			x := make([][]float64, max(1, again.Chip.Axes))
			var last dsp.Revolution
			for b, err := again.Next(); err == nil; b, err = again.Next() {
				for a := range x {
					x[a] = append(x[a], b.Axes[a]...)
				}
				for _, v := range tr.Add(b.T, b.Axes) {
					last = v
				}
			}
			truth := again.Truth(last.Time)
			if hint > 0 {
				asked++
				if last.OK {
					told.add(last.Freq, last.Amp, truth)
				}
				continue
			}
			if last.OK && m.fair(truth) {
				silent.add(last.Freq, last.Amp, truth)
			}
			rate := again.Chip.Rate
			f, amp := tallest(x, rate, min(len(x[0]), int(4*rate)), window.Hann, false)
			hann.add(f, amp, truth)
			f, amp = tallest(x, rate, min(len(x[0]), int(2*rate)), window.FlatTop, true)
			flat.add(f, amp, truth)
		}
	}
	hann.row(t, "tallest line, Hann, 4 s")
	flat.row(t, "tallest line, flat-top welch, 2 s")
	silent.row(t, "tracker, ok, no word of the dial")
	told.row(t, "tracker, ok, dial known")
	t.Logf("the tracker gave a number in %d of %d recordings where it knew the dial, in %d where not", told.n, asked, silent.n)
	assert.Zero(t, told.wrong+silent.wrong)
	assert.NotZero(t, told.n+silent.n)
}

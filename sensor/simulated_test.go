package sensor_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"vibe/sensor"
)

// rotating is MX/(me), the response to rotating unbalance of total mass M, from Thomson,
// Theory of Vibration with Applications, eq. 3.2-4, at r = 0.5, 0.8, 1, 1.2, 2, 3.
var rotating = map[float64][6]float64{
	0.05: {0.33260, 1.73544, 10, 3.15741, 1.33038, 1.12421},
	0.10: {0.33041, 1.62455, 5, 2.87311, 1.32164, 1.12185},
	0.15: {0.32686, 1.47920, 3.33333, 2.53295, 1.30744, 1.11795},
	0.25: {0.31623, 1.18927, 2, 1.93537, 1.26491, 1.10573},
}

func TestSimulatedAnswersLikeRotatingUnbalance(t *testing.T) {
	t.Parallel()
	const own, mass, unbalance = 10.0, 50.0, 0.004 // Hz, kg, kg·m
	for damping, row := range rotating {
		for i, r := range []float64{0.5, 0.8, 1, 1.2, 2, 3} {
			t.Run(fmt.Sprintf("zeta %v, r %v", damping, r), func(t *testing.T) {
				t.Parallel()
				f := r * own
				s := &sensor.Simulated{Seconds: 4, Speed: []sensor.Point{{0, f}}, Imbalance: unbalance,
					Horizontal: sensor.Mode{Hz: own, Damping: damping, Mass: mass},
					Vertical:   sensor.Mode{Hz: 1000, Damping: 0.1, Mass: 1e6}}
				times, axes := drain(t, s)
				w := 2 * math.Pi * f
				want := row[i] * unbalance / mass * w * w
				// 3e-4: the force is a straight line over 1/8192 s, (2π·30/8192)²/12 and less.
				assert.InEpsilon(t, want, cmplx.Abs(phasor(times, axes[0], f)), 3e-4)
				truth := s.Truth(2)
				assert.InEpsilon(t, want, truth.Amp, 2e-5) // the table has six figures
				assert.InDelta(t, f, truth.Freq, 1e-12)
				assert.True(t, truth.Settled)
				// The phasor of the truth is at its own time.
				got := phasor(times, axes[0], f) * cmplx.Rect(1, w*2)
				assert.Less(t, cmplx.Abs(got-truth.Phasor[0]), 1e-3*want)
			})
		}
	}
}

func TestSimulatedRingsDownAtItsOwnFrequency(t *testing.T) {
	t.Parallel()
	const own, damping = 12.0, 0.04
	s := &sensor.Simulated{Seconds: 3, Speed: []sensor.Point{{0, 11}, {1, 11}, {1, 0}}, Imbalance: 0.01,
		Horizontal: sensor.Mode{Hz: own, Damping: damping, Mass: 40}}
	times, axes := drain(t, s)
	// Logarithmic decrement, Thomson eq. 2.8-2: from one peak to that n periods later ln = 2πnζ/√(1−ζ²).
	size := func(from, to float64) float64 {
		var peak float64
		for i, at := range times {
			if at >= from && at < to {
				peak = max(peak, math.Abs(axes[0][i]))
			}
		}
		return peak
	}
	period := 1 / (own * math.Sqrt(1-damping*damping))
	got := math.Log(size(1.2, 1.2+period) / size(1.2+5*period, 1.2+6*period))
	assert.InEpsilon(t, 2*math.Pi*5*damping/math.Sqrt(1-damping*damping), got, 0.01)
	assert.Zero(t, s.Truth(2).Amp)
	assert.Zero(t, s.Truth(2).Freq)
	assert.False(t, s.Truth(2).Settled)
}

func TestSimulatedTruthFollowsASweep(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 20, Speed: []sensor.Point{{2, 5}, {12, 15}}, Imbalance: 0.002,
		Growth: []sensor.Point{{13, 1}, {17, 3}}}
	drain(t, s)
	assert.True(t, s.Truth(1.9).Settled)
	assert.False(t, s.Truth(2.1).Settled)
	assert.False(t, s.Truth(12.1).Settled, "the modes still ring")
	assert.True(t, s.Truth(13.5).Settled)
	assert.InDelta(t, 10, s.Truth(7).Freq, 1e-3)
	assert.InDelta(t, 2*5+10*10.0, s.Truth(12).Turns, 1e-3)
	assert.InEpsilon(t, 2, s.Truth(15).Amp/s.Truth(12.9).Amp, 1e-3)
	assert.Equal(t, sensor.Truth{}, s.Truth(-1))
	assert.Equal(t, sensor.Truth{}, s.Truth(21))
	assert.Equal(t, sensor.Truth{}, s.Truth(math.NaN()))
}

func TestSimulatedObeysItsDial(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 30, Imbalance: 0.002, Lag: 0.2, Slew: 2}
	next := func() float64 {
		b, err := s.Next()
		require.NoError(t, err)
		return s.Truth(b.T[len(b.T)-1]).Freq
	}
	assert.Zero(t, next())
	s.SetDial(10)
	var last, at float64
	for at = 0.25; last < 10; at += 0.25 {
		f := next()
		require.LessOrEqual(t, f-last, 0.25*2+1e-9, "faster than Slew")
		last = f
	}
	assert.InDelta(t, 5+0.2*math.Log(0.4/1e-3), at, 0.5)
	s.SetDial(math.NaN())
	for last > 0 {
		last = next()
	}
}

func TestSimulatedLines(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 4, Speed: []sensor.Point{{0, 8}}, Imbalance: 0.003,
		Lines: []sensor.Line{
			{Order: 2, Ratio: [3]complex128{3, 0, 0}},
			{Order: 0.75, Amp: [3]complex128{0, 0.2i, 0}},
			{Hz: 50, Amp: [3]complex128{0, 0, 0.1}},
			{Order: 1, Amp: [3]complex128{0, 0, 0.5}},
		}, Chip: sensor.Chip{Turned: [3]float64{0.3, -1, 2}}}
	times, axes := drain(t, s)
	truth := s.Truth(3)
	size := func(f float64) float64 {
		var p [3]complex128
		for i := range p {
			p[i] = phasor(times, axes[i], f)
		}
		return worst(p)
	}
	assert.InEpsilon(t, truth.Amp, size(8), 1e-3)
	assert.InEpsilon(t, truth.Lines[0], size(16), 1e-3)
	assert.InEpsilon(t, 0.2, truth.Lines[1], 1e-9)
	assert.InEpsilon(t, 0.2, size(6), 1e-3)
	assert.InEpsilon(t, 0.1, size(50), 1e-3)
	flat := &sensor.Simulated{Seconds: 1, Speed: s.Speed, Imbalance: s.Imbalance}
	drain(t, flat)
	assert.InEpsilon(t, 3*flat.Truth(0.5).Amp, truth.Lines[0], 1e-9, "a ratio is to the once-per-turn line")
}

// turning is a lathe at 9 Hz for 10 s, seen through chip.
func turning(chip sensor.Chip) *sensor.Simulated {
	return &sensor.Simulated{Seconds: 10, Speed: []sensor.Point{{0, 9}}, Imbalance: 0.003, Chip: chip}
}

func TestChipRangeAndStep(t *testing.T) {
	t.Parallel()
	s := turning(sensor.Chip{Step: 0.25, Range: 9.9})
	b, err := s.Next()
	require.NoError(t, err)
	assert.Equal(t, 9.9, b.Range)
	for _, v := range b.Axes[1] {
		require.Zero(t, math.Mod(v, 0.25))
		require.LessOrEqual(t, v, 10.0)
	}
}

func TestChipLosesSamples(t *testing.T) {
	t.Parallel()
	s := turning(sensor.Chip{Rate: 200, Jitter: 0.2, Missing: 0.05, Gaps: []sensor.Point{{4, 1}}})
	times, lost := []float64(nil), 0
	for {
		b, err := s.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		times, lost = append(times, b.T...), lost+b.Lost
	}
	assert.Equal(t, 2000, len(times)+lost)
	assert.InDelta(t, 200+0.05*1800, lost, 40)
	for i := 1; i < len(times); i++ {
		require.Greater(t, times[i], times[i-1])
		require.False(t, times[i] >= 4 && times[i] < 5)
	}
}

func TestChipClock(t *testing.T) {
	t.Parallel()
	s := turning(sensor.Chip{Clock: 0.01})
	times, axes := drain(t, s)
	assert.InEpsilon(t, s.Truth(5).Amp, cmplx.Abs(phasor(times, axes[0], 9/1.01)), 1e-3)
}

func TestChipStampsAndHolds(t *testing.T) {
	t.Parallel()
	s := turning(sensor.Chip{Rate: 200, Hold: 4, Stamp: 1e-3, Jitter: 0.1})
	times, axes := drain(t, s)
	for i, at := range times {
		require.InDelta(t, math.Round(at*1e3), at*1e3, 1e-6)
		if i%4 != 0 {
			require.Equal(t, axes[0][i-1], axes[0][i])
		}
	}
}

func TestChipNoise(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 20, Chip: sensor.Chip{Noise: 0.002, NoGravity: true}, Cutting: sensor.Cutting{White: 0.001}}
	_, axes := drain(t, s)
	var sum float64
	for _, v := range axes[2] {
		sum += v * v
	}
	// Density² times half the rate; 20 000 values know their rms to 0.5 %.
	assert.InEpsilon(t, math.Hypot(0.002, 0.001)*math.Sqrt(500), math.Sqrt(sum/float64(len(axes[2]))), 0.02)
}

// A blow once per turn, however hard, is not once-per-turn motion.
func TestSimulatedKnockLeavesTheLineAlone(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 60, Speed: []sensor.Point{{0, 10.03}}, Imbalance: 0.002, Knock: sensor.Knock{Peak: 5},
		Chip: sensor.Chip{Rate: 3200, NoGravity: true}}
	times, axes := drain(t, s)
	assert.InEpsilon(t, s.Truth(30).Amp, cmplx.Abs(phasor(times, axes[0], 10.03)), 0.02)
	var peak float64
	for _, v := range axes[0] {
		peak = max(peak, math.Abs(v))
	}
	assert.Greater(t, peak, 3.0)
}

// Force noise of density D through a mode gives acceleration noise of density D·|H(f)|:
// far above its frequency the mode is a free mass.
func TestSimulatedCuttingForce(t *testing.T) {
	t.Parallel()
	s := &sensor.Simulated{Seconds: 60, Cutting: sensor.Cutting{Force: 3}, Chip: sensor.Chip{Rate: 3200, NoGravity: true},
		Horizontal: sensor.Mode{Hz: 10, Damping: 0.05, Mass: 60}}
	times, axes := drain(t, s)
	var sum float64
	var n int
	for f := 60.0; f < 100; f += 0.5 {
		a := cmplx.Abs(phasor(times, axes[0], f))
		sum += a * a / 2 * 60 // one bin of 1/60 s holds the density
		n++
	}
	h := func(f float64) float64 { return 1 / 60.0 / (1 - 100/(f*f)) }
	assert.InEpsilon(t, 3*h(80)/math.Hypot(1, 80/200.0), math.Sqrt(sum/float64(n)), 0.15)
}

// An endless lathe forgets, one with an end does not.
func TestSimulatedTruthIsBounded(t *testing.T) {
	t.Parallel()
	const minutes = 21
	for _, seconds := range []float64{0, minutes * 60} {
		s := &sensor.Simulated{Seconds: seconds, Speed: []sensor.Point{{0, 9}}, Imbalance: 0.003, Chip: sensor.Chip{Rate: 64}}
		for last := 0.0; last < minutes*60-1; {
			b, err := s.Next()
			require.NoError(t, err)
			last = b.T[len(b.T)-1]
		}
		assert.NotZero(t, s.Truth((minutes-10)*60).Amp)
		assert.Equal(t, seconds == 0, s.Truth(60).Amp == 0)
		require.NoError(t, s.Close())
	}
}

func TestSimulatedIsReproducible(t *testing.T) {
	t.Parallel()
	run := func(seed uint64) [][]float64 {
		_, axes := drain(t, &sensor.Simulated{Seed: seed, Seconds: 2, Speed: []sensor.Point{{0, 9}}, Imbalance: 0.003, Wander: 0.01,
			Cutting: sensor.Cutting{White: 0.01, Force: 1, On: 0.3, Off: 0.3}, Chip: sensor.Chip{Noise: 1e-3, Jitter: 0.1, Missing: 0.01}})
		return axes
	}
	assert.Equal(t, run(1), run(1))
	assert.NotEqual(t, run(1), run(2))
}

func TestSimulatedRefusesTheImpossible(t *testing.T) {
	t.Parallel()
	for want, s := range map[string]*sensor.Simulated{
		"simulated lathe: Chip.Rate is NaN, must be from 0 to 1e+06":                                    {Chip: sensor.Chip{Rate: math.NaN()}},
		"simulated lathe: Horizontal.Damping is 1, must be from 0 to 0.99":                              {Horizontal: sensor.Mode{Damping: 1}},
		"simulated lathe: Speed[1] is {At:1 Value:2}; times must not decrease, values not be negative":  {Speed: []sensor.Point{{2, 1}, {1, 2}}},
		"simulated lathe: Speed[0] is {At:0 Value:-1}; times must not decrease, values not be negative": {Speed: []sensor.Point{{0, -1}}},
	} {
		_, err := s.Next()
		assert.EqualError(t, err, want)
		_, again := s.Next()
		assert.Equal(t, err, again)
	}
}

func BenchmarkSimulated(b *testing.B) {
	s := &sensor.Simulated{Speed: []sensor.Point{{0, 9}}, Imbalance: 0.003, Wander: 0.001, Chip: sensor.Chip{Noise: 1e-3, Jitter: 0.1}}
	defer s.Close()
	var n int
	for b.Loop() {
		block, err := s.Next()
		require.NoError(b, err)
		n += len(block.T)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/sample")
}

// drain reads s to its end.
func drain(t *testing.T, s sensor.Source) (times []float64, axes [][]float64) {
	t.Helper()
	for {
		b, err := s.Next()
		if errors.Is(err, io.EOF) {
			return times, axes
		}
		require.NoError(t, err)
		times = append(times, b.T...)
		if axes == nil {
			axes = make([][]float64, len(b.Axes))
		}
		for i := range b.Axes {
			axes[i] = append(axes[i], b.Axes[i]...)
		}
	}
}

// phasor of a sinusoid of f Hz with offset, by least squares: x(t) = Re(p·exp(2πift)).
func phasor(times, x []float64, f float64) complex128 {
	m := mat.NewDense(len(times), 3, nil)
	for i, at := range times {
		sin, cos := math.Sincos(2 * math.Pi * f * at)
		m.SetRow(i, []float64{cos, -sin, 1})
	}
	var got mat.VecDense
	if err := got.SolveVec(m, mat.NewVecDense(len(x), x)); err != nil {
		panic(err)
	}
	return complex(got.AtVec(0), got.AtVec(1))
}

// worst is the longest half axis of the ellipse of p, found by looking in all directions.
func worst(p [3]complex128) float64 {
	var w float64
	for a := 0.0; a < 2*math.Pi; a += 1e-4 {
		var size float64
		for _, c := range p {
			v := real(c * cmplx.Rect(1, a))
			size += v * v
		}
		w = max(w, math.Sqrt(size))
	}
	return w
}

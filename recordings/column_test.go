package recordings

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/sensor"
)

// made returns n values of f.
func made(n int, f func(i int) float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = f(i)
	}
	return out
}

// throughColumn codes v and returns the bytes a value takes; it fails unless every bit returns.
func throughColumn(t require.TestingT, v []float64) float64 {
	data := encodeColumn(v)
	got, rest, err := decodeColumn(data, len(v))
	require.NoError(t, err)
	require.Empty(t, rest)
	for i := range v {
		require.Equal(t, math.Float64bits(v[i]), math.Float64bits(got[i]), "value %d: %v came back as %v", i, v[i], got[i])
	}
	return float64(len(data)) / float64(len(v))
}

// The grids that sources put their samples on are found, wherever on the clock they are:
// noise of 36 steps has an entropy of log2(36·√(2πe)) = 7.2 bits.
func TestGridsOfSources(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 1))
	count := func(i int) float64 {
		return math.Round(2048 + 330*math.Sin(2*math.Pi*12.3*float64(i)/1000) + 36*rng.NormFloat64())
	}
	micros := 0.0
	for _, c := range []struct {
		name string
		most float64 // bytes a value
		at   func(i int) float64
	}{
		{"counts of a board", 1.15, func(i int) float64 { return count(i) * (9.80665 / 8192) }},
		{"decimals of g", 1.15, func(i int) float64 { return count(i) / 1000 * 9.80665 }},
		{"whole mg", 1.15, func(i int) float64 { return count(i) * 9.80665 / 1000 }},
		{"tenths of mg", 1.6, func(i int) float64 { return count(i) / 10 * 9.80665 / 1000 }},
		{"decimals of m/s²", 1.15, func(i int) float64 { return count(i) / 100 }},
		{"16-bit WAV", 1.15, func(i int) float64 { return count(i) / 32768 * 19.6133 }},
		{"no noise", 0.06, func(int) float64 { return 9.80665 }},
		{"times at 1 kHz", 0.06, func(i int) float64 { return float64(i) / 1000 }},
		{"times at 1 kHz after 8 h", 0.06, func(i int) float64 { return float64(28_800_000+i) / 1000 }},
		{"times in µs", 1.2, func(i int) float64 { return float64(1000*i+int(50*rng.NormFloat64())) / 1e6 }},
		{"times in µs after 8 h", 1.2, func(i int) float64 {
			return math.Round(28800e6+float64(1000*i)+50*rng.NormFloat64()) * 1e-6
		}},
		{"stamps less the first", 2.2, func(i int) float64 {
			if i == 0 {
				return 0
			}
			micros = 1.7e9 + float64(1000*i+int(50*rng.NormFloat64()))/1e6
			return micros - 1.7e9
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := throughColumn(t, made(1000, c.at))
			t.Logf("%.2f bytes a value", got)
			assert.Less(t, got, c.most)
		})
	}
}

// Any float64 comes back, on a grid or not.
func TestAnyValueReturns(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(2, 2))
	for name, v := range map[string][]float64{
		"one":       {9.80665},
		"signs":     {0, math.Copysign(0, -1), 1, -1},
		"extremes":  {math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, 0},
		"infinite":  {math.Inf(1), 1, math.Inf(-1), math.NaN()},
		"no grid":   made(1000, func(int) float64 { return rng.NormFloat64() }),
		"two grids": made(600, func(i int) float64 { return math.Round(100*rng.NormFloat64()) / []float64{1000, 7}[i/300] }),
	} {
		t.Run(name, func(t *testing.T) { throughColumn(t, v) })
	}
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64().Draw(t, "step")
		value := rapid.OneOf(rapid.Float64(), rapid.Map(rapid.Int16(), func(k int16) float64 { return float64(k) * step }),
			rapid.Map(rapid.Uint64(), math.Float64frombits))
		throughColumn(t, rapid.SliceOfN(value, 1, 600).Draw(t, "values"))
	})
}

// FuzzDecode: bytes that nobody coded are refused, never a panic and never more than asked for.
func FuzzDecode(f *testing.F) {
	b := sensor.Block{T: []float64{0, 0.001, 0.002}, Axes: [][]float64{{1, 2, 3}, {0.1, 0.7, 0.3}}}
	f.Add(encode(b))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := decode(data)
		if err == nil {
			again, err := decode(encode(got))
			require.NoError(t, err)
			require.Len(t, again.T, len(got.T))
		}
		if len(data) > 5 { // past the check sum too
			_, _, err = decodeColumn(data[5:], 100)
			_ = err
		}
	})
}

func BenchmarkChunk(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	block := sensor.Block{T: made(1000, func(i int) float64 { return float64(1000*i+int(20*rng.NormFloat64())) / 1e6 })}
	for range 3 {
		block.Axes = append(block.Axes, made(1000, func(i int) float64 {
			return math.Round(2048+2000*math.Sin(2*math.Pi*12.3*float64(i)/1000)+330*rng.NormFloat64()) / 16384 * 9.80665
		}))
	}
	data := encode(block)
	b.Run("encode", func(b *testing.B) {
		for b.Loop() {
			encode(block)
		}
		b.ReportMetric(float64(len(data))/1000, "B/sample")
	})
	b.Run("decode", func(b *testing.B) {
		for b.Loop() {
			_, err := decode(data)
			require.NoError(b, err)
		}
	})
}

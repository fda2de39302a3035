package recordings_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/recordings"
	"vibe/sensor"
)

// keepBlock keeps one block as a session.
func keepBlock(t *testing.T, b sensor.Block) *recordings.Session {
	s := newShop(t)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	require.NoError(t, w.Append(b))
	require.NoError(t, w.Close())
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	return k
}

// What a sensor gave as whole numbers comes back from a WAV file bit for bit, in as few bits
// as hold it.
func TestWAVRoundTrip(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(4, 4))
	for _, c := range []struct {
		name  string
		bits  int
		off   float64 // m/s²
		value func() float64
	}{
		{"16 bits", 16, 0, func() float64 { return float64(rng.IntN(1<<16)-1<<15+1) * (9.80665 / 8192) }},
		{"24 bits", 24, 0, func() float64 { return float64(rng.IntN(1<<20)-1<<19) * (9.80665 / (1 << 18)) }},
		{"from a WAV of ±2 g", 16, 0, func() float64 { return float64(rng.IntN(60000)-30000) / 32768 * 19.6133 }},
		{"decimals of m/s²", 16, 4e-15, func() float64 { return float64(rng.IntN(4000)-2000) / 100 }},
		{"decimals of g", 16, 4e-15, func() float64 { return float64(rng.IntN(4000)-2000) / 1000 * 9.80665 }},
		{"no grid", 32, 2e-8, func() float64 { return 10 * rng.NormFloat64() }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			const n = 3001
			b := sensor.Block{T: make([]float64, n), Axes: [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}}
			for i := range n {
				b.T[i] = float64(i) / 800
				for a := range b.Axes {
					b.Axes[a][i] = c.value()
				}
			}
			k := keepBlock(t, b)
			var file bytes.Buffer
			wave, err := k.WriteWAV(&file)
			require.NoError(t, err)
			assert.Equal(t, c.bits, wave.Bits)
			assert.Equal(t, 800, wave.Rate)
			assert.LessOrEqual(t, wave.Off, c.off)
			assert.Less(t, wave.Late, 1e-9)
			src, err := sensor.Decode("wav", bytes.NewReader(file.Bytes()), sensor.Options{FullScale: wave.FullScale})
			require.NoError(t, err)
			got := joined(drain(t, src))
			for a := range b.Axes {
				for i, v := range got.Axes[a] {
					require.LessOrEqual(t, math.Abs(v-b.Axes[a][i]), wave.Off)
				}
			}
			assert.Len(t, got.T, n)
			assert.InDelta(t, b.T[n-1], got.T[n-1], 1e-9)
		})
	}
}

// Uneven times are said: a WAV file cannot hold them.
func TestWAVTimes(t *testing.T) {
	t.Parallel()
	b := sensor.Block{T: []float64{0, 0.01, 0.02, 0.05, 0.06}, Axes: [][]float64{{1, 2, 3, 4, 5}}}
	wave, err := keepBlock(t, b).WriteWAV(&bytes.Buffer{})
	require.NoError(t, err)
	assert.Equal(t, 67, wave.Rate)
	assert.InDelta(t, 0.0098, wave.Late, 0.0001)

	s := newShop(t)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	require.NoError(t, w.Close())
	k, err := s.Session(w.Number())
	require.NoError(t, err)
	_, err = k.WriteWAV(&bytes.Buffer{})
	assert.ErrorIs(t, err, recordings.ErrNoWave)
}

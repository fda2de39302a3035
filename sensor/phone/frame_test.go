package phone

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// encode writes a frame as the page does.
func encode(run, first uint32, sent float64, samples []sample) []byte {
	p := binary.LittleEndian.AppendUint32(nil, run)
	p = binary.LittleEndian.AppendUint32(p, first)
	p = binary.LittleEndian.AppendUint64(p, math.Float64bits(sent))
	for _, s := range samples {
		for _, v := range []float64{s.ms, s.v[0], s.v[1], s.v[2]} {
			p = binary.LittleEndian.AppendUint64(p, math.Float64bits(v))
		}
	}
	return p
}

func TestDecode(t *testing.T) {
	t.Parallel()
	want := frame{2, 7, 99.5, []sample{{98, [3]float64{0.1, -9.8, 3}}, {99, [3]float64{4, 5, 6}}}}
	got, err := decode(encode(2, 7, 99.5, want.samples))
	require.NoError(t, err)
	assert.Equal(t, want, got)
}

func TestDecodeRefuses(t *testing.T) {
	t.Parallel()
	good := encode(0, 0, 1, make([]sample, 3))
	for name, p := range map[string][]byte{
		"empty":          nil,
		"no sample":      good[:headBytes],
		"half a sample":  good[:len(good)-1],
		"one byte more":  append(good[:len(good):len(good)], 0),
		"too many":       encode(0, 0, 1, make([]sample, mostSamples+1)),
		"a wrong number": encode(0, math.MaxUint32, 1, make([]sample, 3)),
		"no time":        encode(0, 0, math.NaN(), make([]sample, 3)),
		"endless time":   encode(0, 0, math.Inf(-1), make([]sample, 3)),
	} {
		_, err := decode(p)
		assert.Error(t, err, name)
	}
}

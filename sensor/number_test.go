package sensor

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// strconv is the truth about every number that it and we both call one.
func TestNumberIsThatOfStrconv(t *testing.T) {
	t.Parallel()
	same := func(t require.TestingT, text string) {
		want, err := strconv.ParseFloat(text, 64)
		got, ok := number([]byte(text), '.')
		require.Equal(t, err == nil, ok, text)
		if ok {
			require.Equal(t, math.Float64bits(want), math.Float64bits(got), text)
		}
		got, ok = number([]byte(strings.Replace(text, ".", ",", 1)), ',')
		require.Equal(t, err == nil, ok, text)
		require.True(t, !ok || got == want, text)
	}
	for _, text := range []string{"0", "-0", ".5", "5.", "+1.0", "1.234E-03", "1e22", "1e23", "9007199254740993", "18446744073709551616", "0.00000000000000000000000001",
		"123456789012345678901234567890e-40", "1e-400", "1e400", "-", "", ".", "+", "e5", "1e", "1e+", "--1", "1.2.3", "1 2", "1e1.5", "٣", "1e99999999999999"} {
		same(t, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		format := rapid.SampledFrom([]byte("efg")).Draw(t, "format")
		same(t, strconv.FormatFloat(v, format, rapid.IntRange(-1, 25).Draw(t, "digits"), 64))
		same(t, rapid.StringMatching(`[-+]?[0-9]{0,22}\.?[0-9]{0,22}([eE][-+]?[0-9]{0,3})?`).Draw(t, "text"))
	})
}

func TestNumberRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"NaN", "nan", "Inf", "-inf", "infinity", "0x10", "0x1p-2", "1_000", "1,5", "½"} {
		_, ok := number([]byte(text), '.')
		assert.False(t, ok, text)
	}
	_, ok := number([]byte("1.234,5"), ',')
	assert.False(t, ok)
}

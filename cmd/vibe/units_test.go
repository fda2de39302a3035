package main

import (
	"errors"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/assess"
	"vibe/sensor"
)

func TestQuantity(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kind kind
		in   string
		want float64
	}{
		{lengthKind, "310mm", 310}, {lengthKind, "31 cm", 310}, {lengthKind, "12in", 304.8}, {lengthKind, `12"`, 304.8},
		{lengthKind, "1/2in", 12.7}, {lengthKind, "12-1/2 in", 317.5}, {lengthKind, "1 3/8inch", 34.925}, {lengthKind, ".5cm", 5},
		{lengthKind, "1e2MM", 100}, {massKind, "1.5kg", 1.5}, {massKind, "3lb", 1.36077711}, {massKind, "50oz", 1.41747615625},
		{massKind, "1500 g", 1.5}, {speedKind, "1200", 1200}, {speedKind, "1200rpm", 1200}, {rateKind, "1kHz", 1000},
		{rateKind, "60", 60}, {accelerationKind, "2g", 19.6133}, {accelerationKind, "20m/s2", 20}, {accelerationKind, "16 m/s^2", 16},
		{accelerationKind, "500mg", 4.903325},
	} {
		got, err := c.kind.parse(c.in)
		require.NoError(t, err, c.in)
		assert.InDelta(t, c.want, got, 1e-9*c.want, c.in)
	}
}

func TestQuantityRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kind     kind
		in, want string
	}{
		{lengthKind, "12", `"12" has no unit`},
		{lengthKind, "0mm", `"0mm" must be larger than zero`},
		{lengthKind, "-3in", `"-3in" must be larger than zero`},
		{lengthKind, "-3", `"-3" must be larger than zero`},
		{lengthKind, "12furlong", `"12furlong": unit "furlong" is not one of mm, cm, in`},
		{lengthKind, "3,5cm", `"3,5": a comma may mean two things; write 1200 or 31.5`},
		{lengthKind, "NaNmm", `"NaN" is not a number`},
		{lengthKind, "Infmm", `"Inf" is not a number`},
		{lengthKind, "1e300mm", `"1e300mm" is too large to be real`},
		{lengthKind, "1/0in", `"1/0" is not a number`},
		{lengthKind, "0x10mm", `"0x10" is not a number`},
		{lengthKind, "", `"" is not a number`},
		{lengthKind, "mm", `"mm" is not a number`},
		{speedKind, "rpm", `"rpm" is not a number`},
		{lengthKind, "1-3/2in", `"1-3/2" is not a number`},
		{lengthKind, "big", `"big" is not a number`},
		{accelerationKind, "2", `"2" has no unit`},
		{speedKind, "fast", `"fast" is not a number`},
		{speedKind, "0", `"0" must be larger than zero`},
		{rateKind, "0Hz", `"0Hz" must be larger than zero`},
		{massKind, "5mm", `"5mm": unit "mm" is not one of kg, g, lb, oz`},
	} {
		_, err := c.kind.parse(c.in)
		require.Error(t, err, c.in)
		assert.Equal(t, c.want, err.Error())
		assert.NotEmpty(t, hintOf(err), c.in)
	}
}

// Whatever is typed, what comes out is a usable number or an error.
func TestQuantityNeverLies(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom([]kind{lengthKind, massKind, speedKind, rateKind, accelerationKind}).Draw(t, "kind")
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[-+]?[0-9]{0,3}[./, -]?[0-9]{0,3}[e]?[0-9]{0,3} ?(mm|cm|in|kg|g|lb|oz|rpm|m/s2|)`)).Draw(t, "text")
		v, err := k.parse(s)
		if err == nil && !(v > 0 && v <= k.most) {
			t.Fatalf("parse(%q) = %v", s, v)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(0.01, 393).Draw(t, "x")
		v, err := lengthKind.parse(strconv.FormatFloat(x, 'f', -1, 64) + "in")
		require.NoError(t, err)
		require.InEpsilon(t, x*25.4, v, 1e-12)
	})
}

func TestLists(t *testing.T) {
	t.Parallel()
	var good []float64
	require.NoError(t, rising(&good).Set("500,800, 1250rpm"))
	assert.Equal(t, []float64{500, 800, 1250}, good)
	for _, bad := range []string{"", "500,", "800,500", "500,500", "a,b", "500;800"} {
		assert.Error(t, rising(new([]float64)).Set(bad), bad)
	}
}

func TestWords(t *testing.T) {
	t.Parallel()
	var held string
	v := word(&held, "chuck", "faceplate")
	require.NoError(t, v.Set("Chuck"))
	assert.Equal(t, "chuck", held)
	assert.EqualError(t, v.Set("faceplate"), `given twice, as "Chuck" and as "faceplate"`)
	err := word(&held, "chuck", "faceplate").Set("facplate")
	require.EqualError(t, err, `"facplate" is not known here`)
	assert.Equal(t, "did you mean faceplate? (chuck, faceplate)", hintOf(err))
	_, err = choose("Round", assess.Balances())
	assert.Equal(t, "did you mean true (turned round) or sawn? (true, sawn, rough, burl)", hintOf(err))
	_, err = choose("round", []string{"rough", "calm"})
	assert.Equal(t, "did you mean rough? (rough, calm)", hintOf(err), "of a shake it means no balance")
}

// What to try is the innermost that is known, else what helps against such a failure.
func TestHintOf(t *testing.T) {
	t.Parallel()
	damaged := &sensor.ParseError{File: "a; b.csv", Err: errors.New("damaged")}
	assert.Contains(t, hintOf(damaged), "try again")
	assert.Equal(t, "outer", hintOf(hintf("outer", "x: %w", damaged)))
	cut := &sensor.ParseError{File: "a; b.csv", Line: 3, Err: errors.New("cut off"), Try: "copy it again"}
	assert.Equal(t, "a; b.csv:3: cut off", cut.Error())
	assert.Equal(t, "copy it again", hintOf(hintf("outer", "x: %w", cut)))
}

func TestNearest(t *testing.T) {
	t.Parallel()
	words := []string{"help", "bit", "diameter", "length", "mass", "tailstock", "full-scale"}
	assert.Equal(t, "diameter", nearest("dia", words))
	assert.Equal(t, "full-scale", nearest("full", words))
	assert.Equal(t, "full-scale", nearest("FULL-", words))
	assert.Empty(t, nearest("x1", words))
	assert.Empty(t, nearest("", words))
	assert.Equal(t, "diameter", nearest("diamter", words))
	assert.Equal(t, "full-scale", nearest("fullscale", words))
	assert.Equal(t, "length", nearest("len", words))
	assert.Empty(t, nearest("purple", words))
}

package assess_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/assess"
	"vibe/dsp"
)

// clean is the line of a spindle at 600 rpm shaking 2 mm/s rms, known to 1 %.
func clean() dsp.Revolution {
	amp := 2 * math.Sqrt2 * 2 * math.Pi * 10 / 1000
	return dsp.Revolution{Time: 3, Span: 2, OK: true, Freq: 10, FreqSE: 0.001, Axes: 3, Amp: amp, AmpSE: amp / 100, Floor: amp / 200,
		Seen: 2, MultipleAmp: [4]float64{amp / 4, amp / 10}, Total: 0.004, Band: [2]float64{10, 400}, Crest: 3, Rate: 1000}
}

func TestReadClean(t *testing.T) {
	t.Parallel()
	r := assess.Read(clean())
	assert.True(t, r.OK)
	assert.InEpsilon(t, 600, float64(r.Speed), 1e-9)
	assert.InEpsilon(t, 0.06, float64(r.SpeedSE), 1e-9)
	assert.InEpsilon(t, 2, r.Shake, 1e-9)
	assert.InEpsilon(t, 0.02, r.ShakeSE, 1e-9)
	assert.InEpsilon(t, 0.01, r.Floor, 1e-9)
	assert.InEpsilon(t, 4, r.Total, 1e-9)
	assert.Equal(t, assess.Lively, r.Feel)
	assert.Equal(t, []float64{0.25, 0.1}, r.Multiples)
	assert.Equal(t, "out of balance, likely", r.Cause)
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*dsp.Revolution)
		fault  dsp.Fault
	}{
		"below 0.03 mm/s":     {func(r *dsp.Revolution) { r.Amp /= 70; r.AmpSE /= 70 }, dsp.Weak},
		"uncertain by 6 %":    {func(r *dsp.Revolution) { r.AmpSE *= 6 }, dsp.Weak},
		"no standard error":   {func(r *dsp.Revolution) { r.AmpSE = 0 }, dsp.Weak},
		"no frequency":        {func(r *dsp.Revolution) { r.Freq = 0 }, dsp.NoTurn},
		"frequency no number": {func(r *dsp.Revolution) { r.Freq = math.NaN() }, dsp.NoTurn},
		"amplitude no number": {func(r *dsp.Revolution) { r.Amp = math.Inf(1) }, dsp.Weak},
		"not ok by itself":    {func(r *dsp.Revolution) { r.OK = false; r.Faults = []dsp.Fault{dsp.Gap} }, dsp.Gap},
		"doubtful though ok":  {func(r *dsp.Revolution) { r.Faults = []dsp.Fault{dsp.Doubtful} }, dsp.Doubtful},
		"folded, no dial":     {func(r *dsp.Revolution) { r.OK = false; r.Faults = []dsp.Fault{dsp.Folded} }, dsp.Folded},
	} {
		rev := clean()
		c.change(&rev)
		r := assess.Read(rev)
		assert.False(t, r.OK, name)
		assert.Contains(t, r.Faults, c.fault, name)
	}
	gap := clean()
	gap.Faults = []dsp.Fault{dsp.Gap}
	assert.True(t, assess.Read(gap).OK, "a few samples missing forbid no number")
	gap.Faults = []dsp.Fault{dsp.Folded}
	assert.True(t, assess.Read(gap).OK, "the dial says which image it is")
}

func TestReadingJSON(t *testing.T) {
	t.Parallel()
	assert.JSONEq(t, `{"t_s":3,"span_s":2,"ok":true,"speed_rpm":600,"speed_se_rpm":0.06,"shake_mm_s":2,"shake_se_mm_s":0.02,
		"floor_mm_s":0.01,"travel_um":90.03,"total_mm_s":4,"band_hz":[10,400],"feel":"lively","cause":"out of balance, likely",
		"rival_rpm":null,"crest":3,"orbit":null,"multiples":[0.25,0.1],"faults":[],"warnings":[]}`, string(marshal(t, assess.Read(clean()))))
	assert.JSONEq(t, `{"t_s":7,"span_s":4,"ok":false,"speed_rpm":null,"speed_se_rpm":null,"shake_mm_s":null,"shake_se_mm_s":null,
		"floor_mm_s":null,"travel_um":null,"total_mm_s":null,"band_hz":null,"feel":null,"cause":null,"rival_rpm":null,"crest":null,"orbit":null,
		"multiples":[],"faults":["no-turn"],"warnings":[]}`, string(marshal(t, assess.Read(dsp.Revolution{Time: 7, Span: 4}))))
}

// TestReadingJSONError: a speed and a shake are not rounded to more than their standard errors say.
func TestReadingJSONError(t *testing.T) {
	t.Parallel()
	var doc map[string]any
	r := assess.Reading{OK: true, Speed: 600.123456, SpeedSE: 0.00123, Shake: 1.23456789, ShakeSE: 0.0000123}
	require.NoError(t, json.Unmarshal(marshal(t, r), &doc))
	assert.Equal(t, []any{600.1235, 0.0012, 1.234568, 0.000012}, []any{doc["speed_rpm"], doc["speed_se_rpm"], doc["shake_mm_s"], doc["shake_se_mm_s"]})
}

// TestReadingJSONMultiples: one that is not known is null, and a small one is no 0.
func TestReadingJSONMultiples(t *testing.T) {
	t.Parallel()
	for want, m := range map[string][]float64{
		"[null,0.1]":      {math.NaN(), 0.1},
		"[0.25,null]":     {0.25, math.Inf(1)},
		"[null,0.0002]":   {-1, 0.0002},
		"[0.333,2000000]": {1. / 3, 2e6},
	} {
		var doc struct{ Multiples json.RawMessage }
		require.NoError(t, json.Unmarshal(marshal(t, assess.Reading{Multiples: m}), &doc))
		assert.Equal(t, want, string(doc.Multiples))
	}
	rev := clean()
	rev.MultipleAmp[0] = math.NaN()
	assert.Contains(t, string(marshal(t, assess.Read(rev))), `"multiples":[null,0.1]`)
}

// TestReadAnything: whatever dsp says, no NaN, no Inf, no negative number comes out, the
// JSON is valid and reads back.
func TestReadAnything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e-308}))
		draw := func(name string) float64 { return f.Draw(t, name) }
		rev := dsp.Revolution{Time: draw("time"), Span: draw("span"), OK: rapid.Bool().Draw(t, "ok"), Freq: draw("freq"), FreqSE: draw("freqse"),
			Amp: draw("amp"), AmpSE: draw("ampse"), Floor: draw("floor"), Seen: rapid.IntRange(-1, 9).Draw(t, "seen"),
			MultipleAmp: [4]float64{draw("m2"), draw("m3")}, Axes: rapid.IntRange(0, 3).Draw(t, "axes"), Phasor: [3]complex128{complex(draw("xr"), draw("xi")), complex(draw("yr"), 0)}, Band: [2]float64{draw("low"), draw("high")}, Total: draw("total"), Crest: draw("crest"), Rival: draw("rival"),
			Faults: rapid.SliceOf(rapid.SampledFrom(faults)).Draw(t, "faults")}
		r := assess.Read(rev)
		for _, v := range []float64{float64(r.Speed), float64(r.SpeedSE), r.Shake, r.ShakeSE, r.Floor, r.Travel, r.Total, r.Crest, r.Orbit, float64(r.Rival)} {
			if !(v >= 0) || math.IsInf(v, 0) {
				t.Fatalf("%v in %+v", v, r)
			}
		}
		if r.OK && (r.Speed == 0 || r.Shake == 0 || r.Feel == "" || r.ShakeSE > 0.05*r.Shake) {
			t.Fatalf("ok without numbers: %+v", r)
		}
		var back assess.Reading
		b, err := json.Marshal(r)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &back))
		if back.OK != r.OK || len(back.Faults) != len(r.Faults) {
			t.Fatalf("%+v read back as %+v", r, back)
		}
	})
}

var faults = []dsp.Fault{dsp.NoTurn, dsp.Weak, dsp.Changing, dsp.Clipped, dsp.Stuck, dsp.Gap, dsp.Coarse, dsp.Folded, dsp.Doubtful}

package assess_test

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/assess"
	"vibe/dsp"
)

func TestCause(t *testing.T) {
	t.Parallel()
	for want, change := range map[string]func(*dsp.Revolution){
		"out of balance, likely":               func(r *dsp.Revolution) {},
		"out of balance, perhaps":              func(r *dsp.Revolution) { r.Floor = r.Amp / 25 },
		"out of round or out of line, perhaps": func(r *dsp.Revolution) { r.MultipleAmp = [4]float64{2 * r.Amp} },
		"something loose, likely: mount, rest or belt": func(r *dsp.Revolution) {
			r.Seen, r.MultipleAmp = 4, [4]float64{r.Amp, 2 * r.Amp, 2 * r.Amp, r.Amp}
		},
		"out of balance, with knocks: a void, bark or an edge, perhaps": func(r *dsp.Revolution) { r.Crest = 12 },
		"the cut or the motor more than the blank, perhaps":             func(r *dsp.Revolution) { r.Total = 0.02 },
		"out of balance, perhaps, on a lathe that rocks one way":        func(r *dsp.Revolution) { r.Phasor = [3]complex128{2, 1, -0.1i} },
		"": func(r *dsp.Revolution) { r.OK = false; r.Faults = []dsp.Fault{dsp.Weak} },
	} {
		rev := clean()
		change(&rev)
		assert.Equal(t, want, assess.Read(rev).Cause)
	}
}

// TestOrbit: an ellipse of half axes 1 and b, however the sensor is turned and whenever the
// turn begins, has the orbit b; one axis has none.
func TestOrbit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.Float64Range(0, 1).Draw(t, "b")
		turn, tilt, late := rapid.Float64Range(0, 7).Draw(t, "turn"), rapid.Float64Range(0, 7).Draw(t, "tilt"), rapid.Float64Range(0, 7).Draw(t, "late")
		s, c := math.Sincos(turn)
		begin := cmplx.Exp(complex(0, late))
		x, y := begin*complex(c, -b*s), begin*complex(s, b*c)
		s, c = math.Sincos(tilt)
		rev := clean()
		rev.Phasor = [3]complex128{x, y * complex(c, 0), y * complex(s, 0)}
		if got := assess.Read(rev).Orbit; math.Abs(got-max(b, 0.001)) > 2e-3 {
			t.Fatalf("orbit %v of an ellipse of 1 and %v", got, b)
		}
	})
	rev := clean()
	rev.Axes, rev.Phasor = 1, [3]complex128{1}
	assert.Zero(t, assess.Read(rev).Orbit)
}

// reasons of an advice by code.
func reasons(d assess.Advice) map[string]string {
	out := map[string]string{}
	for _, r := range d.Reasons {
		out[r.Code] = r.Text
	}
	return out
}

// TestEmptyLathe: the map of an empty run parts the lathe's own shake from the blank's, also
// between the speeds of that run, and not where it did not go.
func TestEmptyLathe(t *testing.T) {
	t.Parallel()
	empty := &assess.Adviser{Lathe: workshop()}
	hear(empty, append(steady(0, 12, 450, 0.6), steady(4, 12, 500, 0.9)...)...)
	for _, c := range []struct {
		speed       assess.RPM
		shake       float64
		code, words string
	}{
		{500, 1, "lathe-itself", "the lathe itself, likely: with nothing mounted it shook 0.90 mm/s at this speed"},
		{500, 2, "lathe-in-part", "the blank makes between 1.1 mm/s and 2.9 mm/s of it"},
		{500, 4, "blank", "the lathe shook only 0.90 mm/s at this speed, so the blank makes between 3.1 mm/s and 4.9 mm/s"},
		{474.34, 1, "lathe-itself", "0.73 mm/s"}, // √(0.6 × 0.9), as 474.34 is √(450 × 500)
		{600, 1, "", ""},
	} {
		a := turning()
		a.Empty = empty.Map()
		got := reasons(hear(a, steady(0, 12, c.speed, c.shake)...))
		for _, code := range []string{"lathe-itself", "lathe-in-part", "blank"} {
			assert.Equal(t, code == c.code, got[code] != "", "%v %v: %v", c.speed, c.shake, got)
		}
		assert.Contains(t, got[c.code], c.words)
	}
}

// TestCauseBySpeed: shake of an imbalance on a stiff headstock goes with the third power of
// the speed (Thomson, Theory of Vibration with Applications, eq. 3.2-4, for small r).
func TestCauseBySpeed(t *testing.T) {
	t.Parallel()
	for code, shake := range map[string]func(n float64) float64{
		"as-balance":     func(n float64) float64 { return 0.3 * math.Pow(n/300, 3) },
		"not-as-balance": func(n float64) float64 { return 0.3 * n / 300 },
		"resonance-above": func(n float64) float64 {
			return 0.3 * (n / 300) * assess.UnbalanceGain(n/560, 0.01) / assess.UnbalanceGain(300.0/560, 0.01)
		},
		"resonance": func(n float64) float64 {
			return 0.3 * (n / 300) * assess.UnbalanceGain(n/440, 0.05) / assess.UnbalanceGain(300.0/440, 0.05)
		},
	} {
		a := turning()
		var d assess.Advice
		for i, n := range []assess.RPM{300, 330, 360, 400, 440} {
			d = hear(a, steady(4*float64(i), 12, n, shake(float64(n)))...)
		}
		got := reasons(d)
		require.NotEmpty(t, got[code], "%s: %v", code, got)
		for _, other := range []string{"as-balance", "not-as-balance", "resonance-above", "resonance"} {
			assert.True(t, other == code || got[other] == "", "%s: %v", code, got)
		}
	}
}

// TestEmptyLatheAtThisSpeed: of the speeds of the empty run it is the nearest that is called this
// speed, not a neighbour on the flank of a resonance.
func TestEmptyLatheAtThisSpeed(t *testing.T) {
	t.Parallel()
	a := turning()
	a.Empty = []assess.MapPoint{{Speed: 485, Shake: 0.5, Seen: true}, {Speed: 500, Shake: 0.9, Seen: true}, {Speed: 515, Shake: 1.5, Seen: true}}
	got := reasons(hear(a, steady(0, 12, 500, 1)...))
	assert.Contains(t, got["lathe-itself"], "0.90 mm/s at this speed", "%v", got)
}

package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
	"vibe/dsp"
)

// digits is how close a value must come that was printed with four to five digits.
const digits = 2e-4

func TestSineConversions(t *testing.T) {
	t.Parallel()
	// Closed form v = a/ω, x = a/ω² with g = 9.80665 m/s², and the identity used in
	// calibration practice: at ω = 1000 rad/s 10 m/s² rms is 10 mm/s rms and 10 µm rms,
	// 28.284 µm peak to peak. Constant of ISO 10816-1:1995, annex A: 450 µm·Hz per mm/s,
	// exactly 1000·√2/π.
	for _, c := range []struct{ hz, peak, shake, travel float64 }{
		{100, 9.80665, 11.036, 49.681},
		{10, 9.80665, 110.36, 4968.1},
		{20, 9.80665, 55.182, 1242.02},
		{159.15494, 10 * math.Sqrt2, 10, 28.284},
		{10, 4.5 * math.Sqrt2 * 2 * math.Pi * 10 / 1000, 4.5, 202.57},
		{50, 2.8 * math.Sqrt2 * 2 * math.Pi * 50 / 1000, 2.8, 25.209},
	} {
		r := assess.Read(dsp.Revolution{Time: 1, Span: 2, OK: true, Freq: c.hz, Amp: c.peak, AmpSE: c.peak / 100})
		assert.InEpsilon(t, 60*c.hz, float64(r.Speed), 1e-12, "speed at %v Hz", c.hz)
		assert.InEpsilon(t, c.shake, r.Shake, digits, "shake at %v Hz", c.hz)
		assert.InEpsilon(t, c.travel, r.Travel, digits, "travel at %v Hz", c.hz)
	}
}

func TestSineConversionThomson(t *testing.T) {
	t.Parallel()
	// Thomson, Theory of Vibration with Applications, 4th ed., problem 1-1: amplitude
	// 0.20 cm, period 0.15 s; answers 8.38 cm/s and 350.9 cm/s² (peak).
	r := assess.Read(dsp.Revolution{OK: true, Freq: 1 / 0.15, Amp: 3.5092, AmpSE: 0.01})
	assert.InEpsilon(t, 83.8/math.Sqrt2, r.Shake, 1e-3)
	assert.InEpsilon(t, 4000, r.Travel, 1e-3)
}

func TestSeveritySteps(t *testing.T) {
	t.Parallel()
	// Preferred steps of ISO 20816-1:2016, mm/s rms: each is 10^0.2 (4 dB) above the one
	// before, rounded.
	steps := []float64{0.28, 0.45, 0.71, 1.12, 1.8, 2.8, 4.5, 7.1, 11.2, 18, 28, 45}
	for i := range steps[1:] {
		assert.InDelta(t, math.Pow(10, 0.2), steps[i+1]/steps[i], 0.03)
	}
	for _, e := range assess.DefaultEdges {
		assert.Contains(t, steps, e)
	}
	want := map[float64]assess.Feel{0.28: assess.Calm, 1.79: assess.Calm, 1.8: assess.Lively, 4.49: assess.Lively,
		4.5: assess.Rough, 11.19: assess.Rough, 11.2: assess.Violent, 45: assess.Violent, 0: "", -1: "", math.NaN(): "", math.Inf(1): ""}
	for shake, feel := range want {
		assert.Equal(t, feel, assess.FeelOf(shake), "feel of %v", shake)
	}
}

func TestBalanceGrades(t *testing.T) {
	t.Parallel()
	// ISO 21940-11:2016, 6.3: e = G/Ω, U = m·e. The first row is the turbine of the
	// annex to ISO 1940-1:2003 (printed 8 µm and 28.6·10³ g·mm).
	for _, c := range []struct {
		grade, mass float64
		n           assess.RPM
		um, gmm     float64
	}{{2.5, 3600, 3000, 7.958, 28648}, {6.3, 100, 1000, 60.16, 6016}, {6.3, 5, 1000, 60.16, 300.8}, {16, 5, 1000, 152.79, 763.9}, {40, 5, 600, 636.6, 3183.1}, {40, 3, 1200, 318.3, 954.9}} {
		assert.InEpsilon(t, c.um, 1000*assess.BalanceOffset(c.grade, c.n), digits, "e of %+v", c)
		assert.InEpsilon(t, c.gmm, 1000*c.mass*assess.BalanceOffset(c.grade, c.n), digits, "U of %+v", c)
	}
	assert.Zero(t, assess.BalanceOffset(40, 0))
}

func TestUnbalanceGain(t *testing.T) {
	t.Parallel()
	// Thomson, Theory of Vibration with Applications, 4th ed., eq. 3.2-4, evaluated
	// independently at damping 0.05, 0.1, 0.15, 0.25.
	rs := []float64{0.5, 0.8, 1, 1.2, 2, 3}
	for zeta, row := range map[float64][]float64{
		0.05: {0.33260, 1.73544, 10, 3.15741, 1.33038, 1.12421},
		0.10: {0.33041, 1.62455, 5, 2.87311, 1.32164, 1.12185},
		0.15: {0.32686, 1.47920, 3.33333, 2.53295, 1.30744, 1.11795},
		0.25: {0.31623, 1.18927, 2, 1.93537, 1.26491, 1.10573},
	} {
		for i, r := range rs {
			assert.InEpsilon(t, row[i], assess.UnbalanceGain(r, zeta), 2e-5, "r %v ζ %v", r, zeta)
		}
	}
	// The peak is at 1/√(1−2ζ²) and 1/(2ζ√(1−ζ²)) high (Rao, Mechanical Vibrations, ch. 3).
	assert.InEpsilon(t, 5.025189, assess.UnbalanceGain(1.010153, 0.1), 1e-6)
	// Thomson, example 3.2-1: 0.60 cm at resonance and 0.08 cm far above, so ζ = 0.0666.
	assert.InEpsilon(t, 0.60/0.08, assess.UnbalanceGain(1, 0.08/0.60/2), 1e-9)
	// Thomson, problem 3-13: 181.4 kg, 2 × 0.0921 kg·m, 900 rpm at resonance, 21.6 mm; then
	// 2.313 mm at 1200 rpm.
	me := 2 * 0.0921 / 181.4 * 1000
	assert.InEpsilon(t, 2.313, me*assess.UnbalanceGain(1200.0/900, me/21.6/2), 1e-3)
}

func TestWhirl(t *testing.T) {
	t.Parallel()
	// Thomson, Theory of Vibration with Applications, 4th ed., table 9.5-1: 9.87, 15.4,
	// 3.52.
	for want, ends := range map[float64]assess.Ends{9.87: assess.Simple, 15.4: assess.ClampedHinged, 3.52: assess.Cantilever} {
		assert.InEpsilon(t, want, float64(ends), 2e-3)
	}
	// Wooden spindles, E and G from Wood Handbook (FPL-GTR-190), table 5-3a at 12 %,
	// ρ = 1120·G, by the same formula evaluated independently.
	const maple, pine = 1120 * 0.63, 1120 * 0.35
	assert.InEpsilon(t, 13829, float64(assess.Whirl(50, 600, assess.Simple, 12600, maple)), digits)
	assert.InEpsilon(t, 3073.1, float64(assess.Whirl(25, 900, assess.Simple, 12600, maple)), digits)
	assert.InEpsilon(t, 4800.7, float64(assess.Whirl(25, 900, assess.ClampedHinged, 12600, maple)), digits)
	assert.InEpsilon(t, 4388.7, float64(assess.Whirl(40, 1000, assess.Simple, 8500, pine)), digits)
	// Steel shaft between bearings, n = 4.7687·10⁶·d/L² in inches (as in Machinery's
	// Handbook), E = 30·10⁶ psi, 0.2828 lb/in³.
	steel, dense := 30e6*6894.757e-6, 0.2828*0.45359237/math.Pow(0.0254, 3)
	assert.InEpsilon(t, 4.7687e6/(40*40), float64(assess.Whirl(25.4, 40*25.4, assess.Simple, steel, dense)), digits)
	assert.Zero(t, assess.Whirl(0, 600, assess.Simple, 12600, maple))
}

func TestEnergy(t *testing.T) {
	t.Parallel()
	// Closed form m·v²/4 and v²/(2g): 5 kg, 300 mm, 1000 rpm holds 308.43 J; 3 kg, 100 mm,
	// 1500 rpm 46.264 J; a rim of 12.566 m/s is a fall of 8.051 m.
	assert.InEpsilon(t, 308.43, assess.DiscEnergy(5, 300, 1000), digits)
	assert.InEpsilon(t, 46.264, assess.DiscEnergy(3, 100, 1500), digits)
	assert.InEpsilon(t, 12.566, assess.RimSpeed(200, 1200), digits)
	assert.InEpsilon(t, 12.566, assess.RimSpeed(400, 600), digits)
	assert.InEpsilon(t, 8.051, assess.DropHeight(12.566), digits)
	assert.InEpsilon(t, 28.306, assess.DropHeight(23.562), digits)
	// Shop formula v[ft/min] = 0.262·D[in]·n: 2096 for 8 in at 1000 rpm, 0.07 % high.
	assert.InEpsilon(t, 2096, assess.RimSpeed(8*25.4, 1000)*60/0.3048, 1e-3)
	// Common practice, no source: a 4 lb blank carries 128 times the energy of a top of
	// half an ounce at the same rim speed.
	assert.InEpsilon(t, 128, assess.DiscEnergy(4, 100, 500)/assess.DiscEnergy(0.5/16, 100, 500), 1e-9)
}

func TestWoodDensity(t *testing.T) {
	t.Parallel()
	// Wood Handbook (FPL-GTR-190), ch. 4: ρ = 1000·G_M·(1 + M/100), G_M from the basic
	// specific gravity. Sugar maple 0.56 at 12 %: 688.5 kg/m³, at 60 %: 896.0; black
	// cherry 0.47 at 12 %: 568.9.
	for _, c := range []struct {
		name          string
		moisture, rho float64
	}{{"sugar maple", 12, 688.5}, {"sugar maple", 60, 896.0}, {"Black Cherry", 12, 568.9}} {
		likely, high := assess.WoodOf(c.name).Density(c.moisture)
		assert.InEpsilon(t, c.rho, likely, digits, "%s at %v %%", c.name, c.moisture)
		assert.InEpsilon(t, 1.2*c.rho, high, digits, "two coefficients of variation, 10 %%")
	}
	unknown, worst := assess.WoodOf("").Density(12)
	assert.Zero(t, unknown)
	for _, name := range assess.Woods() {
		_, high := assess.WoodOf(name).Density(0)
		assert.LessOrEqual(t, high, worst)
		assert.LessOrEqual(t, assess.WoodOf("").Stiffness(12), assess.WoodOf(name).Stiffness(0))
		assert.LessOrEqual(t, assess.WoodOf(name).Stiffness(0), assess.WoodOf(name).Stiffness(12))
	}
	assert.False(t, assess.WoodOf("unobtainium").Known())
	oak, white := assess.WoodOf("oak"), assess.WoodOf("white oak")
	_, a := oak.Density(12)
	_, b := white.Density(12)
	assert.GreaterOrEqual(t, a, b, "a vague name counts as the heavier")
	assert.LessOrEqual(t, oak.Stiffness(12), white.Stiffness(12), "and as the weaker")
}

func TestRuleOfThumbArithmetic(t *testing.T) {
	t.Parallel()
	// The trade (no source): 6000 to 9000 inch·rpm, "18 to 27 mph, 29 to 43 km/h".
	for _, c := range []struct{ product, mph, kmh float64 }{{6000, 18, 29}, {9000, 27, 43}} {
		v := assess.RimSpeed(25.4, assess.RPM(c.product))
		assert.InDelta(t, c.mph, v/0.44704, 0.5)
		assert.InDelta(t, c.kmh, v*3.6, 0.5)
	}
	// "15 000 to 22 500 cm·rpm" is 1.6 % below the inch form.
	assert.InEpsilon(t, 15000/2.54, 6000*0.984, 1e-3)
	top := ceiling(t, assess.Ceilings(assess.Lathe{}, bowl(), assess.Finishing), "diameter")
	assert.InEpsilon(t, 22500/31.0, float64(top.RPM), 1e-9)
	assert.Equal(t, "common practice, no source", top.Source)
}

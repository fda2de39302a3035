package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/assess"
)

// TestFirstMass: a tenth of the blank's weight as throw, or what its fastening holds.
func TestFirstMass(t *testing.T) {
	t.Parallel()
	throw := func(kg float64, f assess.Fastening) float64 {
		b := assess.Blank{Diameter: 300, Length: 300, Mass: kg}
		return assess.Mass{Grams: assess.FirstMass(b, 100, 300, f), Radius: 100}.Throw(300)
	}
	assert.InEpsilon(t, 0.1*4*9.80665, throw(4, assess.Taped), 0.1) // to two digits
	assert.LessOrEqual(t, throw(12, assess.Taped), assess.Taped.Hold())
	assert.InEpsilon(t, 0.1*12*9.80665, throw(12, assess.Screwed), 0.1)
	assert.Zero(t, assess.FirstMass(assess.Blank{}, 100, 300, assess.Taped), "nobody knows the blank's weight")
}

// 10 g at 100 mm and 1000 rpm throws with 10.966 N, by m·r·ω²; a fan maker's note has 20 g at
// 450 mm and 3000 rpm at "900 N", 888.26 N by the formula.
func TestThrow(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, 10.966, assess.Mass{Grams: 10, Radius: 100}.Throw(1000), 1e-3)
	assert.InDelta(t, 888.26, assess.Mass{Grams: 20, Radius: 450}.Throw(3000), 1e-2)
}

// A screw of 4 mm, 15 mm deep, in the lightest wood of the table comes out of end grain at three
// quarters of p = 15 700·G²·D·L lbf, D and L in inches (Wood Handbook FPL-GTR-190, chapter 8):
// trusted with less than a tenth of that. Tape holds the weight of half a kilogram.
func TestHold(t *testing.T) {
	t.Parallel()
	const lbf = 4.4482216
	out := 0.75 * 15700 * 0.34 * 0.34 * (4 / 25.4) * (15 / 25.4) * lbf
	assert.LessOrEqual(t, assess.Screwed.Hold(), out/10)
	assert.Greater(t, assess.Screwed.Hold(), out/13)
	assert.InDelta(t, 0.5*9.80665, assess.Taped.Hold(), 0.1)
	assert.Equal(t, assess.Taped.Hold(), assess.Fastening("").Hold(), "not said counts as tape")
}

func TestPlanTrial(t *testing.T) {
	t.Parallel()
	l := assess.Lathe{Low: 50, High: 3000}
	b := assess.Blank{Diameter: 300, Length: 100, Held: assess.Faceplate, Balance: assess.RoughBlank, Wood: "black cherry", Moisture: 12}
	plan, err := assess.MakePlan(l, b, assess.Roughing)
	require.NoError(t, err)
	rapid.Check(t, func(r *rapid.T) {
		m := assess.Mass{Grams: math.Exp(rapid.Float64Range(0, 6).Draw(r, "ln g")), Radius: assess.MM(rapid.Float64Range(20, 150).Draw(r, "mm"))}
		f := rapid.SampledFrom([]assess.Fastening{"", assess.Screwed, assess.Taped}).Draw(r, "fastening")
		got, err := assess.PlanTrial(l, b, assess.Roughing, m, f)
		require.NoError(r, err)
		require.LessOrEqual(r, got.Speed, plan.Start)
		require.LessOrEqual(r, got.Most, plan.Window.High)
		if got.Speed == 0 {
			require.Greater(r, m.Throw(50), f.Hold())
			return
		}
		require.LessOrEqual(r, m.Throw(got.Speed), f.Hold()*1.0001)
		require.LessOrEqual(r, m.Throw(got.Most), f.Hold()*1.0001)
		require.InEpsilon(r, m.Throw(got.Speed)/9.80665, got.Weight, 1e-9)
		require.NoError(r, f.Refuse(m, got.Speed))
		for n := got.Speed; n > 0; n = got.Faster(l, n) {
			require.LessOrEqual(r, n, max(got.Most, got.Speed))
		}
	})
	_, err = assess.PlanTrial(l, b, assess.Roughing, assess.Mass{Grams: 20, Radius: 151}, "")
	require.ErrorContains(t, err, "does not lie on the blank")
	require.ErrorContains(t, assess.Taped.Refuse(assess.Mass{Grams: 50, Radius: 100}, 900), "tape is trusted with 5 N at most")
	assert.NoError(t, assess.Screwed.Refuse(assess.Mass{Grams: 50, Radius: 100}, 900))
	just := assess.RPM(math.Sqrt(5/0.005) * 60 / (2 * math.Pi)) // where 50 g at 100 mm throw with 5 N
	assert.NoError(t, assess.Taped.Refuse(assess.Mass{Grams: 50, Radius: 100}, just))
	assert.Error(t, assess.Taped.Refuse(assess.Mass{Grams: 50, Radius: 100}, 1.015*just), "3 % more")
}

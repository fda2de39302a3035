package assess_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"vibe/assess"
)

// marks are those of a turner who takes limit mm/s, and judges each shake with a noise of so
// many dB (20·lg). The shakes lie within a factor of within of the limit, as at work: there is
// nothing to say of a lathe at rest.
func marks(r *rand.Rand, n int, limit, noise, within float64) []assess.Mark {
	out := make([]assess.Mark, n)
	for i := range out {
		shake := limit * math.Pow(within, 2*r.Float64()-1)
		felt := shake * math.Pow(10, noise*r.NormFloat64()/20)
		out[i] = assess.Mark{Shake: shake, TooMuch: felt > limit}
	}
	return out
}

// climbing are the marks of such a turner as they come at work: from a calm start the speed
// goes up by steps of 5 to 15 %, a judgement at each, the shake with its cube, and a step back
// at each "too much" (a staircase: Levitt, J. Acoust. Soc. Am. 49, 467, 1971).
func climbing(r *rand.Rand, n int, limit, noise float64) []assess.Mark {
	step := math.Pow(1.05+0.1*r.Float64(), 3)
	shake := limit / (2 + 2*r.Float64())
	out := make([]assess.Mark, n)
	for i := range out {
		felt := shake * math.Pow(10, noise*r.NormFloat64()/20)
		if out[i] = (assess.Mark{Shake: shake, TooMuch: felt > limit}); out[i].TooMuch {
			shake /= step
		} else {
			shake *= step
		}
	}
	return out
}

// bound is the share of turners of whom n marks can tell the limit to within 15 %: Cramér and
// Rao's bound on the variance of an unbiased estimate of ln(limit) is 1/(n·I), with the
// information of one yes or no I = φ²/(σ²·Φ·(1−Φ)) (probit), taken as normal.
func bound(n int, noise, spread float64) float64 {
	info := 0.0
	const parts = 1000
	for i := range parts {
		info += information((2*(float64(i)+0.5)/parts-1)*math.Log(spread), noise) / parts
	}
	return within(0.15, 1/math.Sqrt(float64(n)*info))
}

// normal is the distribution function of the standard normal.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// information is I of bound at ln(shake/limit) = off.
func information(off, noise float64) float64 {
	sigma := noise * math.Ln10 / 20
	x := off / sigma
	return math.Exp(-x*x) / (2 * math.Pi) / (sigma * sigma * normal(x) * normal(-x))
}

// within is the chance that a normal error of ln(limit) leaves it within that share.
func within(share, se float64) float64 {
	return normal(math.Log(1+share)/se) - normal(math.Log(1-share)/se)
}

// Twenty marks with a noise of 2 dB find the limit within 15 % about as often as any estimate
// can, and the edges hold it. Marks closer to the limit find it better.
func TestComfortFindsTheLimit(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, 0.889, bound(20, 2, 2), 1e-3)
	assert.InDelta(t, 0.950, bound(20, 2, 1.5), 1e-3)
	for _, spread := range []float64{2, 1.5} {
		var near, held, known int
		const turners = 300
		for seed := range uint64(turners) {
			r := rand.New(rand.NewPCG(seed, 5))
			limit := 2 + 5*r.Float64()
			c := assess.LearnComfort(marks(r, 20, limit, 2, spread))
			if math.Abs(c.Limit/limit-1) <= 0.15 {
				near++
			}
			if c.Low <= limit && limit <= c.High {
				held++
			}
			if c.Known {
				known++
			}
		}
		best := bound(20, 2, spread)
		t.Logf("%d turners, marks within %v times: limit within 15 %% of %.1f %% (bound %.1f %%), edges hold the truth %.1f %%, known %.1f %%",
			turners, spread, 100*float64(near)/turners, 100*best, 100*float64(held)/turners, 100*float64(known)/turners)
		assert.GreaterOrEqual(t, float64(near)/turners, best-0.04) // two standard errors of 300 turners
		assert.GreaterOrEqual(t, held, turners*93/100)
		assert.GreaterOrEqual(t, known, turners*90/100)
	}
}

// Marks as they come when the speed creeps up lie near the limit, and tell it better.
func TestComfortOfCreepingUp(t *testing.T) {
	t.Parallel()
	const turners = 300
	var near, held, known, may float64
	for seed := range uint64(turners) {
		r := rand.New(rand.NewPCG(seed, 6))
		limit := 2 + 5*r.Float64()
		all := climbing(r, 20, limit, 2)
		c := assess.LearnComfort(all)
		info := 0.0
		for _, m := range all {
			info += information(math.Log(m.Shake/limit), 2)
		}
		may += within(0.15, 1/math.Sqrt(info)) / turners
		if math.Abs(c.Limit/limit-1) <= 0.15 {
			near += 1.0 / turners
		}
		if c.Low <= limit && limit <= c.High {
			held += 1.0 / turners
		}
		if c.Known {
			known += 1.0 / turners
		}
	}
	t.Logf("%d turners creeping up: limit within 15 %% of %.1f %% (bound %.1f %%), edges hold the truth %.1f %%, known %.1f %%", turners, 100*near, 100*may, 100*held, 100*known)
	assert.GreaterOrEqual(t, near, 0.90)
	assert.GreaterOrEqual(t, held, 0.93)
}

// The posterior of one mark by hand: with prior N(ln 4.5, 0.5) and one "too much" at 4.5 the
// limit moves down, and little.
func TestFewMarksMoveLittle(t *testing.T) {
	t.Parallel()
	none := assess.LearnComfort(nil)
	assert.InDelta(t, 4.5, none.Limit, 0.25)
	assert.Equal(t, 4.5, none.Use)
	assert.False(t, none.Known)
	one := assess.LearnComfort([]assess.Mark{{Shake: 4.5, TooMuch: true}})
	assert.Less(t, one.Limit, none.Limit)
	assert.Greater(t, one.Limit, 0.65*none.Limit)
	up := assess.LearnComfort([]assess.Mark{{Shake: 8}})
	assert.Greater(t, up.Limit, none.Limit)
	assert.Equal(t, 4.5, up.Use, "one mark raises nothing")

	few := []assess.Mark{{Shake: 1.8}, {Shake: 2.5, TooMuch: true}}
	assert.Regexp(t, `not known yet.*; marks near 2\.\d mm/s tell most$`, assess.LearnComfort(few).Say)
	odd := []assess.Mark{{Shake: 1}, {Shake: 1}, {Shake: 1.5, TooMuch: true}, {Shake: 1.75, TooMuch: true}}
	before := assess.LearnComfort(odd)
	after := assess.LearnComfort(append(odd, assess.Mark{Shake: 0.5, TooMuch: true}))
	assert.Greater(t, after.High, before.High, "known the less")
	assert.LessOrEqual(t, after.Use, before.Use, "one more too much raises nothing")
	many := []assess.Mark{{Shake: 2.8}, {Shake: 2.9}, {Shake: 3}, {Shake: 3.2, TooMuch: true}, {Shake: 3.3, TooMuch: true}}
	assert.False(t, assess.LearnComfort(many).Known, "five marks are few, however well they agree")
	assert.True(t, assess.LearnComfort(append(many, assess.Mark{Shake: 3.4, TooMuch: true})).Known)
	apart := []assess.Mark{{Shake: 1.5}, {Shake: 1.6}, {Shake: 1.7}, {Shake: 5.5, TooMuch: true}, {Shake: 6, TooMuch: true}, {Shake: 6.5, TooMuch: true}}
	c := assess.LearnComfort(apart)
	assert.False(t, c.Known, "anywhere from %v to %v", c.Low, c.High)
	few = []assess.Mark{{Shake: 7}, {Shake: 9, TooMuch: true}}
	assert.NotContains(t, assess.LearnComfort(few).Say, "tell most", "nobody is sent to where it is rough")
	low := assess.LearnComfort([]assess.Mark{{Shake: 0.5, TooMuch: true}, {Shake: 0.6, TooMuch: true}, {Shake: 0.7, TooMuch: true}, {Shake: 0.6, TooMuch: true}})
	assert.False(t, low.Known)
	assert.Equal(t, low.High, low.Use, "below the edge of rough when even the upper edge is")
}

// Contradictory marks widen the edges, and that is said.
func TestContradictoryMarks(t *testing.T) {
	t.Parallel()
	var clear, mixed []assess.Mark
	for i := range 20 {
		shake := 2 * math.Pow(2.5/1.25, float64(i)/9.5)
		clear = append(clear, assess.Mark{Shake: shake, TooMuch: shake > 4})
		mixed = append(mixed, assess.Mark{Shake: shake, TooMuch: (i*7)%20 > 9})
	}
	a, b := assess.LearnComfort(clear), assess.LearnComfort(mixed)
	assert.True(t, a.Known, a.Say)
	assert.InEpsilon(t, 4, a.Limit, 0.1)
	assert.Zero(t, a.Against)
	assert.Greater(t, math.Log(b.High/b.Low), 1.4*math.Log(a.High/a.Low))
	assert.Contains(t, b.Say, "contradict")

	// Marks beyond what may be learned agree as others do.
	var high, low []assess.Mark
	for range 10 {
		high = append(high, assess.Mark{Shake: 30}, assess.Mark{Shake: 40, TooMuch: true})
		low = append(low, assess.Mark{Shake: 0.01}, assess.Mark{Shake: 0.02, TooMuch: true})
	}
	a = assess.LearnComfort(high)
	assert.Zero(t, a.Against, a.Say)
	assert.Equal(t, 4.5, a.Use)
	b = assess.LearnComfort(low)
	assert.Zero(t, b.Against, b.Say)
	assert.Less(t, b.Use, 0.5, "what is too much at 0.02 mm/s is so at 0.5")
}

// Whatever is marked, the limit stays below violent, the edges hold it, what is acted on stays
// below rough, and one more "too much" never raises either.
func TestComfortLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(r *rapid.T) {
		var all []assess.Mark
		for i := range rapid.IntRange(0, 25).Draw(r, "marks") {
			all = append(all, assess.Mark{Shake: rapid.Float64Range(-1, 60).Draw(r, fmt.Sprint("shake", i)), TooMuch: rapid.Bool().Draw(r, fmt.Sprint("much", i))})
		}
		c := assess.LearnComfort(all)
		require.LessOrEqual(r, c.High, 11.2+1e-9)
		require.LessOrEqual(r, c.Limit, c.High)
		require.GreaterOrEqual(r, c.Limit, c.Low)
		require.Greater(r, c.Use, 0.0)
		require.LessOrEqual(r, c.Use, 4.5)
		more := assess.LearnComfort(append(all, assess.Mark{Shake: rapid.Float64Range(0.1, 30).Draw(r, "one more"), TooMuch: true}))
		require.LessOrEqual(r, more.Limit, 1.000001*c.Limit)
		require.LessOrEqual(r, more.Use, 1.000001*c.Use)
	})
}

func TestHandScore(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "no guesses yet", assess.HandScore([]assess.Guess{{Shake: 0, Said: assess.Calm}, {Shake: 3, Said: "odd"}}).Say)
	var guesses []assess.Guess
	for i := range 8 { // 6 mm/s is rough; six times it is called lively
		said := assess.Lively
		if i >= 6 {
			said = assess.Rough
		}
		guesses = append(guesses, assess.Guess{Shake: 6, Said: said, Session: "a"})
	}
	for range 8 {
		guesses = append(guesses, assess.Guess{Shake: 1, Said: assess.Calm, Session: "b"})
	}
	s := assess.HandScore(guesses)
	assert.Equal(t, 16, s.Guesses)
	assert.InDelta(t, 10.0/16, s.Right, 1e-9)
	assert.InDelta(t, 6.0/16, s.Nearly, 1e-9)
	assert.InDelta(t, -6.0/16, s.Bias, 1e-9)
	assert.InDelta(t, 0.5*2.0/16+0.5*8.0/16, s.Expect, 1e-9) // rough: 2 said of 8; calm: 8 of 8
	assert.Contains(t, s.Say, "calmer than it is")
	assert.Contains(t, s.Say, "you called lively what was rough, 6 of 8 times")
	require.Len(t, s.Sessions, 2)
	assert.InDelta(t, 0.25, s.Sessions[0].Right, 1e-9)
	assert.InDelta(t, 1, s.Sessions[1].Right, 1e-9)
	// One guess finds no bias.
	assert.Equal(t, "0 % of 1 right", assess.HandScore([]assess.Guess{{Shake: 6, Said: assess.Lively}}).Say)
	assert.Contains(t, s.Say, ", by luck it would be 31 %")
}

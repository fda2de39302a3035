package recordings

import (
	"fmt"
	"math"

	"vibe/assess"
)

// Comparison is what became of the shake from session A to session B, at the speeds that
// both have.
type Comparison struct {
	Speeds []Pair
	// Ratio is B over A over all those speeds (geometric mean); 0: no speed in common. It
	// lies from Low to High, 95 %.
	Ratio, Low, High float64
	// Real says that chance and a sensor clamped anew do not explain the difference.
	Real bool
	Say  string // in one sentence
}

// Pair is the shake at one speed in both sessions.
type Pair struct {
	A, B             Speed
	Ratio, Low, High float64 // B over A, with its 95 % edges
	Real             bool
}

// mounting is the share by which a sensor that is taken off and clamped on again reads
// otherwise, as a standard error (chosen; less would call a difference real that the clamp
// made). It does not average out over the speeds of a session.
const mounting = 0.05

// Compare holds b against a. Speeds within 2 % of each other count as one; each ratio is
// taken on the logarithm, its variance is that of both means and of the mounting, and the
// whole is the mean weighted by the inverse of what the means alone allow (inverse-variance
// weighting: Taylor, An Introduction to Error Analysis, 2nd ed., section 7.2).
func Compare(a, b Summary) Comparison {
	var c Comparison
	sum, weight := 0.0, 0.0
	for _, x := range a.Map {
		y, ok := nearest(b.Map, x.Speed)
		if !ok {
			continue
		}
		ratio := math.Log(y.Shake / x.Shake)
		v := square(x.SE()/x.Shake) + square(y.SE()/y.Shake)
		p := Pair{A: x, B: y}
		p.Ratio, p.Low, p.High, p.Real = edges(ratio, v+2*square(mounting))
		c.Speeds = append(c.Speeds, p)
		sum, weight = sum+ratio/v, weight+1/v
	}
	if weight > 0 {
		c.Ratio, c.Low, c.High, c.Real = edges(sum/weight, 1/weight+2*square(mounting))
	}
	c.Say = c.words()
	return c
}

func square(v float64) float64 { return v * v }

// edges turns the logarithm of a ratio and its variance into the ratio, its 95 % edges, and
// whether 1 lies outside.
func edges(log, variance float64) (ratio, low, high float64, real bool) {
	e := 1.96 * math.Sqrt(variance)
	return math.Exp(log), math.Exp(log - e), math.Exp(log + e), math.Abs(log) > e
}

// SameSpeed reports whether two speeds count as one: within 2 %.
func SameSpeed(a, b assess.RPM) bool { return math.Abs(float64(b/a)-1) <= oneSpeed }

// nearest returns the speed of all that is n, within 2 %.
func nearest(all []Speed, n assess.RPM) (best Speed, ok bool) {
	off := oneSpeed
	for _, m := range all {
		if d := math.Abs(float64(m.Speed/n) - 1); d <= off && m.Shake > 0 {
			best, off, ok = m, d, true
		}
	}
	return best, ok
}

func (c Comparison) words() string {
	n := len(c.Speeds)
	at := fmt.Sprintf("at the %d speeds that both have", n)
	if n == 1 {
		at = fmt.Sprintf("at %v, the one speed that both have", c.Speeds[0].A.Speed)
	}
	less, more := 0, 0
	for _, p := range c.Speeds {
		if p.Real && p.Ratio < 1 {
			less++
		} else if p.Real {
			more++
		}
	}
	change, low, high := "more", c.Low-1, c.High-1
	if c.Ratio < 1 {
		change, low, high = "less", 1-c.High, 1-c.Low
	}
	size := fmt.Sprintf("%.0f %% %s (95 %%: %.0f to %.0f %%)", 100*math.Abs(c.Ratio-1), change, 100*low, 100*high)
	switch {
	case n == 0:
		return "They cannot be compared: no speed is in both. Run both at the same speeds, ten seconds each."
	case less > 0 && more > 0:
		return fmt.Sprintf("It is another picture %s: more shake at %d of them, less at %d; a shaky band may have moved.", at, more, less)
	case c.Real:
		return fmt.Sprintf("The difference is real: %s the second shakes %s, more than chance and clamping the sensor anew explain.", at, size)
	case less+more > 0:
		return fmt.Sprintf("On the whole no difference can be told %s, but at %d of them there is one.", at, less+more)
	}
	return fmt.Sprintf("No difference can be told %s: the second shakes between %.0f %% less and %.0f %% more, and chance and clamping the sensor anew explain what there is.", at, 100*(1-c.Low), 100*(c.High-1))
}

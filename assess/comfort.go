package assess

import (
	"fmt"
	"math"
	"slices"
)

// Mark is one "this is fine" or "this is too much" of a turner at work.
type Mark struct {
	Shake   float64 `json:"shake_mm_s"` // of that moment, mm/s rms
	TooMuch bool    `json:"too_much"`
}

// ComfortLimit is the shake at which one person on one lathe says "too much" as often as
// "fine", as far as marks tell.
type ComfortLimit struct {
	Limit   float64 `json:"limit_mm_s"` // mm/s rms, never above the edge of violent
	Low     float64 `json:"low_mm_s"`   // mm/s rms, 95 % edges
	High    float64 `json:"high_mm_s"`
	Fine    int     `json:"fine"`     // marks
	TooMuch int     `json:"too_much"` // marks
	// Against counts the marks on the wrong side of Limit by more than 2 dB: said fine well
	// above it, or too much well below.
	Against int `json:"against"`
	// Known reports whether the marks tell the limit well enough to speak of it, and Use is
	// what to act on, mm/s rms: the limit once there are enough marks of both kinds, the
	// upper edge before; never above the edge of rough, and no "too much" ever raises it.
	Known bool    `json:"known"`
	Use   float64 `json:"use_mm_s"`
	Say   string  `json:"say"`
}

// The prior of the limit and how sharply people tell it, all chosen. The limit is about the
// edge of rough, most people's within a factor of 1.6 of it; sharpness is the scale of the
// logistic in ln(shake), a scatter of about 2.4 dB; slip is the share of marks that are a slip
// of the hand. A prior too narrow ignores the person, one too wide lets two slips decide.
const (
	limitSpread = 0.5
	sharpness   = 0.15
	slip        = 0.04
	lowestLimit = 0.3 // mm/s
	enoughMarks = 6   // with both kinds among them
	narrowLimit = 1.5 // the ratio of High to Limit, and of Limit to Low, that is known
	contrary    = 1.26
)

// tooMuch is the chance that somebody whose limit is limit calls v too much.
func tooMuch(v, limit float64) float64 {
	return slip/2 + (1-slip)/(1+math.Exp(-math.Log(v/limit)/sharpness))
}

// chance is that of the mark.
func (m Mark) chance(limit float64) float64 {
	if m.TooMuch {
		return tooMuch(m.Shake, limit)
	}
	return 1 - tooMuch(m.Shake, limit)
}

// LearnComfort fits the marks: the chance of "too much" at shake v is
//
//	p = 1 / (1 + exp(−ln(v/L)/s))
//
// (logistic regression on the logarithm, as people judge by ratios: Stevens,
// Psychophysics, 1975), but for slips. L has the prior above; the limit is the median of
// its posterior. As s is not fitted, one more "too much" never raises it, nor any quantile. Marks that
// contradict each other more than s has it widen the edges, by the root of their deviance
// over the one to expect. Marks without a shake above zero are passed over.
func LearnComfort(marks []Mark) ComfortLimit {
	marks = slices.DeleteFunc(slices.Clone(marks), func(m Mark) bool { return positive(m.Shake) == 0 || m.Shake > hardestShake })
	for i, m := range marks { // beyond what may be learned a mark says no more than its end does
		if m.TooMuch {
			marks[i].Shake = max(m.Shake, lowestLimit)
		} else {
			marks[i].Shake = min(m.Shake, DefaultEdges[2])
		}
	}
	var c ComfortLimit
	q := limitQuantiles(marks, 0.025, 0.5, 0.975)
	wider := dispersion(marks, q[1])
	c.Limit = q[1]
	c.Low = max(lowestLimit, c.Limit*math.Pow(q[0]/c.Limit, wider))
	c.High = min(DefaultEdges[2], c.Limit*math.Pow(q[2]/c.Limit, wider))
	for _, m := range marks {
		if m.TooMuch {
			c.TooMuch++
		} else {
			c.Fine++
		}
		if m.TooMuch && m.Shake < c.Limit/contrary || !m.TooMuch && m.Shake > c.Limit*contrary {
			c.Against++
		}
	}
	enough := c.Fine > 0 && c.TooMuch > 0 && len(marks) >= enoughMarks
	c.Known = enough && c.High <= narrowLimit*c.Limit && c.Limit <= narrowLimit*c.Low
	c.Use = min(DefaultEdges[1], q[2]) // not High: one more "too much" that contradicts would raise it
	if enough {
		c.Use = min(DefaultEdges[1], c.Limit)
	}
	c.Say = c.words()
	return c
}

// limitQuantiles are quantiles of the posterior of L, from lowestLimit to the edge of
// violent.
func limitQuantiles(marks []Mark, at ...float64) []float64 {
	const parts = 240
	step := math.Log(DefaultEdges[2]/lowestLimit) / parts
	var weight [parts]float64
	sum, best := 0.0, math.Inf(-1)
	for i := range weight {
		limit := lowestLimit * math.Exp((float64(i)+0.5)*step)
		z := math.Log(limit/DefaultEdges[1]) / limitSpread
		weight[i] = -z * z / 2
		for _, m := range marks {
			weight[i] += math.Log(m.chance(limit))
		}
		best = max(best, weight[i])
	}
	for i := range weight {
		weight[i] = math.Exp(weight[i] - best)
		sum += weight[i]
	}
	out := make([]float64, len(at))
	for k, q := range at {
		have, i := 0.0, 0
		for ; i < parts-1 && have+weight[i] < q*sum; i++ {
			have += weight[i]
		}
		part := min(1, max(0, (q*sum-have)/weight[i]))
		out[k] = lowestLimit * math.Exp((float64(i)+part)*step)
	}
	return out
}

// dispersion is by how much the marks scatter more about the limit than they should, 1 or
// more: √(deviance/expected deviance). Fewer than four marks tell nothing of it.
func dispersion(marks []Mark, limit float64) float64 {
	if len(marks) < 4 {
		return 1
	}
	var have, expect float64
	for _, m := range marks {
		p := tooMuch(m.Shake, limit)
		have -= math.Log(m.chance(limit))
		expect -= p*math.Log(p) + (1-p)*math.Log(1-p)
	}
	return math.Sqrt(max(1, have/expect))
}

// words says what was learned, and how sure it is.
func (c ComfortLimit) words() string {
	n := c.Fine + c.TooMuch
	mixed := c.Against >= max(2, n/8)
	said := fmt.Sprintf("%s (%s to %s) from %s", ShakeText(c.Limit), ShakeText(c.Low), ShakeText(c.High), markCount(n))
	switch {
	case n == 0:
		return "no marks yet: the comfort limit is " + ShakeText(c.Use) + ", the edge of rough"
	case !c.Known && (c.Fine == 0 || c.TooMuch == 0):
		return fmt.Sprintf("not known yet, perhaps %s, all of one kind; marks of both kinds are needed. Until then %s", said, ShakeText(c.Use))
	case !c.Known && mixed:
		return fmt.Sprintf("not known yet, perhaps %s, and %d of them contradict the rest. Until then %s%s", said, c.Against, ShakeText(c.Use), c.ask())
	case !c.Known:
		return fmt.Sprintf("not known yet, perhaps %s. Until then %s%s", said, ShakeText(c.Use), c.ask())
	case mixed:
		return fmt.Sprintf("%s; %d of them contradict the rest, so it is known the less", said, c.Against)
	}
	return said
}

// ask says where a mark tells most, which is near the limit: twenty marks spread over half to
// twice the limit leave it open by 9.4 %, those within 1.5 times by 7.6 % (standard errors: Cramér
// and Rao's bound at a scatter of 2 dB). "" where that is rough: nobody is sent there to learn.
func (c ComfortLimit) ask() string {
	if c.Limit >= DefaultEdges[1] {
		return ""
	}
	return "; marks near " + ShakeText(c.Limit) + " tell most"
}

func markCount(n int) string {
	if n == 1 {
		return "1 mark"
	}
	return fmt.Sprintf("%d marks", n)
}

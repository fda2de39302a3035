package assess

import (
	"fmt"
	"math"
	"slices"
)

// raise asks for the fastest speed that law and evidence allow, if it is worth it.
func (a *Adviser) raise(r Reading, top Ceiling) (Advice, bool) {
	// However little of it comes once per turn: a headstock that shakes this much is no place
	// to go faster from.
	least, most, total, _ := a.last2s()
	if most >= a.comfort() || r.Shake >= justRisen*least || total >= DefaultEdges[1] || a.growth >= risingFactor {
		return Advice{}, false
	}
	a.response.refit()
	to, reached := a.fastest(r.Speed, min(top.RPM, a.reach(r.Speed)))
	if to == 0 {
		return Advice{}, false
	}
	return Advice{Action: Raise, Speed: to, Say: fmt.Sprintf("Raise to %v: %s, %s.", to, ShakeText(r.Shake), FeelOf(r.Shake)),
		Reasons: []Reason{{"predicted", fmt.Sprintf("on the way to %v it stays below %s, even over a resonance not seen yet; the comfort limit is %s", to, ShakeText(reached), ShakeText(a.comfort())), ownReadings},
			{"ceiling", fmt.Sprintf("the lowest ceiling is %.0f rpm (%s)", float64(top.RPM), top.Name), top.Source}, a.byHand()}}, true
}

// byHand says how to change the speed: nothing is asked of anybody who touches the blank.
func (a *Adviser) byHand() Reason {
	if len(a.Lathe.Steps) > 0 {
		return Reason{"hands", "switch off and let it stand still before you touch belt or blank", practice}
	}
	return Reason{"hands", "tool off the wood and hands clear first, then the dial", practice}
}

// fastest is the fastest speed of the lathe up to high that is worth a raise from n and to
// which the way is comfortable, with the most shake to expect on it; 0 if there is none.
// It must keep clear of the comfort limit with what is likely, and reach it at most with what a
// hidden resonance could do. What was said stands while more is allowed.
func (a *Adviser) fastest(n, high RPM) (to RPM, most float64) {
	if high < leastGain*n {
		return 0, 0
	}
	bands := a.avoid()
	likely, flank, own := 0.0, a.response.flank(n), a.Lathe.step(n)
	for s, done := n, false; !done; s = min(1.005*s, high) { // to high itself: it may be a step
		done = s >= high
		if slices.ContainsFunc(bands, func(band [2]RPM) bool { return n <= band[1] && band[0] <= s }) {
			break
		}
		likely = max(likely, a.response.edge(s))
		last := max(likely, flank.highest(math.Log(float64(s/n))))
		if last >= a.comfort() || likely >= backToCalm*a.comfort() {
			break
		}
		if f := a.Lathe.Fit(s); f > max(to, own) && f >= leastGain*n {
			to, most = f, last
		}
	}
	if said := a.said.Speed; a.said.Action == Raise && said >= leastGain*n && said < to {
		return said, most
	}
	return to, most
}

// last2s is the least and the most shake of the last 2 s, the reading with which they begin included, and the most of all
// vibration; over is how long that is, s: more after a silence.
func (a *Adviser) last2s() (least, most, total, over float64) {
	least = math.Inf(1)
	for _, l := range slices.Backward(a.watch.recent) {
		least, most, total, over = min(least, l.shake), max(most, l.shake), max(total, l.total), a.last-l.t
		if over >= settledTime {
			break
		}
	}
	return least, most, total, over
}

// reach is how far up a raise may go from n: a small step, or on a lathe with steps further
// when three speeds over a third of the scale fix the fit.
func (a *Adviser) reach(n RPM) RPM {
	seen := a.response.fitted
	if k := len(seen); len(a.Lathe.Steps) > 0 && k >= 3 && seen[k-1].speed >= 1.33*seen[0].speed {
		return wideStep * n
	}
	return smallStep * n
}

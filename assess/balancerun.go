package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"vibe/dsp"
)

// A run of a balancing, chosen: shorter ones are not believed, longer ones give no more;
// within runSpeed of each other its speeds are one; a shake that changes by more than
// runGrowth from its first third to its last is not steady.
const (
	runLeast  = 6.0  // s
	RunEnough = 15.0 // s of good readings, after which a run may end
	runSpeed  = 0.04
	runGrowth = 1.25
)

// RunOf makes a run of the readings of a lathe at one steady speed: of their longest
// unbroken stretch of ok ones. With at, the speed of the runs before (0: there are none),
// those too weak to stand alone count too when they are of that speed: a mass that nearly
// balances the blank leaves little to measure, and many weak readings together are one that
// is not. Mass, Radius and Angle are left to the caller. An InputError says why there is no
// run in them. Readings whose windows overlap count as one look.
func RunOf(readings []Reading, at RPM) (Run, error) {
	good := steady(readings, at)
	if len(good) == 0 || seconds(good) < runLeast {
		return Run{}, &InputError{fmt.Sprintf("%.0f s of steady readings are too few for a run (at least %g s)%s", seconds(good), runLeast, mostly(readings)),
			"hold one speed for 20 s, tool off the wood, sensor tight, and make the run again"}
	}
	looks := max(1, seconds(good)/longest(good))
	var x, y []float64
	var noise float64
	for _, g := range good {
		// Noise adds to the square of an amplitude on the average.
		shake := math.Sqrt(max(g.Shake*g.Shake-g.ShakeSE*g.ShakeSE, g.ShakeSE*g.ShakeSE/4))
		x, y = append(x, math.Log(float64(g.Speed))), append(y, math.Log(shake))
		noise += g.ShakeSE / shake / float64(len(good))
	}
	slope, slopeSE, scatter := line(x, y, looks)
	if third := len(y) / 3; third > 0 && noise < maxRelSE {
		if grown := math.Exp(math.Abs(mean(y[len(y)-third:]) - mean(y[:third]))); grown > runGrowth {
			return Run{}, &InputError{fmt.Sprintf("the shake changed %.1f times within the run", grown),
				"stop and look at the mounting, the mass and the wood before going on; then make the run again"}
		}
	}
	r := Run{Speed: RPM(math.Exp(mean(x))), Shake: math.Exp(mean(y))}
	r.ShakeSE = r.Shake * math.Hypot(noise, scatter) / math.Sqrt(looks)
	if slopeSE > 0 && finite(slope) && finite(slopeSE) {
		r.Steepness, r.SteepnessSE = slope, slopeSE
	}
	return r, nil
}

// counts reports whether a reading may be part of a run at that speed.
func (r Reading) counts(at RPM) bool {
	weak := at > 0 && near(r.Speed, at, sameRuns) && r.Shake > 0 && r.ShakeSE > 0 && r.ShakeSE < r.Shake
	for _, f := range r.Faults {
		weak = weak && (f == dsp.Weak || f == dsp.Gap)
	}
	return r.OK || weak
}

// steady is the longest stretch of readings that count, of one speed. Others may lie between
// them, for up to longestGap.
func steady(readings []Reading, at RPM) []Reading {
	var best, run []Reading
	low, high, last := RPM(0), RPM(0), 0.0
	for _, r := range readings {
		if !r.counts(at) {
			continue
		}
		gap := r.end() - last
		low, high, last = min(low, r.Speed), max(high, r.Speed), r.end()
		if len(run) == 0 || gap <= 0 || gap > longestGap || high > low*(1+runSpeed) {
			run, low, high = nil, r.Speed, r.Speed
		}
		if run = append(run, r); len(run) > len(best) {
			best = run
		}
	}
	return best
}

// end of the window, s. (The middle steps back where the window grows.)
func (r Reading) end() float64 { return r.T + r.Span/2 }

// seconds is how much data the readings cover, in order of their ends.
func seconds(r []Reading) float64 {
	if len(r) == 0 {
		return 0
	}
	return r[len(r)-1].end() - (r[0].T - r[0].Span/2)
}

// longest is the longest window of the readings, s.
func longest(r []Reading) (span float64) {
	for _, x := range r {
		span = max(span, x.Span)
	}
	return span
}

// Steady is how many seconds of one steady speed the readings hold so far, for a live run
// to know when it may end: see RunEnough.
func Steady(readings []Reading, at RPM) float64 { return seconds(steady(readings, at)) }

// mostly names the fault that kept most readings from being used.
func mostly(readings []Reading) string {
	count := map[dsp.Fault]int{}
	for _, r := range readings {
		for _, f := range r.Faults {
			if !r.OK {
				count[f]++
			}
		}
	}
	var worst []dsp.Fault
	for f := range count {
		worst = append(worst, f)
	}
	if len(worst) == 0 {
		return ""
	}
	slices.SortFunc(worst, func(a, b dsp.Fault) int {
		return 10000*(count[b]-count[a]) + strings.Compare(string(a), string(b))
	})
	return "; mostly " + string(worst[0]) + ": " + FaultWords(worst[0])
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// line fits y = a + b·x by least squares: b, its standard error, and the scatter of y about
// it, with so many independent looks among the values.
func line(x, y []float64, looks float64) (slope, se, scatter float64) {
	mx, my := mean(x), mean(y)
	var xx, xy, yy float64
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		xx, xy, yy = xx+dx*dx, xy+dx*dy, yy+dy*dy
	}
	n := float64(len(x))
	if xx == 0 {
		return 0, 0, math.Sqrt(yy / n)
	}
	slope = xy / xx
	scatter = math.Sqrt(max(0, yy-slope*xy) / n * looks / max(1, looks-2))
	return slope, scatter / math.Sqrt(xx/n*looks), scatter
}

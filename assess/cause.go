package assess

import (
	"fmt"
	"math"
)

// cause says in words what probably makes the shake, from one reading, and how sure that
// is. All of it is common practice, no source: one line alone is imbalance, surer when the
// headstock goes round than when it goes to and fro, as it does near a resonance or on a
// stand that rocks; a line twice a turn as strong is something out of round or out of line;
// three multiples and more is looseness; knocks are a void or an edge passing the tool;
// much more broadband than line is the cut or the motor. "" when r is not ok.
func cause(r Reading) string {
	if !r.OK {
		return ""
	}
	strong := strongMultiples(r)
	switch {
	case strong >= 3:
		return "something loose, likely: mount, rest or belt"
	case len(r.Multiples) > 0 && r.Multiples[0]/2 >= outOfRound:
		return "out of round or out of line, perhaps"
	case r.Crest >= knockCrest:
		return "out of balance, with knocks: a void, bark or an edge, perhaps"
	case r.Total >= cuttingRatio*r.Shake:
		return "the cut or the motor more than the blank, perhaps"
	case r.Orbit > 0 && r.Orbit < straight:
		return "out of balance, perhaps, on a lathe that rocks one way"
	case strong == 0 && r.Floor <= clearFloor*r.Shake:
		return "out of balance, likely"
	}
	return "out of balance, perhaps"
}

// strongMultiples counts the multiples that are strong in velocity.
func strongMultiples(r Reading) int {
	strong := 0
	for i, a := range r.Multiples {
		if a/float64(i+2) >= looseRatio {
			strong++
		}
	}
	return strong
}

// outOfRound is how strong twice a turn must be in velocity, over the line itself, to speak of
// the shape; looseRatio how strong a multiple must be in velocity, over the line itself, to count;
// knockCrest how far the knocks stand out of the noise, of which 1000 samples reach 3.2;
// cuttingRatio how far all vibration must outweigh the line; straight the orbit below which
// the headstock goes to and fro; clearFloor the floor over the shake below which the line
// stands clear (all chosen).
const (
	outOfRound   = 0.7
	looseRatio   = 0.3
	knockCrest   = 7
	cuttingRatio = 3
	straight     = 0.15
	clearFloor   = 0.03
)

// causesHere says what the session adds to the cause of one reading: what the lathe shakes
// with nothing mounted, and how the shake goes with the speed.
func (a *Adviser) causesHere(r Reading) []Reason {
	var out []Reason
	for _, why := range []Reason{a.withoutBlank(r), a.withSpeed(r)} {
		if why.Code != "" {
			out = append(out, why)
		}
	}
	return out
}

// withoutBlank parts the lathe's own shake e from the blank's: with phases unknown the
// blank makes between |s−e| and s+e of s. Without Code where e is not known.
func (a *Adviser) withoutBlank(r Reading) Reason {
	own := a.emptyAt(r.Speed)
	if own == 0 {
		return Reason{}
	}
	why := Reason{"lathe-itself", fmt.Sprintf("the lathe itself, likely: with nothing mounted it shook %s at this speed", ShakeText(own)), ownReadings}
	part := fmt.Sprintf("the blank makes between %s and %s of it", ShakeText(math.Abs(r.Shake-own)), ShakeText(r.Shake+own))
	switch {
	case r.Shake >= 3*own:
		why.Code, why.Text = "blank", fmt.Sprintf("the blank, likely: with nothing mounted the lathe shook only %s at this speed, so %s", ShakeText(own), part)
	case r.Shake >= 1.5*own:
		why.Code, why.Text = "lathe-in-part", fmt.Sprintf("the lathe itself in part, perhaps: with nothing mounted it shook %s at this speed, so %s", ShakeText(own), part)
	}
	return why
}

// emptyAt is the shake in mm/s rms at n with nothing mounted, from the measured speeds next
// to it, as a power of the speed between them; 0 if none is near enough.
func (a *Adviser) emptyAt(n RPM) float64 {
	var here, below, above MapPoint
	for _, p := range a.Empty {
		switch {
		case !p.Seen || !(p.Shake > 0):
		case near(n, p.Speed, 2*sameSpeed):
			if here.Speed == 0 || math.Abs(float64(p.Speed-n)) < math.Abs(float64(here.Speed-n)) {
				here = p
			}
		case p.Speed < n && p.Speed > below.Speed:
			below = p
		case p.Speed > n && (above.Speed == 0 || p.Speed < above.Speed):
			above = p
		}
	}
	if here.Speed > 0 {
		return here.Shake
	}
	if below.Speed == 0 || above.Speed == 0 || above.Speed > 1.2*below.Speed {
		return 0
	}
	at := math.Log(float64(n/below.Speed)) / math.Log(float64(above.Speed/below.Speed))
	return below.Shake * math.Pow(above.Shake/below.Shake, at)
}

// withSpeed says whether the speed is close to a resonance, or else how the shake grows
// with it: far below a resonance that of an imbalance goes with n³ (Thomson, eq. 3.2-4, for
// small r), that of a bend or a belt hardly.
func (a *Adviser) withSpeed(r Reading) Reason {
	if share, at := a.response.resonance(r.Speed); share > 0.5 {
		return Reason{"resonance", fmt.Sprintf("close to a resonance at about %v, %s (%.0f %% of what explains the readings)", at, sureness(share), 100*share), ownReadings}
	}
	power, se := a.response.power()
	switch {
	case se == 0:
		return Reason{}
	case power-2*se >= 4:
		return Reason{"resonance-above", fmt.Sprintf("a resonance further up, perhaps: the shake grew with the speed to the power %.1f; an imbalance alone makes 3", power), unbalanceSource}
	case power-2*se >= 2:
		return Reason{"as-balance", fmt.Sprintf("out of balance, likely: the shake grew with the speed to the power %.1f; an imbalance makes 3", power), unbalanceSource}
	case power+2*se <= 1.5:
		return Reason{"not-as-balance", fmt.Sprintf("the lathe, the belt or something bent, perhaps: the shake grew with the speed to the power %.1f only; below a resonance an imbalance makes 3, above it 1", power), unbalanceSource}
	}
	return Reason{}
}

const unbalanceSource = "Thomson, Theory of Vibration with Applications, eq. 3.2-4"

// power is the slope of ln(shake) over ln(speed) of what was seen and its standard error,
// both 0 below three speeds over a third of the scale.
func (m *response) power() (slope, se float64) {
	seen := m.fitted
	if len(seen) < 3 || seen[len(seen)-1].speed < 1.33*seen[0].speed {
		return 0, 0
	}
	var w, wx, wy, wxx, wxy, wyy float64
	for _, o := range seen {
		x, y, k := math.Log(float64(o.speed)), math.Log(o.shake), (o.shake/o.sigma)*(o.shake/o.sigma)
		w, wx, wy, wxx, wxy, wyy = w+k, wx+k*x, wy+k*y, wxx+k*x*x, wxy+k*x*y, wyy+k*y*y
	}
	sxx, sxy, syy := wxx-wx*wx/w, wxy-wx*wy/w, wyy-wy*wy/w
	slope = sxy / sxx
	chi2 := max(1, (syy-slope*sxy)/float64(len(seen)-2))
	return slope, math.Sqrt(chi2 / sxx)
}

// sureness puts a share of the posterior into words.
func sureness(share float64) string {
	if share > 0.9 {
		return "likely"
	}
	return "perhaps"
}

// closeTo is how near to a natural frequency a speed is close to the resonance, relative
// (chosen: at little damping the motion is there three times that of far above).
const closeTo = 0.15

// resonance is the share of the posterior that has a natural frequency close to n,
// and where that is on average.
func (m *response) resonance(n RPM) (share float64, at RPM) {
	var sum, with, mean float64
	turns := n.Hz()
	for i := range m.cells {
		c := &m.cells[i]
		sum += c.weight
		closest := c.f1
		if math.Abs(c.f2-turns) < math.Abs(c.f1-turns) {
			closest = c.f2
		}
		if math.Abs(closest-turns) <= closeTo*turns {
			with += c.weight
			mean += c.weight * closest
		}
	}
	if with == 0 {
		return 0, 0
	}
	return with / sum, Turns(mean / with)
}

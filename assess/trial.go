package assess

import (
	"fmt"
	"math"
)

// Fastening is how a mass is held on the blank. "" is unknown and counts as Taped.
type Fastening string

// The fastenings.
const (
	Screwed Fastening = "screwed" // at least 15 mm deep into sound wood
	Taped   Fastening = "taped"   // and the tape wound over it, round the whole blank
)

// Validate returns an InputError for a word that is no fastening.
func (f Fastening) Validate() error { return oneOf("fastening", f, Screwed, Taped) }

// Hold is the throw in N that the fastening is trusted with, as a mass on it pulls outward.
// Screwed, 50 N, chosen: a screw of 4 mm, 15 mm deep, in the lightest wood of the table
// comes out of side grain at 750 N, of end grain at three quarters of it
// (p = 15 700·G²·D·L lbf, D and L in inches: Wood Handbook FPL-GTR-190, chapter 8); less
// than a tenth is left to punky wood and short screws. Taped, 5 N, chosen: the weight of
// half a kilogram (common practice, no source). Larger lets a mass fly.
func (f Fastening) Hold() float64 {
	if f == Screwed {
		return 50
	}
	return 5
}

// Throw is the force m·r·ω² in N with which m pulls outward at n.
func (m Mass) Throw(n RPM) float64 {
	return m.Grams / 1000 * float64(m.Radius) / 1000 * n.omega() * n.omega()
}

// fastest is the speed at which the throw of m is what f holds, 0 for no mass.
func (m Mass) fastest(f Fastening) RPM {
	moment := m.Grams / 1000 * float64(m.Radius) / 1000
	return Turns(math.Sqrt(f.Hold()/moment) / (2 * math.Pi))
}

// Trial is the speed for the runs of a balancing and what the mass does there.
type Trial struct {
	Speed RPM `json:"speed_rpm"` // 0: the lathe has none slow enough
	// Most is the fastest speed that is still safe, for a first run too weak to be
	// measured at Speed: the lowest ceiling, or what the fastening holds.
	Most RPM `json:"most_rpm"`
	// Throw is that of the mass at Speed in N; Weight is the mass in kg that weighs as
	// much. 0 without a speed.
	Throw  float64 `json:"throw_n"`
	Weight float64 `json:"throw_as_kg"`
	Hold   float64 `json:"hold_n"` // what the fastening is trusted with
	Say    string  `json:"say"`
	Source string  `json:"source"`
}

// trialSource says where the limits of a fastening come from, in words for the screen.
const trialSource = "m·r·ω²; what a fastening holds is chosen, far below what tests of screws give"

// PlanTrial finds one low speed for all runs with mass m on the blank: the start speed of
// the plan, or less where the throw of the mass asks for it; never above a ceiling. It
// returns an InputError for what cannot be.
func PlanTrial(l Lathe, b Blank, t Task, m Mass, f Fastening) (Trial, error) {
	plan, err := MakePlan(l, b, t)
	if err == nil {
		err = f.Validate()
	}
	if err == nil {
		err = m.check(b)
	}
	if err != nil {
		return Trial{}, err
	}
	out := Trial{Hold: f.Hold(), Source: trialSource}
	if plan.Start == 0 {
		out.Say = plan.Say
		return out, nil
	}
	held := m.fastest(f)
	out.Speed = l.Fit(min(plan.Start, held))
	if out.Speed == 0 {
		low, _ := l.ends()
		out.Say = fmt.Sprintf("Do not run: at the lathe's slowest, %v, %g g at %v throws with %s, and %s is trusted with %s at most. Take a smaller mass or nearer to the axis%s.",
			low, m.Grams, m.Radius, Newtons(m.Throw(low)), f.word(), Newtons(f.Hold()), f.better())
		return out, nil
	}
	out.Most = l.Fit(min(plan.Window.High, held))
	out.Throw = m.Throw(out.Speed)
	out.Weight = out.Throw / gravity
	out.Say = fmt.Sprintf("Run at %v: %g g at %v throws there with %s, like a weight of %.2g kg pulling at it.", out.Speed, m.Grams, m.Radius, Newtons(out.Throw), out.Weight)
	return out, nil
}

// Faster is the speed to try next when the first run at n was too weak to be measured: one
// small step of the advice up, 0 when that would not be safe.
func (t Trial) Faster(l Lathe, n RPM) RPM {
	if to := l.Fit(min(smallStep*n, t.Most)); to >= leastGain*n {
		return to
	}
	return 0
}

// Refuse returns an InputError where mass m throws at n with more than the fastening is
// trusted with, by 2 % or more; nil where it does not.
func (f Fastening) Refuse(m Mass, n RPM) error {
	if throw := m.Throw(n); throw > f.Hold()*1.02 {
		return &InputError{fmt.Sprintf("at %v %s at %v throws with %s, and %s is trusted with %s at most", n, gramsText(m.Grams), m.Radius, Newtons(throw), f.word(), Newtons(f.Hold())),
			fmt.Sprintf("run at %.0f rpm or slower, or take a smaller mass%s", math.Floor(float64(m.fastest(f))), f.better())}
	}
	return nil
}

func (f Fastening) word() string {
	if f == Screwed {
		return "a screw"
	}
	return "tape"
}

func (f Fastening) better() string {
	if f == Screwed {
		return ""
	}
	return ", or screw it on"
}

// Newtons writes a force to two digits.
func Newtons(n float64) string {
	if n >= 100 {
		return fmt.Sprintf("%.0f N", round2(n))
	}
	return fmt.Sprintf("%.2g N", n)
}

// check refuses a mass that cannot be on the blank.
func (m Mass) check(b Blank) error {
	most := b.Diameter / 2
	if most == 0 {
		most = largestDiameter / 2
	}
	switch {
	case !(m.Grams > 0) || m.Grams > 5000:
		return &InputError{fmt.Sprintf("a trial mass of %g g cannot be", m.Grams), "weigh it, as in --trial 20g"}
	case !(m.Radius >= 1) || m.Radius > most:
		return &InputError{fmt.Sprintf("a radius of %v does not lie on the blank", m.Radius), fmt.Sprintf("from the axis to the middle of the mass, at most %v", most)}
	}
	return nil
}

// FirstMass is the mass in g to try at radius r when nothing has been measured yet: it
// throws with a tenth of the blank's weight at n (common practice, no source), or with
// what the fastening is trusted with if that is less. 0 when the blank's mass or n is not
// known.
func FirstMass(b Blank, r MM, n RPM, f Fastening) float64 {
	m := b.mass().likely
	force := min(0.1*m*gravity, f.Hold())
	w := n.omega()
	return round2(positive(1000 * force / (float64(r) / 1000 * w * w)))
}

// round2 is v to two digits, rounded down.
func round2(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	scale := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Floor(v/scale+1e-9) * scale
}

// BalanceCautions go beside Cautions wherever a balancing is shown. Common practice, no
// source.
func BalanceCautions() []string {
	return []string{
		"Screw the trial mass on, or wind tape over it and round the whole blank; pull at it before every run.",
		"Pull the plug before every change of the mass; hands off and nobody in its plane while it turns.",
		"Make all runs at one low speed, tailstock up. Never turn wood with the mass on.",
		"Take the trial mass off before you put the fix on; what stays on must be screwed on.",
	}
}

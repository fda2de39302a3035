package assess

import (
	"fmt"
	"math"
	"math/cmplx"
)

// judge fills in what the modes mean, each for itself and all together: when one fix
// helps whichever of them is true, they are one answer.
func (b Balancing) judge(out *HeavySide, m model, modes []found, all found, contradict bool) {
	fault := func(f BalanceFault, format string, args ...any) {
		out.Faults = append(out.Faults, f)
		out.Warnings = append(out.Warnings, fmt.Sprintf(format, args...))
	}
	after := all.remaining(m.place)
	before := all.best.h * cmplx.Abs(all.best.u)
	out.Known = after[1] <= worthFixing*before
	if out.Known || len(modes) == 1 {
		modes = []found{all}
	}
	for _, f := range modes {
		out.Answers = append(out.Answers, f.answer())
	}
	out.Residual = m.residual(modes[0].best)
	if contradict {
		fault(Inconsistent, "the runs contradict each other by more than their errors: did the speed change, the mounting or the sensor move, was a mass elsewhere than said? The answer is kept vaguer for it; make the odd run again")
	}
	first := out.Answers[0]
	ratio, open := first.Imbalance/m.unit, first.Edges[1] > 0.6*m.unit*math.Exp(sizeRange)
	switch {
	case len(modes) > 1:
		out.Next = b.part(m, modes[0].best, modes[1].best)
		fault(Ambiguous, "%d answers explain the runs: heavy at %.0f° or at %.0f°. Make one more run with the mass at %.0f°", len(modes), first.Heavy, out.Answers[1].Heavy, out.Next.Angle)
	case open || !out.Known && ratio > 2 || ratio > 8:
		out.Next = b.next(m, first, open)
		if out.Next.Grams > b.Runs[1].Mass {
			fault(TooSmall, "the trial mass changes too little: make the runs with it again, with %s at %v", gramsText(out.Next.Grams), out.Next.Radius)
			break
		}
		out.Next = b.part(m, all.best, all.best)
		fault(TooSmall, "the trial mass changes too little, and so fastened none that is larger is safe at this speed: screw it on, or put it further out, and begin anew")
	case ratio < 0.25:
		out.Next = b.next(m, first, false)
		fault(TooLarge, "the trial mass is %.0f times the blank's own imbalance: make the runs with it again, with %s at %v", 1/ratio, gramsText(out.Next.Grams), out.Next.Radius)
	case !out.Known:
		out.Next = b.part(m, all.best, all.best)
	}
	if !out.Known {
		if len(modes) == 1 {
			where := ""
			if first.Within < 90 {
				where = fmt.Sprintf(": heavy at %.0f° ± %.0f°", first.Heavy, first.Within)
			}
			fault(Vague, "what the runs say is too vague for a fix that helps%s", where)
		}
		return
	}
	out.Answer, out.Before, out.After, out.High = first, before, after[0], after[1]
	b.remedy(out)
	fix := Run{Mass: out.Fix.Grams, Radius: out.Fix.Radius, Angle: out.Fix.Angle}.moment()
	for i, r := range b.Runs {
		if cmplx.Abs(r.moment()-fix) <= nearlyFix*cmplx.Abs(fix) {
			out.Checked = m.tries[i].shake
		}
	}
}

// remaining is the shake that a fix by the best point leaves: the median, and the upper
// 95 % edge, with the fix put to its angle no better than the trials were.
func (f found) remaining(place float64) [2]float64 {
	left := f.quantiles(func(p point) float64 { return p.h * cmplx.Abs(p.u-f.best.u) }, 0.5, 0.975)
	slip := f.best.h * cmplx.Abs(f.best.u) * place
	return [2]float64{math.Hypot(left[0], slip), math.Hypot(left[1], 1.96*slip)}
}

// radius is that of the trial mass.
func (b Balancing) radius() MM { return b.Runs[1].Radius }

// part is the run that tells a from c best, by what both say it would shake; with the two
// alike, the run with the fix put on.
func (b Balancing) part(m model, a, c point) Mass {
	out := Mass{Grams: b.Runs[1].Mass, Radius: b.radius(), Angle: degrees(a.angle + math.Pi)}
	w, most := m.unit, 0.0
	for d := 0.0; d < 360; d += 5 {
		at := cmplx.Rect(w, d*math.Pi/180)
		if by := math.Abs(math.Log(a.h * cmplx.Abs(a.u+at) / (c.h * cmplx.Abs(c.u+at)))); by > most+1e-9 {
			out.Angle, most = d, by
		}
	}
	return out
}

// next is the trial mass that suits the imbalance: as large as it, three times the last
// one when all that is known is that it was too small, and never more than its fastening
// holds at this speed.
func (b Balancing) next(m model, a Answer, open bool) Mass {
	moment := math.Sqrt(a.Edges[0] * a.Edges[1])
	if open {
		moment = 3 * m.unit
	}
	out := Mass{Grams: moment / float64(b.radius()), Radius: b.radius()}
	if n := b.Runs[0].Speed; n > 0 {
		out.Grams = min(out.Grams, out.Grams*b.Fastened.Hold()/out.Throw(n))
	}
	out.Grams = round2(out.Grams)
	return out
}

// remedy fills in what to do and what it gives. Known must be true.
func (b Balancing) remedy(out *HeavySide) {
	light := math.Mod(out.Heavy+180, 360)
	out.Fix = Mass{out.Imbalance / float64(b.radius()), b.radius(), light}
	if d := b.Blank.Diameter; d > 0 {
		r := nearRim * d / 2
		out.Take = Mass{out.Imbalance / float64(r), r, out.Heavy}
		out.Chips = positive(out.Take.Grams / b.density() * 1000)
	}
	if mass := b.Blank.mass().likely; mass > 0 {
		out.Shift = out.Imbalance / (1000 * mass)
		out.Grade = out.Shift * out.Speed.omega()
		out.GradeAfter = out.Grade * out.After / out.Before
	}
	if out.Speed > 0 {
		out.Allows = b.allows(*out)
	}
}

// nearRim is where wood can be taken off, as a share of the radius (chosen: a gouge reaches
// a little below the rim; nearer to it would take off too little).
const nearRim = 0.9

// density is that of the wood in kg/m³ as likely, by the table or else by weight and size;
// 0 when not known.
func (b Balancing) density() float64 {
	if likely, _ := WoodOf(b.Blank.Wood).Density(b.Blank.Moisture); likely > 0 {
		return likely
	}
	d, l := float64(b.Blank.Diameter)/1000, float64(b.Blank.Length)/1000
	return positive(b.Blank.Mass / (math.Pi / 4 * d * d * l))
}

// allows is the fastest speed up to which the shake with the fix stays comfortable at its
// upper edge, by the map of one speed and the bound on a hidden resonance that advice keeps
// to; never above a ceiling, nor beyond what the fastening of the fix holds. A speed that
// was not seen is reached in the steps of the advice all the same.
func (b Balancing) allows(h HeavySide) RPM {
	a := Adviser{Lathe: b.Lathe, Blank: b.Blank, Task: b.Task, Comfort: b.Comfort}
	top := min(a.ceilings()[0].RPM, h.Fix.fastest(b.Fastened))
	if a.undescribed() || b.Blank.cracked() || h.Speed > top {
		return 0
	}
	a.response.add(Reading{OK: true, Speed: h.Speed, Shake: h.High, ShakeSE: h.High * repeatError})
	if !a.response.refit() || h.High >= backToCalm*a.comfort() {
		return 0
	}
	to, _ := a.fastest(h.Speed, top)
	return max(to, b.Lathe.Fit(h.Speed))
}

// grades of ISO 21940-11:2016, table 1, with what they are for there.
var grades = []struct {
	grade float64
	what  string
}{
	{4000, "crankshafts of large, slow ship diesels"}, {1600, ""}, {630, ""}, {250, ""}, {100, "complete engines of cars"},
	{40, "car wheels, rims and drive shafts"}, {16, "farm machinery, cardan shafts"}, {6.3, "fans, gears, machine tools"},
	{2.5, "machine-tool drives, turbines"}, {1, "grinding-machine drives"}, {0.4, "precision spindles"},
}

// GradeWords sets a balance grade in mm/s beside the published ones: "worse than G 40
// (car wheels, rims and drive shafts)". "" for 0.
func GradeWords(grade float64) string {
	if !(grade > 0) {
		return ""
	}
	last := ""
	for _, g := range grades {
		name := fmt.Sprintf("G %g", g.grade)
		if g.what != "" {
			name += " (" + g.what + ")"
		}
		if grade > g.grade {
			if last == "" {
				return "worse than " + name
			}
			return fmt.Sprintf("between %s and %s", last, name)
		}
		last = name
	}
	return "better than " + last
}

// GradeSource is where the grades come from.
const GradeSource = "ISO 21940-11:2016, table 1; that standard does not cover wood"

// ClockPosition is an angle from the mark as on the face of a clock with the mark at
// twelve, seen from the tailstock: 120° is "4:00", to the nearest five minutes (2.5°).
func ClockPosition(deg float64) string {
	minutes := 5 * (int(math.Round(degrees(deg*math.Pi/180)/2.5)) % 144)
	hour := minutes / 60
	if hour == 0 {
		hour = 12
	}
	return fmt.Sprintf("%d:%02d", hour, minutes%60)
}

// gramsText writes a mass as a kitchen balance does.
func gramsText(g float64) string {
	if g < 10 {
		return fmt.Sprintf("%.1f g", g)
	}
	return fmt.Sprintf("%.0f g", g)
}

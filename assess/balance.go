package assess

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// Run is one run of a balancing: a mass at a place, or none, and how hard it shook. The
// runs of one balancing have one speed, one mounting and one place of the sensor.
type Run struct {
	Mass   float64 `json:"mass_g"`    // on the blank in this run; 0: as it is
	Radius MM      `json:"radius_mm"` // from the axis to the middle of the mass
	Angle  float64 `json:"angle_deg"` // from the mark, clockwise seen from the tailstock
	Speed  RPM     `json:"speed_rpm"` // as measured; 0: not known
	// Shake in mm/s rms and its standard error. SE 0 is unknown and counts as 3 % (chosen:
	// what reading a number that wanders on a screen makes of it).
	Shake   float64 `json:"shake_mm_s"`
	ShakeSE float64 `json:"shake_se_mm_s"`
	// Steepness is d ln(shake) / d ln(speed) as seen in this run, SteepnessSE its standard
	// error; SE 0: not known.
	Steepness   float64 `json:"steepness"`
	SteepnessSE float64 `json:"steepness_se"`
}

// moment is mass times radius in g·mm, as a vector from the axis to the mass.
func (r Run) moment() complex128 {
	return cmplx.Rect(r.Mass*float64(r.Radius), r.Angle*math.Pi/180)
}

// Balancing is all that is known when the heavy side is asked for. The first run is
// without a mass, the others have one, at two or more places; a run with a fix put on is
// one more of them, and makes the answer better.
type Balancing struct {
	Runs  []Run
	Lathe Lathe
	Blank Blank
	Task  Task
	// Place is the standard error in degrees with which a mass is put to its angle; 0
	// counts as 3 (chosen: by eye and a folded strip of paper; too small makes the
	// uncertainty too small).
	Place    float64
	Fastened Fastening
	// Comfort is as in Adviser.
	Comfort float64
}

// BalanceFault is a code for what is wrong with a balancing, as printed in JSON.
type BalanceFault string

// The faults. Those marked * leave no answer to act on.
const (
	Ambiguous    BalanceFault = "ambiguous"    // * two answers explain the runs
	Vague        BalanceFault = "vague"        // * a fix by this answer may not help
	TooSmall     BalanceFault = "too-small"    // the trial mass changes too little
	TooLarge     BalanceFault = "too-large"    // the trial mass drowns the blank's own imbalance
	Inconsistent BalanceFault = "inconsistent" // the runs contradict each other
	Unfinished   BalanceFault = "unfinished"   // * too few runs so far; of a guided balancing
)

// Mass is a mass at a place on the blank.
type Mass struct {
	Grams  float64
	Radius MM
	Angle  float64 // degrees, as in Run
}

// Answer is one way to explain the runs.
type Answer struct {
	Heavy     float64    // degrees, angle of the heavy side, from 0 up to 360
	Within    float64    // degrees, half the width of its 95 % interval, at most 180
	Imbalance float64    // g·mm
	Edges     [2]float64 // g·mm, the 95 % edges of Imbalance
	Share     float64    // how probable it is beside the others, 0 to 1
}

// HeavySide is where a blank is heavy and what to do about it. While Known is false only
// Answers, Consistency, Residual, Next, Faults and Warnings mean anything, and the other
// fields are zero.
type HeavySide struct {
	Known bool // there is one answer, and a fix by it helps
	Answer
	Answers []Answer // all that remain, the most probable first; one when Known, never none
	// Consistency is 1 when the runs, brought to one speed, agree: the imbalance by the differences between the
	// places over that by their mean (see Circles). 0: fewer than three places, or no
	// such number. Residual is the root mean square of what the runs differ by from the
	// answer, mm/s. Agreeing is the 95 % edges of Consistency of runs that agree to within their
	// errors; zero where Consistency is or where they leave it open.
	Consistency float64
	Agreeing    [2]float64
	Residual    float64

	Shift float64 // mm, of the centre of mass from the axis; 0: the blank's mass is not known
	Fix   Mass    // to put on the light side, at the radius of the trial
	Take  Mass    // or of wood to take off the heavy side; zero: the diameter is not known
	Chips float64 // cm³ of that wood; 0: its density is not known

	// Before and After are the shake at Speed as it is and with the fix, High the upper
	// 95 % edge of After, mm/s rms.
	Speed               RPM
	Before, After, High float64
	// Checked is the shake of the newest run with the fix on, or nearly it, at Speed, mm/s
	// rms; 0: none was made.
	Checked float64
	// Allows is the fastest speed at which High still lets it shake comfortably by what
	// these runs know of the lathe, below every ceiling; 0: none is known.
	Allows RPM
	// Grade and GradeAfter are balance grades in mm/s at Speed, 0 without Shift or Speed.
	Grade, GradeAfter float64

	Next     Mass // the run to make next, when there is one that would help
	Faults   []BalanceFault
	Warnings []string // the same in words, with what to try
}

// Has reports whether b carries fault f.
func (b HeavySide) Has(f BalanceFault) bool { return slices.Contains(b.Faults, f) }

// Worked reports whether a run with the fix on showed that it helps.
func (b HeavySide) Worked() bool { return b.Checked > 0 && b.Checked <= worthFixing*b.Before }

// Limits of a balancing, all chosen. Runs whose speeds differ by more than sameRuns are
// not compared: at v ∝ n³ that is 12 % of the shake. Two places closer than samePlace are
// one. A fix is named only when it lets at most worthFixing of the shake remain at the
// upper edge. An answer as rare as rareAnswer is not named.
const (
	sameRuns    = 0.04
	samePlace   = 5.0 // degrees
	worthFixing = 0.7
	rareAnswer  = 0.02
	nearlyFix   = 0.2  // share of the fix by which a mass may differ from it, as a vector, and count as it
	typedError  = 0.03 // of the shake, when its standard error is not known
	repeatError = 0.01 // of the shake, what stopping and starting again changes
	placeError  = 3.0  // degrees
)

// Solve finds the heavy side by amplitudes alone. In a linear machine at one speed
//
//	shake of run k = h · |u + w·exp(iα)|
//
// with u the imbalance as a vector, w·exp(iα) mass times radius of the run at its angle,
// and h the answer of lathe and sensor to 1 g·mm (Wowk, Machinery Vibration: Balancing,
// four-run method; Somervaille, Balancing a rotating disc, Engineering, 1954, drew it with
// circles). The phase of h never enters, so neither where the sensor sits nor a resonance
// passed bends the answer. Every run is weighed by its error, and by that of the place of
// its mass. The answer is the mean over the likelihood, the edges are its own, and so are
// further answers where it has more than one mode: all hold where it is far from normal.
//
// It returns an InputError, with a hint, for runs that can give no answer. A poor answer
// is none: see Faults.
func (b Balancing) Solve() (HeavySide, error) {
	if err := b.check(); err != nil {
		return HeavySide{}, err
	}
	m, speed := b.model()
	out := HeavySide{Faults: []BalanceFault{}, Speed: speed, Consistency: b.at(m).consistency(), Agreeing: b.at(m).agreeing(m)}
	modes := m.answers()
	all := m.all(modes)
	stretch := m.birge(modes)
	if stretch > 1 {
		for i := range m.tries {
			m.tries[i].se *= stretch
		}
		modes = m.answers()
		all = m.all(modes)
	}
	b.judge(&out, m, modes, all, stretch > 1)
	return out, nil
}

// Refuse returns an InputError where r cannot be the next run, and nil where it can.
func (b Balancing) Refuse(r Run) error {
	b.Runs = append(slices.Clone(b.Runs), r)
	i := len(b.Runs) - 1
	if err := r.check(i, b.Blank); err != nil {
		return err
	}
	return b.against(i)
}

// MostNext is the largest shake in mm/s rms that the next run may show with m, wherever on its
// circle it is put: h·|u| + h·|w|, w being mass × radius, and h·|w| is at most what the first run
// and one with w together showed. 0 before the first run with a mass.
func (b Balancing) MostNext(m Mass) float64 {
	most := 0.0
	for i, r := range b.Runs {
		if of := cmplx.Abs(r.moment()); i > 0 && of > 0 {
			if by := (b.Runs[0].Shake + r.Shake) * m.Grams * float64(m.Radius) / of; most == 0 || by < most {
				most = by
			}
		}
	}
	if most == 0 {
		return 0
	}
	return b.Runs[0].Shake + most
}

// check refuses what can give no answer.
func (b Balancing) check() error {
	for _, err := range []error{Validate(b.Lathe, b.Blank, b.Task), b.Fastened.Validate()} {
		if err != nil {
			return err
		}
	}
	if !finite(b.Place) || b.Place < 0 || b.Place > 30 {
		return &InputError{fmt.Sprintf("masses placed to within %g degrees cannot be", b.Place), "leave it out: 3 degrees is common"}
	}
	var places []float64
	for i, r := range b.Runs {
		if err := r.check(i, b.Blank); err != nil {
			return err
		}
		if err := b.against(i); err != nil {
			return err
		}
		if i > 0 && !slices.ContainsFunc(places, func(p float64) bool { return apart(p, r.Angle) < samePlace }) {
			places = append(places, r.Angle)
		}
	}
	if len(places) < 2 {
		text := "without a run with the mass nothing is known of the heavy side"
		if len(places) == 1 {
			text = "runs with the mass at one place alone do not tell the heavy side"
		}
		return &InputError{text, "one run without the mass, then one each at 0, 120 and 240 degrees"}
	}
	return nil
}

// check refuses a run of that blank that cannot be; i is its place in the order.
func (r Run) check(i int, of Blank) error {
	fail := func(hint, format string, args ...any) error {
		return &InputError{fmt.Sprintf("run %d: ", i+1) + fmt.Sprintf(format, args...), hint}
	}
	for _, v := range []float64{r.Mass, float64(r.Radius), r.Angle, float64(r.Speed), r.Shake, r.ShakeSE, r.Steepness, r.SteepnessSE} {
		if !finite(v) {
			return fail("measure it again", "a number that is none")
		}
	}
	switch {
	case r.Shake <= 0 || r.Shake > hardestShake:
		return fail("give the shake in mm/s, above zero", "a shake of %g mm/s cannot be", r.Shake)
	case r.ShakeSE < 0 || r.SteepnessSE < 0 || r.Speed < 0:
		return fail("measure it again", "an error or a speed below zero cannot be")
	case i == 0 && r.Mass != 0:
		return fail("take the mass off, and make the first run again", "the first run must be without a mass")
	case math.Abs(r.Angle) > 360:
		return fail("count degrees from the mark, 0 to 360", "an angle of %g degrees cannot be", r.Angle)
	}
	if err := new(InputError); i > 0 && errors.As(Mass{r.Mass, r.Radius, r.Angle}.check(of), &err) {
		return fail(err.Hint, "%s", err.Text)
	}
	return nil
}

// against refuses run i where it cannot stand beside the ones before it.
func (b Balancing) against(i int) error {
	r := b.Runs[i]
	for j, other := range b.Runs[:i] {
		if j > 0 && apart(other.Angle, r.Angle) < samePlace && math.Abs(r.Mass*float64(r.Radius)/(other.Mass*float64(other.Radius))-1) < 0.05 {
			return &InputError{fmt.Sprintf("runs %d and %d have the same mass at the same place", j+1, i+1),
				fmt.Sprintf("give each run a place of its own, at least %g degrees apart", samePlace)}
		}
		if r.Speed > 0 && other.Speed > 0 && math.Abs(float64(r.Speed/other.Speed)-1) > sameRuns {
			return &InputError{fmt.Sprintf("run %d turned at %.0f rpm and run %d at %.0f", j+1, float64(other.Speed), i+1, float64(r.Speed)),
				"leave the dial alone between the runs, and make the odd one again"}
		}
	}
	return nil
}

// apart is the angle between two directions in degrees, 0 to 180.
func apart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// model brings the runs to one speed, that of the first with a known one.
func (b Balancing) model() (model, RPM) {
	var speed RPM
	for _, r := range b.Runs {
		if speed == 0 {
			speed = r.Speed
		}
	}
	p, pSE := steepness(b.Runs)
	place := b.Place
	if place == 0 {
		place = placeError
	}
	m := model{place: place * math.Pi / 180}
	for _, r := range b.Runs {
		se := r.ShakeSE
		if se == 0 {
			se = typedError * r.Shake
		}
		t := try{shake: r.Shake}
		for j, slip := range slips {
			t.w[j] = r.moment() * cmplx.Rect(1, slip[0]*m.place)
		}
		off := 0.0
		if r.Speed > 0 && speed > 0 {
			off = math.Log(float64(r.Speed / speed))
			t.shake *= math.Exp(-p * off)
		}
		t.se = math.Hypot(se, t.shake*math.Hypot(repeatError, pSE*off))
		m.tries = append(m.tries, t)
		m.unit = max(m.unit, cmplx.Abs(t.w[0]))
	}
	return m, speed
}

// steepness is d ln(shake) / d ln(speed) at the speed of the runs with its standard error,
// from the runs and from what is known of lathes: 3 for a stiff one (v ∝ n³), 1 far above
// its resonance, more or less near one; 3 ± 3 (chosen).
func steepness(runs []Run) (p, se float64) {
	sum, weights := 3.0/9, 1.0/9
	for _, r := range runs {
		if r.SteepnessSE > 0 {
			w := 1 / (r.SteepnessSE * r.SteepnessSE)
			sum, weights = sum+w*r.Steepness, weights+w
		}
	}
	return sum / weights, math.Sqrt(1 / weights)
}

// at is b with its runs brought to the one speed of m.
func (b Balancing) at(m model) Balancing {
	b.Runs = slices.Clone(b.Runs)
	for i, t := range m.tries {
		b.Runs[i].Shake = t.shake
	}
	return b
}

// consistency is that of Circles, 0 where there is none.
func (b Balancing) consistency() float64 {
	c, ok := Circles(b.Runs)
	if !ok {
		return 0
	}
	return positive(c.Vector / c.Square)
}

// agreeing is between what the consistency of runs lies that agree, by the errors of each shake and
// place in turn (propagation of errors, of the logarithm); zero where there is none.
func (b Balancing) agreeing(m model) [2]float64 {
	was := b.consistency()
	square := 0.0
	for i, try := range m.tries {
		shaken, turned := b, b
		shaken.Runs, turned.Runs = slices.Clone(b.Runs), slices.Clone(b.Runs)
		shaken.Runs[i].Shake *= 1 + try.se/try.shake
		turned.Runs[i].Angle += m.place * 180 / math.Pi
		for _, other := range []Balancing{shaken, turned} {
			d := math.Log(other.consistency() / was)
			square += d * d
		}
	}
	if !finite(square) {
		return [2]float64{}
	}
	half := 1.96 * math.Sqrt(square)
	return [2]float64{math.Exp(-half), math.Exp(half)}
}

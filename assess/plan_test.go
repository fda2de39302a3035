package assess_test

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// bowl is a sound, round blank of which everything is known.
func bowl() assess.Blank {
	return assess.Blank{Diameter: 310, Length: 90, Mass: 4, Wood: "sugar maple", Moisture: 12, Held: assess.Faceplate,
		Tailstock: true, Balance: assess.True}
}

// workshop is a lathe of which everything is known.
func workshop() assess.Lathe {
	return assess.Lathe{Low: 60, High: 3700, ChuckMax: 3000}
}

func ceiling(t *testing.T, in []assess.Ceiling, name string) assess.Ceiling {
	t.Helper()
	for _, c := range in {
		if c.Name == name {
			return c
		}
	}
	require.Fail(t, "no ceiling "+name)
	return assess.Ceiling{}
}

// TestPractice holds the ranges of the trade (common practice, no source) one by one.
func TestPractice(t *testing.T) {
	t.Parallel()
	box := bowl()
	box.Diameter, box.Length, box.Mass, box.Held = 60, 70, 0.15, assess.Chuck
	vacuum := box
	vacuum.Held = assess.Vacuum
	drilled := func(bit assess.MM) assess.Blank { b := box; b.Bit = bit; return b }
	for _, c := range []struct {
		why   string
		blank assess.Blank
		task  assess.Task
		most  assess.RPM
	}{
		{"thread chasing by hand 200 to 400", box, assess.Threading, 400},
		{"texturing 400 to 700", box, assess.Texturing, 700},
		{"chatter work 1200 to 2800", box, assess.Chatter, 2800},
		{"a small box is hollowed at about 1200", box, assess.Hollowing, 1200},
		{"a 25 mm bit below 1000", drilled(25), assess.Drilling, 999},
		{"a smaller bit no faster", drilled(10), assess.Drilling, 999},
		{"a 32 mm bit slower by 25/32", drilled(32), assess.Drilling, 774},
		{"a 50 mm bit at half of that", drilled(50), assess.Drilling, 500},
		{"an unknown bit as the largest that fits", box, assess.Drilling, 413},
		{"vacuum chuck 600", vacuum, assess.Finishing, 600},
		{"12 inches: 9000/12", assess.Blank{Diameter: 304.8, Length: 90, Held: assess.Faceplate, Tailstock: true, Balance: assess.True, Wood: "cherry", Moisture: 12}, assess.Finishing, 750},
	} {
		got := assess.Ceilings(workshop(), c.blank, c.task)
		require.NotEmpty(t, got)
		assert.LessOrEqual(t, got[0].RPM, c.most, c.why)
		assert.Greater(t, got[0].RPM, 0.9*c.most, c.why)
	}
	fin := assess.Ceilings(workshop(), bowl(), assess.Finishing)[0].RPM
	assert.Less(t, assess.Ceilings(workshop(), bowl(), assess.Sanding)[0].RPM, fin, "sanding slower than the finishing cut")
}

// TestDrillFormula: the formula is what was reckoned, in the unit that the bit was said in.
func TestDrillFormula(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		bit     assess.MM
		inches  bool
		text    string
		formula string
		rpm     assess.RPM
	}{
		{13, false, "this one is 13 mm", "990 rpm, as the bit is no larger than 25 mm", 990},
		{12.7, true, "this one is 0.5 in", "990 rpm, as the bit is no larger than 0.98 in", 990},
		{40, false, "this one is 40 mm", "990 rpm × 25 mm / 40 mm", 990 * 25. / 40},
		{50.8, true, "this one is 2 in", "990 rpm × 0.98 in / 2 in", 990 * 25 / 50.8},
		{0, false, "not given, this one counts as 60 mm", "990 rpm × 25 mm / 60 mm", 412.5},
	} {
		b := assess.Blank{Diameter: 60, Length: 90, Held: assess.Chuck, Balance: assess.True, Bit: c.bit, BitInches: c.inches}
		got := assess.Ceilings(workshop(), b, assess.Drilling)[0]
		assert.Contains(t, got.Text, c.text)
		assert.Equal(t, c.formula, got.Formula)
		assert.InDelta(t, float64(c.rpm), float64(got.RPM), 1e-9)
	}
}

// TestLengthsAsSaid: what was said in inches is said back in inches, and is the same length.
func TestLengthsAsSaid(t *testing.T) {
	t.Parallel()
	for said, l := range map[string]assess.MM{"310 mm": 310, "12.7 mm": 12.7, "13 mm": 13, "1234 mm": 1233.6} {
		assert.Equal(t, said, l.In(false))
	}
	for said, l := range map[string]assess.MM{"12 in": 304.8, "0.44 in": 11.1125, "12.2 in": 310} {
		assert.Equal(t, said, l.In(true))
	}
	mm := assess.Blank{Diameter: 304.8, Balance: assess.Sawn}
	in := mm
	in.Inches = true
	a, b := assess.Ceilings(workshop(), mm, ""), assess.Ceilings(workshop(), in, "")
	require.Len(t, b, len(a))
	for i := range a {
		assert.Equal(t, a[i].RPM, b[i].RPM)
		assert.NotContains(t, b[i].Text+b[i].Formula, " mm")
		assert.NotContains(t, b[i].Text+b[i].Formula, " cm")
	}
}

// TestCeilingsOfTheKnown: what is not known at all has no line of its own unless it decides;
// each line has a source, and a formula where it was reckoned.
func TestCeilingsOfTheKnown(t *testing.T) {
	t.Parallel()
	names := func(l assess.Lathe, b assess.Blank, task assess.Task) (out []string) {
		for _, c := range assess.Ceilings(l, b, task) {
			out = append(out, c.Name)
			assert.NotEmpty(t, c.Source, c.Name)
			assert.Equal(t, slices.Contains([]string{"lathe", "chuck", "mount"}, c.Name), c.Formula == "", c.Name)
		}
		return out
	}
	assert.Equal(t, []string{"blank", "diameter", "lathe"}, names(assess.Lathe{}, assess.Blank{Diameter: 310}, ""))
	thin := assess.Blank{Diameter: 30, Length: 900, Wood: "sugar maple", Moisture: 12, Held: assess.Centres, Balance: assess.True}
	assert.Equal(t, []string{"whirl", "chuck", "lathe", "diameter"}, names(workshop(), thin, assess.Finishing))
	thin.Length = 0
	assert.Equal(t, "whirl", names(workshop(), thin, assess.Finishing)[0], "not known, but decides")
	assert.Contains(t, assess.Ceilings(workshop(), thin, assess.Finishing)[0].Text, "; the length was not told, and counts as the worst")
	assert.Equal(t, []string{"mount"}, names(assess.Lathe{Low: 100, High: 3000}, assess.Blank{Diameter: 40, Length: 40, Balance: assess.True}, assess.Finishing)[:1])
}

// TestWalk: an imbalance that moves the lathe by X far above its resonance throws with a
// fifth of its weight at ω = √(0.2·g/X) (Thomson, Theory of Vibration with Applications,
// eq. 3.2-4: M·X = m·e for large r). The ceiling errs to the slow side, is not named before
// X is known, and stands while a cut makes the map less sure.
func TestWalk(t *testing.T) {
	t.Parallel()
	walk := func(lathe, blank float64) (*assess.Adviser, assess.Ceiling) { return walking(t, lathe, blank) }
	want := math.Sqrt(0.2*9806.65/walkX*40/40.1) * 60 / (2 * math.Pi)
	a, got := walk(40, 0.1)
	assert.LessOrEqual(t, float64(got.RPM), want)
	assert.GreaterOrEqual(t, float64(got.RPM), 0.85*want)
	assert.Contains(t, got.Source, "Thomson")
	assert.Regexp(t, `^60/2π × √\(0\.2 × g / 0\.01\d mm × 40 kg / \(40 kg \+ 0\.1 kg\)\)$`, got.Formula)
	assert.NotContains(t, got.Text, "not known")

	_, light := walk(0, 0.1)
	assert.InEpsilon(t, math.Sqrt(20/20.1*40.1/40), float64(light.RPM/got.RPM), 1e-6)
	assert.Contains(t, light.Text, "its mass is not known and counts as 20 kg")
	_, unweighed := walk(40, 0)
	_, heavy := walk(40, 0.15)
	assert.Less(t, heavy.RPM, got.RPM)
	most := 1.2 * 688.5 * math.Pi / 4 * math.Pow(0.06, 3) // kg of sugar maple at 12 %, by its size (Wood Handbook, ch. 4; table 5-6)
	assert.InEpsilon(t, math.Sqrt(40.1/(40+most)), float64(unweighed.RPM/got.RPM), 1e-6, "counted as its size may weigh at most")

	thinner := a.Blank
	thinner.Diameter, thinner.Mass = 50, 0.08
	require.NoError(t, a.Change(thinner, assess.Finishing))
	now := ceiling(t, a.See(steady(50, 1, 1000, 1)[0]).Ceilings, "walk")
	assert.InEpsilon(t, math.Sqrt(40.1/40.08), float64(now.RPM/got.RPM), 1e-6, "the throw as last known")
}

// walkX is the throw of walking, mm peak.
const walkX = 0.01

// walking is an adviser of a spindle of blank kg on a lathe of that mass in kg, 0 not known,
// that was run up over the resonance, and the ceiling of its throw.
func walking(t *testing.T, lathe, blank float64) (*assess.Adviser, assess.Ceiling) {
	t.Helper()
	spindle := bowl()
	spindle.Diameter, spindle.Length, spindle.Mass, spindle.Held = 60, 60, blank, assess.Chuck
	a := &assess.Adviser{Lathe: workshop(), Blank: spindle, Task: assess.Finishing, Checked: true}
	a.Lathe.Mass = lathe
	var d assess.Advice
	for i, n := range []float64{360, 420, 500, 560, 650, 750, 900, 1050, 1250, 1450, 1700, 2000} {
		shake := n * 2 * math.Pi / 60 * walkX * assess.UnbalanceGain(n/480, 0.05) / math.Sqrt2
		d = hear(a, steady(4*float64(i), 12, assess.RPM(n), shake)...)
		if i < 3 {
			assert.False(t, slices.ContainsFunc(d.Ceilings, func(c assess.Ceiling) bool { return c.Name == "walk" }), "below the resonance")
		}
	}
	return a, ceiling(t, d.Ceilings, "walk")
}

// TestWalkOutlivesTheMap: the speeds that fixed the throw age and are forgotten after 20 minutes
// at another; the ceiling stands.
func TestWalkOutlivesTheMap(t *testing.T) {
	t.Parallel()
	a, before := walking(t, 40, 0.1)
	var d assess.Advice
	for i := range 1300 {
		d = a.See(steady(47+float64(i), 1, 1000, 0.95)[0])
	}
	require.Equal(t, []assess.RPM{1000}, speedsSeen(a.Map()))
	after := ceiling(t, d.Ceilings, "walk")
	assert.InEpsilon(t, float64(before.RPM), float64(after.RPM), 0.02)
}

// TestLower: each of these alone lowers the ceiling of a sound bowl.
func TestLower(t *testing.T) {
	t.Parallel()
	fin := assess.Ceilings(workshop(), bowl(), assess.Finishing)[0].RPM
	for name, change := range map[string]func(*assess.Blank){
		"larger":        func(b *assess.Blank) { b.Diameter = 400; b.Mass = 6 },
		"no tailstock":  func(b *assess.Blank) { b.Tailstock = false },
		"long overhang": func(b *assess.Blank) { b.Tailstock = false; b.Length = 500; b.Mass = 20 },
		"sawn":          func(b *assess.Blank) { b.Balance = assess.Sawn },
		"rough":         func(b *assess.Blank) { b.Balance = assess.RoughBlank },
		"burl":          func(b *assess.Blank) { b.Balance = assess.Burl },
		"void":          func(b *assess.Blank) { b.Defects = []assess.Defect{assess.Void} },
		"bark":          func(b *assess.Blank) { b.Defects = []assess.Defect{assess.Bark} },
		"punky":         func(b *assess.Blank) { b.Defects = []assess.Defect{assess.Punky} },
		"crack":         func(b *assess.Blank) { b.Defects = []assess.Defect{assess.Crack} },
		"vacuum":        func(b *assess.Blank) { b.Held = assess.Vacuum },
	} {
		b := bowl()
		change(&b)
		assert.Less(t, assess.Ceilings(workshop(), b, assess.Finishing)[0].RPM, fin, name)
	}
	overhang := func(l assess.MM) assess.RPM {
		b := bowl()
		b.Length, b.Mass, b.Tailstock = l, 0, false
		return ceiling(t, assess.Ceilings(workshop(), b, assess.Finishing), "blank").RPM
	}
	free := func(h assess.Held) assess.RPM {
		b := bowl()
		b.Held, b.Tailstock = h, false
		return assess.Ceilings(workshop(), b, assess.Finishing)[0].RPM
	}
	for _, weak := range []assess.Held{assess.Screw, assess.Vacuum, ""} {
		assert.Less(t, free(weak), free(assess.Faceplate), "held by %q alone", weak)
	}
	for l := assess.MM(310); l < 900; l += 50 { // from once to three times its diameter
		assert.Less(t, overhang(l+50), overhang(l), "%v of overhang", l)
	}
	assert.Less(t, assess.Ceilings(workshop(), bowl(), assess.Shaping)[0].RPM, fin, "no better than its shaping has made it")
	assert.Less(t, assess.Ceilings(workshop(), bowl(), assess.Roughing)[0].RPM, assess.Ceilings(workshop(), bowl(), assess.Shaping)[0].RPM)
}

func TestPlan(t *testing.T) {
	t.Parallel()
	p, err := assess.MakePlan(workshop(), bowl(), assess.Finishing)
	require.NoError(t, err)
	assert.Equal(t, "blank", p.Ceilings[0].Name)
	assert.LessOrEqual(t, p.Window.High, p.Ceilings[0].RPM)
	assert.LessOrEqual(t, p.Window.Low, p.Window.High)
	assert.Less(t, p.Start, p.Window.High)
	assert.InEpsilon(t, math.Pi*0.31*float64(p.Window.High)/60, p.Figures.RimSpeed, 1e-9)
	assert.InEpsilon(t, 0.19*p.Figures.Energy, p.Figures.Slower, 1e-9, "10 % less speed is 19 % less energy")
	assert.Empty(t, p.Assumed)
	assert.NotEmpty(t, p.Cautions)
	assert.Contains(t, p.Say, p.Start.String())
}

// The end of the search is no speed of a lathe: where the slowest is not known, the plan does
// not name one.
func TestPlanOfUnknownLathe(t *testing.T) {
	t.Parallel()
	p, err := assess.MakePlan(assess.Lathe{}, assess.Blank{Diameter: 310}, "")
	require.NoError(t, err)
	assert.Zero(t, p.Start)
	assert.Equal(t, "Start at the lathe's slowest speed; up to 135 rpm when it runs calmly (blank). Not on a lathe whose slowest speed is above 135 rpm.", p.Say)

	p, err = assess.MakePlan(assess.Lathe{}, assess.Blank{Diameter: 600}, "")
	require.NoError(t, err)
	assert.Zero(t, p.Window.Low)
	assert.Positive(t, p.Window.High)

	p, err = assess.MakePlan(assess.Lathe{High: 3000}, bowl(), assess.Finishing)
	require.NoError(t, err)
	assert.Positive(t, p.Start)
	assert.Contains(t, p.Say, "Not on a lathe whose slowest speed is above "+p.Window.High.String())

	p, err = assess.MakePlan(assess.Lathe{Low: 60, High: 3000}, assess.Blank{Diameter: 310}, "")
	require.NoError(t, err)
	assert.EqualValues(t, 60, p.Start)
	assert.NotContains(t, p.Say, "slowest")
}

func TestPlanNames(t *testing.T) {
	t.Parallel()
	p, err := assess.MakePlan(assess.Lathe{}, assess.Blank{Diameter: 310}, "")
	require.NoError(t, err)
	all := strings.Join(p.Assumed, "\n")
	for _, missing := range []string{"length", "balance", "holding", "wood", "moisture", "task", "lathe's own range", "chuck's fastest"} {
		assert.Contains(t, all, missing)
	}
	assert.Zero(t, p.Figures.Energy)
	assert.Zero(t, p.Figures.Whirl)
	for held, want := range map[assess.Held]string{assess.Faceplate: "read it on the faceplate", assess.Centres: ""} {
		p, err = assess.MakePlan(assess.Lathe{}, assess.Blank{Diameter: 310, Held: held}, "")
		require.NoError(t, err)
		assert.Contains(t, strings.Join(p.Assumed, "\n"), want)
		assert.NotContains(t, strings.Join(p.Assumed, "\n"), "chuck")
	}
}

// TestMore: what was not said and would allow more is named with what it would allow, and
// holds when it is then said.
func TestMore(t *testing.T) {
	t.Parallel()
	b := assess.Blank{Diameter: 310}
	p, err := assess.MakePlan(assess.Lathe{}, b, "")
	require.NoError(t, err)
	assert.Equal(t, "What was not said counts as the worst. If it is so, say --balance true (up to 185 rpm), --length 310mm (up to 230 rpm), "+
		"--held faceplate (up to 170 rpm), --tailstock (up to 340 rpm), --task finishing; all together up to 680 rpm.", p.More)
	for high, said := range map[assess.RPM]func(){
		185: func() { b.Balance = assess.True },
		230: func() { b.Length = 310 },
		170: func() { b.Held = assess.Faceplate },
		340: func() { b.Tailstock = true },
		680: func() { b.Balance, b.Length, b.Held, b.Tailstock = assess.True, 310, assess.Faceplate, true },
	} {
		b = assess.Blank{Diameter: 310}
		said()
		task := assess.Task("")
		if high == 680 {
			task = assess.Finishing
		}
		q, err := assess.MakePlan(assess.Lathe{}, b, task)
		require.NoError(t, err)
		assert.Equal(t, high, q.Window.High)
	}
	p, err = assess.MakePlan(workshop(), bowl(), assess.Finishing)
	require.NoError(t, err)
	assert.Empty(t, p.More, "all was said")
}

// TestTooFastLathe: the slowest speed, 850 on some small lathes (common practice), is above
// what the blank allows.
func TestTooFastLathe(t *testing.T) {
	t.Parallel()
	b := bowl()
	b.Balance = assess.RoughBlank
	p, err := assess.MakePlan(assess.Lathe{Low: 850, High: 3000}, b, assess.Roughing)
	require.NoError(t, err)
	assert.Zero(t, p.Start)
	assert.Zero(t, p.Window)
	assert.Contains(t, p.Say, "850 rpm")
	assert.Contains(t, p.Say, "Saw it round and balance it")

	p, err = assess.MakePlan(assess.Lathe{Low: 850, High: 3000, ChuckMax: 600}, assess.Blank{Diameter: 50, Length: 50, Held: assess.Chuck, Balance: assess.True}, assess.Finishing)
	require.NoError(t, err)
	assert.Equal(t, "Do not start: the lathe's slowest speed is 850 rpm and 600 is allowed (chuck). Use another chuck, or use a slower lathe.", p.Say)
	p, err = assess.MakePlan(assess.Lathe{Low: 850, High: 3000}, assess.Blank{Diameter: 20, Length: 800, Held: assess.Chuck, Balance: assess.True}, assess.Finishing)
	require.NoError(t, err)
	assert.Contains(t, p.Say, "(whirl). Make it shorter or bring up the tailstock, or")
	var got map[string]any
	require.NoError(t, json.Unmarshal(marshal(t, p), &got))
	assert.Nil(t, got["start_rpm"])
	assert.Equal(t, map[string]any{"low_rpm": nil, "high_rpm": nil}, got["window"])
}

func marshal(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return b
}

func TestPlanJSON(t *testing.T) {
	t.Parallel()
	p, err := assess.MakePlan(workshop(), assess.Blank{Diameter: 310}, "")
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(marshal(t, p), &got))
	for _, key := range []string{"window", "start_rpm", "ceilings", "figures", "cautions"} {
		assert.Contains(t, got, key)
	}
	figures := got["figures"].(map[string]any)
	assert.Nil(t, figures["energy_j"], "not known is null")
	assert.Nil(t, figures["whirl_rpm"])
	assert.NotNil(t, figures["rim_speed_m_s"])
	assert.NotNil(t, figures["drop_height_m"])
	for _, c := range got["ceilings"].([]any) {
		assert.NotEmpty(t, c.(map[string]any)["source"])
	}
}

// TestRefusals: what cannot be is refused with words and a hint.
func TestRefusals(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		blank assess.Blank
		task  assess.Task
		lathe assess.Lathe
		words string
	}{
		"no diameter":          {blank: assess.Blank{}, words: "no diameter"},
		"negative":             {blank: assess.Blank{Diameter: -3}, words: "-3 mm cannot be"},
		"not a number":         {blank: assess.Blank{Diameter: assess.MM(math.NaN())}, words: "cannot be"},
		"infinite":             {blank: assess.Blank{Diameter: 100, Length: assess.MM(math.Inf(1))}, words: "cannot be"},
		"a unit mixed up":      {blank: assess.Blank{Diameter: 0.31}, words: "too small"},
		"huge":                 {blank: assess.Blank{Diameter: 3100}, words: "more than 900"},
		"longer than a bed":    {blank: assess.Blank{Diameter: 60, Length: 2600}, words: "more than 2500"},
		"heavier than wood":    {blank: assess.Blank{Diameter: 100, Length: 100, Mass: 4}, words: "more than a solid cylinder"},
		"heavier than cherry":  {blank: assess.Blank{Diameter: 100, Length: 100, Mass: 1, Wood: "cherry", Moisture: 10}, words: "more than a solid cylinder"},
		"no such holding":      {blank: assess.Blank{Diameter: 100, Held: "glue"}, words: `no such way of holding: "glue"`},
		"no such balance":      {blank: assess.Blank{Diameter: 100, Balance: "fine"}, words: "no such balance"},
		"no such defect":       {blank: assess.Blank{Diameter: 100, Defects: []assess.Defect{"ghost"}}, words: "no such defect"},
		"no such task":         {blank: assess.Blank{Diameter: 100}, task: "flying", words: "no such task"},
		"bit without drilling": {blank: assess.Blank{Diameter: 100, Bit: 25}, task: assess.Finishing, words: "does not go with"},
		"bit over the blank":   {blank: assess.Blank{Diameter: 40, Bit: 40}, task: assess.Drilling, words: "does not fit"},
		"drill on centres":     {blank: assess.Blank{Diameter: 100, Held: assess.Centres}, task: assess.Drilling, words: "cannot be drilled"},
		"lathe upside down":    {blank: assess.Blank{Diameter: 100}, lathe: assess.Lathe{Low: 3000, High: 100}, words: "above the fastest"},
		"a step of nothing":    {blank: assess.Blank{Diameter: 100}, lathe: assess.Lathe{Steps: []assess.RPM{0, 500}}, words: "step"},
		"lathe of no number":   {blank: assess.Blank{Diameter: 100}, lathe: assess.Lathe{High: assess.RPM(math.NaN())}, words: "cannot be"},
		"lathe of any speed":   {blank: assess.Blank{Diameter: 100}, lathe: assess.Lathe{High: 1e300}, words: "cannot be"},
	} {
		_, err := assess.MakePlan(c.lathe, c.blank, c.task)
		var input *assess.InputError
		if assert.ErrorAs(t, err, &input, name) {
			assert.Contains(t, err.Error(), c.words, name)
			assert.NotEmpty(t, input.Hint, name)
		}
	}
}

func TestLatheFit(t *testing.T) {
	t.Parallel()
	steps := assess.Lathe{Steps: []assess.RPM{1200, 500, 800}}
	for n, want := range map[assess.RPM]assess.RPM{400: 0, 500: 500, 799: 500, 800: 800, 9999: 1200} {
		assert.Equal(t, want, steps.Fit(n), "steps up to %v", n)
	}
	dial := assess.Lathe{Low: 102, High: 3203}
	for n, want := range map[assess.RPM]assess.RPM{100: 0, 102: 102, 104: 102, 558.9: 555, 9999: 3200} {
		assert.Equal(t, want, dial.Fit(n), "dial up to %v", n)
	}
	assert.Equal(t, []assess.RPM{500, 800}, steps.Speeds(0, 1000))
	assert.Empty(t, steps.Speeds(900, 1000))
}

// TestKeeps: what a lathe and a blank are survives being written down.
func TestKeeps(t *testing.T) {
	t.Parallel()
	l, b := workshop(), bowl()
	l.Name, l.Steps = "club", []assess.RPM{500, 800}
	b.Defects = []assess.Defect{assess.Bark}
	var l2 assess.Lathe
	var b2 assess.Blank
	require.NoError(t, json.Unmarshal(marshal(t, l), &l2))
	require.NoError(t, json.Unmarshal(marshal(t, b), &b2))
	assert.Equal(t, l, l2)
	assert.Equal(t, b, b2)
	var unknown assess.Lathe
	require.NoError(t, json.Unmarshal(marshal(t, assess.Lathe{}), &unknown))
	assert.Equal(t, assess.Lathe{}, unknown, "not known stays not known")
	var got map[string]any
	require.NoError(t, json.Unmarshal(marshal(t, assess.Blank{}), &got))
	for _, name := range []string{"diameter_mm", "length_mm", "mass_kg", "wood", "moisture_percent", "held", "balance", "bit_mm"} {
		assert.Contains(t, got, name)
		assert.Nil(t, got[name], name)
	}
	require.NoError(t, json.Unmarshal(marshal(t, assess.Blank{}), &b2))
}

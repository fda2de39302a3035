package assess_test

import (
	"errors"
	"flag"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// blanks is how many random blanks are balanced: few in every run, 500 with
// go test ./assess -run BalanceBlanks -v -blanks 500 -timeout 1h.
var blanks = flag.Int("blanks", 3, "random blanks in the simulated balancing")

// bench is a simulated lathe with a lopsided blank on it, and somebody who puts masses on
// with an eye that errs by up to 5 degrees.
type bench struct {
	*rand.Rand
	seed  uint64
	lathe assess.Lathe
	blank assess.Blank
	kg    float64
	u     complex128 // g·mm, the truth
	h, v  sensor.Mode
	chip  sensor.Chip
	runs  uint64
	at    assess.RPM // speed of the first run
}

func newBench(seed uint64) *bench {
	r := rand.New(rand.NewPCG(seed, 11))
	log := func(a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }
	b := &bench{Rand: r, seed: seed}
	d := assess.MM(log(120, 420))
	b.blank = assess.Blank{Diameter: d, Length: d * assess.MM(log(0.25, 0.9)), Wood: "black cherry", Moisture: log(10, 60),
		Held: assess.Faceplate, Tailstock: r.IntN(2) == 0, Balance: []assess.Balance{assess.Sawn, assess.RoughBlank, assess.Burl}[r.IntN(3)]}
	likely, _ := assess.WoodOf(b.blank.Wood).Density(b.blank.Moisture)
	b.kg = likely * math.Pi / 4 * math.Pow(float64(d)/1000, 2) * float64(b.blank.Length) / 1000 * (0.9 + 0.1*r.Float64())
	b.blank.Mass = b.kg
	b.lathe = assess.Lathe{Low: assess.RPM(log(100, 300)), High: 3000}
	b.u = cmplx.Rect(b.kg*1000*float64(d)*log(0.004, 0.03), 2*math.Pi*r.Float64())
	heavy := log(40, 120)
	b.h = sensor.Mode{Hz: log(9, 25), Damping: log(0.03, 0.1), Mass: heavy}
	b.v = sensor.Mode{Hz: log(15, 40), Damping: log(0.03, 0.1), Mass: heavy * log(0.7, 1)}
	b.chip = sensor.Chip{Rate: 400, Jitter: 0.05, Step: 0.0098, Noise: log(0.0005, 0.0015), Range: 39.2,
		Turned: [3]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}}
	return b
}

// run turns the blank at n with a mass on it for 24 s, the speed wandering by 1 %, and makes
// a run of what the sensor says.
func (b *bench) run(n assess.RPM, m assess.Mass) (assess.Run, error) {
	b.runs++
	slip := b.Float64()*10 - 5
	u := b.u + cmplx.Rect(m.Grams*float64(m.Radius), (m.Angle+slip)*math.Pi/180)
	sim := &sensor.Simulated{Seed: b.seed*1000 + b.runs, Seconds: 24, Speed: []sensor.Point{{Value: float64(n) / 60}}, Wander: 0.01,
		Imbalance: u * 1e-6, Horizontal: b.h, Vertical: b.v, Chip: b.chip,
		Lines: []sensor.Line{{Order: 2, Ratio: [3]complex128{0.1, 0.1i, 0.05}}, {Order: 2.37, Amp: [3]complex128{0.004, 0.006, 0.002}}, {Hz: 100, Amp: [3]complex128{0.01, 0.02, 0.005}}}}
	tracker := dsp.Tracker{Hint: float64(n) / 60, Range: b.chip.Range}
	var readings []assess.Reading
	for {
		block, err := sim.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			panic(err)
		}
		for _, rev := range tracker.Add(block.T, block.Axes) {
			readings = append(readings, assess.Read(rev))
		}
	}
	r, err := assess.RunOf(readings, b.at)
	if err == nil && b.at == 0 {
		b.at = r.Speed
	}
	r.Mass, r.Radius, r.Angle = m.Grams, m.Radius, m.Angle
	return r, err
}

// verdict is what came of one blank.
type verdict struct {
	skipped           string
	off               float64 // degrees
	left              float64 // of the imbalance, with the fix put on by the same eye
	angleIn, amountIn bool    // the truth is within what was stated
	runs              int
	tooFast           bool
}

// balance does what the answers ask for, up to three times.
func (b *bench) balance(t *testing.T) verdict {
	radius := 0.4 * b.blank.Diameter
	plan, err := assess.MakePlan(b.lathe, b.blank, assess.Roughing)
	require.NoError(t, err)
	mass := assess.Mass{Grams: assess.FirstMass(b.blank, radius, plan.Start, assess.Screwed), Radius: radius}
	if mass.Grams == 0 {
		return verdict{skipped: "no speed slow enough"}
	}
	trial, err := assess.PlanTrial(b.lathe, b.blank, assess.Roughing, mass, assess.Screwed)
	require.NoError(t, err)
	out := verdict{tooFast: trial.Speed > plan.Start || mass.Throw(trial.Speed) > 1.001*assess.Screwed.Hold()}
	speed := trial.Speed
	first, err := b.run(speed, assess.Mass{})
	for err != nil {
		if speed = trial.Faster(b.lathe, speed); speed == 0 {
			return verdict{skipped: "too weak at every safe speed"}
		}
		first, err = b.run(speed, assess.Mass{})
	}
	bal := assess.Balancing{Runs: []assess.Run{first}, Lathe: b.lathe, Blank: b.blank, Task: assess.Roughing, Fastened: assess.Screwed}
	var h assess.HeavySide
	todo := []assess.Mass{{Grams: mass.Grams, Radius: radius}, {Grams: mass.Grams, Radius: radius, Angle: 120}, {Grams: mass.Grams, Radius: radius, Angle: 240}}
	for len(todo) > 0 && len(bal.Runs) < 9 {
		for _, m := range todo {
			out.tooFast = out.tooFast || m.Throw(speed) > 1.02*assess.Screwed.Hold()
			r, err := b.run(speed, m)
			if err != nil { // next to nothing left to measure there: on the other side then
				t.Logf("blank %d: %v", b.seed, err)
				m.Angle = math.Mod(m.Angle+180, 360)
				if r, err = b.run(speed, m); err != nil {
					return verdict{skipped: "weak on both sides: " + err.Error()}
				}
			}
			bal.Runs = append(bal.Runs, r)
		}
		if h, err = bal.Solve(); err != nil {
			return verdict{skipped: err.Error()}
		}
		todo = nil
		switch n := h.Next; {
		case h.Known || n.Grams == 0:
		case h.Has(assess.TooSmall) || h.Has(assess.TooLarge):
			todo = []assess.Mass{n, {Grams: n.Grams, Radius: n.Radius, Angle: 120}, {Grams: n.Grams, Radius: n.Radius, Angle: 240}}
		default:
			todo = []assess.Mass{n}
		}
	}
	if !h.Known {
		t.Logf("blank %d: %v", b.seed, h.Warnings)
		return verdict{skipped: "not known"}
	}
	out.runs = len(bal.Runs)
	heavy, amount := cmplx.Phase(b.u)*180/math.Pi, cmplx.Abs(b.u)
	out.off = offBy(heavy, h.Heavy)
	out.angleIn = out.off <= h.Within
	out.amountIn = amount >= h.Edges[0] && amount <= h.Edges[1]
	fix := cmplx.Rect(h.Fix.Grams*float64(h.Fix.Radius), (h.Fix.Angle+b.Float64()*10-5)*math.Pi/180)
	out.left = cmplx.Abs(b.u+fix) / amount
	top := assess.Ceilings(b.lathe, b.blank, assess.Roughing)[0].RPM
	out.tooFast = out.tooFast || h.Allows > top || h.Speed > 1.04*plan.Window.High
	return out
}

func TestBalanceBlanks(t *testing.T) {
	t.Parallel()
	var offs, lefts []float64
	var angle, amount, fast int
	skipped := map[string]int{}
	runs := map[int]int{}
	for seed := range uint64(*blanks) {
		v := newBench(seed).balance(t)
		if v.skipped != "" {
			skipped[v.skipped]++
			continue
		}
		offs, lefts = append(offs, v.off), append(lefts, v.left)
		runs[v.runs]++
		if v.angleIn {
			angle++
		}
		if v.amountIn {
			amount++
		}
		if v.tooFast {
			fast++
		}
	}
	require.NotEmpty(t, offs)
	slices.Sort(offs)
	slices.Sort(lefts)
	n := len(offs)
	share := func(k int) float64 { return 100 * float64(k) / float64(n) }
	t.Logf("%d blanks balanced in %v runs, left out: %v", n, runs, skipped)
	t.Logf("left of the imbalance: median %.1f %%, 95 %% below %.1f %%; angle off: median %.1f°, 95 %% below %.1f°", 100*lefts[n/2], 100*lefts[n*95/100], offs[n/2], offs[n*95/100])
	t.Logf("truth within what was stated: angle %.1f %%, amount %.1f %%", share(angle), share(amount))
	assert.Zero(t, fast, "a run above the safe speed")
	assert.LessOrEqual(t, lefts[n/2], 0.15)
	if n >= 200 {
		assert.LessOrEqual(t, offs[n*95/100], 8.0)
		assert.GreaterOrEqual(t, share(angle), 93.0)
		assert.GreaterOrEqual(t, share(amount), 93.0)
	}
}

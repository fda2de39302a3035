package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/recordings"
	"vibe/sensor"
	"vibe/sensor/serial"
)

// A guided balancing, one run a call. What is known of it is in one small file, written
// whole or not at all after each step, so that a call that fails or is killed costs the
// run it was making and nothing else.

// balanceState is that file.
type balanceState struct {
	Version  int              `json:"version"`
	Lathe    assess.Lathe     `json:"lathe"`
	Blank    assess.Blank     `json:"blank"`
	Task     assess.Task      `json:"task"`
	Fastened assess.Fastening `json:"fastened"`
	Grams    float64          `json:"trial_g"`
	Radius   assess.MM        `json:"radius_mm"`
	Angles   []float64        `json:"angles_deg"`
	Speed    float64          `json:"speed_rpm"`
	Runs     []assess.Run     `json:"runs"`
	Kept     []int64          `json:"kept"`  // the kept sessions among what the runs came from
	Count    uint64           `json:"count"` // of the balancings so far; each has a simulated blank of its own
	Play     bool             `json:"play"`  // of the simulated blank
}

const balanceVersion = 1

// loadBalance reads the state, nil when no balancing is under way.
func loadBalance() (*balanceState, error) {
	path, err := dataFile("balance.json")
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	s := &balanceState{}
	if err := json.Unmarshal(text, s); err != nil || s.Version != balanceVersion {
		return nil, hintf("vibe balance --new begins another; the old file is then replaced", "%s holds no balancing that this vibe can go on with", path)
	}
	return s, nil
}

func (s *balanceState) save() error { return replaceJSON("balance.json", s) }

// guided takes one step: begins, takes runs in, or says what comes next.
func (b *balancing) guided(cmd *cobra.Command) error {
	if b.check > 0 {
		return usage{hintf("the run with the fix put on is one more --from", "--check goes with --runs")}
	}
	if b.again && b.afresh {
		return usage{hintf("leave one of them out", "--new and --again do not go together")}
	}
	s, err := b.state(cmd)
	if err != nil {
		return err
	}
	if b.again {
		if err := s.forget(); err != nil {
			return err
		}
	}
	for _, from := range b.from {
		if err := s.take(cmd, b, from); err != nil {
			return err
		}
	}
	err = s.report(cmd, b)
	say(cmd.ErrOrStderr(), append(b.job.notes(), s.little()...))
	return err
}

// little says before the first run that the mass is hardly felt: a tenth of what would suit
// (chosen).
func (s *balanceState) little() []string {
	suits := assess.FirstMass(s.Blank, s.Radius, assess.RPM(s.Speed), s.Fastened)
	if len(s.Runs) > 0 || s.Grams > suits/10 {
		return nil
	}
	return []string{fmt.Sprintf("%s at %v is little for this blank: about %s, or further out, would be felt better", grams(s.Grams), s.Radius, grams(suits))}
}

// forget takes the newest run back.
func (s *balanceState) forget() error {
	if len(s.Runs) == 0 {
		return hintf("vibe balance says what comes next", "there is no run to forget")
	}
	s.Runs = s.Runs[:len(s.Runs)-1]
	s.Kept = s.Kept[:max(0, len(s.Kept)-1)]
	return s.save()
}

// state is the balancing under way, or a new one.
func (b *balancing) state(cmd *cobra.Command) (*balanceState, error) {
	s, err := loadBalance()
	if err != nil && !b.afresh {
		return nil, err
	}
	if s == nil || b.afresh {
		if b.trial == 0 && len(b.from) > 0 && b.from[0] == simulatedBlank {
			b.play()
		}
		return b.begin(s)
	}
	var taken []string
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if !slices.Contains(slices.Concat([]string{"from", "again", "speed", "shop", "json", "unit"}, ofFiles), f.Name) {
			taken = append(taken, f.Name)
		}
	})
	if len(taken) > 0 {
		return nil, usage{hintf("leave --"+taken[0]+" out to go on with it, or begin another with --new", "a balancing is under way, with %s kept", plural(len(s.Runs), "run", "runs"))}
	}
	if b.speed > 0 {
		if len(s.Runs) > 0 {
			return nil, usage{hintf("leave --speed out, or begin another with --new", "the runs so far were at %.0f rpm, and the others must be too", s.Speed)}
		}
		if err := s.aim(b.speed); err != nil {
			return nil, err
		}
		return s, s.save()
	}
	return s, nil
}

// begin starts a balancing from the flags, after old, which may be nil.
func (b *balancing) begin(old *balanceState) (*balanceState, error) {
	if b.trial == 0 && b.radius > 0 && b.job.blank.Diameter > 0 {
		if plan, err := assess.MakePlan(b.job.lathe, b.job.blank, b.job.task); err == nil {
			if g := assess.FirstMass(b.job.blank, b.radius, plan.Start, b.fastened); g > 0 {
				return nil, usage{hintf(fmt.Sprintf("about %s would suit this blank (it throws with a tenth of its weight, or with what its fastening holds): weigh it, and say --trial", grams(g)), "--trial, the mass that is put on, is missing")}
			}
		}
	}
	if err := b.needs(); err != nil {
		return nil, err
	}
	angles := b.angles
	if len(angles) == 0 {
		angles = []float64{0, 120, 240}
	}
	s := &balanceState{Version: balanceVersion, Lathe: b.job.lathe, Blank: b.job.blank, Task: b.job.task, Fastened: b.fastened,
		Grams: 1000 * b.trial, Radius: b.radius, Angles: angles, Runs: []assess.Run{}, Count: 1, Play: b.played}
	if old != nil {
		s.Count = old.Count + 1
	}
	if err := s.aim(b.speed); err != nil {
		return nil, err
	}
	return s, s.save()
}

// trial is the plan of the runs.
func (s *balanceState) trial() (assess.Trial, error) {
	t, err := assess.PlanTrial(s.Lathe, s.Blank, s.Task, assess.Mass{Grams: s.Grams, Radius: s.Radius}, s.Fastened)
	if err != nil {
		return t, inputError(err)
	}
	if t.Speed == 0 {
		return t, hintf("nothing was started", "%s", trimDot(t.Say))
	}
	return t, nil
}

func trimDot(s string) string {
	if n := len(s); n > 0 && s[n-1] == '.' {
		return s[:n-1]
	}
	return s
}

// aim sets the speed of all runs: the safe one, or that asked for where it is safe too.
func (s *balanceState) aim(at assess.RPM) error {
	t, err := s.trial()
	if err != nil {
		return err
	}
	if at > 0 && s.Lathe.Fit(at) == 0 {
		return usage{hintf(fmt.Sprintf("without --speed %v is taken", t.Speed), "%v is slower than this lathe turns, or than can be felt", at)}
	}
	if at > t.Most {
		return usage{hintf(fmt.Sprintf("at most %v; without --speed %v is taken", t.Most, t.Speed), "%v is too fast for this blank with %s at %v on it", at, grams(s.Grams), s.Radius)}
	}
	s.Speed = float64(cmp.Or(at, t.Speed))
	return nil
}

// solver is what assess is asked.
func (s *balanceState) solver() assess.Balancing {
	return assess.Balancing{Runs: s.Runs, Lathe: s.Lathe, Blank: s.Blank, Task: s.Task, Fastened: s.Fastened}
}

// next is the mass of the run to come and the answer so far. A zero mass is the first run;
// done means that the answer is there, and the run to come is the one with the fix on.
func (s *balanceState) next() (mass assess.Mass, heavy assess.HeavySide, err error) {
	at := func(angle float64) assess.Mass { return assess.Mass{Grams: s.Grams, Radius: s.Radius, Angle: angle} }
	open := assess.HeavySide{Speed: assess.RPM(s.Speed), Faults: []assess.BalanceFault{assess.Unfinished}}
	unfinished := func(m assess.Mass) (assess.Mass, assess.HeavySide, error) {
		open.Next = m
		open.Warnings = []string{fmt.Sprintf("%d of %d runs made", len(s.Runs), len(s.Angles)+1)}
		return m, open, nil
	}
	if len(s.Runs) == 0 {
		return unfinished(assess.Mass{})
	}
	if n := len(s.Runs) - 1; n < len(s.Angles) {
		return unfinished(at(s.Angles[n]))
	}
	heavy, err = s.solver().Solve()
	switch {
	case err != nil:
		return mass, heavy, inputError(err)
	case heavy.Known:
		return heavy.Fix, heavy, nil
	}
	return heavy.Next, heavy, nil
}

// playing refuses a run of the simulated blank among those of a real one, and the other way round.
func (s *balanceState) playing(simulated bool) error {
	if simulated == s.Play {
		return nil
	}
	under, run := "a real blank", "the simulated one"
	if s.Play {
		under, run = "the simulated blank", "a real one"
	}
	return hintf("begin another: vibe balance --new", "the balancing under way is of %s, and this is no run of it but of %s", under, run)
}

// take makes one run of a recording and keeps it.
func (s *balanceState) take(cmd *cobra.Command, b *balancing, from string) error {
	if err := s.playing(from == simulatedBlank); err != nil {
		return err
	}
	mass, _, err := s.next()
	if err != nil {
		return err
	}
	readings, err := s.measure(cmd, b, from, mass)
	if err != nil {
		return err
	}
	number, _ := keptNumber(from)
	err = s.keep(readings, mass, number)
	if s.Play && errors.Is(err, errNothingLeft) { // it did turn
		say(cmd.ErrOrStderr(), []string{"it worked: " + errNothingLeft.Error() + ". Another blank to play with: vibe balance --new --from simulated"})
		return nil
	}
	return err
}

// errNothingLeft is a run with the fix on that is too calm to be measured.
var errNothingLeft = errors.New("with the fix on nothing steady is left to be felt, so no run was kept")

// keep makes readings the next run, of kept session number (0: of none).
func (s *balanceState) keep(readings []assess.Reading, mass assess.Mass, number int64) error {
	run, err := s.run(readings, mass)
	if err != nil {
		return err
	}
	s.Runs, s.Kept = append(s.Runs, run), append(s.Kept, number)
	return s.save()
}

// input is a source of this balancing's readings.
func (s *balanceState) input(src sensor.Source) input {
	return input{src: src, job: job{lathe: s.Lathe, blank: s.Blank, task: s.Task}, dial: assess.RPM(s.Speed), keep: true}
}

// measure reads a recording to its end, or a board or the simulated blank until a run is
// long enough.
func (s *balanceState) measure(cmd *cobra.Command, b *balancing, from string, mass assess.Mass) ([]assess.Reading, error) {
	in := s.input(nil)
	in.name, in.progress = nameOf(from), meterOn(cmd.ErrOrStderr())
	var err error
	if port, wired := portOf(from); wired {
		if in.src, err = serial.Open(port, serial.Options{Unit: b.opts.Unit}); err != nil {
			return nil, err
		}
		return s.live(cmd.Context(), in, cmd.ErrOrStderr())
	}
	if from == simulatedBlank {
		in.src = s.simulated(mass)
		return s.live(cmd.Context(), in, cmd.ErrOrStderr())
	}
	if in.src, err = recordingOf(cmd, b.job.shop, from, b.opts); err != nil {
		return nil, err
	}
	if k, ok := in.src.(keptSource); ok {
		if err := s.same(k.Session); err != nil {
			return nil, cmp.Or(err, k.Close())
		}
	}
	r, err := in.follow(cmd.Context())
	if err != nil {
		return nil, err
	}
	say(cmd.ErrOrStderr(), r.doc.Recording.Notes)
	return r.doc.Readings, nil
}

// same refuses a kept session that was of something else.
func (s *balanceState) same(k *recordings.Session) error {
	what := s.apart(k.Setup.Blank, k.Setup.Lathe)
	switch {
	case slices.Contains(s.Kept, k.Number):
		what = "it is one already, and each is a run of its own"
	case k.Setup.Empty:
		what = "nothing was mounted"
	case what == "":
		return nil
	}
	return hintf("take another session of this blank; what was kept before is still there", "session %d is no run of this balancing: %s", k.Number, what)
}

// apart says how a blank or a lathe differs from that of this balancing, "" where it is not known to.
func (s *balanceState) apart(b assess.Blank, l assess.Lathe) string {
	switch d := b.Diameter; {
	case d > 0 && s.Blank.Diameter > 0 && math.Abs(float64(d-s.Blank.Diameter)) > 1:
		return fmt.Sprintf("the blank was %v across, not %v", d, s.Blank.Diameter)
	case l.Name != "" && s.Lathe.Name != "" && !recordings.SameName(l.Name, s.Lathe.Name):
		return fmt.Sprintf("it ran on %s, not on %s", l.Name, s.Lathe.Name)
	}
	return ""
}

// run makes a run of readings, and refuses one that cannot stand beside the others, that
// was too fast or too rough.
func (s *balanceState) run(readings []assess.Reading, mass assess.Mass) (assess.Run, error) {
	var before assess.RPM
	if len(s.Runs) > 0 {
		before = s.Runs[0].Speed
	}
	r, err := assess.RunOf(readings, before)
	if err != nil {
		return r, s.weak(err, mass)
	}
	r.Mass, r.Radius, r.Angle = mass.Grams, mass.Radius, mass.Angle
	t, err := s.trial()
	if err != nil {
		return r, err
	}
	if tooFast(r.Speed, t.Most) {
		return r, hintf(fmt.Sprintf("make it again at %.0f rpm; what was kept before is still there", s.Speed), "this run turned at %v, above the %v that are safe for it", r.Speed, t.Most)
	}
	if err := s.solver().Refuse(r); err != nil {
		return r, inputError(err)
	}
	if mass.Grams == 0 && r.Shake >= assess.DefaultEdges[1] {
		return r, hintf("make it slower: vibe balance --speed N, or make the blank rounder first", "it shakes with %s at %v before any mass is put on, which is rough", assess.ShakeText(r.Shake), r.Speed)
	}
	return r, nil
}

// tooFast allows what a dial is off by.
func tooFast(n, most assess.RPM) bool { return float64(n) > 1.04*float64(most) }

// weak adds to the reason why there is no run what would help here.
func (s *balanceState) weak(err error, mass assess.Mass) error {
	input := new(assess.InputError)
	if !errors.As(err, &input) {
		return err
	}
	hint := input.Hint
	t, planErr := s.trial()
	switch {
	case planErr != nil:
		return planErr
	case len(s.Runs) > len(s.Angles):
		return hintf("if the lathe did turn at that speed, that is what was wanted; else make the run again", "%w: %s", errNothingLeft, input.Text)
	case mass.Grams > 0:
		hint += fmt.Sprintf("; or, if the mass nearly balances the blank there, vibe balance --new with other --angles (%.0f° would shake most)", math.Mod(mass.Angle+180, 360))
	case t.Faster(s.Lathe, assess.RPM(s.Speed)) > 0:
		hint += fmt.Sprintf("; or, if the blank hardly shakes, go a little faster: vibe balance --speed %.0f", float64(t.Faster(s.Lathe, assess.RPM(s.Speed))))
	default:
		hint += "; at no safe speed does it shake more: it may not need balancing"
	}
	return hintf(hint, "no run was kept: %s", input.Text)
}

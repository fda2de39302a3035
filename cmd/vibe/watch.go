package main

import (
	"cmp"
	"context"
	"errors"
	"os"
	"reflect"
	"slices"
	"sync"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
	"vibe/recordings"
	"vibe/sensor"
	"vibe/sensor/serial"
)

func newWatch() *cobra.Command {
	var (
		j      job
		who    string
		opts   sensor.Options
		f      from
		speed  assess.RPM
		k      keeping
		asJSON bool
		page   bool
		lan    bool
		aloud  bool
	)
	f.pace = 1
	cmd := &cobra.Command{
		Use:   "watch --from simulated",
		Short: "live at the lathe: speed, shake and advice while the blank turns",
		Long: `Shows, while the blank turns, how fast the spindle really is, how hard it
shakes once per turn, which speed to go to and why. --from serial is a board on
USB, serial:PORT one of several. --from phone shows a code, for the phone's
camera, that makes the phone the sensor. --from simulated is a lathe to play
with: its dial follows the advice, until a key takes it. --from FILE replays a
recording. Where the output is no terminal it is plain lines, one whenever
something changed. Every session is kept: see vibe log.`,
		Example: `  vibe watch --from simulated
  vibe watch --from serial --diameter 310mm --length 120mm --held faceplate
  vibe watch --from roughing.csv --pace 4 --diameter 310mm --length 120mm`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := f.check(cmd.Flags(), lan); err != nil {
				return err
			}
			if f.name == simulated {
				j.invent()
			}
			if err := cmp.Or(j.check(), j.turns(speed)); err != nil {
				return err
			}
			var speaker *alarm
			if aloud {
				var err error
				if speaker, err = openAlarm(cmd.Context()); err != nil {
					return err
				}
				defer speaker.close()
			}
			w, err := newWatching(cmd, input{name: nameOf(f.name), job: j}, f, opts, &speed)
			if err != nil {
				return err
			}
			w.in.setLimit(who)
			left := w.in.again(cmd)
			w.pace(f)
			w.lan, w.at, w.alarm = lan, f.at, speaker
			if page || lan {
				if w.panel, err = w.openPanel(); err != nil {
					return cmp.Or(err, w.in.src.Close())
				}
			}
			notes := slices.Concat(left, w.in.job.notes(), w.in.job.meant(speed), w.in.job.sizeless(), w.in.learnt(), w.untaught(), w.keep(k))
			if w.phone != nil {
				notes = append(notes, phoneNotes(speed)...)
			}
			if w.panel != nil {
				notes = append(notes, w.panelNotes()...)
			}
			if speaker != nil {
				notes = append(notes, "two low tones were sounded by "+speaker.player[0]+": if you heard none, see that a speaker is there and on")
			}
			failed := w.run(cmd, speed, notes, asJSON)
			if failed == nil {
				failed = w.teach(who)
			}
			said, err := w.in.session.finish(w.record.samples)
			if k.empty && w.in.session != nil && w.record.samples > 0 && err == nil {
				var doubts []string
				doubts, err = w.doubts(cmd.Context())
				said = append(said, doubts...)
			}
			say(cmd.ErrOrStderr(), said)
			return cmp.Or(failed, err)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	f.flags(fs)
	fs.Var(amount(speedKind, &speed), "speed", "that the dial shows now: settles a doubt, and is compared with the first sure reading")
	j.flags(fs)
	recordingFlags(fs, &opts)
	fs.Var(freeText(&who), "who", "which person, by a name, whose comfort limit counts")
	k.flags(fs)
	fs.BoolVar(&aloud, "sound", false, "the speaker too: two low tones for lower, three high ones for stop")
	fs.BoolVar(&page, "panel", false, "the page at the lathe too, for a browser on this computer")
	fs.BoolVar(&lan, "lan", false, "the page for phones and tablets in the shop's network")
	fs.BoolVar(&asJSON, "json", false, "one JSON object a line on standard output, four a second, no text")
	return cmd
}

// watching is one `vibe watch`: a source run through the loop, with a session that remembers
// what the views show and a record for the goodbye.
type watching struct {
	in      input
	session *live.Session
	record  *record
	dial    *dial         // of the simulated lathe, else nil
	alarm   *alarm        // through the speaker, else nil
	phone   *paired       // a phone as the sensor, else nil
	panel   *panel.Server // of the page, else nil
	lan     bool          // which the shop's network finds
	at      string        // the address for that, "" is found
	balance *balanceView  // of the page, else nil
	word    spokenDial    // as far as the tracker goes by it
	entered entries       // devices that came by a link
	real    bool          // a turner stands at the lathe now
	again   bool          // it is a kept session

	// What of the live session the kept one has already, and s, the end of the window of
	// the newest reading.
	marked int
	unkept string // why it is not kept, "" while it is
	told   recordings.Change
	heard  float64
}

// newWatching opens the source. Whoever gets it must close it. With a kept session come the
// job and the dial that were said then.
func newWatching(cmd *cobra.Command, in input, f from, opts sensor.Options, dial *assess.RPM) (*watching, error) {
	w := &watching{in: in, entered: make(entries, 1)}
	port, wired := portOf(f.name)
	switch {
	case wired:
		src, err := serial.Open(port, serial.Options{Baud: f.baud, Unit: opts.Unit})
		if err != nil {
			return nil, err
		}
		w.in.name, w.in.src, w.real = cmp.Or(port, "the board on USB"), src, true
	case f.name == aPhone:
		p, err := openPhone(f.at, w.entered.put)
		if err != nil {
			return nil, err
		}
		w.in.name, w.in.src, w.phone, w.real = "phone", p.src, p, true
		w.word.always = true
	case f.name == simulated:
		plan, err := assess.MakePlan(in.job.lathe, in.job.blank, in.job.task)
		if err != nil {
			return nil, inputError(err)
		}
		if plan.Window.High == 0 { // it would stay off, and whoever plays see nothing happen
			return nil, usage{hintf(cmp.Or(plan.More, "say another blank, or a slower lathe to play with, such as --lowest 60"),
				"the lathe to play with stays off. %s", plan.Say)}
		}
		lathe := playLathe()
		w.in.name, w.in.src = "simulated lathe", lathe
		w.dial = newDial(lathe, in.job.lathe, plan.Start)
		throwFrom(lathe, w.dial.at)
	default:
		src, err := w.in.job.source(cmd, f.name, opts, dial)
		if err != nil {
			return nil, err
		}
		w.in.src = src
		_, w.again = src.(keptSource)
	}
	w.record = newRecord(w.in.name)
	return w, nil
}

// pace lets a recording, or the lathe to play with, come as fast as was said.
func (w *watching) pace(f from) {
	if f.pace > 0 && !w.real && f.name != "-" { // what is live, and a pipe, has a pace of its own
		w.in.src = newPaced(w.in.src, f.pace)
	}
}

// invent fills in what nobody said with the demo's job: a lathe to play with needs one.
func (j *job) invent() {
	demo := demoJob()
	if reflect.ValueOf(j.blank).IsZero() {
		j.blank = demo.blank
	}
	if reflect.ValueOf(j.lathe).IsZero() {
		j.lathe = demo.lathe
	}
	j.task = cmp.Or(j.task, demo.task)
}

// untaught says at the start what teach will not do.
func (w *watching) untaught() []string {
	if !w.real || w.in.unlearnt == nil {
		return nil
	}
	return []string{"your marks stay with this session alone, unless that file can be read when it ends"}
}

// teach keeps the marks of comfort of a real lathe.
func (w *watching) teach(who string) error {
	var marks []assess.Mark
	for _, m := range w.session.Now().Marks {
		if m.Kind != live.Plain {
			marks = append(marks, assess.Mark{Shake: m.Shake, TooMuch: m.Kind == live.TooMuch})
		}
	}
	if !w.real || marks == nil {
		return nil
	}
	people, err := loadLearned() // anew: hours may have passed
	switch {
	case err != nil && w.in.unlearnt != nil: // see untaught
		return nil
	case err != nil:
		return err
	}
	l := people.of(w.in.job.lathe.Name, who)
	l.Marks = append(l.Marks, marks...)
	return people.save()
}

// doubts asks what may be wrong with the kept run of a lathe alone, also after an interrupt, which is a good end.
func (w *watching) doubts(ctx context.Context) ([]string, error) {
	in := w.in
	if w.session.Now().Checked {
		in.dial, _ = w.session.Said()
	}
	return in.doubts(context.WithoutCancel(ctx), w.record.stretches)
}

// run watches until the source ends, the turner quits or the command is interrupted, and
// says goodbye. Only a source or an output that fails is an error.
func (w *watching) run(cmd *cobra.Command, shows assess.RPM, notes []string, asJSON bool) error {
	out, msg := cmd.OutOrStdout(), cmd.ErrOrStderr()
	defer context.AfterFunc(cmd.Context(), func() { w.in.src.Close() })()
	adviser := w.in.adviser()
	adviser.Checked = w.dial != nil || w.in.checked // it is vibe's own, or was then
	w.session = live.New(w.in.name, adviser)
	w.session.Dial(shows)
	defer w.phone.serve(w.session)()
	if w.panel != nil {
		view := viewOf(w.session, w.in.job.lathe, w.dial != nil)
		w.balance = view.balance
		w.panel.Handle("/", view.page())
		defer w.panel.Close()
	}
	say(msg, notes) // with the page's address: from here on somebody answers there
	if w.unkept != "" {
		w.session.Unkept(w.unkept)
	}
	var err error
	if screen := terminal(out); screen != nil && !asJSON && os.Getenv("TERM") != "dumb" {
		err = w.onScreen(adviser, screen)
	} else {
		w.phone.invite(msg)
		l := &lines{session: w.session, asJSON: asJSON, out: out, msg: msg, bell: terminal(msg)}
		err = w.inLines(adviser, l)
	}
	switch { // what was seen before an error was seen all the same
	case err != nil && w.record.samples == 0:
		return err
	case asJSON:
		return cmp.Or(err, writeHarmless(msg, "%s\n", w.record.summary()))
	}
	p := newPage(out)
	p.farewell(w.record, w.session.Now())
	return cmp.Or(err, p.flush(out))
}

// loop runs the source through the one loop and ends the session. Show is given every
// reading with its advice, note what the source has to say; an error of show ends the
// watching.
func (w *watching) loop(adviser *assess.Adviser, show func(assess.Reading, assess.Advice) error, note func(string)) error {
	defer w.session.End()
	var failed error
	stays := assess.RPM(-1) // of the dial to play with, where that was said
	w.in.session.listen(func(err error) { note(w.trouble(err)) })
	tracker := w.in.tracker()
	err := loop(w.in.src, tracker, adviser, func(b sensor.Block) {
		if w.record.samples == 0 && len(b.T) > 0 {
			w.in.session.dated(w.in.src)
			w.heard = b.T[0]
			w.saidThen()
		}
		w.in.session.block(b)
		w.record.block(b)
		w.keepChange(adviser, w.session.Block(b))
		w.in.turn(tracker, b)
		if len(b.T) > 0 && w.word.follow(tracker, w.session, b.T[0]) {
			w.keepDial(w.word.near, b.T[0])
		}
		for _, n := range b.Notes {
			note(n)
		}
	}, func(r assess.Reading, a assess.Advice) {
		a = w.balance.temper(r, a)
		w.in.session.see(r, a)
		w.keepMarks()
		w.heard = r.T + r.Span/2
		w.word.heard(r)
		w.balance.see(r, a)
		w.record.see(r, a, false)
		if compared := w.session.See(r, a); compared != "" {
			note(compared)
		}
		w.keepChange(adviser, false)
		w.saidThen()
		if err := w.alarm.hear(a.Action); err != nil {
			note(err.Error())
			w.session.Note(err.Error())
		}
		if w.dial != nil {
			w.dial.hear(w.heard, a)
			if at, _ := w.dial.state(); at != stays && w.dial.waits(w.heard, r) {
				stays = at
				note(dialShows(at) + ", and nothing sure is felt at it: on a terminal ↑ turns it up; without one say another blank")
			}
		}
		if failed == nil {
			if failed = show(r, a); failed != nil {
				w.in.src.Close()
			}
		}
	})
	if errors.Is(err, sensor.ErrClosed) {
		err = nil
	}
	return cmp.Or(failed, err, w.in.src.Close())
}

// saidThen tells what was said by now in the run that is watched once more.
func (w *watching) saidThen() {
	for _, c := range w.in.due(w.heard) {
		w.session.Again(c.Comfort, c.Checked, c.Blank, c.Task)
	}
}

// onScreen watches on a terminal.
func (w *watching) onScreen(adviser *assess.Adviser, out *os.File) (err error) {
	if w.panel != nil {
		w.session.Note(w.pageNote())
	}
	shown := make(chan error, 1)
	go func() {
		err := showScreen(w.session, w.dial, w.alarm, w.inviting(), out)
		w.in.src.Close() // whose error the loop reports
		shown <- err
	}()
	defer func() { err = cmp.Or(<-shown, err) }()                    // in a panic too: first the terminal is given back
	show := func(assess.Reading, assess.Advice) error { return nil } // the screen looks for itself
	return w.loop(adviser, show, func(string) {})
}

// inLines watches as text, line by line.
func (w *watching) inLines(adviser *assess.Adviser, l *lines) error {
	l.begin()
	var told sync.WaitGroup
	told.Go(l.tellSilence)
	over := make(chan struct{})
	told.Go(func() { w.entered.tell(over, w.link, l.note) })
	err := w.loop(adviser, l.see, l.note)
	close(over)
	told.Wait()
	return err
}

// terminal returns f if it is one, else nil.
func terminal(f any) *os.File {
	if file, ok := f.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		return file
	}
	return nil
}

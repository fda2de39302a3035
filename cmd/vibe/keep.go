package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/recordings"
	"vibe/sensor"
)

// keeper keeps what runs through the loop as a session of the shop. A nil keeper keeps
// nothing. Trouble is told and the work goes on.
type keeper struct {
	file shopFile
	shop *recordings.Shop
	to   *recordings.Writer
	tell func(error) // of trouble, nil when it is over; nobody listens where it is nil
	told bool
}

// keep begins a session.
func (f shopFile) keep(setup recordings.Setup) (*keeper, error) {
	shop, err := f.open()
	if err != nil {
		return nil, err
	}
	setup.Version = version()
	w, err := shop.Begin(setup)
	if err != nil {
		return nil, cmp.Or(f.explain(err), shop.Close())
	}
	return &keeper{file: f, shop: shop, to: w}, nil
}

func (k *keeper) block(b sensor.Block) {
	if k != nil {
		k.note(k.to.Append(b))
	}
}

func (k *keeper) see(r assess.Reading, a assess.Advice) {
	if k != nil {
		k.note(k.to.Say(r, a))
	}
}

func (k *keeper) mark(m recordings.Mark) {
	if k != nil {
		k.note(k.to.Mark(m))
	}
}

// dater is a source that may know when its samples began.
type dater interface {
	Began() (at time.Time, known bool)
}

// dated tells the session when its samples began, if their source knows: after its first
// block, before that is kept.
func (k *keeper) dated(src sensor.Source) {
	if file, ok := src.(dater); ok && k != nil {
		if at, known := file.Began(); known {
			k.to.Dated(at)
		}
	}
}

// listen sets who hears of trouble, and with nil that it is over.
func (k *keeper) listen(tell func(error)) {
	if k != nil {
		k.tell = tell
	}
}

// note tells when trouble begins and when it is over.
func (k *keeper) note(err error) {
	begins, over := err != nil && !k.told, err == nil && k.told && !k.to.Waiting()
	if (begins || over) && k.tell != nil {
		k.told = begins
		k.tell(err)
	}
}

// drop takes the session out of the shop again: it came to nothing.
func (k *keeper) drop() error {
	if k == nil {
		return nil
	}
	return cmp.Or(k.to.Discard(), k.shop.Close())
}

// close ends the session and says where it is.
func (k *keeper) close() (string, error) {
	if k == nil {
		return "", nil
	}
	// What could not be written at its time was tried again; the last word counts.
	err := cmp.Or(k.file.explain(k.to.Close()), k.shop.Close())
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("kept as session %d: vibe log show %d", k.to.Number(), k.to.Number()), nil
}

// finish is close for a session that may have come to nothing.
func (k *keeper) finish(samples int) (said []string, err error) {
	switch {
	case k == nil:
		return nil, nil
	case samples == 0:
		return nil, k.drop()
	}
	text, err := k.close()
	switch {
	case errors.Is(err, recordings.ErrNoSession):
		return []string{fmt.Sprintf("session %d was taken out of the shop while it ran: nothing of it is kept", k.to.Number())}, err
	case err != nil:
		return []string{fmt.Sprintf("session %d is kept up to where the trouble began: vibe log show %d", k.to.Number(), k.to.Number())}, err
	}
	return []string{text}, nil
}

// setup is what is known of this run before it runs.
func (in input) setup() recordings.Setup {
	return recordings.Setup{Source: in.name, Lathe: in.job.lathe, Blank: in.job.blank, Task: in.job.task, Dial: in.dial, Comfort: in.comfort}
}

// keeping is how a live session is to be kept.
type keeping struct {
	label string
	not   bool
	empty bool
}

func (k *keeping) flags(fs *pflag.FlagSet) {
	fs.Var(freeText(&k.label), "label", "what you call the work, to find the session again")
	fs.BoolVar(&k.empty, "empty", false, "nothing is mounted: keep the lathe's own shake")
	fs.BoolVar(&k.not, "no-keep", false, "do not keep the session")
}

// keep begins the kept session. A shop that cannot be written to ends no watching: what is
// wrong with it is returned to be said.
func (w *watching) keep(how keeping) []string {
	switch {
	case how.not:
		return nil
	case w.again:
		return []string{w.in.name + " is kept already, and its replay is not"}
	}
	setup := w.in.setup()
	setup.Label, setup.Empty = how.label, how.empty
	setup.Undated = !w.real && w.dial == nil
	setup.Checked = w.dial != nil
	w.told = recordings.Change{Comfort: setup.Comfort, Checked: setup.Checked}
	var err error
	if w.in.session, err = w.in.job.shop.keep(setup); err != nil {
		w.unkept = troubleOf(err)
		return []string{fmt.Sprintf("this session is not kept: %v; %s", err, hintOf(err))}
	}
	return nil
}

// trouble shows that the session cannot be kept, or with nil that it is again, and says it.
func (w *watching) trouble(err error) string {
	w.unkept = ""
	text := "this session is kept again, with what waited"
	if err != nil {
		w.unkept = troubleOf(err)
		text = fmt.Sprintf("this session cannot be kept just now: %s; the watching goes on, and so do the attempts: %s", w.unkept, hintOf(w.in.session.file.explain(err)))
	}
	w.session.Unkept(w.unkept, text)
	return text
}

// troubleOf is what is wrong with the keeping, in a few words.
func troubleOf(err error) string {
	for _, known := range []error{recordings.ErrFull, recordings.ErrReadOnly, recordings.ErrBusy, recordings.ErrDamaged, recordings.ErrNewer, recordings.ErrForeign} {
		if errors.Is(err, known) {
			return known.Error()
		}
	}
	return err.Error()
}

// keepMarks keeps what the turner has said since the last look.
func (w *watching) keepMarks() {
	if w.in.session == nil {
		return
	}
	now := w.session.Now()
	kinds := map[live.Kind]string{live.Comfortable: recordings.Comfortable, live.TooMuch: recordings.TooMuch, live.Plain: recordings.Note}
	for _, m := range now.Marks[w.marked:] {
		text := ""
		if m.Speed > 0 {
			text = fmt.Sprintf("%v, %s", m.Speed, assess.ShakeText(m.Shake))
		}
		w.in.session.mark(recordings.Mark{T: m.T, Kind: kinds[m.Kind], Text: text})
	}
	w.marked = len(now.Marks)
}

// keepDial keeps that the line is looked for near the dial's word from the sample of time at on.
func (w *watching) keepDial(dial assess.RPM, at float64) {
	if w.in.session != nil {
		w.told.Dial = dial
		w.keepTold(w.told, at)
	}
}

// keepChange keeps what the adviser goes by from here on, where it is another; told says
// that it was just told of blank and task.
func (w *watching) keepChange(a *assess.Adviser, told bool) {
	now := recordings.Change{Comfort: a.Comfort, Checked: a.Checked, Dial: w.told.Dial}
	if w.in.session == nil || !told && now == w.told {
		return
	}
	w.told = now
	if told {
		now.Blank, now.Task = &a.Blank, a.Task
	}
	w.keepTold(now, w.heard)
}

func (w *watching) keepTold(c recordings.Change, at float64) {
	text, err := json.Marshal(c)
	w.in.session.note(err)
	w.in.session.mark(recordings.Mark{T: at, Kind: recordings.Changed, Text: string(text)})
}

package assess

import (
	"fmt"
	"math"
)

// changed is how far off, relative to itself, what was measured before a cut may be after
// it, as a standard error (chosen; less would let a raise rest on a blank that is gone).
const changed = 0.5

// Change tells the adviser what the blank and the task are from now on. It returns an
// InputError, and changes nothing, for what cannot be. No raise follows from it: that takes
// new readings, as after a change of speed, and an earlier stop or lower stands, now to
// below the new ceiling.
//
// A new task moves the ceilings alone. A blank that was cut shakes otherwise, on a lathe
// that answers as before: what was measured counts for less. One that grew, or is held
// otherwise, is another blank: what was measured is forgotten. A mass that stays while a
// size changes is that of before, and counts as not known.
func (a *Adviser) Change(b Blank, t Task) error {
	was := a.Blank
	if b.Mass == was.Mass && (b.Diameter != was.Diameter || b.Length != was.Length) {
		b.Mass = 0
	}
	if err := Validate(a.Lathe, b, t); err != nil {
		return err
	}
	a.Blank, a.Task = b, t
	a.tops, a.avoided, a.anchor, a.said = nil, nil, 0, Advice{}
	other, cut := told(was.Held, b.Held) || told(was.Wood, b.Wood) || was.Tailstock != b.Tailstock, told(was.Balance, b.Balance)
	for _, size := range [][2]float64{{float64(was.Diameter), float64(b.Diameter)}, {float64(was.Length), float64(b.Length)}, {was.Mass, b.Mass}} {
		other = other || told(size[0], size[1]) && size[1] > size[0]
		cut = cut || told(size[0], size[1])
	}
	switch {
	case other:
		a.forget()
	case cut:
		a.response.doubt()
	}
	if top := a.ceilings()[0]; a.alarm != nil && a.alarm.Speed > top.RPM {
		d := a.below(a.Lathe.Fit(top.RPM), top, fmt.Sprintf("the ceiling is %.0f rpm now", float64(top.RPM)))
		a.alarm = &d
	}
	return nil
}

// told reports whether what was known is another now; to learn what was not known changes
// no blank.
func told[T comparable](was, now T) bool {
	var unknown T
	return was != unknown && now != was
}

// forget drops the map with all that follows from it, and the growth watch.
func (a *Adviser) forget() {
	a.response, a.shown, a.avoided, a.before, a.tops = response{}, fit{}, nil, nil, nil
	a.watch, a.growth, a.stood = watch{}, 0, false
}

// doubt makes all that was seen less certain.
func (m *response) doubt() {
	for k, b := range m.bins {
		b.doubt = math.Hypot(b.doubt, changed)
		m.bins[k] = b
	}
	m.fitted = nil
	m.refit()
}

package main

import (
	"math"
	"sync"

	"vibe/assess"
	"vibe/dsp"
	"vibe/sensor"
)

// dial is the speed dial of the simulated lathe, with a hand on it that does what the advice
// says, until the person who plays takes it. It may be used from any goroutine.
type dial struct {
	lathe *sensor.Simulated
	low   assess.RPM // slowest speed of the lathe
	high  assess.RPM // fastest

	mu      sync.Mutex
	at      assess.RPM // what it shows; 0 is off
	follows bool       // obeys the advice
	said    assess.Advice
	since   float64 // s, reading at which said was first said
}

const (
	// patience is how long an advice has stood before the hand moves, s (chosen: as long as
	// a turner takes to lift the tool and reach over).
	patience = 2.0
	// settling is how long a wait has stood when the hand has nothing more to wait for, s (chosen:
	// this lathe starts, and its first number settles, in five).
	settling = 8.0
	// notch is how far one press of a key turns the dial (chosen).
	notch assess.RPM = 20
)

// newDial switches the lathe on at a speed, or at its slowest, to follow the advice from there.
func newDial(lathe *sensor.Simulated, l assess.Lathe, start assess.RPM) *dial {
	speeds := l.Speeds(0, 1e9)
	d := &dial{lathe: lathe, low: speeds[0], high: speeds[len(speeds)-1], follows: true}
	d.set(max(start, d.low))
	return d
}

// set turns the dial. The lock is held, or nobody else knows of d yet.
func (d *dial) set(n assess.RPM) {
	d.at = n
	d.lathe.SetDial(n.Hz())
}

// hear obeys an advice that has stood long enough, at t s on the lathe's clock. A stop
// switches off.
func (d *dial) hear(t float64, a assess.Advice) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if a.Action != d.said.Action || a.Speed != d.said.Speed {
		d.said, d.since = a, t
	}
	if !d.follows || t-d.since < patience {
		return
	}
	switch a.Action {
	case assess.Raise, assess.Lower, assess.Stop:
		if a.Speed != d.at {
			d.set(a.Speed)
		}
	}
}

// turn moves the dial by hand, by so many notches; from then on it follows nothing. Below
// the slowest speed it is off.
func (d *dial) turn(notches int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.follows = false
	n := d.at + notch*assess.RPM(notches)
	switch {
	case n < d.low && notches > 0:
		n = d.low
	case n < d.low:
		n = 0
	}
	d.set(min(n, d.high))
}

// follow lets the dial obey the advice, or leaves it to the player. A lathe that stands is
// switched on at its slowest speed.
func (d *dial) follow(yes bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.follows, d.said = yes, assess.Advice{} // it begins to listen
	if yes && d.at == 0 {
		d.set(d.low)
	}
}

// state is what the dial shows, 0 for off, and whether it follows the advice.
func (d *dial) state() (at assess.RPM, follows bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.at, d.follows
}

// dialShows is what a dial shows in words.
func dialShows(at assess.RPM) string {
	if at == 0 {
		return "dial: off"
	}
	return "dial: " + at.String()
}

// waits says that at t s, of whose reading r is, nothing sure is felt, and nothing but the hand will change that.
func (d *dial) waits(t float64, r assess.Reading) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	done := d.said.Action == assess.Wait || d.said.Action == assess.Lower && d.at <= d.said.Speed
	return done && t-d.since > settling && (r.Has(dsp.Weak) || r.Has(dsp.NoTurn))
}

// playLathe is the lathe of `vibe watch --from simulated`: the demo's, with a finer sensor and
// a quieter belt, so that slow speeds can be read too, and with wood coming off, so that the
// advice has somewhere to go. Like the demo's it is invented.
func playLathe() *sensor.Simulated {
	lathe := demoLathe()
	lathe.Seconds, lathe.Speed = 0, nil
	lathe.Imbalance, lathe.Wander = 0.008, 0.0005
	lathe.Horizontal = sensor.Mode{Hz: 11, Damping: 0.12, Mass: 170}
	lathe.Growth = []sensor.Point{{At: 30, Value: 1}, {At: 300, Value: 0.15}}
	lathe.Lines[1].Amp = [3]complex128{0.001, 0.0015, 0.0005}
	lathe.Lines[2].Amp = [3]complex128{0.004, 0.006, 0.002}
	lathe.Cutting.White = 0.0001
	lathe.Chip.Rate, lathe.Chip.Step, lathe.Chip.Noise = 800, 0.0012, 0.0001
	return lathe
}

// calmFrom is where the imbalance of playLathe shakes it calmly, so that it can be felt: by 0.19 mm/s rms. Chosen.
const calmFrom assess.RPM = 270

// throwFrom sets how hard the blank throws, by the speed at which one like it is started: large ones are started slowly and throw hard, small
// ones the other way round. Below the 11 Hz at which the stand rocks the shake in mm/s of one imbalance goes by the third power of the
// speed, so each makes about the same at its start; further up the cube serves as well: 0.17 to 0.6 mm/s rms from 200 to 1300 rpm.
func throwFrom(lathe *sensor.Simulated, start assess.RPM) {
	if start > 0 {
		lathe.Imbalance *= complex(math.Pow(float64(calmFrom/start), 3), 0)
	}
}
